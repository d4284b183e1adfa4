"""Natural order of names: box-2 before box-10."""

import re
from functools import lru_cache

_DIGITS = re.compile(r"([0-9]+)")


@lru_cache(1 << 14)  # boxes name their shells alike, and a job sorts them more than once
def natural(text: str) -> tuple[tuple[int, int, str], ...]:
    """Sort key of natural order: runs of digits count as numbers, the rest by code point."""
    return tuple((0, int(part), "") if i % 2 else (1, 0, part) for i, part in enumerate(_DIGITS.split(text)) if part)
