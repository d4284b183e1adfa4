"""Repeats of one place that disagree, and rows that look copied."""

from collections.abc import Iterator, Sequence
from math import gcd, pi, sqrt
from statistics import median, stdev
from typing import Final

from fitmatch.facts import Fact
from fitmatch.gauging.doubts.groups import Entry, Finding, Group, Key
from fitmatch.gauging.doubts.odd import Odd
from fitmatch.gauging.doubts.scatter import Scale
from fitmatch.records.job import Job
from fitmatch.records.keys import ItemKey

_USUAL_NM: Final = 1_500.0  # how far repeats usually scatter: common practice, no source
_USUAL_WEIGHT: Final = 6
_FEWEST_TO_COPY: Final = 3
_CHANCE_OF_COPIES: Final = 2e-3  # per item, of rows that agree by chance


def astray(groups: Sequence[Group]) -> Iterator[tuple[Group, Odd]]:
    """Repeats that do not agree. Of two, the one further from its group is doubted."""
    places: list[tuple[Group, list[int]]] = []  # the repeats of each item at a place, where it has more than one
    for group in groups:
        repeats: dict[tuple[object, ...], list[int]] = {}
        for k, entry in enumerate(group.entries):
            reading = entry.reading
            if reading.station is not None or reading.angle is not None:  # without a place it has no repeats
                repeats.setdefault((entry.item, reading.station, reading.angle), []).append(k)
        places += [(group, some) for some in repeats.values() if len(some) > 1]
    read = [[group.values[k] for k in some] for group, some in places]
    distances = [abs(value - median(values)) for values in read for value in values]
    if not distances:
        return
    core = [d for d in distances if d <= 4 * max(_USUAL_NM, 1.5 * median(distances))]
    freedom = max(1, len(core) - len(places))
    squares = _USUAL_WEIGHT * _USUAL_NM**2 + sum(d * d for d in core)
    scale = Scale(sqrt(squares / (_USUAL_WEIGHT + freedom)), _USUAL_WEIGHT + freedom)
    for group, some in places:
        off = _people(group, some) or [_worst(group, some)]
        others = [k for k in some if k not in off]
        centre = sum(group.values[k] for k in others) / len(others)
        error = sum(group.values[k] for k in off) / len(off) - centre
        standard = sqrt(1 / len(off) + 1 / len(others))
        if abs(error) > scale.limit_nm * standard:
            yield group, Odd(tuple(off), error, centre, scale.standard_nm * standard, "off-its-repeats")


def _worst(group: Group, some: Sequence[int]) -> int:
    """The one reading that is furthest from its repeats."""
    middle = median(group.values if len(some) == 2 else [group.values[k] for k in some])
    return max(some, key=lambda k: abs(group.values[k] - middle))


def _people(group: Group, some: Sequence[int]) -> list[int]:
    """If two people read one place and differ by more than the readings of each do: those of the second."""
    first = [k for k in some if group.entries[k].by == group.entries[some[0]].by]
    second = [k for k in some if k not in first]
    if not second or len({group.entries[k].by for k in some} - {""}) != 2:
        return []
    low, high = sorted(([group.values[k] for k in part] for part in (first, second)), key=median)
    return second if min(high) - max(low) > max(max(v) - min(v) for v in (low, high)) else []


def copied(job: Job, groups: Sequence[Group]) -> Iterator[Finding]:
    """Rows that look copied from another, by their first readings.

    Rows must agree in at least three readings, and in so many that two of the kind would hardly ever agree by chance.
    """
    rows: dict[Key, dict[ItemKey, list[Entry]]] = {}
    for group in groups:
        items = rows.setdefault(group.key._replace(angle=None), {})
        for entry in group.entries:
            items.setdefault(entry.item, []).append(entry)
    pins = {p.name: p.pin for p in job.positions}
    for key, items in rows.items():
        full = [some for some in items.values() if len(some) >= _FEWEST_TO_COPY]
        read = [tuple(e.reading.nm for e in some) for some in full]
        if len(full) * _chance(read) > _CHANCE_OF_COPIES:
            continue
        seen: dict[tuple[int, ...], Entry] = {}
        for values, (entry, *_) in zip(read, full, strict=True):
            first = seen.setdefault(values, entry)
            pin = pins.get(entry.name) if key.feature == "journal" else None
            if first is not entry and (pin is None or pin != pins.get(first.name)):
                yield entry, key.feature, Fact("copied", {"other": first.name}), ("copied-row",)


def _chance(rows: Sequence[tuple[int, ...]]) -> float:
    """The chance that two rows agree: of their first readings times those of the differences from one to the next, each
    that of two normal values on the grid of the readings, grid / (2 sqrt(pi) s).

    Rows that are copies themselves count once, as they say nothing about chance.
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
