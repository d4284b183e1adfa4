"""What is told of one field of pairs: its source, what is seen without a search, and what few of it give."""
