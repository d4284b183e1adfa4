"""From the files of a job folder to a checked `Job` or to every mistake in them at once, and what is written there."""
