"""Rules about the two halves of one bore."""
