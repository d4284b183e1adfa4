"""Pictures for design notes, readable in black and white; they need the extra `plots`."""
