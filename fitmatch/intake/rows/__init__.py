"""Rows of tables to positions, shells and readings, each cell checked by itself."""
