"""A list or a sweep of lengths given as one text: `0.0018, 0.0021` or `0.0018..0.0028/0.0001`."""

from collections.abc import Iterable
from typing import Final, NamedTuple

from fitmatch.intake.common.quantities import CellError, LengthReader, Quantity
from fitmatch.wording import shorten

MOST_POINTS: Final = 1_000
_STEP: Final = Quantity("a step", 1, 2_000_000, "more than 0, up to 2 mm", above_zero=True)


class Sweep(NamedTuple):
    """Lengths in nanometres, in order and each once; `finer`: one of the texts was finer than that and was rounded."""

    points_nm: tuple[int, ...]
    finer: bool


def read_sweep(text: str, quantity: Quantity, unit: str) -> Sweep:
    """Plain numbers are in `unit`; raises CellError."""
    finer = False

    def read(part: str, what: Quantity = quantity) -> int:
        nonlocal finer
        reader = LengthReader(what, unit, inch_job=unit == "in")
        nm = reader.read(part)
        finer |= reader.finer
        return nm

    low, dots, rest = text.partition("..")
    if not dots:
        found = [read(part) for part in text.split(",")]
        return Sweep(_few(text, len(found), dict.fromkeys(found)), finer)
    high, slash, step = rest.partition("/")
    if not slash:
        raise CellError("not-a-length", f"`{shorten(text)}` has no step; write `{text.strip()}/` and how far apart")
    first, last = read(low), read(high)
    if first > last:
        why = f"`{shorten(text)}` is empty, as {low.strip()} is above {high.strip()}; write the smaller one first"
        raise CellError("not-a-length", why)
    by = read(step, _STEP)
    return Sweep(_few(text, (last - first) // by + 1, range(first, last + 1, by)), finer)


def _few(text: str, count: int, points: Iterable[int]) -> tuple[int, ...]:
    if count > MOST_POINTS:
        todo = f"at most {MOST_POINTS:,} are taken; write a larger step or a shorter range"
        raise CellError("implausible-number", f"`{shorten(text)}` are {count:,} points; {todo}")
    return tuple(points)
