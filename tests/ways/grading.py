"""Selective assembly as the literature has it: gaps and walls are graded into bins, and paired at random within a bin.

D. Mease, V. N. Nair, A. Sudjianto, Technometrics 46(2), 2004, and S. Matsuura, N. Shinozaki on surplus parts; the gap
is the wall sum that a position wants. Bin k of the gaps takes shells of bin k of both halves; where none is left, of
the nearest bin that has one, as a bench would.
"""

import random
from bisect import bisect_right
from collections.abc import Callable, Sequence
from statistics import NormalDist, fmean, pstdev

from ways.lots import Lot, Plan
from ways.racing import Report
from ways.score import score

MOST_BINS = 60
Cuts = Callable[[Sequence[int | float], int], list[float]]


def equal_width(values: Sequence[int | float], bins: int) -> list[float]:
    """The cuts between bins of one width over three standard deviations on either side; end bins take the tails."""
    mean, sigma = fmean(values), pstdev(values)
    return [mean + sigma * (6 * k / bins - 3) for k in range(1, bins)]


def equal_probability(values: Sequence[int | float], bins: int) -> list[float]:
    """The cuts between bins that hold as many each, of a normal distribution of these values' mean and deviation."""
    mean, sigma = fmean(values), pstdev(values)
    return [mean + sigma * NormalDist().inv_cdf(k / bins) for k in range(1, bins)]


def graded(values: Sequence[int | float], cuts: Sequence[float]) -> list[list[int]]:
    """For each bin the places of the values in it."""
    bins: list[list[int]] = [[] for _ in range(len(cuts) + 1)]
    for at, value in enumerate(values):
        bins[bisect_right(cuts, value)].append(at)
    return bins


def by_bins(cuts: Cuts, lot: Lot, report: Report) -> None:
    """Every number of bins up to `MOST_BINS`, each paired once at random; the best of them counts."""
    best = None
    for bins in range(1, MOST_BINS + 1):
        plan = _paired(cuts, lot, bins)
        figures = score(lot, plan)
        if best is None or figures < best:
            best = figures
            report(plan)


def _paired(cuts: Cuts, lot: Lot, bins: int) -> Plan:
    rng = random.Random(bins)
    plan: Plan = [None] * len(lot.bores)
    gaps = graded(lot.ideals, cuts(lot.ideals, bins))
    halves = [graded(walls, cuts(walls, bins)) for walls in (lot.uppers, lot.lowers)]
    for grades in halves:
        for grade in grades:
            rng.shuffle(grade)
    for k, positions in enumerate(gaps):  # first all that a matching bin serves
        for position in positions:
            if all(grades[k] for grades in halves):
                plan[position] = halves[0][k].pop(), halves[1][k].pop()
    for k, positions in enumerate(gaps):
        for position in positions:
            if plan[position] is None:
                upper, lower = (_nearest(grades, k).pop() for grades in halves)
                plan[position] = upper, lower
    return plan


def _nearest(grades: list[list[int]], k: int) -> list[int]:
    return grades[min((j for j, grade in enumerate(grades) if grade), key=lambda j: abs(j - k))]
