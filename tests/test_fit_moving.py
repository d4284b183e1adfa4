"""Housings that may go to another journal, against every plan there is and by hand."""

import random

import oracle
import pytest
from jobs import STEP, describe, moving_job
from test_fit_exhaustive import BLOCKS, assert_best, seeds

from fitmatch.fit import assign
from fitmatch.problems import InputError


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@pytest.mark.parametrize("block", range(BLOCKS))
def test_housings_are_the_best_of_all_plans(strategy: str, block: int) -> None:
    """With housings that may move, beside all other rules, the plan stands at the figures of the best plan over every
    order of the housings, and moves no more of them than it must."""
    for seed in seeds(block, 60):
        rng = random.Random(f"move {strategy} {seed}")
        job, slack_nm = moving_job(rng, both_limits=strategy == "even"), rng.choice([0, 0, STEP])
        if len(job.positions) > 4:
            continue
        try:
            plan = assign(job, strategy, slack_nm=slack_nm)
        except InputError:  # a guard that leaves some position no clearance
            continue
        assert_best(job, plan, strategy, slack_nm, seed)
        assert not oracle.faults_of(plan), f"seed {seed}\n{describe(job)}"
