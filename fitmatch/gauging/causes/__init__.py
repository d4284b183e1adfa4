"""The mistakes of measuring that are known, and how likely each is to give a reading."""
