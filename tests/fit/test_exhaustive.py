"""The optimizer against every plan there is, on tiny random jobs.

The normal run looks at a thousand jobs for each test; FITMATCH_DEEP=5000 in the environment makes it that many.
"""

import os
import random
from dataclasses import replace

import pytest
from made.jobs import STEP, describe, guarded_job, random_job, wishing_job
from oracles import oracle

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.proof import search, windows
from fitmatch.problems import InputError
from fitmatch.records.job import Job
from fitmatch.records.plans import Plan, Status

DEEP = int(os.environ.get("FITMATCH_DEEP", "0"))
BLOCKS = 20


def seeds(block: int, normally: int) -> range:
    """The seeds of one block, so that a run shows progress and a failure names a small range."""
    each = -(-(DEEP or normally) // BLOCKS)
    return range(block * each, (block + 1) * each)


def assert_baselines(job: Job, plan: Plan, seed: int) -> None:
    """Both baselines are what the definition makes of them."""
    for kind in job.kinds:
        boxed, broken = oracle.as_boxed(job, kind)
        for name, filled, rules_broken in (("as-boxed", boxed, broken), ("by-hand", oracle.by_hand(job, kind), 0)):
            baseline = plan.baselines[name][kind]
            wanted = oracle.kind_figures(job, filled)
            found = {field: getattr(baseline.figures, field) for field in wanted}
            assert found == wanted, f"seed {seed}, {name}, {kind}\n{describe(job)}"
            assert baseline.rules_broken == rules_broken, f"seed {seed}, {name}, {kind}\n{describe(job)}"


def assert_best(job: Job, plan: Plan, strategy: str, slack_nm: int, seed: int) -> None:
    """Every kind of the plan has the figures of the best plan, ties included, and is called proven."""
    for kind in job.kinds:
        with_boxes = strategy == "keep-sets"
        found = oracle.levels_of(plan, kind, with_boxes=with_boxes)
        wanted = oracle.best(job, kind, strategy, slack_nm)
        assert found == wanted, f"seed {seed}, {strategy}, slack {slack_nm}, {kind}\n{describe(job)}"
        assert plan.proofs[kind].proven, f"seed {seed}: {kind} is not proven"
    assert plan.status is (Status.PROVEN if plan.placements else Status.NONE), f"seed {seed}"


@pytest.mark.parametrize("block", range(BLOCKS))
def test_target_is_the_best_of_all_plans(block: int) -> None:
    """The strategy `target`, with and without slack, has the figures of the best plan on every level."""
    for seed in seeds(block, 1000):
        rng = random.Random(seed)
        job, slack_nm = random_job(rng), rng.choice([0, 0, STEP // 2, STEP, 2 * STEP])
        assert_best(job, best_plan(job, strategy="target", slack_nm=slack_nm), "target", slack_nm, seed)


@pytest.mark.parametrize("block", range(BLOCKS))
def test_even_is_the_best_of_all_plans(block: int) -> None:
    """The strategy `even`, with and without slack, has the figures of the best plan on every level."""
    for seed in seeds(block, 1000):
        rng = random.Random(f"even {seed}")
        job, slack_nm = random_job(rng, both_limits=True), rng.choice([0, 0, STEP // 2, STEP, 2 * STEP])
        assert_best(job, best_plan(job, strategy="even", slack_nm=slack_nm), "even", slack_nm, seed)


@pytest.mark.parametrize("block", range(BLOCKS))
def test_keep_sets_is_the_best_of_all_plans(block: int) -> None:
    """The strategy `keep-sets` draws on the fewest boxes within the slack, and is then as good as `target` can be."""
    for seed in seeds(block, 1000):
        rng = random.Random(f"keep {seed}")
        job, slack_nm = random_job(rng), rng.choice([0, STEP, STEP, 3 * STEP])
        assert_best(job, best_plan(job, strategy="keep-sets", slack_nm=slack_nm), "keep-sets", slack_nm, seed)


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@pytest.mark.parametrize("guarded", [False, True], ids=["plain", "guarded"])
def test_a_wished_band_is_met_as_well_as_can_be(strategy: str, guarded: bool) -> None:
    """With a wanted band the plan has the best figures on every level, including the four of the wanted band."""
    missed = 0
    for seed in range(DEEP or 250):
        rng = random.Random(f"wish {seed}")
        slack_nm = rng.choice([0, 0, STEP])
        job = guarded_job(rng, both_limits=True, wishing=True) if guarded else wishing_job(rng, both_limits=True)
        try:
            plan = best_plan(job, strategy, slack_nm=slack_nm)
        except InputError:  # the guard leaves some position no clearance
            continue
        assert_best(job, plan, strategy, slack_nm, seed)
        assert not oracle.faults_of(plan), f"seed {seed}"
        missed += any(f.below_want or f.above_want for f in plan.figures.values())
    assert missed > 25, "too few jobs miss their wish to tell"


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
def test_narrowing_first_changes_no_answer(strategy: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where windows hold many pairs the search starts among few; the best plan stays the best plan."""
    monkeypatch.setattr(windows, "MANY_PAIRS", 0)
    monkeypatch.setattr(search, "FEW_PAIRS", 1)
    for seed in range(DEEP or 150):
        rng = random.Random(f"narrow {seed}")
        job, slack_nm = random_job(rng, both_limits=True), rng.choice([0, STEP, 2 * STEP])
        assert_best(job, best_plan(job, strategy=strategy, slack_nm=slack_nm), strategy, slack_nm, seed)


@pytest.mark.parametrize("block", range(BLOCKS))
def test_records_and_baselines_of_random_plans(block: int) -> None:
    """A plan's shells, figures, leftovers, held shells and both baselines are what the definition makes of them."""
    for seed in seeds(block, 1000):
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
