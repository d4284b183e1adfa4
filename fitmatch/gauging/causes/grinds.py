"""The steps by which journals are ground, and shells made for them: common practice, no source."""

from typing import Final

INCH: Final = 25_400_000
MM: Final = 1_000_000
GRINDS: Final = tuple(k * step for step in (INCH // 100, MM // 4) for k in (1, 2, 3, 4))  # on the diameter
CLOSE_NM: Final = 20_000.0  # how close to such a step ground journals are


def is_grind(nm: float) -> bool:
    """Whether two journals that differ by so much may be ground to two undersizes."""
    return any(abs(abs(nm) - step) < CLOSE_NM for step in GRINDS)
