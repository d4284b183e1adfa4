"""Several jobs that draw on the same shells: against every plan there is, and by hand.

FITMATCH_DEEP=5000 in the environment looks at that many random pools for each test instead of some dozens.
"""

import os
import random

import oracle
import pool_oracle
import pytest
from jobs import STEP, describe

from fitmatch.fit import assign
from fitmatch.pools import Pool

DEEP = int(os.environ.get("FITMATCH_DEEP", "0"))


def assert_best(pool: Pool, strategy: str, slack: int, priority: str, seed: object) -> None:
    """Every group stands at the figures of the best plan, ties included, and is called proven."""
    plan = assign(pool, strategy, slack_nm=slack, priority=priority)
    for answer in plan.groups:
        kind, members = answer.group.kind, answer.group.members
        jobs = [pool.jobs[i] for i in members]
        one_by_one = priority == "in-order"
        wanted = pool_oracle.best(jobs, kind, strategy, slack, turn_by_turn=one_by_one)
        sums = pool_oracle.found(plan, members, kind)
        if one_by_one:
            found = [pool_oracle.figures([job], kind, (one,)) for job, one in zip(jobs, sums, strict=True)]
        else:
            found = [pool_oracle.figures(jobs, kind, sums)]
        shown = "\n".join(map(describe, jobs))
        if strategy != "keep-sets":
            wanted, found = ([f._replace(boxes=0) for f in some] for some in (wanted, found))
        if one_by_one:  # ties are for all together
            assert sum(f.clearance for f in found) == sum(f.clearance for f in wanted), f"seed {seed}\n{shown}"
            assert sum(f.difference for f in found) == sum(f.difference for f in wanted), f"seed {seed}\n{shown}"
            wanted, found = ([f._replace(clearance=0, difference=0) for f in some] for some in (wanted, found))
        assert found == wanted, f"seed {seed}, {strategy}, {priority}, slack {slack}, {kind}\n{shown}"
        assert answer.proof.proven
        incomplete = pool_oracle.figures(jobs, kind, sums).incomplete
        assert answer.complete == len(jobs) - incomplete


@pytest.mark.parametrize("priority", ["together", "in-order"])
@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
def test_pools_get_the_best_of_all_plans(strategy: str, priority: str) -> None:
    """Two or three tiny jobs stand at the figures of the best plan for all, or for one after the other."""
    if strategy == "keep-sets" and priority == "in-order":
        with pytest.raises(ValueError, match="in-order"):
            assign(pool_oracle.random_pool(random.Random(1)), strategy, priority=priority)
        return
    for seed in range(DEEP or 80):
        rng = random.Random(f"pool {strategy} {priority} {seed}")
        pool = pool_oracle.random_pool(rng, both_limits=strategy == "even")
        assert_best(pool, strategy, rng.choice([0, 0, STEP, 2 * STEP]), priority, seed)
