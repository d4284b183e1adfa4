"""Which readings of a group do not agree with the others, and where in the order of measuring a group steps.

Backward elimination: find the one reading that is off, or the one step from some reading on, that reduces the sum of
squares most. While it reduces it by more than chance would, accept it and judge the rest again.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import pairwise
from math import sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.doubts.groups import Group
from fitmatch.gauging.doubts.scatter import Scale
from fitmatch.gauging.uncertainty.student import t_quantile
from fitmatch.records.job import Job

# One in so many readings without a mistake is doubted, if only one test looks at it (two-sided).
_ONE_IN: Final = 8_000


class Odd(NamedTuple):
    """One reading against the `centre` of the others; `standard_nm` is that of the difference if nothing is wrong.
    `code`: "off", "off-its-repeats", or "step" where all readings from this one on are off."""

    at: int
    centre_nm: float
    standard_nm: float
    code: str = "off"


def threshold(scale: Scale) -> float:
    """How many standard deviations off a reading must be to be doubted."""
    return t_quantile(scale.degrees_of_freedom, 1.0 - 0.5 / _ONE_IN)


def odd_ones(values: Sequence[int], scale: Scale, *, steps: bool) -> list[Odd]:
    """The readings of one group that are off, and with `steps` the places where it steps, worst first."""
    limit = threshold(scale) * scale.standard_nm
    total = sum(values)
    mean = total / len(values)
    if not steps and max(map(abs, (max(values) - mean, min(values) - mean))) <= limit * sqrt(1 - 1 / len(values)):
        return []  # nearly always, and there may be thousands of groups
    left = list(enumerate(map(float, values)))
    found: list[Odd] = []
    while len(left) > 1 and 2 * len(found) <= len(values):
        n = len(left)
        mean = sum(v for _, v in left) / n
        at, value = max(enumerate(v for _, v in left), key=lambda item: abs(item[1] - mean))
        saved = abs(value - mean) * sqrt(n / (n - 1))
        split, jump, by_step = _best_step(left, mean) if steps and n > 3 else (0, 0.0, 0.0)
        if max(saved, by_step) <= limit:
            break
        if by_step > saved * (1 + 1e-9):
            index = left[split][0]
            before = sum(v for _, v in left[:split]) / split
            spread = scale.standard_nm * sqrt(1 / split + 1 / (n - split))
            found.append(Odd(index, before, spread, "step"))
            left = [(i, v - jump if k >= split else v) for k, (i, v) in enumerate(left)]
            continue
        index = left[at][0]
        centre = (mean * n - value) / (n - 1)
        found.append(Odd(index, centre, scale.standard_nm * sqrt(n / (n - 1))))
        if n == 2:  # either may be wrong
            found.append(Odd(left[1 - at][0], value, scale.standard_nm * sqrt(2)))
        del left[at]
    return found


def _best_step(left: Sequence[tuple[int, float]], mean: float) -> tuple[int, float, float]:
    """The split with at least two readings on each side that explains most: where, its jump, and the square root of the
    sum of squares that it removes."""
    n = len(left)
    best = (0, 0.0, 0.0)
    running = left[0][1] - mean
    for split in range(2, n - 1):
        running += left[split - 1][1] - mean
        below = running / split
        jump = -running / (n - split) - below
        saved = abs(jump) * sqrt(split * (n - split) / n)
        if saved > best[2]:
            best = (split, jump, saved)
    return best


def clusters(values: Sequence[int], gap_nm: float) -> list[list[int]]:
    """The indices of values, split where sorted neighbours are further apart than `gap_nm`, in their given order; a
    cluster of fewer than three stays with the nearest larger one, as its readings may be mistakes."""
    order = sorted(range(len(values)), key=values.__getitem__)
    parts: list[list[int]] = [[order[0]]]
    for before, index in pairwise(order):
        if values[index] - values[before] > gap_nm:
            parts.append([])
        parts[-1].append(index)
    large = [part for part in parts if len(part) >= 3]
    if len(large) < 2:
        return [list(range(len(values)))]
    for part in parts:
        if len(part) < 3:
            nearest = min(large, key=lambda some: abs(values[some[len(some) // 2]] - values[part[0]]))
            nearest.extend(part)
    return [sorted(part) for part in large]


def outside(job: Job, groups: Sequence[Group], scales: Mapping[tuple[str, bool], Scale]) -> Iterator[tuple[Group, Odd]]:
    """Readings further outside their drawing limits than scatter explains. They are expected near the middle of these;
    a journal ground to an undersize has other limits, which the job does not give."""
    for group in groups:
        band = job.drawing.get(group.key.kind, {}).get(group.key.feature)
        if band is None or group.key.label or not group.at_crown:
            continue
        scale = scales[group.key.feature, True]
        reach = threshold(scale) * scale.standard_nm
        middle = (band.low_nm + band.high_nm) / 2
        spread = max(scale.standard_nm, (band.high_nm - band.low_nm) / 12**0.5)
        for i, value in enumerate(group.values):
            if not band.low_nm - reach <= value <= band.high_nm + reach:
                yield group, Odd(i, middle, spread)
