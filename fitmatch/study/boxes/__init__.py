"""How many boxes to open, before a seal is broken: the same draw many times over, on every core or on a cluster."""
