"""What a job could be, and what would change it: questions that ask `fit` many times and never decide by themselves."""
