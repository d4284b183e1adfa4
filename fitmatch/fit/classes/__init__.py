"""Interchangeable shells and positions as classes, and which pairs of classes may go where."""
