"""What is written to a job folder: whole files, single rows, two keys of job.toml."""
