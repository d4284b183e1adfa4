"""What must not change an answer, and what can only make it better."""

import random
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from made.jobs import STEP, describe, make_shell, planted_job, random_job
from oracles import oracle
from oracles.rulebook import Rules, rules_of, with_rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.parts import Shell
from fitmatch.rules.one_half.match import Match

STRATEGIES = ("target", "even", "keep-sets")
SEEDS = st.integers(min_value=0, max_value=10**9)
relaxed = settings(max_examples=25, deadline=None, derandomize=True)


def job_of(seed: int) -> tuple[Job, random.Random]:
    """A random job that every strategy accepts, and the dice to go on with."""
    rng = random.Random(f"invariance {seed}")
    return random_job(rng, both_limits=True), rng


def standing(plan: Plan, strategy: str) -> list[tuple[int, ...]]:
    """Levels 0 to 2 of every kind, in the order in which plans are compared."""
    with_boxes = strategy == "keep-sets"
    return [
        oracle.in_order(oracle.levels_of(plan, kind, with_boxes=with_boxes), strategy)
        for kind in sorted(plan.job.kinds)
    ]


def standing_of(job: Job, strategy: str) -> list[tuple[int, ...]]:
    return standing(best_plan(job, strategy=strategy), strategy)


def assert_no_worse(after: Job, before: Job, strategy: str) -> None:
    """No kind is worse than it was."""
    was, now = standing_of(before, strategy), standing_of(after, strategy)
    assert all(new <= old for new, old in zip(now, was, strict=True)), describe(before)


@pytest.mark.parametrize("strategy", STRATEGIES)
@relaxed
@given(seed=SEEDS)
def test_order_of_rows_changes_no_figure(strategy: str, seed: int) -> None:
    """Shells and positions in another file order leave levels 0 to 2 as they are."""
    job, rng = job_of(seed)
    shells, positions = list(job.shells), list(job.positions)
    rng.shuffle(shells)
    rng.shuffle(positions)
    shuffled = replace(job, shells=tuple(shells), positions=tuple(positions))
    assert standing_of(shuffled, strategy) == standing_of(job, strategy)


@pytest.mark.parametrize("strategy", STRATEGIES)
@relaxed
@given(seed=SEEDS)
def test_names_change_no_figure(strategy: str, seed: int) -> None:
    """Shells and boxes under other names leave levels 0 to 2 as they are."""
    job, rng = job_of(seed)
    numbers = rng.sample(range(1000), len(job.shells))
    box_names = {box: f"tray {rng.randint(100, 999)} {box}" for box in sorted({s.box for s in job.shells})}
    renamed = {s.key: (box_names[s.box], f"n{number}") for s, number in zip(job.shells, numbers, strict=True)}
    shells = tuple(replace(s, box=renamed[s.key][0], name=renamed[s.key][1]) for s in job.shells)
    positions = tuple(
        replace(p, upper=renamed.get(p.upper), lower=renamed.get(p.lower), name=f"no. {at}")
        for at, p in enumerate(job.positions)
    )
    other = replace(job, shells=shells, positions=positions)
    assert standing_of(other, strategy) == standing_of(job, strategy)


@relaxed
@given(seed=SEEDS)
def test_the_unit_changes_nothing(seed: int) -> None:
    """An inch job and its exact metric copy choose the same shells."""
    job, _ = job_of(seed)
    inch, metric = best_plan(replace(job, unit="in")), best_plan(replace(job, unit="mm"))
    assert inch.placements == metric.placements
    assert inch.figures == metric.figures
    assert inch.baselines == metric.baselines


def extra_shell(job: Job, rng: random.Random) -> Shell:
    """One more shell like one there is, with a wall of its own."""
    like = rng.choice(job.shells)
    wall = (like.wall_nm or 1_500_000) + rng.randint(-2 * STEP, 2 * STEP)
    return replace(
        make_shell("extra", like.half, wall, box=like.box, kind=like.kind), marks=like.marks, family=like.family
    )


