"""Doubts about raw readings: which are likely mistakes, which mistake, and what to measure again."""
