"""What is seen without a solver, against the solver's own optimum on tiny random jobs."""

import random

from made.jobs import moving_job, random_job
from made.seeds import seeds

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.groups import kind_for
from fitmatch.fit.model.order import DIFFERENCE, FILLED, INSIDE, LEVEL_1, SQUARES, Figure
from fitmatch.fit.model.pairs import FREE, Bounds, Limit, Model
from fitmatch.fit.proof.field.at_sight import at_sight
from fitmatch.fit.solver.adapter import Outcome, solve
from fitmatch.fit.solver.stopping import Stop

FIGURES = (INSIDE, FILLED, *LEVEL_1, SQUARES, DIFFERENCE)


def optimum(kind: Kind, field: list[Pair], bounds: Bounds, figure: Figure) -> int | None:
    """The least total of this figure; None without a plan."""
    model = Model(kind, field, bounds, Stop())
    cost = model.cost(figure.measure)
    answer = solve(model.program, cost, Stop())
    if answer.outcome is Outcome.INFEASIBLE:
        return None
    assert answer.outcome is Outcome.OPTIMAL and answer.x is not None
    return sum(c * x for c, x in zip(cost, answer.x, strict=True))


@seeds(12, 60, slow=[21])
def test_no_plan_is_better_than_what_is_seen(seeds: list[int]) -> None:
    """No total is below the one seen; where a plan has it, none that has it uses a pair that was left out, and where
    all plans of the others are said to have it, every seat adds the same with each of its pairs."""
    reached = left_out = sure = 0
    for seed in seeds:
        rng = random.Random(f"at sight {seed}")
        job = rng.choice([random_job, moving_job])(rng)
        for name in job.kinds:
            kind = kind_for([job], name)
            field = [p for bore in kind.bores for p in kind.pairs(bore, 0, bore.sum_high)] + kind.vacancies
            wholly = FREE._replace(full=frozenset(p.bore.seat for p in field if p.bore.house is None))
            for bounds in (FREE, wholly):
                for figure in FIGURES:
                    least, seen = optimum(kind, field, bounds, figure), at_sight(field, figure.measure, bounds)
                    if least is None or seen is None:
                        continue
                    assert seen.least <= least
                    if seen.least < least:
                        continue
                    reached += 1
                    lost = set(field) - set(seen.pairs)
                    for pair in rng.sample(sorted(lost, key=field.index), min(3, len(lost))):
                        with_it = bounds.and_limits(Limit(lambda p, pair=pair: int(p == pair), None, 1))
                        dearer = optimum(kind, field, with_it, figure)
                        assert dearer is None or dearer > least
                        left_out += 1
                    if seen.sure:
                        sure += 1
                        added = {(p.bore.seat, figure.measure(p)) for p in seen.pairs}
                        assert len(added) == len({seat for seat, _ in added})
    assert reached > len(seeds) and left_out > len(seeds) and sure > len(seeds) // 4
