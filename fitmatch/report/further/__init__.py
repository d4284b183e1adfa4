"""What `--full`, `--next` and `--explain` add to the report on one screen."""
