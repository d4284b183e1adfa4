"""Figures of many draws with their 95 % confidence intervals; sums are of whole numbers, so that no order matters."""

from collections.abc import Sequence
from functools import lru_cache
from math import exp, lgamma, log, log1p, sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.uncertainty.student import normal_quantile, t_quantile

PERCENTILE: Final = 90
_TAIL: Final = 0.025


class Mean(NamedTuple):
    """A mean and half the width of its interval; `half_width` None: a single draw."""

    mean: float
    half_width: float | None

    @property
    def low(self) -> float:
        """The lower end of the interval."""
        return self.mean - (self.half_width or 0.0)

    @property
    def high(self) -> float:
        """The upper end of the interval."""
        return self.mean + (self.half_width or 0.0)


class Percentile(NamedTuple):
    """What 90 % of the draws do not exceed, and the ends of its interval; an end is None where there are too few
    draws for one."""

    value: int
    low: int | None
    high: int | None


class Chance(NamedTuple):
    """The part of the draws in which something holds, and the ends of its interval."""

    value: float
    low: float
    high: float


def mean(values: Sequence[int]) -> Mean:
    """By Student's t; of many draws the mean is nearly normal, however skew these are."""
    count, total = len(values), sum(values)
    if count < 2:
        return Mean(float(total), None)
    squares = count * sum(value * value for value in values) - total * total  # exact
    return Mean(total / count, t_quantile(count - 1) * sqrt(squares / (count - 1)) / count)


def known_to_within(most: float, found: Mean | None) -> bool:
    """Whether there is such a mean, and half its interval is no wider."""
    return found is not None and found.half_width is not None and found.half_width <= most


def percentile(values: Sequence[int]) -> Percentile:
    """The interval reaches from one order statistic to another, whatever the distribution: the number of draws below a
    percentile is binomial (H. A. David and H. N. Nagaraja, Order Statistics, 3rd ed., Wiley, 2003, 7.1, from
    memory)."""
    ranked, count = sorted(values), len(values)
    low, high = _ranks(count)
    at = -(-count * PERCENTILE // 100)
    return Percentile(
        ranked[at - 1], None if low is None else ranked[low - 1], None if high is None else ranked[high - 1]
    )


def chance(hits: int, count: int) -> Chance:
    """By the score interval of E. B. Wilson, Journal of the American Statistical Association 22(158), 1927, 209-212
    (from memory)."""
    z = normal_quantile(1.0 - _TAIL)
    part, square = hits / count, z * z / count
    middle = (part + square / 2.0) / (1.0 + square)
    half = z * sqrt(part * (1.0 - part) / count + square / (4.0 * count)) / (1.0 + square)
    return Chance(part, 0.0 if not hits else middle - half, 1.0 if hits == count else middle + half)


def likelier(less: Sequence[int], more: Sequence[int]) -> Chance:
    """By how much the chance of 1 instead of 0 is greater, both looked at in the same draws: half a draw is added to
    each of the four cases (A. Agresti and Y. Min, Statistics in Medicine 24, 2005, from memory), so that no draw that
    differs is not taken for none that ever would."""
    count = len(less)
    won = sum(b > a for a, b in zip(less, more, strict=True))
    lost = sum(a > b for a, b in zip(less, more, strict=True))
    middle = (won - lost) / (count + 2.0)
    half = normal_quantile(1.0 - _TAIL) * sqrt(won + lost + 1.0 - middle * (won - lost)) / (count + 2.0)
    part = (won - lost) / count
    return Chance(part, max(-1.0, middle - half), 1.0 if won == count else min(1.0, middle + half))


@lru_cache(256)
def _ranks(count: int) -> tuple[int | None, int | None]:
    """The ranks of the order statistics between which the percentile lies with 95 %; None: there is none so far
    out."""
    low, high, below = None, None, 0.0
    part = PERCENTILE / 100.0
    for hits in range(count + 1):  # below: fewer than `hits` of the draws are below the percentile
        if below <= _TAIL:
            low = hits or None
        if below >= 1.0 - _TAIL and hits:
            high = hits
            break
        ways = lgamma(count + 1) - lgamma(hits + 1) - lgamma(count - hits + 1)
        below += exp(ways + hits * log(part) + (count - hits) * log1p(-part))
    return low, high
