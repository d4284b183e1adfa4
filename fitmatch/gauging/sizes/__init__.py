"""Readings to sizes and form."""
