"""The text reports, one for each command that answers in text; that of `compare` has a room of its own."""
