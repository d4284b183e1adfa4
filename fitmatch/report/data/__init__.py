"""The answer as JSON and CSV."""
