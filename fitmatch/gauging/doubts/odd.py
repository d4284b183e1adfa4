"""Which readings of a group do not agree with the others.

The best explanation of a group is accepted while it explains more than chance would, and the rest is judged again.
"""

from collections.abc import Iterator, Mapping, Sequence
from math import sqrt
from statistics import fmean
from typing import Final, NamedTuple

from fitmatch.gauging.doubts.differences import boxes_apart
from fitmatch.gauging.doubts.explanations import Explanation, best, sum_of_squares, without
from fitmatch.gauging.doubts.groups import Entry, Group
from fitmatch.gauging.doubts.scatter import Sample, Scale, Scatter, care_of
from fitmatch.gauging.doubts.series import Series
from fitmatch.records.job import Job
from fitmatch.stages import Ask, asking

_CLEAR_GAP: Final = 3.0  # standard deviations between two clusters; chance leaves no such gap among many readings
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


def odd_ones(groups: Sequence[Group], ask: Ask) -> tuple[list[tuple[Group, Odd]], Scales]:
    """What is off in every group, and the scale of each feature, at the crown and away from it."""
    found: list[tuple[Group, Odd]] = []
    scales: dict[tuple[str, bool], Scale] = {}
    alike: dict[tuple[str, bool], list[Group]] = {}
    for group in asking(groups, ask, 1):
        alike.setdefault((group.key.feature, group.at_crown), []).append(group)
    care = care_of((g.key.feature, Sample(g.values, g.items)) for g in asking(groups, ask, 1) if g.at_crown)
    for (feature, crown), some in alike.items():
        scatter = Scatter(feature, [Sample(group.values, group.items) for group in asking(some, ask, 1)], care)
        scales[feature, crown] = scatter.scale
        for at, group in enumerate(some):
            found += [(group, odd) for odd in _odd_of(group, at, scatter, ask)]
    return found, scales


def _odd_of(group: Group, at: int, scatter: Scatter, ask: Ask) -> Iterator[Odd]:
    if group.count < 2:
        return
    left = Sample(group.values, group.items)
    numbers = list(range(len(group.entries)))  # of the readings that are left
    least, spent = scatter.least(at).limit_nm, 0
    for _ in asking(range(group.count), ask, 1):
        if sum_of_squares(left.values) <= least**2:
            return  # nearly always, and there may be thousands of groups
        in_columns = sum(not group.entries[n].logged for n in numbers)
        one = best(left, in_columns, ordered=group.at_crown)
        if one is None:
            return
        rest = without(left, one)
        # Of two items either may be wrong: neither says how far the other ought to scatter.
        judged = left if len(set(left.items)) == 2 else rest
        scale = scatter.instead(at, scatter.core_of(judged), spent + (one.code != "off"))
        if one.removes_nm <= scale.limit_nm or one.gap_nm <= _CLEAR_GAP * scale.standard_nm:
            return
        members = tuple(numbers[k] for k in one.members)
        if one.code == "off" or not boxes_apart(group, members):
            one = _against_its_own(left, one)
            yield Odd(members, one.shift_nm, one.centre_nm, scale.standard_nm * one.per_standard, one.code)
            if len(set(left.items)) == 2:
                yield from _others_of_two(numbers, left, one, scale)
        left = rest
        if one.code != "off":
            spent += 1
            continue
        numbers = [n for n in numbers if n not in members]
        if len(set(left.items)) == len(left.items):  # nearly always
            in_columns = sum(not group.entries[n].logged for n in numbers)
            series = Series(left, in_columns, ordered=group.at_crown)
            for one, standard_nm in _one_by_one(series, at, scatter, spent, ask):
                yield Odd((numbers[one.members[0]],), one.shift_nm, one.centre_nm, standard_nm)
            left = Sample([left.values[k] for k in series.left], [left.items[k] for k in series.left])
            numbers = [numbers[k] for k in series.left]


def _one_by_one(series: Series, at: int, scatter: Scatter, spent: int, ask: Ask) -> Iterator[tuple[Explanation, float]]:
    """Further readings that are off, each with the standard deviation of its shift, taken out of the series."""
    least = scatter.least(at).limit_nm
    while series.sum_of_squares > least**2 and (one := series.single()) is not None:
        ask()
        (k,) = one.members
        scale = scatter.instead(at, series.core_without(k, scatter.reach_nm), spent)
        if one.removes_nm <= scale.limit_nm:
            return
        yield one, scale.standard_nm * one.per_standard
        series.drop(k)


def _against_its_own(left: Sample, one: Explanation) -> Explanation:
    """One reading that is off, compared with the other readings of its item if those agree with the group."""
    at = one.members[0]
    own = [v for k, (v, i) in enumerate(zip(*left, strict=True)) if i == left.items[at] and k != at]
    if one.code != "off" or not own or abs(fmean(own) - one.centre_nm) > abs(one.shift_nm) / 2:
        return one
    return one._replace(centre_nm=fmean(own), shift_nm=left.values[at] - fmean(own))


def _others_of_two(numbers: Sequence[int], left: Sample, one: Explanation, scale: Scale) -> Iterator[Odd]:
    at = next(k for k, item in enumerate(left.items) if item != left.items[one.members[0]])
    value = left.values[one.members[0]]
    yield Odd((numbers[at],), left.values[at] - value, value, scale.standard_nm * sqrt(2))


def told_apart(groups: Sequence[Group], odd: Sequence[tuple[Group, Odd]]) -> list[Group]:
    """The groups, each in parts where many readings were found to be off by the same: either side may be the right one,
    and what follows from that is not another mistake."""
    shifts: dict[int, list[set[int]]] = {}
    for group, one in odd:
        if len({group.items[k] for k in one.members}) > 1:
            shifts.setdefault(id(group), []).append(set(one.members))
    found: list[Group] = []
    for group in groups:
        if id(group) not in shifts:
            found.append(group)
            continue
        parts: dict[tuple[bool, ...], list[Entry]] = {}
        for k, entry in enumerate(group.entries):
            parts.setdefault(tuple(k in members for members in shifts[id(group)]), []).append(entry)
        found += [group] if len(parts) == 1 else [Group(group.key, part) for part in parts.values()]
    return found


def outside(job: Job, groups: Sequence[Group], scales: Scales) -> Iterator[tuple[Group, Odd]]:
    """Readings further outside their drawing limits than scatter explains. They are expected near the middle of these;
    a journal ground to an undersize has other limits, which the job does not give."""
    for group in groups:
        band = job.drawing.get(group.key.kind, {}).get(group.key.feature)
        if band is None or group.key.label or not group.at_crown:
            continue
        scale = scales[group.key.feature, True]
        low, high = band.low_nm - scale.limit_nm, band.high_nm + scale.limit_nm
        if low <= min(group.values) and max(group.values) <= high:
            continue  # nearly always, and there may be a million readings
        middle = (band.low_nm + band.high_nm) / 2
        spread = max(scale.standard_nm, (band.high_nm - band.low_nm) / 12**0.5)
        for i, value in enumerate(group.values):
            if not low <= value <= high:
                yield group, Odd((i,), value - middle, middle, spread)
