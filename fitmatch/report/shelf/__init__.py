"""The shelf in words, tables, JSON and CSV."""
