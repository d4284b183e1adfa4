"""Why a position failed, and which changes would fix it."""
