"""A proof by few seats: all others are out of their way and each at its best, and even so there is nothing better."""

import logging
from collections.abc import Container, Iterable
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.pairs import Bounds, Limit, Measure, Model
from fitmatch.fit.proof.field.relaxations import cost_of, ends, in_fractions, short_of
from fitmatch.fit.solver.adapter import LONGER, Outcome, relax, solve
from fitmatch.fit.solver.stopping import Stop

_LOG = logging.getLogger("fitmatch.fit.assign")

_MOST_ROUNDS, _MOST_TOGETHER = 8, 40_000


class FewSeats(NamedTuple):
    """Of plans of this kind within these bounds."""

    kind: Kind
    bounds: Bounds
    stop: Stop

    def no_better(self, field: list[Pair], measure: Measure, total: int, scarce: Container[int]) -> bool:
        """Whether few seats rule out a plan of less than this total, all others being out of their way and each at its
        best. At first they are those with a choice left, and those that cannot do without a class of shells that is
        `scarce` in a relaxation; if the others can have their best beside them in a relaxation too, those that then
        come out in fractions join them."""
        best = {seat: least for seat, (least, _) in ends(field, measure, self.bounds).items()}
        seats = self._contested(field, measure, scarce)
        for _ in range(_MOST_ROUNDS):
            part = [p for p in field if p.bore.seat in seats]
            if len(part) > _MOST_TOGETHER or len(part) == len(field):
                return False
            limits = tuple(self._left_by(field, seats, limit) for limit in self.bounds.limits)
            model = Model(self.kind, part, Bounds(limits, full=self.bounds.full & seats), self.stop)
            answer = solve(model.program, model.cost(measure), self.stop, efforts=LONGER)
            if answer.outcome is Outcome.INFEASIBLE:
                return True
            if answer.outcome is not Outcome.OPTIMAL or answer.x is None:
                return False
            least = cost_of(model.cost(measure), answer.x) + sum(nm for seat, nm in best.items() if seat not in seats)
            _LOG.debug("%d seats, %d pairs, least %d of %d", len(seats), len(part), least, total)
            if least >= total:
                return True
            near = [p for p in field if p.bore.seat in seats or p.bore.count * measure(p) == best[p.bore.seat]]
            model = Model(self.kind, near, self.bounds, self.stop)
            beside = relax(model.program, model.cost(measure), self.stop)
            if beside is not None:
                new = in_fractions(near, beside)
            else:
                blamed = short_of(model, self.stop)
                if blamed is None:
                    return False
                new = blamed
            if new <= seats:
                return False
            seats |= new
        return False

    def _contested(self, field: Iterable[Pair], measure: Measure, scarce: Container[int]) -> set[int]:
        """The seats whose pairs differ in what they add to the figure or to a limit, or all need a scarce class."""
        adds: dict[int, set[tuple[int, ...]]] = {}
        easy: set[int] = set()
        for p in field:
            adds.setdefault(p.bore.seat, set()).add((measure(p), *(limit.measure(p) for limit in self.bounds.limits)))
            if not p.filled or not (p.upper.index in scarce or p.lower.index in scarce):
                easy.add(p.bore.seat)
        return {seat for seat, some in adds.items() if len(some) > 1 or seat not in easy}

    def _left_by(self, field: Iterable[Pair], seats: set[int], limit: Limit) -> Limit:
        """What the other seats leave these of a limit, at most."""
        others = ends((p for p in field if p.bore.seat not in seats), limit.measure, self.bounds).values()
        most = None if limit.most is None else limit.most - sum(least for least, _ in others)
        at_least = None if limit.least is None else limit.least - sum(most for _, most in others)
        return Limit(limit.measure, most, at_least)
