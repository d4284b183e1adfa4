"""What to do next: what each position wants, and the changes that would put it inside its limits."""
