"""What is decided, in which order of figures, as an integer program; and its answer back to shells."""
