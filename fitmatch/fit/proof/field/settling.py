"""Which side jobs have their thicker halves on, and where housings may move, which of them each position has: what
relaxations settle on.

A relaxation takes a little of each side and spreads the housings over the positions, but with those that it takes for
the most part a plan can usually be made that is as good, and few pairs are left. It is a way to find plans; what it
leaves out is never ruled out by it. That is done by trying every choice of sides in turn.
"""

from collections.abc import Iterable, Mapping, Sequence
from itertools import product
from math import gcd
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import House, Pair
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.pairs import Bounds, Measure, Model
from fitmatch.fit.proof.field.relaxations import NEARLY
from fitmatch.fit.solver.adapter import Relaxation, relax
from fitmatch.fit.solver.stopping import Stop

_AT_ONCE = 0.4  # of the positions whose housing is open, so many are settled at least
_MOST_PARTED = 3  # jobs; of more there are too many choices of sides


class Settled(NamedTuple):
    """The pairs of a field that are left once more is settled, as a model with its costs and its relaxation."""

    field: list[Pair]
    model: Model
    cost: list[int]
    relaxed: Relaxation


def settled(
    kind: Kind, model: Model, field: Sequence[Pair], bounds: Bounds, measure: Measure, relaxed: Relaxation, stop: Stop
) -> Settled | None:
    """What is left once each job has its thicker halves on the side, and each position has the housing, that
    relaxations of a small total give them; None if there is nothing to settle, or those settled leave no point.
    `relaxed` is the relaxation of the whole field, of which `model` is made."""
    left = {p.bore.house: p.bore.house.count for p in field if p.bore.house is not None}
    open_seats = {p.bore.seat for p in field if p.bore.house is not None and p.bore.count == 1}
    found: Settled | None = None
    uppers = {job: relaxed.x[side] > 1 / 2 for job, side in model.sides.items()}
    if uppers:
        found = _relaxed(kind, on_sides(field, uppers), field, bounds, measure, stop)
    given: dict[int, House] = {}
    while open_seats and (found is not None or not (given or uppers)):
        if found is not None:
            field, relaxed = found.field, found.relaxed
        more = _settle(field, relaxed, open_seats, left)
        if not more:
            return None
        given |= more
        open_seats -= more.keys()
        near = [p for p in field if p.bore.house is None or _open_to(p.bore.seat, p.bore.house, given, left)]
        found = _relaxed(kind, near, field, bounds, measure, stop)
    return found


def on_sides(field: Sequence[Pair], uppers: Mapping[Terms, bool]) -> list[Pair]:
    """The pairs of a field whose thicker half is on its job's side, which is that of the uppers or not."""
    return [p for p in field if not p.thick or uppers.get(p.bore.terms, p.thick > 0) == (p.thick > 0)]


def moving(field: Iterable[Pair]) -> bool:
    """Whether any of the housings may move."""
    return any(p.bore.house is not None for p in field)


def by_sides(field: Sequence[Pair]) -> list[list[Pair]]:
    """The field in parts, in each of which every job has its thicker halves on one side; none if there is nothing to
    part, or too much."""
    sides: dict[Terms, set[int]] = {}
    for p in field:
        if p.thick:
            sides.setdefault(p.bore.terms, set()).add(p.thick)
    jobs = [job for job, some in sides.items() if len(some) > 1]
    if not 0 < len(jobs) <= _MOST_PARTED:
        return []
    ways = product((True, False), repeat=len(jobs))
    return [on_sides(field, dict(zip(jobs, uppers, strict=True))) for uppers in ways]


def _relaxed(
    kind: Kind, near: list[Pair], field: Sequence[Pair], bounds: Bounds, measure: Measure, stop: Stop
) -> Settled | None:
    """These pairs of a field with their relaxation; None if it has no point."""
    if {p.bore.seat for p in near} != {p.bore.seat for p in field}:  # a program would know nothing of the others
        return None
    model = Model(kind, near, bounds, stop)
    cost = model.cost(measure)
    scale = gcd(*cost) or 1
    relaxed = relax(model.program, [c // scale for c in cost], stop)
    return None if relaxed is None else Settled(near, model, cost, relaxed)


def _open_to(seat: int, house: House, given: dict[int, House], left: dict[House, int]) -> bool:
    return given[seat] is house if seat in given else left[house] > 0


def _settle(
    field: Sequence[Pair], relaxed: Relaxation, open_seats: set[int], left: dict[House, int]
) -> dict[int, House]:
    """The housings of the next seats, which are then no longer left: those that are whole in the relaxation, and a part
    of the others, the most certain first."""
    shares: dict[tuple[int, House], float] = {}
    for p, x in zip(field, relaxed.x, strict=False):
        if x > NEARLY and p.bore.house is not None and p.bore.seat in open_seats:
            key = p.bore.seat, p.bore.house
            shares[key] = shares.get(key, 0) + x
    settled: dict[int, House] = {}
    for (seat, house), share in sorted(shares.items(), key=lambda one: -one[1]):
        if share < 1 - NEARLY and len(settled) > _AT_ONCE * len(open_seats):
            break
        if seat not in settled and left[house]:
            settled[seat] = house
            left[house] -= 1
    return settled
