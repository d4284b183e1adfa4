"""What else could have been: the next best plans, and one position explained."""
