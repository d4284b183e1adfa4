"""The sheet: what is printed for the bench and kept with the engine, as one HTML file."""
