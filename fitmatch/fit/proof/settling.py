"""Where housings may move: which of them relaxations give each position.

A relaxation spreads the housings over the positions, but of those that a position has for the most part a plan can
usually be made that is as good, and with housings settled few pairs are left. It is a way to find plans; what it leaves
out is never ruled out by it.
"""

from collections.abc import Sequence
from math import gcd
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import House, Pair
from fitmatch.fit.model.pairs import Bounds, Measure, Model
from fitmatch.fit.solver.adapter import Relaxation, relax
from fitmatch.fit.solver.stopping import Stop

_NEARLY = 1e-6  # what a relaxation may be off a whole number
_AT_ONCE = 0.4  # of the positions whose housing is open, so many are settled at least


class Settled(NamedTuple):
    """The pairs of a field that are left with its housings settled, as a model with its costs and relaxation."""

    field: list[Pair]
    model: Model
    cost: list[int]
    relaxed: Relaxation


def with_settled_housings(
    kind: Kind, field: Sequence[Pair], bounds: Bounds, measure: Measure, relaxed: Relaxation, stop: Stop
) -> Settled | None:
    """What is left once each position has the housing that relaxations of a small total give it; None if housings do
    not move, or those settled leave no point. `relaxed` is the relaxation of the whole field."""
    left = {p.bore.house: p.bore.house.count for p in field if p.bore.house is not None}
    open_seats = {p.bore.seat for p in field if p.bore.house is not None and p.bore.count == 1}
    seats = {p.bore.seat for p in field}
    settled: dict[int, House] = {}
    found: Settled | None = None
    while open_seats:
        more = _settle(field, relaxed, open_seats, left)
        if not more:
            return None
        settled |= more
        open_seats -= more.keys()
        near = [p for p in field if p.bore.house is None or _open_to(p.bore.seat, p.bore.house, settled, left)]
        if {p.bore.seat for p in near} != seats:  # a program would know nothing of a seat without a pair
            return None
        model = Model(kind, near, bounds, stop)
        cost = model.cost(measure)
        scale = gcd(*cost) or 1
        again = relax(model.program, [c // scale for c in cost], stop)
        if again is None:
            return None
        field, relaxed, found = near, again, Settled(near, model, cost, again)
    return found


def _open_to(seat: int, house: House, settled: dict[int, House], left: dict[House, int]) -> bool:
    return settled[seat] is house if seat in settled else left[house] > 0


def _settle(
    field: Sequence[Pair], relaxed: Relaxation, open_seats: set[int], left: dict[House, int]
) -> dict[int, House]:
    """The housings of the next seats, which are then no longer left: those that are whole in the relaxation, and a part
    of the others, the most certain first."""
    shares: dict[tuple[int, House], float] = {}
    for p, x in zip(field, relaxed.x, strict=False):
        if x > _NEARLY and p.bore.house is not None and p.bore.seat in open_seats:
            key = p.bore.seat, p.bore.house
            shares[key] = shares.get(key, 0) + x
    settled: dict[int, House] = {}
    for (seat, house), share in sorted(shares.items(), key=lambda one: -one[1]):
        if share < 1 - _NEARLY and len(settled) > _AT_ONCE * len(open_seats):
            break
        if seat not in settled and left[house]:
            settled[seat] = house
            left[house] -= 1
    return settled
