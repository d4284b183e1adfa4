"""Which random jobs a test looks at: a few in every run, and all others where the marker `deep` is asked for.

FITMATCH_DEEP=5000 in the environment makes it so many in all for each test; never fewer than without it, as some tests
want to have seen every case and fewer jobs would not show them all.
"""

import os
from collections.abc import Collection
from itertools import pairwise
from typing import Any

import pytest

DEEP = int(os.environ.get("FITMATCH_DEEP", "0"))


def seeds(quick: int, normally: int, parts: int = 1, *, slow: Collection[int] = ()) -> pytest.MarkDecorator:
    """Some seeds at a time as the parameter `seeds`: the first so many; then all others, deep and in so many parts.
    Those that are slow only where FITMATCH_DEEP asks for so many, whichever they are."""
    count = max(DEEP, normally, quick + 1)
    few = [seed for seed in range(quick) if seed not in slow]
    others = [seed for seed in range(count) if seed not in few and (DEEP or seed not in slow)]
    ends = [len(others) * part // parts for part in range(parts + 1)]
    sets: list[Any] = [pytest.param(few, id="quick")]
    for start, end in pairwise(ends):
        some = others[start:end]
        sets.append(pytest.param(some, id=f"{some[0]}-{some[-1]}", marks=pytest.mark.deep))
    return pytest.mark.parametrize("seeds", sets)
