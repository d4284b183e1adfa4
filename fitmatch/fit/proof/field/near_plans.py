"""Plans that are soon found: what a relaxation gives, or a few pairs near it do."""

from collections.abc import Callable, Collection, Iterable, Sequence
from math import gcd
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.order import SQUARES
from fitmatch.fit.model.pairs import Bounds, Choice, Measure, Model, Work
from fitmatch.fit.proof.field.relaxations import cost_of, in_fractions, of_jobs
from fitmatch.fit.proof.field.settling import settled
from fitmatch.fit.solver.adapter import SHORT, Relaxation, relax, solve
from fitmatch.fit.solver.program import Bound, exact_bound
from fitmatch.fit.solver.stopping import Stop

Efforts = Callable[[], Iterable[float]]  # of the solver, for one question

FEW_PAIRS = 2_000  # a plan is sought among so many first (measured)
_NEAR_PAIRS = 20_000  # of the seats that do not come out whole in a relaxation


def many(field: Collection[Pair]) -> bool:
    """Whether it is worth looking for a plan among few of these pairs first."""
    return len(field) > FEW_PAIRS


class Nearby(NamedTuple):
    """Looks for plans within these bounds, of jobs in work; `efforts`: of each short search, if not the usual."""

    kind: Kind
    work: Work
    bounds: Bounds
    stop: Stop
    efforts: Efforts | None

    def relaxed(self, model: Model, field: list[Pair]) -> tuple[Choice | None, bool]:
        """A plan within these bounds if a relaxation of small squares gives one, at a fraction of the cost of a search,
        or a few pairs near it do; and whether that relaxation has a point."""
        cost = model.cost(of_jobs(SQUARES.measure, self.kind, self.work))
        relaxed = relax(model.program, cost, self.stop)
        if relaxed is None:
            return None, False
        if (x := model.whole(relaxed.x)) is not None:
            return model.choice(x), True
        if not many(field):
            return None, True
        squares = of_jobs(SQUARES.measure, self.kind, self.work)
        found = self.settled(model, field, squares, relaxed)
        if found is None:
            proof = exact_bound(model.program, cost, relaxed.multipliers, self.stop)._replace(total=0)
            found = self.among_few(field, relaxed, proof, [0] * len(field))
        return found and found[1], True

    def settled(
        self, model: Model, field: list[Pair], measure: Measure, relaxed: Relaxation
    ) -> tuple[int, Choice] | None:
        """A plan of a small total, if one is soon found with sides and housings that relaxations settle on."""
        near = settled(self.kind, model, field, self.bounds, measure, relaxed, self.stop)
        if near is None:
            return None
        if (x := near.model.whole(near.relaxed.x)) is not None:
            return cost_of(near.cost, x), near.model.choice(x)
        scale = gcd(*near.cost) or 1
        cost = [c // scale for c in near.cost]
        proof = exact_bound(near.model.program, cost, near.relaxed.multipliers, self.stop)
        found = self.among_few(near.field, near.relaxed, proof, cost)
        return found and (found[0] * scale, found[1])

    def among_few(
        self, field: list[Pair], relaxed: Relaxation, proof: Bound, costs: Sequence[int]
    ) -> tuple[int, Choice] | None:
        """A plan of a small total of the pairs' `costs`, if short searches find any: first with the seats that come out
        whole in a relaxation kept as they are, then from all pairs that it uses and those of the least reduced cost. Of
        very many pairs a few usually contain one; more are added until they are all that a better plan could use."""
        used = [j for j in range(len(field)) if relaxed.x[j] > 0]
        others = sorted((j for j in range(len(field)) if relaxed.x[j] <= 0), key=proof.reduced.__getitem__)
        parted = in_fractions(field, relaxed)
        near = [j for j in others if field[j].bore.seat in parted]
        found: list[tuple[int, Choice]] = []
        few, useful = 0, len(others)
        while few < useful:
            chosen = sorted(used + (others[:few] if few else near[:_NEAR_PAIRS]))
            model = Model(self.kind, [field[j] for j in chosen], self.bounds, self.stop)
            cost = [*(costs[j] for j in chosen), *[0] * (len(model.program.upper) - len(chosen))]
            answer = solve(model.program, cost, self.stop, efforts=SHORT if self.efforts is None else self.efforts())
            if answer.x is not None:
                found.append((cost_of(cost, answer.x), model.choice(answer.x)))
                best = min(total for total, _ in found)
                spare = proof.spare(best)
                useful = sum(proof.reduced[j] <= spare for j in others) if best > proof.least else 0
            few = 5 * few or FEW_PAIRS
            if found and few > _NEAR_PAIRS:
                break  # what follows proves or finds more at less cost
        return min(found, key=lambda one: one[0], default=None)
