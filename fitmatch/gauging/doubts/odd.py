"""Which readings of a group do not agree with the others.

The best explanation of a group is accepted while it explains more than chance would, and the rest is judged again. What
the parts themselves explain is no mistake: see `differences`.
"""

from collections.abc import Iterator, Mapping, Sequence
from math import sqrt
from typing import NamedTuple

from fitmatch.gauging.doubts.differences import Differences
from fitmatch.gauging.doubts.explanations import Explanation, best, sum_of_squares, without
from fitmatch.gauging.doubts.groups import Group
from fitmatch.gauging.doubts.scatter import Sample, Scale, Scatter
from fitmatch.records.job import Job

Scales = Mapping[tuple[str, bool], Scale]


class Odd(NamedTuple):
    """The readings `members` of a group against the `centre_nm` of the others, off by `error_nm`; `standard_nm` is that
    of the difference if nothing is wrong. `code`: "off", "off-its-repeats", or "step" and "clusters", where many
    are off by the same."""

    members: tuple[int, ...]
    error_nm: float
    centre_nm: float
    standard_nm: float
    code: str = "off"


def odd_ones(job: Job, groups: Sequence[Group]) -> tuple[list[tuple[Group, Odd]], Scales]:
    """What is off in every group, and the scale of each feature, at the crown and away from it."""
    found: list[tuple[Group, Odd]] = []
    scales: dict[tuple[str, bool], Scale] = {}
    alike: dict[tuple[str, bool], list[Group]] = {}
    for group in groups:
        alike.setdefault((group.key.feature, group.at_crown), []).append(group)
    differences = Differences(job, groups)
    for (feature, crown), some in alike.items():
        scatter = Scatter(feature, [Sample(group.values, group.items) for group in some])
        scales[feature, crown] = scatter.scale
        for at, group in enumerate(some):
            found += [(group, odd) for odd in _odd_of(group, at, scatter, differences)]
    return found, scales


def _odd_of(group: Group, at: int, scatter: Scatter, differences: Differences) -> Iterator[Odd]:
    if group.count < 2:
        return
    left = Sample(group.values, group.items)
    numbers = list(range(len(group.entries)))  # of the readings that are left
    least, spent = scatter.least(at).limit_nm, 0
    for _ in range(group.count):
        if sum_of_squares(left.values) <= least**2:
            return  # nearly always, and there may be thousands of groups
        one = best(left, ordered=group.at_crown)
        if one is None:
            return
        rest = without(left, one)
        # Of two items either may be wrong: neither says how far the other ought to scatter.
        judged = left if len(set(left.items)) == 2 else rest
        scale = scatter.instead(at, judged, spent + (one.code != "off"))
        if one.removes_nm <= scale.limit_nm:
            return
        members = tuple(numbers[k] for k in one.members)
        if not differences.explain(group, members, one):
            yield Odd(members, one.shift_nm, one.centre_nm, scale.standard_nm * one.per_standard, one.code)
            if len(set(left.items)) == 2:
                yield from _others_of_two(numbers, left, one, scale)
        if one.code == "off":
            numbers = [n for n in numbers if n not in members]
        else:
            spent += 1
        left = rest


def _others_of_two(numbers: Sequence[int], left: Sample, one: Explanation, scale: Scale) -> Iterator[Odd]:
    at = next(k for k, item in enumerate(left.items) if item != left.items[one.members[0]])
    value = left.values[one.members[0]]
    yield Odd((numbers[at],), left.values[at] - value, value, scale.standard_nm * sqrt(2))


def clusters(values: Sequence[int], gap_nm: float) -> list[list[int]]:
    """The indices of values, split where sorted neighbours are further apart than `gap_nm`, in their given order; a
    single one stays with the nearest cluster, as it may be a mistake."""
    order = sorted(range(len(values)), key=values.__getitem__)
    parts: list[list[int]] = [[order[0]]]
    for before, index in zip(order, order[1:], strict=False):
        if values[index] - values[before] > gap_nm:
            parts.append([])
        parts[-1].append(index)
    large = [part for part in parts if len(part) > 1]
    if len(large) < 2:
        return [list(range(len(values)))]
    for part in parts:
        if len(part) == 1:
            nearest = min(large, key=lambda some: abs(values[some[len(some) // 2]] - values[part[0]]))
            nearest.extend(part)
    return [sorted(part) for part in large]


def outside(job: Job, groups: Sequence[Group], scales: Scales) -> Iterator[tuple[Group, Odd]]:
    """Readings further outside their drawing limits than scatter explains. They are expected near the middle of these;
    a journal ground to an undersize has other limits, which the job does not give."""
    for group in groups:
        band = job.drawing.get(group.key.kind, {}).get(group.key.feature)
        if band is None or group.key.label or not group.at_crown:
            continue
        scale = scales[group.key.feature, True]
        middle = (band.low_nm + band.high_nm) / 2
        spread = max(scale.standard_nm, (band.high_nm - band.low_nm) / 12**0.5)
        for i, value in enumerate(group.values):
            if not band.low_nm - scale.limit_nm <= value <= band.high_nm + scale.limit_nm:
                yield group, Odd((i,), value - middle, middle, spread)
