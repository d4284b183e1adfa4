"""What is taken onto the shelf, and what it has for a job."""
