"""The job and what it is made of: frozen records, every length in whole nanometres."""
