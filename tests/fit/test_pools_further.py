"""Several jobs with wanted bands, bores in a row and housings that may move, each by its own rules: against every plan
there is."""

import os
import random
from dataclasses import replace
from itertools import product

import pytest
from made.jobs import STEP, TARGET, describe
from oracles import oracle, pool_oracle
from oracles.rulebook import with_rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.records.job import Job
from fitmatch.records.pools import Pool

DEEP = int(os.environ.get("FITMATCH_DEEP", "0"))


def further_pool(rng: random.Random, *, both_limits: bool) -> Pool:
    """A random pool in which each job may wish for a band, bind its row, or let its housings move."""

    def more(job: Job) -> Job:
        wish = rng.random() < 0.4
        low = TARGET + STEP * rng.randint(-3, 3)
        positions = []
        for p in job.positions:
            ends = [max(p.min_nm or 0, low), max(p.min_nm or 0, low + STEP)]
            ends = [end if p.max_nm is None else min(p.max_nm, end) for end in ends]
            wished = {"want_min_nm": ends[0], "want_max_nm": ends[1]} if wish else {}
            positions.append(replace(p, offset_nm=STEP * rng.randint(-1, 1), within=(rng.choice("aab"),), **wished))
        job = with_rules(
            job,
            neighbour_step_nm={kind: rng.choice([0, STEP, 2 * STEP]) for kind in job.kinds if rng.random() < 0.3},
            line_nm={kind: rng.choice([STEP, 2 * STEP]) for kind in job.kinds if rng.random() < 0.3},
            movable=job.kinds if rng.random() < 0.5 else (),
            movable_within=("bank",),
        )
        return replace(job, positions=tuple(positions))

    return Pool(tuple(more(job) for job in pool_oracle.random_pool(rng, both_limits=both_limits).jobs))


def levels_0_to_2(figures: pool_oracle.Figures, strategy: str) -> tuple[object, ...]:
    """`keep-sets` without slack: no box is saved at the cost of the worst deviation."""
    places = pool_oracle.PLACES | {"keep-sets": ("worst", "boxes", "squares", "spread")}
    return figures.incomplete, figures.rest, *(getattr(figures, name) for name in places[strategy])


@pytest.mark.parametrize("priority", ["together", "in-order"])
@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
def test_pools_obey_each_job_s_own_rules(strategy: str, priority: str) -> None:
    """On levels 0 to 2 the plan is the best over every order of the housings and every choice of shells."""
    moved = 0
    for seed in range(DEEP or 250):
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
    assert moved > 5, "too few housings move to tell"
