"""Answers: a position with two shells in it, the plan, what waits until doubts are settled."""
