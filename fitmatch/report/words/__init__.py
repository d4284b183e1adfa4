"""The words of facts."""
