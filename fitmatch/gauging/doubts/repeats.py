"""Repeats of one place that disagree, and rows that look copied."""

from collections.abc import Iterator, Sequence
from math import gcd, pi, sqrt
from statistics import median, stdev
from typing import Final, NamedTuple

from fitmatch.gauging.doubts.groups import Entry, Group
from fitmatch.gauging.doubts.odd import threshold
from fitmatch.gauging.doubts.scatter import Scale
from fitmatch.measuring import LoggedReading
from fitmatch.parts import Job, Position

_USUAL_NM: Final = 1_500.0  # how far repeats usually scatter: common practice, no source
_USUAL_WEIGHT: Final = 6
_FEWEST_TO_COPY: Final = 3
_CHANCE_OF_COPIES: Final = 2e-3  # an item, of rows that agree by chance


class Astray(NamedTuple):
    """A repeat that does not agree with the others of its place."""

    entry: Entry
    centre_nm: float
    standard_nm: float


def astray(groups: Sequence[Group]) -> Iterator[Astray]:
    """Repeats that do not agree. Of two the one further from its group is meant."""
    places = [some for group in groups for some in _places(group)]
    distances = [abs(e.value_nm - median(x.value_nm for x in some)) for _, some in places for e in some]
    if not distances:
        return
    core = [d for d in distances if d <= 4 * max(_USUAL_NM, 1.5 * median(distances))]
    freedom = max(1, len(core) - len(places))
    squares = _USUAL_WEIGHT * _USUAL_NM**2 + sum(d * d for d in core)
    scale = Scale(sqrt(squares / (_USUAL_WEIGHT + freedom)), _USUAL_WEIGHT + freedom)
    limit = threshold(scale) * scale.standard_nm
    for group, some in places:
        n = len(some)
        middle = median(group.values)
        worst = max(some, key=lambda e: abs(e.value_nm - median(x.value_nm for x in some)))
        if n == 2:
            worst = max(some, key=lambda e: abs(e.value_nm - middle))
        others = [e.value_nm for e in some if e is not worst]
        centre = sum(others) / len(others)
        standard = sqrt(1 + 1 / len(others))
        if abs(worst.value_nm - centre) > limit * standard:
            yield Astray(worst, centre, scale.standard_nm * standard)


def _places(group: Group) -> Iterator[tuple[Group, list[Entry]]]:
    """The repeats of each item in a group, where an item has more than one."""
    if not isinstance(group.key.place, tuple):
        return  # what tells no place has no repeats
    items: dict[object, list[Entry]] = {}
    for entry in group.entries:
        if isinstance(entry.owner, LoggedReading):
            items.setdefault(entry.owner.shell or entry.owner.item, []).append(entry)
    yield from ((group, some) for some in items.values() if len(some) > 1)


def copied(job: Job, groups: Sequence[Group]) -> Iterator[tuple[Entry, Entry]]:
    """The first reading of a row that looks copied, and that of the row it looks copied from.

    Rows must agree in three readings or more, and so many that chance would hardly ever make two of the kind agree.
    """
    rows: dict[tuple[str, str, str, str, str], dict[object, list[Entry]]] = {}
    for group in groups:
        feature, kind, half, box, label, _ = group.key
        for entry in group.entries:
            owner = entry.owner
            item = (owner.shell or owner.item) if isinstance(owner, LoggedReading) else owner
            name = item.key if not isinstance(item, (str, tuple, Position)) else item
            rows.setdefault((feature, kind, half, box, label), {}).setdefault(name, []).append(entry)
    pins = {p.name: p.pin for p in job.positions}
    for (what, *_), items in rows.items():
        full = [(name, some) for name, some in items.items() if len(some) >= _FEWEST_TO_COPY]
        if len(full) > 1:
            yield from _agreeing(full, pins if what == "journal" else {})


def _agreeing(items: list[tuple[object, list[Entry]]], pins: dict[str, int | None]) -> Iterator[tuple[Entry, Entry]]:
    chance = len(items) * _chance([[e.value_nm for e in some] for _, some in items])
    if chance > _CHANCE_OF_COPIES:
        return
    seen: dict[tuple[int, ...], tuple[object, Entry]] = {}
    for name, some in items:
        values = tuple(e.reading.nm for e in some)
        if values not in seen:
            seen[values] = name, some[0]
            continue
        first, entry = seen[values]
        pin = pins.get(_name(name))
        if pin is None or pin != pins.get(_name(first)):
            yield some[0], entry


def _name(item: object) -> str:
    return item.name if isinstance(item, Position) else str(item)


def _chance(rows: list[list[int]]) -> float:
    """The chance that two rows agree: of their first readings times those of the differences from one to the next, each
    that of two normal values on the grid of the readings, grid / (2 sqrt(pi) s).

    Rows that are copies themselves count once, as they tell nothing of chance.
    """
    rows = [list(row) for row in dict.fromkeys(map(tuple, rows))]
    if len(rows) < 2:
        return 1.0
    grid = gcd(*(value for row in rows for value in row))
    chance = 1.0
    for k in range(min(map(len, rows))):
        spread = stdev(row[k] - (row[k - 1] if k else 0) for row in rows)
        chance *= min(1.0, grid / (2 * sqrt(pi) * spread)) if spread else 1.0
    return chance
