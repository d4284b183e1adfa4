"""A list or a sweep of lengths given as one text: `0.0018, 0.0021` or `0.0018..0.0028/0.0001`."""

from collections.abc import Iterable
from fractions import Fraction
from typing import Final, NamedTuple

from fitmatch.intake.common.quantities import CellError, LengthReader, Quantity
from fitmatch.lengths import exact_nm
from fitmatch.wording import shorten

MOST_POINTS: Final = 1_000
_STEP: Final = Quantity("a step", 1, 2_000_000, "more than 0, up to 2 mm", above_zero=True)


class Sweep(NamedTuple):
    """Lengths in nanometres, in order and each once; `finer`: one of the texts was finer than that and was rounded."""

    points_nm: tuple[int, ...]
    finer: bool


def read_sweep(text: str, quantity: Quantity, unit: str) -> Sweep:
    """Plain numbers are in `unit`; raises CellError. The points of a sweep are counted and placed exactly, and each is
    rounded by itself: a step of 0.000005 in is 127 nm, one of half of that is not a whole number of them."""

    def read(part: str, what: Quantity = quantity) -> Fraction:
        LengthReader(what, unit, inch_job=unit == "in").read(part)
        return exact_nm(part, unit, inch_job=unit == "in")

    low, dots, rest = text.partition("..")
    if not dots:
        found = [read(part) for part in text.split(",")]
        return _sweep(text, len(found), found)
    high, slash, step = rest.partition("/")
    if not slash:
        raise CellError("not-a-length", f"`{shorten(text)}` has no step; write `{text.strip()}/` and how far apart")
    first, last = read(low), read(high)
    if first > last:
        why = f"`{shorten(text)}` is empty, as {low.strip()} is above {high.strip()}; write the smaller one first"
        raise CellError("not-a-length", why)
    by = read(step, _STEP)
    count = (last - first) // by + 1
    return _sweep(text, count, (first + at * by for at in range(count)))


def _sweep(text: str, count: int, points: Iterable[Fraction]) -> Sweep:
    if count > MOST_POINTS:
        todo = f"at most {MOST_POINTS:,} are taken; write a larger step or a shorter range"
        raise CellError("implausible-number", f"`{shorten(text)}` are {count:,} points; {todo}")
    exact = list(points)
    return Sweep(tuple(dict.fromkeys(map(round, exact))), any(nm.denominator > 1 for nm in exact))
