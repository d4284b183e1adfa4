"""What `fitmatch boxes` shows: words, text, JSON and CSV, and its picture."""
