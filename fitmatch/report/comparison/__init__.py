"""The text report of a comparison, one part per module."""
