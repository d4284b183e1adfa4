"""One judge of every peer: what a plan is worth, from the definitions alone. Nothing of fitmatch is used here."""

from bisect import bisect_left
from fractions import Fraction
from heapq import heappop, heappush
from typing import NamedTuple

from ways.lots import JOURNAL_NM, MAX_NM, MIN_NM, TARGET_NM, WALL_DIFFERENCE_NM, Lot, Plan


class Figures(NamedTuple):
    """What decides between two plans, in this order; the smaller is the better. Deviations count inside the limits."""

    broken: int  # bores whose walls differ by more than they may
    outside: int  # or empty
    empty: int
    below: int
    shortfall_nm: int
    excess_nm: int
    worst_nm: int
    squares_nm2: int
    spread_nm: int


def score(lot: Lot, plan: Plan) -> Figures:
    """The figures of a plan; raises ValueError if it is none, as it names too few positions or one shell twice."""
    if len(plan) != len(lot.bores):
        raise ValueError("a plan names every position")
    placed = [pair for pair in plan if pair is not None]
    for shells in zip(*placed, strict=True):
        if len(set(shells)) != len(shells):
            raise ValueError("a shell is in two positions")
    broken, clearances = 0, []
    for bore, pair in zip(lot.bores, plan, strict=True):
        if pair is not None:
            upper, lower = lot.uppers[pair[0]], lot.lowers[pair[1]]
            clearance = bore - JOURNAL_NM - upper - lower
            if clearance > 0:  # a clearance of zero or less is no fill
                clearances.append(clearance)
                broken += abs(upper - lower) > WALL_DIFFERENCE_NM
    short = [MIN_NM - c for c in clearances if c < MIN_NM]
    excess = [c - MAX_NM for c in clearances if c > MAX_NM]
    off = [c - TARGET_NM for c in clearances if MIN_NM <= c <= MAX_NM]
    empty = len(plan) - len(clearances)
    return Figures(
        broken,
        empty + len(short) + len(excess),
        empty,
        len(short),
        sum(short),
        sum(excess),
        max(map(abs, off), default=0),
        sum(d * d for d in off),
        max(off, default=0) - min(off, default=0),
    )


def leftover_sets(lot: Lot, plan: Plan) -> int:
    """The most pairs of shells left over, none sharing one, that would fit a bore of the mean room inside the limits.

    An upper takes the lowers between two walls, so that giving each lower in turn to the upper whose range ends first
    makes the most pairs (F. Glover, Naval Research Logistics Quarterly 14, 1967; citation from memory).
    """
    used = [pair for pair in plan if pair is not None]
    uppers = sorted(set(range(len(lot.uppers))) - {upper for upper, _ in used}, key=lot.uppers.__getitem__)
    lowers = sorted(lot.lowers[i] for i in set(range(len(lot.lowers))) - {lower for _, lower in used})
    room = round(Fraction(sum(lot.bores), len(lot.bores))) - JOURNAL_NM  # halves to even
    starts: dict[int, list[int]] = {}
    for i in uppers:
        wall = lot.uppers[i]
        first = bisect_left(lowers, max(room - MAX_NM - wall, wall - WALL_DIFFERENCE_NM))
        starts.setdefault(first, []).append(min(room - MIN_NM - wall, wall + WALL_DIFFERENCE_NM))
    waiting: list[int] = []
    pairs = 0
    for at, wall in enumerate(lowers):
        for end in starts.get(at, ()):
            heappush(waiting, end)
        while waiting and waiting[0] < wall:
            heappop(waiting)
        if waiting:
            heappop(waiting)
            pairs += 1
    return pairs
