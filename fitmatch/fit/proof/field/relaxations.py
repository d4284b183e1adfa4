"""What the relaxation of a field of pairs says, and what a bound leaves of it."""

from collections.abc import Iterable, Sequence

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.pairs import Bounds, Measure, Model, Work
from fitmatch.fit.solver.adapter import Relaxation, relax
from fitmatch.fit.solver.program import ONE, Bound, exact_bound, price, with_slacks
from fitmatch.fit.solver.stopping import Stop

NEARLY = 1e-6  # what a relaxation may be off a whole number


def short_of(model: Model, stop: Stop) -> set[int] | None:
    """The seats that ask for more than there is, where an exact bound proves that no point is feasible; None if it does
    not: too few shells for too many seats is quickly seen in a relaxation, but may take a search for ever."""
    lax = with_slacks(model.program)
    # Expensive enough that rounding the multipliers of rows in nanometres loses nothing.
    cost = [ONE * (j >= len(model.program.upper)) for j in range(len(lax.upper))]
    relaxed = relax(lax, cost, stop)
    if relaxed is None or exact_bound(lax, cost, relaxed.multipliers, stop).least <= 0:
        return None
    return {seat for seat, y in zip(model.seats, relaxed.multipliers, strict=False) if price(y) > 0}


def face(model: Model, proof: Bound) -> frozenset[int] | None:
    """Where a proof leaves nothing to spare, the classes of shells that every plan of this value uses up; None
    where more than that and the pairs that are left tells these plans from others."""
    rows = model.program.rows
    bound = [i for i in (*proof.at_low, *proof.at_high) if rows[i].low != rows[i].high]
    if any(i in proof.at_low or i not in model.classes for i in bound) or any(r < 0 for r in proof.reduced):
        return None
    return frozenset(model.classes[i] for i in bound)


def in_fractions(field: Sequence[Pair], relaxed: Relaxation) -> set[int]:
    """The seats that do not come out whole in a relaxation."""
    return {p.bore.seat for p, x in zip(field, relaxed.x, strict=False) if abs(x - round(x)) > NEARLY}


def ends(field: Iterable[Pair], measure: Measure, bounds: Bounds) -> dict[int, tuple[int, int]]:
    """The least and the most that each seat adds to a figure."""
    found: dict[int, tuple[int, int]] = {}
    for p in field:
        value = p.bore.count * measure(p)
        sure = bounds.fills(p.bore) or p.bore.house is not None
        least, most = found.get(p.bore.seat, (value, value) if sure else (0, 0))
        found[p.bore.seat] = min(least, value), max(most, value)
    return found


def of_jobs(measure: Measure, kind: Kind, work: Work) -> Measure:
    """The same for the pairs of these jobs, 0 for others."""
    jobs = list(work)
    return measure if len(jobs) == len(kind.terms) else lambda p: measure(p) if p.bore.terms in jobs else 0


def affordable(field: Sequence[Pair], proof: Bound | None, most: int) -> list[Pair]:
    """The pairs that a plan which costs no more can use."""
    if proof is None:
        return list(field)
    spare = proof.spare(most)
    return [p for p, reduced in zip(field, proof.reduced, strict=False) if reduced <= spare]


def cost_of(cost: Sequence[int], x: Sequence[int]) -> int:
    """What a point costs."""
    return sum(c * v for c, v in zip(cost, x, strict=True))
