"""What is drawn: the crank as a line from front to flywheel, and clearances between their limits. Figures only; the
templates hold the shapes."""

from collections.abc import Collection, Iterable, Sequence
from math import ceil
from typing import Final, NamedTuple

from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job
from fitmatch.records.parts import Position

_A_STRIP: Final = 6  # places on one strip: with the word at its end as wide as a telephone
_APART: Final = 43  # units between places
_LONGEST_LABEL: Final = 6  # characters for which there is room
_LABEL: Final = 14  # units from one label to the one below it
_ON_THE_LINE: Final = 60  # units that the line takes with what stands on it
_BELOW: Final = 90  # and with what turns below it, without labels
WIDTH: Final = 200  # of a clearance's drawing
_MARGIN: Final = 8


class Label(NamedTuple):
    """The name or number of a position at its height; `marked`: it needs attention."""

    y: int
    text: str
    marked: bool


class Place(NamedTuple):
    """One place along the crank: what is in one block stands on the line, what turns on a pin below it."""

    x: int
    labels: tuple[Label, ...]
    on_the_line: bool


class Strip(NamedTuple):
    """A piece of the line; strips side by side make it whole."""

    title: str
    width: int
    height: int
    places: tuple[Place, ...]


class Line(NamedTuple):
    """A crank; `numbered`: the names of positions are too long to stand in it, so that numbers do."""

    strips: tuple[Strip, ...]
    numbered: bool
    by_pins: bool


class Bar(NamedTuple):
    """A clearance between its limits, all in units from the left; None is not given. `low` and `high` are the ends of
    what it may truly be."""

    title: str
    at: float
    target: float | None
    least: float | None
    most: float | None
    low: float | None
    high: float | None


class Scale(NamedTuple):
    """Lengths to units of a drawing."""

    low_nm: float
    high_nm: float

    def at(self, nm: float | None) -> float | None:
        """A length on the drawing."""
        if nm is None:
            return None
        reach = (self.high_nm - self.low_nm) or 1
        return round(_MARGIN + (WIDTH - 2 * _MARGIN) * (nm - self.low_nm) / reach, 1)


def scale_of(lengths_nm: Iterable[float | None]) -> Scale:
    """A scale on which all these lengths are."""
    known = [nm for nm in lengths_nm if nm is not None] or [0.0]
    return Scale(min(known), max(known))


def numbers_of(job: Job) -> dict[str, int]:
    """The numbers that stand for positions whose names are too long for the drawing; none where there are no such."""
    if all(len(p.name) <= _LONGEST_LABEL for p in job.positions):
        return {}
    return {p.name: number for number, p in enumerate(job.positions, 1)}


def crank_lines(job: Job, marked: Collection[str] = ()) -> tuple[Line, ...]:
    """A line for the first kind in one block together with the first that is not, and one for each further kind.
    `marked`: the positions that need attention."""
    blocks = [kind for kind in job.kinds if in_one_block(kind)]
    others = [kind for kind in job.kinds if not in_one_block(kind)]
    first, rest = [*blocks[:1], *others[:1]], [*blocks[1:], *others[1:]]
    return tuple(_line(job, kinds, marked) for kinds in (first, *([kind] for kind in rest)) if kinds)


def _line(job: Job, kinds: Sequence[str], marked: Collection[str]) -> Line:
    numbers = numbers_of(job)
    placed: list[tuple[float, bool, list[Position]]] = []
    by_pins = True
    for kind in kinds:
        mine = [p for p in job.positions if p.kind == kind]
        by_pins = by_pins and (in_one_block(kind) or all(p.pin is not None for p in mine))
        pins: dict[int, list[Position]] = {}
        for at, p in enumerate(mine, 1):
            pins.setdefault(at if p.pin is None else p.pin, []).append(p)
        on_the_line, last = in_one_block(kind), len(pins)
        for at, pin in enumerate(sorted(pins)):
            along = (at / (last - 1) if last > 1 else 0.5) if on_the_line else (at + 0.5) / last
            placed.append((along, not on_the_line, pins[pin]))
    placed.sort(key=lambda one: one[:2])
    each = ceil(len(placed) / ceil(len(placed) / _A_STRIP))
    batches = [placed[at : at + each] for at in range(0, len(placed), each)]
    strips = []
    for number, some in enumerate(batches, 1):
        names = ", ".join(
            f"{p.kind} {p.name}{' (marked)' if p.name in marked else ''}" for _, _, here in some for p in here
        )
        of = f", part {number} of {len(batches)}" if len(batches) > 1 else ""
        places, deepest = [], 1
        for at, (_, below, here) in enumerate(some):
            top = 100 if below else 20
            labels = tuple(
                Label(top + (i if below else -i) * _LABEL, str(numbers.get(p.name, p.name)), p.name in marked)
                for i, p in enumerate(here)
            )
            deepest = max(deepest, len(labels))
            places.append(Place(_APART // 2 + at * _APART, labels, not below))
        title = f"The crank from front to flywheel{of}: {names}"
        low = _BELOW + _LABEL * deepest if any(below for _, below, _ in placed) else _ON_THE_LINE
        strips.append(Strip(title, _APART * len(some), low, tuple(places)))
    return Line(tuple(strips), bool(numbers), by_pins)
