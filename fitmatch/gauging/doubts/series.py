"""A group of items read once each, from which the readings that are off are taken one after another.

In a large group hundreds may be off, and going over all of it for each would take minutes. The reading furthest from
the mean of the others is always the lowest or the highest, so that what is left is a part of the sorted readings, with
sums known in advance. Whether a step or two clusters explain more is only looked into where bounds leave that open.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from itertools import accumulate
from math import isqrt, sqrt
from typing import NamedTuple

from fitmatch.gauging.doubts.explanations import CLEAR, FEWEST, Explanation
from fitmatch.gauging.doubts.scatter import Sample


class _Block(NamedTuple):
    """Neighbouring readings in the order of measuring: those left, the sum of them less the median, and the least and
    the most that the last of them, however many, add up to."""

    left: list[int]
    total: float
    least: float
    most: float


class Series:
    """What is left of a sample in which every item has one reading. The first `in_columns` are in columns; steps and
    clusters are possible only if `ordered`."""

    def __init__(self, sample: Sample, in_columns: int, *, ordered: bool) -> None:
        self._sample = sample
        self._ordered = ordered
        values, numbers = sample.values, range(len(sample.values))
        # Of readings that are equally far off the first is the one that is called off.
        self._from_below = sorted(numbers, key=lambda k: values[k])
        self._from_above = sorted(numbers, key=lambda k: -values[k])
        self._sorted = [values[k] for k in self._from_below]
        self._low, self._high = 0, len(values)
        self._median = self._sorted[len(values) // 2]
        self._sums = [0, *accumulate(self._sorted)]
        self._off_sums = [0, *accumulate(v - self._median for v in self._sorted)]
        self._squares = [0, *accumulate((v - self._median) ** 2 for v in self._sorted)]
        self._dropped: set[int] = set()
        if ordered:
            gaps = (i for i in range(1, len(values)) if self._sorted[i] > self._sorted[i - 1])
            self._gaps = sorted(gaps, key=lambda i: self._sorted[i - 1] - self._sorted[i])
            size, ends = max(8, isqrt(len(values)) // 2), (in_columns, len(values))
            self._ways = [
                [self._block([*range(k, min(k + size, end))]) for k in range(start, end, size)]
                for start, end in zip((0, in_columns), ends, strict=True)
            ]
            blocks = ((way, at, block) for way, some in enumerate(self._ways) for at, block in enumerate(some))
            self._at = {k: (way, at) for way, at, block in blocks for k in block.left}

    @property
    def count(self) -> int:
        """How many readings are left."""
        return self._high - self._low

    @property
    def left(self) -> list[int]:
        """Their numbers in the sample."""
        return [k for k in range(len(self._sample.values)) if k not in self._dropped]

    @property
    def sum_of_squares(self) -> float:
        """About their mean."""
        return self._about_mean(self._low, self._high)

    def single(self) -> Explanation | None:
        """The one reading that is furthest from the mean of the others; None where a step or two clusters explain more,
        or where so few are left that this has to be looked at in another way."""
        if self.count <= 2 * FEWEST:
            return None
        values, count = self._sample.values, self.count
        total = self._sums[self._high] - self._sums[self._low]
        ends = self._from_below[self._low], self._from_above[len(values) - self._high]
        centres = {k: (total - values[k]) / (count - 1) for k in ends}
        at = min(ends, key=lambda k: (-abs(values[k] - centres[k]), k))
        found = Explanation("off", (at,), values[at] - centres[at], centres[at], sqrt(count / (count - 1)))
        more = self._ordered and (self._step_beyond(found.removes_nm) or self._clusters_beyond(found.removes_nm))
        return None if more else found

    def core_without(self, k: int, reach_nm: float) -> tuple[float, int]:
        """Of the readings but the number `k`, the lowest or the highest, those within reach of their median: the sum of
        squares about their mean, and the degrees of freedom."""
        low, high = self._range_without(k)
        middle = (self._sorted[(low + high - 1) // 2] + self._sorted[(low + high) // 2]) / 2
        first = bisect_left(self._sorted, middle - reach_nm, low, high)
        end = bisect_right(self._sorted, middle + reach_nm, low, high)
        return (self._about_mean(first, end), end - first - 1) if end - first > 1 else (0.0, 0)

    def drop(self, k: int) -> None:
        """Take out the number `k`, the lowest or the highest."""
        self._low, self._high = self._range_without(k)
        self._dropped.add(k)
        if self._ordered:
            way, at = self._at[k]
            self._ways[way][at] = self._block([other for other in self._ways[way][at].left if other != k])

    def _range_without(self, k: int) -> tuple[int, int]:
        below = k == self._from_below[self._low]
        return (self._low + 1, self._high) if below else (self._low, self._high - 1)

    def _about_mean(self, low: int, high: int) -> float:
        count, total = high - low, self._off_sums[high] - self._off_sums[low]
        return ((self._squares[high] - self._squares[low]) * count - total**2) / count

    def _block(self, left: list[int]) -> _Block:
        sums = [*accumulate(self._sample.values[k] - self._median for k in reversed(left))] or [0.0]
        return _Block(left, sums[-1], min(sums), max(sums))

    def _step_beyond(self, removes_nm: float) -> bool:
        """Whether all readings from some one on, among those entered like it, explain more."""
        mean = (self._off_sums[self._high] - self._off_sums[self._low]) / self.count
        for way, blocks in enumerate(self._ways):
            total, after = 0.0, 0  # of the readings behind a block: by how much they are above the mean, their number
            before = sum(len(block.left) for block in blocks)
            for block in reversed(blocks):
                number = len(block.left)
                before -= number
                if number and self._may_exceed(block, total, after, mean, removes_nm):
                    for h, t in enumerate(self._totals(block, total, mean), after + 1):
                        n_low = before + number - (h - after)
                        possible = n_low >= FEWEST or (n_low == 0 and way == 1)
                        if possible and self._removes(t, h) > removes_nm:
                            return True
                total += block.total - mean * number
                after += number
        return False

    def _may_exceed(self, block: _Block, total: float, after: int, mean: float, removes_nm: float) -> bool:
        """Whether a step that begins in a block may explain more, with what is behind it."""
        number, drift = len(block.left), abs(mean) * len(block.left)
        most = max(abs(total + block.most + drift), abs(total + block.least - drift))
        fewest, highest = max(after + 1, FEWEST), min(after + number, self.count - FEWEST)
        return fewest <= highest and max(self._removes(most, fewest), self._removes(most, highest)) > removes_nm

    def _totals(self, block: _Block, total: float, mean: float) -> Iterator[float]:
        for k in reversed(block.left):
            total += self._sample.values[k] - self._median - mean
            yield total

    def _removes(self, total: float, number: int) -> float:
        """What so many readings explain, if they add up to so much above the mean."""
        others = self.count - number
        return abs(total) / sqrt(number * others / self.count) if min(number, others) >= FEWEST else 0.0

    def _clusters_beyond(self, removes_nm: float) -> bool:
        """Whether two clusters with a clear gap between them explain more."""
        low, high, count = self._low, self._high, self.count
        if len(self._gaps) > 2 * count:
            self._gaps = [i for i in self._gaps if low < i < high]
        for i in self._gaps:
            gap, below, above = self._sorted[i] - self._sorted[i - 1], i - low, high - i
            if gap * sqrt(count) <= 2 * CLEAR * removes_nm:
                return False  # no gap after it is clear enough
            if min(below, above) >= FEWEST:
                weight = sqrt(below * above / count)
                if gap * weight > CLEAR * removes_nm:
                    jump = (self._sums[high] - self._sums[i]) / above - (self._sums[i] - self._sums[low]) / below
                    if gap > CLEAR * jump and jump * weight > removes_nm:
                        return True
        return False
