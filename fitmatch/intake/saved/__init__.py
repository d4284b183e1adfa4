"""A saved plan read again, and what it says of itself."""
