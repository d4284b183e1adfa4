"""What would explain best that a group does not agree: one reading that is off, all readings from some one on, or two
clusters.

Readings in columns come first, then those of the long file. Which of these were taken first is not known, so that a
gauge which moved is looked for within each of the two, and between them.

Each explanation is measured by the square root of the sum of squares that it removes, in which every item counts once.
"""

from collections.abc import Iterator, Sequence
from itertools import accumulate
from math import inf, sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.doubts.scatter import Sample

FEWEST: Final = 2  # items on either side of a step, and in each of two clusters
CLEAR: Final = 0.5  # the gap between two clusters is more than this share of the distance of their centres
_ORDERED: Final = 1.02  # clusters that follow the order of measuring are a step


class Explanation(NamedTuple):
    """`code`: "off", "step" or "clusters". `members` are the numbers of the readings that are off, `shift_nm` by how
    much, against a `centre_nm` of the others; `per_standard` is the standard deviation of the shift over that of a
    reading, `gap_nm` is between the two clusters."""

    code: str
    members: tuple[int, ...]
    shift_nm: float
    centre_nm: float
    per_standard: float
    gap_nm: float = inf

    @property
    def removes_nm(self) -> float:
        return abs(self.shift_nm) / self.per_standard


def best(sample: Sample, in_columns: int, *, ordered: bool) -> Explanation | None:
    """The best explanation, if the sample has two items or more; steps and clusters only if `ordered`. The first
    `in_columns` readings are in columns."""
    count = len(set(sample.items))
    if count < 2:
        return None
    found = [_single(sample, count)]
    if ordered and count >= 2 * FEWEST:
        found += [*_step(sample, in_columns), *_clusters(sample, count)]
    single = found[0].removes_nm
    step = next((e.removes_nm for e in found if e.code == "step"), 0.0)
    least = {"off": 0.0, "step": single, "clusters": max(single, _ORDERED * step)}
    return max((e for e in found if e.removes_nm >= least[e.code]), key=lambda e: e.removes_nm)


def without(sample: Sample, found: Explanation) -> Sample:
    """The sample as it would be without the mistake."""
    members = set(found.members)
    if found.code == "off":
        left = [(v, i) for k, (v, i) in enumerate(zip(*sample, strict=True)) if k not in members]
        return Sample([v for v, _ in left], [i for _, i in left])
    return Sample([v - found.shift_nm if k in members else v for k, v in enumerate(sample.values)], sample.items)


def _single(sample: Sample, count: int) -> Explanation:
    """The one reading that is furthest from the mean of the other items."""
    sums, numbers = [0.0] * (max(sample.items) + 1), [0] * (max(sample.items) + 1)
    for value, item in zip(*sample, strict=True):
        sums[item] += value
        numbers[item] += 1
    means = [s / n if n else 0.0 for s, n in zip(sums, numbers, strict=True)]
    total = sum(means)
    centres = [(total - means[item]) / (count - 1) for item in sample.items]
    at = max(range(len(centres)), key=lambda k: abs(sample.values[k] - centres[k]))
    return Explanation("off", (at,), sample.values[at] - centres[at], centres[at], sqrt(count / (count - 1)))


def _step(sample: Sample, in_columns: int) -> Iterator[Explanation]:
    """The reading from which on those that were entered like it differ most from all others."""
    columns = Sample(sample.values[:in_columns], sample.items[:in_columns])
    log = Sample(sample.values[in_columns:], sample.items[in_columns:])
    found = [
        (abs(shift) / per_standard, -start - k, start + len(some.values), shift, low, per_standard)
        for start, some, others in ((0, columns, log), (in_columns, log, columns))
        for k, shift, low, per_standard in _steps(some, others)
        if k or start  # of the columns and the long file as a whole the latter is called off
    ]
    if found:
        _, first, end, shift, low, per_standard = max(found)
        yield Explanation("step", tuple(range(-first, end)), shift, low, per_standard)


def _steps(some: Sample, others: Sample) -> Iterator[tuple[int, float, float, float]]:
    """Each reading of `some` from which on all may be off: its number, by how much, the mean of those before it and the
    `others`, and the standard deviation of the shift over that of a reading."""
    before, after = _running(some), [*reversed(_running(Sample(some.values[::-1], some.items[::-1])))]
    rest, n_rest = _running(others)[-1] if others.values else (0.0, 0)
    for k, (high, n_high) in enumerate(after):
        low, n_low = before[k - 1] if k else (0.0, 0)
        n = n_low + n_rest
        if n >= FEWEST and n_high >= FEWEST and (n_low >= FEWEST or k == 0):
            low = (low * n_low + rest * n_rest) / n
            yield k, high - low, low, sqrt(1 / n + 1 / n_high)


def _running(sample: Sample) -> list[tuple[float, int]]:
    """After each reading: the mean of all items so far, each by the mean of its readings, and how many there are."""
    if len(set(sample.items)) == len(sample.items):  # nearly always, and there may be a million
        return [(total / n, n) for n, total in enumerate(accumulate(sample.values), 1)]
    sums: dict[int, tuple[float, int]] = {}
    total, told = 0.0, []
    for value, item in zip(*sample, strict=True):
        s, n = sums.get(item, (0.0, 0))
        sums[item] = s + value, n + 1
        total += (s + value) / (n + 1) - (s / n if n else 0.0)
        told.append((total / len(sums), len(sums)))
    return told


def _clusters(sample: Sample, count: int) -> Iterator[Explanation]:
    """Two clusters of items with a clear gap between them; those that are fewer, or come later, are called off."""
    readings: dict[int, list[int]] = {}
    for k, item in enumerate(sample.items):
        readings.setdefault(item, []).append(k)
    means = {item: sum(sample.values[k] for k in some) / len(some) for item, some in readings.items()}
    order = sorted(means, key=means.__getitem__)
    sums = list(accumulate(means[item] for item in order))
    found: tuple[float, int, float, float] | None = None
    for low in range(FEWEST, count - FEWEST + 1):
        jump = (sums[-1] - sums[low - 1]) / (count - low) - sums[low - 1] / low
        removes = jump * sqrt(low * (count - low) / count)
        gap = means[order[low]] - means[order[low - 1]]
        if gap > CLEAR * jump and (found is None or removes > found[0]):
            found = removes, low, jump, gap
    if found is None:
        return
    _, low, jump, gap = found
    below, above = set(order[:low]), set(order[low:])
    off_above = (len(above), -max(above)) < (len(below), -max(below))
    off, rest = (above, below) if off_above else (below, above)
    members = tuple(k for k, item in enumerate(sample.items) if item in off)
    centre = sum(means[item] for item in rest) / len(rest)
    shift = jump if off_above else -jump
    yield Explanation("clusters", members, shift, centre, sqrt(count / (low * (count - low))), gap)


def sum_of_squares(values: Sequence[float]) -> float:
    """About their mean."""
    mean = sum(values) / len(values)
    return sum((v - mean) ** 2 for v in values)
