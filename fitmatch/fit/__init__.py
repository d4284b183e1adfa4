"""Which shell goes where, and the proof that nothing better exists in these readings."""
