"""What is decided, and in which order of figures, as an integer program; and its answer turned back into shells."""
