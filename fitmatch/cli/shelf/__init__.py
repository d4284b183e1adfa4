"""The commands under `fitmatch shelf`."""
