"""Rules about positions: their limits, how their bores line up, what is locked into them and what moves between
them."""
