"""The text report, a part a module."""
