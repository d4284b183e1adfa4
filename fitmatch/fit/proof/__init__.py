"""The proof: the figures of the order one after the other, each proven before the next."""
