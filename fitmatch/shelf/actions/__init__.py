"""What is done to the shelf: a function for each action, all of it or nothing."""
