"""What is given and what is answered: frozen records, every length in whole nanometres."""
