"""Rules about one half by itself."""
