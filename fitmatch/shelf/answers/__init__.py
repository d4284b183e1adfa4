"""What the shelf answers."""
