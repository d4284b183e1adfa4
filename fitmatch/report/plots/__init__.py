"""Pictures, drawn with matplotlib's Figure interface; readable in black and white."""
