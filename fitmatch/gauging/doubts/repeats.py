"""Repeats of one place that disagree, and rows that look copied."""

from collections.abc import Iterator, Mapping, Sequence
from math import gcd, pi, sqrt
from statistics import fmean, median
from typing import Final

from fitmatch.facts import Fact
from fitmatch.gauging.doubts.explanations import sum_of_squares
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
    """Repeats that do not agree. Of two, and of two people, the one further from its group is doubted."""
    places: list[tuple[Group, list[int]]] = []  # the repeats of each item at a place, where it has more than one
    for group in groups:
        repeats: dict[tuple[object, ...], list[int]] = {}
        for k, entry in enumerate(group.entries):
            reading = entry.reading
            if reading.station is not None or reading.angle is not None:  # without a place it has no repeats
                repeats.setdefault((entry.item, reading.station, reading.angle), []).append(k)
        places += [(group, some) for some in repeats.values() if len(some) > 1]
    read = [[group.values[k] for k in some] for group, some in places]
    if not read:
        return
    distances = [abs(value - middle) for values in read for middle in (median(values),) for value in values]
    reach = 4 * max(_USUAL_NM, 1.5 * median(distances))
    core = [_squares(values) if max(values) - min(values) <= reach else (0.0, 0) for values in read]
    squares = _USUAL_WEIGHT * _USUAL_NM**2 + sum(squares for squares, _ in core)
    freedom = _USUAL_WEIGHT + sum(freedom for _, freedom in core)
    for at, (group, some) in enumerate(places):
        off = _people(group, some) or [_worst(group, some)]
        parts = [[group.values[k] for k in part] for part in (off, sorted({*some}.difference(off)))]
        left = [_squares(values) for values in parts]  # how far they scatter if the mistake is taken away
        weight = freedom - core[at][1] + sum(n for _, n in left)
        scale = Scale(sqrt((squares - core[at][0] + sum(s for s, _ in left)) / weight), weight)
        centre = fmean(parts[1])
        error = fmean(parts[0]) - centre
        standard = sqrt(1 / len(parts[0]) + 1 / len(parts[1]))
        if abs(error) > scale.limit_nm * standard:
            yield group, Odd(tuple(off), error, centre, scale.standard_nm * standard, "off-its-repeats")


def _squares(values: Sequence[int]) -> tuple[float, int]:
    """The sum of squares about their mean, and its degrees of freedom."""
    return sum_of_squares(values), len(values) - 1


def _worst(group: Group, some: Sequence[int]) -> int:
    """The one reading that is furthest from its repeats."""
    middle = group.middle if len(some) == 2 else median(group.values[k] for k in some)
    return max(some, key=lambda k: abs(group.values[k] - middle))


def _people(group: Group, some: Sequence[int]) -> list[int]:
    """If two people read one place and differ by more than the readings of each do: those of the one further from the
    group's other items, or of the second if there are none."""
    first = [k for k in some if group.entries[k].by == group.entries[some[0]].by]
    second = [k for k in some if group.entries[k].by != group.entries[some[0]].by]
    if not second or len({group.entries[k].by for k in some} - {""}) != 2:
        return []
    low, high = sorted(([group.values[k] for k in part] for part in (first, second)), key=median)
    if min(high) - max(low) <= max(max(v) - min(v) for v in (low, high)):
        return []
    others = [v for v, item in zip(group.values, group.items, strict=True) if item != group.items[some[0]]]
    if not others:
        return second
    middle = median(others)
    return max((second, first), key=lambda part: abs(median(group.values[k] for k in part) - middle))


def copied(job: Job, groups: Sequence[Group], odd: Sequence[tuple[Group, Odd]]) -> Iterator[Finding]:
    """Rows that look copied from another, by their first readings.

    Rows must agree in at least three readings, and in so many that two of the kind would hardly ever agree by chance.
    `odd`: the readings that look wrong, which say nothing about chance.
    """
    rows: dict[Key, dict[ItemKey, list[Entry]]] = {}
    parts: dict[tuple[str, ItemKey], int] = {}  # of a feature and its item: the number of its group
    for at, group in enumerate(groups):
        items = rows.setdefault(group.key._replace(angle=None), {})
        for entry in group.entries:
            items.setdefault(entry.item, []).append(entry)
            parts.setdefault((group.key.feature, entry.item), at)
    pins = {p.name: p.pin for p in job.positions}
    wrong = {(group.key.feature, group.entries[k].item) for group, one in odd for k in one.members}
    for key, items in rows.items():
        full = {item: some for item, some in items.items() if len(some) >= _FEWEST_TO_COPY}
        read = {item: tuple(e.reading.nm for e in some) for item, some in full.items()}
        good = {values: parts[key.feature, item] for item, values in read.items() if (key.feature, item) not in wrong}
        if len(full) * _chance(good) > _CHANCE_OF_COPIES:
            continue
        seen: dict[tuple[int, ...], Entry] = {}
        for item, (entry, *_) in full.items():
            first = seen.setdefault(read[item], entry)
            pin = pins.get(entry.name) if key.feature == "journal" else None
            if first is not entry and (pin is None or pin != pins.get(first.name)):
                yield entry, key.feature, Fact("copied", {"other": first.name}), ("copied-row",)


def _chance(rows: Mapping[tuple[int, ...], int]) -> float:
    """The chance that two rows agree, each given with the group that it scatters in: of their first readings times
    those of the differences from one to the next, each that of two normal values on the grid of the readings,
    grid / (2 sqrt(pi) s).

    Rows that are copies themselves count once, as they say nothing about chance.
    """
    if not rows:
        return 1.0
    grid = gcd(*(value for row in rows for value in row))
    chance = 1.0
    for k in range(min(map(len, rows))):
        steps: dict[int, list[int]] = {}
        for row, part in rows.items():
            steps.setdefault(part, []).append(row[k] - (row[k - 1] if k else 0))
        squares, freedom = map(sum, zip(*map(_squares, steps.values()), strict=True))
        chance *= min(1.0, grid / (2 * sqrt(pi * squares / freedom))) if squares else 1.0
    return chance
