"""Rows of tables to positions, shells and readings, and what only shows when these are compared."""
