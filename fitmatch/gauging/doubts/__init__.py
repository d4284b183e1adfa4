"""Doubts about raw readings: which are likely mistakes, what kind of mistake, and what to measure again."""
