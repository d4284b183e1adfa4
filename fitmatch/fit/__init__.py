"""Which shell goes where, and the proof that these readings allow nothing better."""
