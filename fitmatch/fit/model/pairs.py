"""A set of pairs, and what constrains them, as an integer program."""

from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from math import gcd
from types import MappingProxyType
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, House, Pair
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.job_rows import box_rows, complete_rows, one_side_rows, shift_rows, spread_rows
from fitmatch.fit.model.order import Share
from fitmatch.fit.solver.program import Program
from fitmatch.fit.solver.stopping import Stop

Measure = Callable[[Pair], int]
Choice = Counter[Pair]  # how often each pair is used
Work = Sequence[Terms]  # the jobs that a figure is about


class Limit(NamedTuple):
    """Over the whole plan, the sum of `measure` is at most `most` and at least `least`; None is no limit."""

    measure: Measure
    most: int | None
    least: int | None = None


class BoxLimit(NamedTuple):
    """These jobs together draw on at least and at most so many boxes; None is no limit. For kinds sorted by box."""

    work: Work
    least: int
    most: int | None


class Bounds(NamedTuple):
    """What constrains a plan besides shells, housings and rules. `full`: these seats are completely filled; `used`: of
    these classes of shells (by index) none is left over; `spreads`: the largest spread of each job; `complete`: at
    least so many jobs, and at most `complete_most`, have all positions inside their limits."""

    limits: tuple[Limit, ...] = ()
    boxes: tuple[BoxLimit, ...] = ()
    full: frozenset[int] = frozenset()
    used: frozenset[int] = frozenset()
    spreads: Mapping[Terms, int] = MappingProxyType({})
    complete: int = 0
    complete_most: int | None = None

    def and_limits(self, *more: Limit) -> "Bounds":
        return self._replace(limits=self.limits + more)

    def and_spreads(self, work: Work, most: int) -> "Bounds":
        """With none of these jobs having a larger spread."""
        return self._replace(spreads={**self.spreads, **{t: min(most, self.spreads.get(t, most)) for t in work}})

    def fills(self, bore: Bore) -> bool:
        """Whether the bore must be completely filled."""
        return bore.seat in self.full


FREE = Bounds()


class Model:
    """A field as an integer program: one variable per pair, then those of rules over several bores: for each job the
    side of its thicker halves if they must all be on one side, where its line starts, whether it is complete, and where
    its spread starts."""

    def __init__(self, kind: Kind, field: Sequence[Pair], bounds: Bounds, stop: Stop) -> None:
        self.program = program = Program()
        self._field = field
        by_seat: dict[int, list[int]] = {}
        use: dict[int, list[tuple[int, int]]] = {}
        houses: dict[House, tuple[int, list[int]]] = {}
        for j, p in enumerate(stop.asking(field)):
            if p.bore.house is not None:
                houses.setdefault(p.bore.house, (p.bore.house.count, []))[1].append(j)
            by_seat.setdefault(p.bore.seat, []).append(j)
            if not p.filled:
                program.variable(p.bore.count)
                continue
            twice = p.upper is p.lower
            program.variable(min(p.bore.count, p.upper.count // 2 if twice else min(p.upper.count, p.lower.count)))
            use.setdefault(p.upper.index, []).append((j, 2 if twice else 1))
            if not twice:
                use.setdefault(p.lower.index, []).append((j, 1))

        self.seats = list(by_seat)  # the first rows are for these
        for columns in by_seat.values():
            bore = field[columns[0]].bore
            sure = bounds.fills(bore) or bore.house is not None  # there are equally many seats and housings
            program.row([(j, 1) for j in columns], bore.count if sure else None, bore.count)
        for count, some in houses.values():
            program.row([(j, 1) for j in some], None, count)

        self.classes: dict[int, int] = {}  # of some rows, which class they are about
        for index in (*use, *sorted(bounds.used - use.keys())):
            terms, count = use.get(index, []), kind.classes[index].count
            # If no more bores can use a class than it has shells, the row could never bind.
            users = {field[j].bore.seat: field[j].bore.count for j, _ in terms}
            if index in bounds.used or sum(users.values()) * max(a for _, a in terms) > count:
                self.classes[len(program.rows)] = index
                program.row(terms, count if index in bounds.used else None, count)

        for limit in bounds.limits:
            adds = list(map(limit.measure, stop.asking(field)))
            # What a seat that is filled adds in any case is no part of its pairs' coefficients, which are then few and
            # small: a row over every pair makes relaxations slow, and what they prove less exact.
            anyway = 0
            for columns in by_seat.values():
                bore = field[columns[0]].bore
                if bounds.fills(bore) or bore.house is not None:
                    least = min(adds[j] for j in columns)
                    anyway += least * bore.count
                    for j in columns:
                        adds[j] -= least
            scale = gcd(*adds) or 1  # small coefficients are safer with the solver
            smaller = [(j, a // scale) for j, a in enumerate(adds) if a]
            if limit.most is not None:
                program.row(smaller, None, (limit.most - anyway) // scale)
            if limit.least is not None:  # a separate row: the solver calls infeasible equalities invalid
                program.row(smaller, -((anyway - limit.least) // scale), None)

        self.sides: dict[Terms, int] = {}  # of some jobs, the variable that is 1 if their uppers are thicker
        for job in kind.terms:
            if job.one_thick_side:
                mine = [columns for columns in by_seat.values() if field[columns[0]].bore.terms is job]
                self.sides[job] = one_side_rows(program, field, mine)
            if job.shifts.on:
                shift_rows(program, field, bounds.fills, job, by_seat.values())
        for job, most in bounds.spreads.items():
            spread_rows(program, field, job, most)
        if bounds.complete or bounds.complete_most is not None:
            complete_rows(program, field, kind, bounds.complete, bounds.complete_most)
        for boxes in bounds.boxes:
            box_rows(program, field, kind, *boxes)

    def cost(self, measure: Measure) -> list[int]:
        return [measure(p) for p in self._field] + [0] * (len(self.program.upper) - len(self._field))

    def choice(self, x: Sequence[int]) -> Choice:
        return Counter({p: n for p, n in zip(self._field, x, strict=False) if n})

    def whole(self, x: Sequence[float]) -> list[int] | None:
        """The point in whole numbers, if it is whole and the program allows it."""
        rounded = [round(v) for v in x]
        near = all(abs(v - r) <= 1e-6 for v, r in zip(x, rounded, strict=True))
        return rounded if near and self.program.allows(rounded) else None


def shares_of(kind: Kind, choice: Choice, work: Work) -> list[Share]:
    """Each of these jobs' part of a plan, with bores locked in both halves separate."""
    found: dict[Terms, list[tuple[Pair, int]]] = {terms: [] for terms in work}
    for p, times in choice.items():
        if p.bore.terms in found:
            found[p.bore.terms].append((p, times))
    seats = Counter[Terms]()
    for seat in kind.seats:
        seats[seat.terms] += seat.count
    return [Share(some, None if terms in kind.incomplete else seats[terms]) for terms, some in found.items()]