@pytest.mark.parametrize("strategy", ["target", "even"])
@relaxed
@given(seed=SEEDS)
def test_one_more_shell_is_never_worse(strategy: str, seed: int) -> None:
    """An added shell leaves levels 0 to 2, compared in order, as good or better."""
    job, rng = job_of(seed)
    assert_no_worse(replace(job, shells=(*job.shells, extra_shell(job, rng))), job, strategy)


LOOSENINGS = {
    "wall_difference off": lambda job: with_rules(job, wall_difference_nm=None),
    "wall_difference wider": lambda job: with_rules(
        job, wall_difference_nm=(rules_of(job).wall_difference_nm or 0) + STEP
    ),
    "thick_half off": lambda job: with_rules(job, thick_half={}),
    "thick_half_from larger": lambda job: with_rules(job, thick_half_from_nm=rules_of(job).thick_half_from_nm + STEP),
    "same_in_bore off": lambda job: with_rules(job, same_in_bore=()),
    "limits at the means": lambda job: with_rules(job, limits_at="mean"),
    "any family": lambda job: replace(job, fits={kind: replace(fit, family=None) for kind, fit in job.fits.items()}),
    "no drawing": lambda job: replace(job, drawing={}),
    "nothing matched": lambda job: replace(
        job,
        matched_columns=(),
        rules=tuple(rule for rule in job.rules if not isinstance(rule, Match)),
        positions=tuple(replace(p, wants_upper=(), wants_lower=()) for p in job.positions),
    ),
    "nothing held": lambda job: replace(job, shells=tuple(replace(s, hold=None) for s in job.shells)),
    "wider limits": lambda job: replace(
        job,
        positions=tuple(replace(p, min_nm=max(0, p.min_nm - STEP), max_nm=p.max_nm + STEP) for p in job.positions),
    ),
}


@pytest.mark.parametrize("strategy", ["target", "even"])
@pytest.mark.parametrize("what", LOOSENINGS)
@pytest.mark.parametrize("examples", [5, pytest.param(12, marks=pytest.mark.deep)])
def test_a_looser_rule_is_never_worse(what: str, strategy: str, examples: int) -> None:
    """A rule loosened or taken away leaves levels 0 to 2, compared in order, as good or better."""

    @settings(relaxed, max_examples=examples)
    @given(seed=SEEDS)
    def never_worse(seed: int) -> None:
        job, _ = job_of(seed)
        if what == "wall_difference wider" and rules_of(job).wall_difference_nm is None:
            job = with_rules(job, wall_difference_nm=0)
        assert_no_worse(LOOSENINGS[what](job), job, strategy)

    never_worse()


@relaxed
@given(seed=SEEDS)
def test_slack_costs_no_more_than_it_says(seed: int) -> None:
    """With slack the worst deviation grows by no more than the slack, and the sum of squares does not grow."""
    job, rng = job_of(seed)
    slack_nm = rng.randint(0, 2 * STEP)
    strict, slack = best_plan(job), best_plan(job, slack_nm=slack_nm)
    for kind in job.kinds:
        was, now = oracle.levels_of(strict, kind), oracle.levels_of(slack, kind)
        assert now[:5] == was[:5]
        assert was.worst_nm <= now.worst_nm <= was.worst_nm + slack_nm
        assert now.sum_squared_nm2 <= was.sum_squared_nm2


def test_order_of_rows_in_a_large_job() -> None:
    """The same holds where the search cannot look at every plan."""
    job = planted_job(random.Random(7), 12, 48, grid=STEP // 2, reach=6)
    moved = replace(job, positions=tuple(replace(p, seating_nm=STEP // 3) for p in job.positions))
    moved = with_rules(moved, Rules(thick_half={"rod": "same"}))
    shells = list(moved.shells)
    random.Random(8).shuffle(shells)
    assert standing(best_plan(replace(moved, shells=tuple(shells))), "target") == standing(best_plan(moved), "target")
