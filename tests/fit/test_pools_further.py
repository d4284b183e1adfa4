"""Several jobs with wanted bands, bores in a row and housings that may move, each by its own rules: against every plan
there is."""

import random
from itertools import product

import pytest
from made.jobs import describe
from made.pools import further_pool
from made.seeds import seeds
from oracles import oracle, pool_oracle

from fitmatch.fit.answer.best_plan import best_plan


def levels_0_to_2(figures: pool_oracle.Figures, strategy: str) -> tuple[object, ...]:
    """`keep-sets` without slack: no box is saved at the cost of the worst deviation."""
    places = pool_oracle.PLACES | {"keep-sets": ("worst", "boxes", "squares", "spread")}
    return figures.incomplete, figures.rest, *(getattr(figures, name) for name in places[strategy])


@pytest.mark.parametrize("priority", ["together", "in-order"])
@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(36, 70)
def test_pools_obey_each_job_s_own_rules(seeds: list[int], strategy: str, priority: str) -> None:
    """On levels 0 to 2 the plan is the best over every order of the housings and every choice of shells."""
    moved = 0
    for seed in seeds:
        pool = further_pool(random.Random(f"further {strategy} {seed}"), both_limits=strategy == "even")
        plan = best_plan(pool, strategy, slack_nm=0, priority=priority)
        for one in plan.plans:
            moved += one.moved_from is not None
        for answer in plan.groups:
            kind, members = answer.group.kind, answer.group.members
            jobs = [pool.jobs[i] for i in members]
            one_by_one = priority == "in-order"
            wanted = min(
                tuple(
                    levels_0_to_2(f, strategy)
                    for f in pool_oracle.best(list(housed), kind, strategy, 0, turn_by_turn=one_by_one)
                )
                for housed in product(*([so for so, _ in oracle.every_housing(job, kind)] for job in jobs))
            )
            sums = pool_oracle.found(plan, members, kind)
            found = (
                [pool_oracle.figures([job], kind, (one,)) for job, one in zip(jobs, sums, strict=True)]
                if one_by_one
                else [pool_oracle.figures(jobs, kind, sums)]
            )
            shown = "\n".join(map(describe, jobs))
            assert tuple(levels_0_to_2(f, strategy) for f in found) == wanted, f"seed {seed}, {kind}\n{shown}"
            assert answer.proof.proven
    assert moved >= 7 * len(seeds) // 250, "too few housings move to tell"
