"""What every reader needs: mistakes as they are found, texts, and plausible lengths."""
