"""Inputs and answers: frozen records, every length in whole nanometres."""
