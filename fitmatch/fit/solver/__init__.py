"""Integer programs, and the solver for them."""
