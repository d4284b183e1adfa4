"""Differences between parts that are no mistakes: what the drawing allows, journals ground to two undersizes, shells
for both. Readings that such a difference explains are groups of their own."""

from bisect import bisect_right, insort
from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from statistics import median
from typing import Final

from fitmatch.gauging.causes.grinds import CLOSE_NM, is_grind
from fitmatch.gauging.doubts.groups import Group
from fitmatch.gauging.doubts.scatter import USUAL_NM
from fitmatch.records.job import Job
from fitmatch.stages import Ask, asking

# Between two clusters, in usual standard deviations: undersizes are far apart, parts within the drawing need not be.
_GAPS: Final = (20.0, 5.0)


def parted(job: Job, groups: Sequence[Group], ask: Ask) -> Sequence[Group]:
    """Every group, split between clusters whose difference is explained."""
    journals = [g for g in groups if g.key.feature == "journal"]
    for gap in _GAPS:
        groups = list(_parted(job, asking(groups, ask, 1), gap, journals))
    return groups


def _parted(job: Job, groups: Iterable[Group], gap: float, journals: Sequence[Group]) -> Iterator[Group]:
    for group in groups:
        parts = clusters(group, gap * USUAL_NM[group.key.feature]) if group.at_crown else [[]]
        if len(parts) == 1:
            yield group
            continue
        first, *others = sorted(parts, key=len, reverse=True)
        alike = [first]
        strange: list[list[int]] = []
        for part in others:
            fits = any(_explained(job, group, part, one, journals) for one in alike)
            (alike if fits else strange).append(part)
        centres = [_centre(group, part) for part in alike]
        for part in strange:  # it stays with those that it is nearest to, and is judged among them
            centre = _centre(group, part)
            at = min(range(len(centres)), key=lambda k: abs(centres[k] - centre))
            alike[at] = alike[at] + part
        for part in alike:
            yield Group(group.key, [group.entries[k] for k in sorted(part)])


def clusters(group: Group, gap_nm: float) -> list[list[int]]:
    """The numbers of the readings, split where sorted items are further apart than `gap_nm`; a single item
    stays with the nearest cluster, as it may be a mistake."""
    if group.count < 4 or max(group.values) - min(group.values) <= gap_nm:
        return [list(range(len(group.values)))]
    centre = median(group.values)  # of several readings of an item the wrong one is further out
    middle = {
        item: min((group.values[k] for k in some), key=lambda v: abs(v - centre))
        for item, some in enumerate(group.readings)
    }
    order = sorted(middle, key=middle.__getitem__)
    parts = [[order[0]]]
    for before, item in pairwise(order):
        if middle[item] - middle[before] > gap_nm:
            parts.append([])
        parts[-1].append(item)
    large = [part for part in parts if len(part) > 1] or [order]
    found = [sorted(middle[item] for item in part) for part in large]
    for part in parts:
        if len(part) == 1 and len(large[0]) < len(order):
            value = middle[part[0]]
            at = min(range(len(found)), key=lambda n: _distance(found[n], value))
            large[at].append(part[0])
            insort(found[at], value)
    return [[k for item in part for k in group.readings[item]] for part in large]


def _distance(values: Sequence[float], value: float) -> float:
    """From a value to the nearest of these, which are sorted."""
    at = bisect_right(values, value)
    return min(abs(value - other) for other in values[max(0, at - 1) : at + 1])


def _centre(group: Group, some: Sequence[int]) -> float:
    return median(group.values[k] for k in some)


def _explained(job: Job, group: Group, one: Sequence[int], other: Sequence[int], journals: Sequence[Group]) -> bool:
    """Whether two clusters of a group may differ as they do."""
    key = group.key
    low, high = sorted((_centre(group, one), _centre(group, other)))
    band = job.drawing.get(key.kind, {}).get(key.feature)
    if band is not None and not key.label and round(low) in band and round(high) in band:
        return True
    if key.feature == "journal":
        return is_grind(high - low)
    return key.feature == "wall" and is_grind(2 * (high - low)) and _ground_apart(journals, key.kind, 2 * (high - low))


def _ground_apart(journals: Sequence[Group], kind: str, nm: float) -> bool:
    """Whether two journals of the kind differ by so much."""
    sizes = sorted(value for g in journals if g.key.kind == kind for value in g.values)
    above = ((a + nm + CLOSE_NM, bisect_right(sizes, a + nm - CLOSE_NM)) for a in sizes)
    return any(at < len(sizes) and sizes[at] < end for end, at in above)


def boxes_apart(group: Group, members: Sequence[int]) -> bool:
    """Whether shells that are off fill other boxes than the rest, and no label says that these ought to agree."""
    if group.key.feature != "wall" or group.key.label:
        return False
    boxes = {group.entries[k].item[0] for k in members}
    return not boxes & {entry.item[0] for k, entry in enumerate(group.entries) if k not in members}
