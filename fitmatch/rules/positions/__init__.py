"""Rules about positions: their limits, how they lie in a row, what is put into them and what moves between them."""
