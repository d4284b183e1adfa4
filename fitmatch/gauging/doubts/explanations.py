"""What would explain best that a group does not agree: one reading that is off, all readings from some one on, or two
clusters.

Each explanation is measured by the square root of the sum of squares that it removes, in which every item counts once.
"""

from collections.abc import Iterator, Sequence
from itertools import accumulate
from math import inf, sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.doubts.scatter import Sample

FEWEST: Final = 2  # items on either side of a step, and in each of two clusters
_CLEAR: Final = 0.5  # the gap between two clusters is more than this share of the distance of their centres
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


def best(sample: Sample, *, ordered: bool) -> Explanation | None:
    """The best explanation, if the sample has two items or more; steps and clusters only if `ordered`."""
    count = len(set(sample.items))
    if count < 2:
        return None
    found = [_single(sample, count)]
    if ordered and count >= 2 * FEWEST:
        found += [*_step(sample, count), *_clusters(sample, count)]
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


def _step(sample: Sample, count: int) -> Iterator[Explanation]:
    """The reading from which on all others differ most from those before."""
    items = sample.items
    before, after = _running(sample), [*reversed(_running(Sample(sample.values[::-1], items[::-1])))]
    found: Explanation | None = None
    for k in range(1, len(items)):
        (low, n_low), (high, n_high) = before[k - 1], after[k]
        if n_low < FEWEST or n_high < FEWEST:
            continue
        some = Explanation("step", (k,), high - low, low, sqrt(1 / n_low + 1 / n_high))
        if found is None or some.removes_nm > found.removes_nm:
            found = some
    if found is not None:
        yield found._replace(members=tuple(range(found.members[0], len(items))))


def _running(sample: Sample) -> list[tuple[float, int]]:
    """After each reading: the mean of all items so far, each by the mean of its readings, and how many there are."""
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
        if gap > _CLEAR * jump and (found is None or removes > found[0]):
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
