"""What the shelf is asked: what lies there and where it has been, which sets it makes, what it is worth."""
