"""What only shows when files are looked at together, and what the shelf adds to them."""
