"""From the files of a job folder to a checked `Job`, or to every mistake in them at once."""

from fitmatch.intake.reading import read_folder as read_folder

__all__ = ["read_folder"]
