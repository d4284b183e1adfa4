"""Integer programs, and the solver that works on them."""
