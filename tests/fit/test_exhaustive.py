"""The optimizer against every plan there is, on tiny random jobs."""

import random
from dataclasses import replace

import pytest
from made.few_pairs import look_at_few
from made.jobs import STEP, describe, guarded_job, random_job, wishing_job
from made.seeds import seeds
from oracles import oracle
from oracles.all_plans import assert_baselines, assert_best

from fitmatch.fit.answer.best_plan import best_plan


@seeds(30, 150, 2)
def test_target_is_the_best_of_all_plans(seeds: list[int]) -> None:
    """The strategy `target`, with and without slack, has the figures of the best plan on every level."""
    for seed in seeds:
        rng = random.Random(seed)
        job, slack_nm = random_job(rng), rng.choice([0, 0, STEP // 2, STEP, 2 * STEP])
        assert_best(job, best_plan(job, strategy="target", slack_nm=slack_nm), "target", slack_nm, seed)


@seeds(30, 150, 2, slow=[121])
def test_even_is_the_best_of_all_plans(seeds: list[int]) -> None:
    """The strategy `even`, with and without slack, has the figures of the best plan on every level."""
    for seed in seeds:
        rng = random.Random(f"even {seed}")
        job, slack_nm = random_job(rng, both_limits=True), rng.choice([0, 0, STEP // 2, STEP, 2 * STEP])
        assert_best(job, best_plan(job, strategy="even", slack_nm=slack_nm), "even", slack_nm, seed)


@seeds(30, 150, 2)
def test_keep_sets_is_the_best_of_all_plans(seeds: list[int]) -> None:
    """The strategy `keep-sets` draws on the fewest boxes within the slack, and is then as good as `target` can be."""
    for seed in seeds:
        rng = random.Random(f"keep {seed}")
        job, slack_nm = random_job(rng), rng.choice([0, STEP, STEP, 3 * STEP])
        assert_best(job, best_plan(job, strategy="keep-sets", slack_nm=slack_nm), "keep-sets", slack_nm, seed)


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@pytest.mark.parametrize("guarded", [False, True], ids=["plain", "guarded"])
@seeds(10, 60)
def test_a_wished_band_is_met_as_well_as_can_be(seeds: list[int], strategy: str, guarded: bool) -> None:
    """With a wanted band the plan has the best figures on every level, including the four of the wanted band."""
    missed = 0
    for seed in seeds:
        rng = random.Random(f"wish {seed}")
        slack_nm = rng.choice([0, 0, STEP])
        job = guarded_job(rng, both_limits=True, wishing=True) if guarded else wishing_job(rng, both_limits=True)
        plan = best_plan(job, strategy, slack_nm=slack_nm)
        assert_best(job, plan, strategy, slack_nm, seed)
        assert not oracle.faults_of(plan), f"seed {seed}"
        missed += any(f.below_want or f.above_want for f in plan.figures.values())
    assert 10 * missed > len(seeds), "too few jobs miss their wish to tell"


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(10, 40)
def test_narrowing_first_changes_no_answer(seeds: list[int], strategy: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where windows hold many pairs the search starts among few; the best plan stays the best plan."""
    look_at_few(monkeypatch)
    for seed in seeds:
        rng = random.Random(f"narrow {seed}")
        job, slack_nm = random_job(rng, both_limits=True), rng.choice([0, STEP, 2 * STEP])
        assert_best(job, best_plan(job, strategy=strategy, slack_nm=slack_nm), strategy, slack_nm, seed)


@seeds(30, 150, 2)
def test_records_and_baselines_of_random_plans(seeds: list[int]) -> None:
    """A plan's shells, figures, leftovers, held shells and both baselines are what the definition makes of them."""
    for seed in seeds:
        rng = random.Random(f"records {seed}")
        job = random_job(rng)
        plan = best_plan(job, strategy="target")
        assert not oracle.faults_of(plan), f"seed {seed}\n{describe(job)}"
        assert_baselines(job, plan, seed)


def test_the_same_job_gives_the_same_plan() -> None:
    """Two runs on the same job choose the very same shells."""
    for seed in range(30):
        job = random_job(random.Random(f"twice {seed}"))
        first, second = best_plan(job, strategy="target"), best_plan(replace(job), strategy="target")
        assert first.placements == second.placements
        assert first.figures == second.figures
        assert first.leftover == second.leftover
