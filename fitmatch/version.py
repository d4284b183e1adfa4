"""The version of fitmatch."""

__version__ = "0.1.0"
