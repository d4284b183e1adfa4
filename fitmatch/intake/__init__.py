"""Turns the files of a job folder into a checked `Job`, or every mistake in them at once; and writes to the folder."""
