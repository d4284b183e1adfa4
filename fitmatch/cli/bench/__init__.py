"""`fitmatch measure`: readings typed at the bench, or sent by a gauge."""
