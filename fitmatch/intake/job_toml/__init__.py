"""job.toml to settings, and the files that it names."""
