"""Readings typed at the bench, or sent by a gauge."""
