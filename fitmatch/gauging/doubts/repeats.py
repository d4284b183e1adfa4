"""Repeats of one place that disagree, and rows that look copied."""

from collections.abc import Iterator, Mapping, Sequence
from math import gcd, pi, sqrt
from statistics import median, stdev
from typing import Final

from fitmatch.gauging.doubts.groups import Entry, Group, Item, Key
from fitmatch.gauging.doubts.odd import Odd, threshold
from fitmatch.gauging.doubts.scatter import Scale
from fitmatch.parts import Job

_USUAL_NM: Final = 1_500.0  # how far repeats usually scatter: common practice, no source
_USUAL_WEIGHT: Final = 6
_FEWEST_TO_COPY: Final = 3
_CHANCE_OF_COPIES: Final = 2e-3  # an item, of rows that agree by chance


def astray(groups: Sequence[Group]) -> Iterator[tuple[Group, Odd]]:
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
        middle = median(group.values if len(some) == 2 else [e.value_nm for e in some])
        worst = max(some, key=lambda e: abs(e.value_nm - middle))
        others = [e.value_nm for e in some if e is not worst]
        centre = sum(others) / len(others)
        standard = sqrt(1 + 1 / len(others))
        if abs(worst.value_nm - centre) > limit * standard:
            yield group, Odd(group.entries.index(worst), centre, scale.standard_nm * standard, "off-its-repeats")


def _places(group: Group) -> Iterator[tuple[Group, list[Entry]]]:
    """The repeats of each item in a group, where an item has more than one."""
    if not isinstance(group.key.place, tuple):
        return  # what tells no place has no repeats
    items: dict[Item, list[Entry]] = {}
    for entry in group.entries:
        items.setdefault(entry.item, []).append(entry)
    yield from ((group, some) for some in items.values() if len(some) > 1)


def copied(job: Job, groups: Sequence[Group]) -> Iterator[tuple[str, Entry, Entry]]:
    """The feature and first reading of a row that looks copied, and that of the row it looks copied from.

    Rows must agree in three readings or more, and so many that chance would hardly ever make two of the kind agree.
    """
    rows: dict[Key, dict[Item, list[Entry]]] = {}
    for group in groups:
        items = rows.setdefault(group.key._replace(place=0), {})
        for entry in group.entries:
            items.setdefault(entry.item, []).append(entry)
    pins = {p.name: p.pin for p in job.positions}
    for key, items in rows.items():
        full = [some for some in items.values() if len(some) >= _FEWEST_TO_COPY]
        if len(full) > 1:
            yield from ((key.feature, *pair) for pair in _agreeing(full, pins if key.feature == "journal" else {}))


def _agreeing(items: list[list[Entry]], pins: Mapping[str, int | None]) -> Iterator[tuple[Entry, Entry]]:
    rows = [tuple(e.reading.nm for e in some) for some in items]
    if len(items) * _chance(rows) > _CHANCE_OF_COPIES:
        return
    seen: dict[tuple[int, ...], Entry] = {}
    for values, (entry, *_) in zip(rows, items, strict=True):
        first = seen.setdefault(values, entry)
        pin, other = (pins.get(str(one.item)) for one in (entry, first))
        if first is not entry and (pin is None or pin != other):
            yield entry, first


def _chance(rows: Sequence[tuple[int, ...]]) -> float:
    """The chance that two rows agree: of their first readings times those of the differences from one to the next, each
    that of two normal values on the grid of the readings, grid / (2 sqrt(pi) s).

    Rows that are copies themselves count once, as they tell nothing of chance.
    """
    rows = list(dict.fromkeys(rows))
    if len(rows) < 2:
        return 1.0
    grid = gcd(*(value for row in rows for value in row))
    chance = 1.0
    for k in range(min(map(len, rows))):
        spread = stdev(row[k] - (row[k - 1] if k else 0) for row in rows)
        chance *= min(1.0, grid / (2 * sqrt(pi) * spread)) if spread else 1.0
    return chance
