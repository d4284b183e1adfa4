"""Why a position failed, and what would cure it."""
