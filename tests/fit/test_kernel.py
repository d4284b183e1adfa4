"""One kind solved again and again: the same figures as the answer of a job that is like that."""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest
from made.jobs import (
    STEP,
    TARGET,
    WALL,
    guarded_job,
    make_job,
    make_position,
    make_shells,
    moving_job,
    random_job,
    row_job,
    wishing_job,
)
from made.pools import random_pool
from made.seeds import seeds
from oracles.rulebook import Rules, with_rules

import fitmatch
from fitmatch.fit.answer import kernel
from fitmatch.fit.assign import assign
from fitmatch.fit.proof import few_pairs as trying
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.answers.placements import KindFigures, figures_of_several
from fitmatch.records.job import Job

MAKERS = [random_job, wishing_job, row_job, moving_job, guarded_job]
LEVELS = {
    "positions_filled": "filled",
    "positions_below": "below",
    "shortfall": "shortfall_nm",
    "excess": "excess_nm",
    "positions_below_want": "below_want",
    "want_shortfall": "want_shortfall_nm",
    "positions_above_want": "above_want",
    "want_excess": "want_excess_nm",
    "worst_deviation": "worst_deviation_nm",
    "sum_squared_deviation": "sum_squared_deviation_nm2",
    "spread": "spread_nm",
    "boxes": "boxes",
}


def assert_same(found: kernel.Solved, wanted: KindFigures, told: object) -> None:
    assert found.proof.proven
    for name, value in found.figures.items():
        if name in LEVELS:
            assert value == (getattr(wanted, LEVELS[name]) or 0), f"{told}: {name}"


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@pytest.mark.parametrize("make", MAKERS)
@seeds(2, 4, slow=[0])
def test_a_kernel_stands_at_the_figures_of_the_answer(
    seeds: list[int], make: Callable[..., Job], strategy: str
) -> None:
    """Each kind, with and without a slack and the ties, and from some of the boxes."""
    for seed in seeds:
        rng = random.Random(f"kernel {seed}")
        job = make(rng, both_limits=strategy == "even")
        slack = rng.choice([0, 0, STEP])
        opened = set(sorted({s.box for s in job.shells})[: rng.randint(1, 3)])
        opened |= {lock[0] for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
        plan = assign(job, strategy, slack_nm=slack)
        less = assign(replace(job, shells=tuple(s for s in job.shells if s.box in opened)), strategy, slack_nm=slack)
        for kind in job.kinds:
            solver = fitmatch.Kernel(job, kind)
            for ties in (False, True):
                assert_same(solver.solve(strategy, slack_nm=slack, ties=ties), plan.figures[kind], seed)
            assert_same(solver.solve(strategy, slack_nm=slack, boxes=opened), less.figures[kind], seed)


@pytest.mark.parametrize("make", [random_job, row_job, moving_job])
@seeds(3, 6)
def test_other_rules_need_no_other_kernel(seeds: list[int], make: Callable[..., Job]) -> None:
    """Rules dropped or set, from all boxes and from some: as in a job that has these rules."""
    for seed in seeds:
        job = with_rules(make(random.Random(f"rules {seed}")), guard=0.0)
        for kind in job.kinds:
            solver = fitmatch.Kernel(job, kind)
            opened = {s.box for s in job.shells}
            strict = {"wall_difference_nm": STEP, "min_wall_nm": {kind: WALL}}
            for other in (with_rules(job, Rules(wall_difference_nm=None)), with_rules(job, **strict)):
                wanted = assign(other).figures[kind]
                assert_same(solver.solve(rules=other.rules), wanted, seed)
                assert_same(solver.solve(rules=other.rules, boxes=opened), wanted, seed)
            assert_same(solver.solve(), assign(job).figures[kind], seed)


@pytest.mark.parametrize("strategy", ["target", "even"])
@pytest.mark.parametrize("make", MAKERS)
@seeds(1, 4)
def test_other_targets_need_no_other_kernel(seeds: list[int], make: Callable[..., Job], strategy: str) -> None:
    """A target for each position, as in a job that says so; the placements have the reported figures."""
    for seed in seeds:
        rng = random.Random(f"targets {seed}")
        job = make(rng, both_limits=True)
        for kind in job.kinds:
            solver = fitmatch.Kernel(job, kind)
            mine = [p for p in job.positions if p.kind == kind]
            for _ in range(4):
                targets = {p.name: rng.randint(p.min_nm or 0, p.max_nm or 0) for p in mine}
                aimed = tuple(replace(p, target_nm=targets.get(p.name, p.target_nm)) for p in job.positions)
                wanted = assign(replace(job, positions=aimed), strategy).figures[kind]
                solved = solver.solve(strategy, target_nm=targets)
                assert_same(solved, wanted, seed)
                open_ = {"boxes": 0, "mean_clearance_nm": 0, "above": 0}  # no level settles these
                named = figures_of_several([tuple(solved.placements)])
                assert named._replace(**open_) == wanted._replace(**open_)


@pytest.mark.parametrize("priority", ["together", "in-order"])
def test_several_jobs_have_one_kernel(priority: str) -> None:
    """Engines that share their shells have the figures of their answer, with one target for all."""
    for seed in range(8):
        rng = random.Random(f"several {seed}")
        pool = random_pool(rng, both_limits=True)
        low = max(p.min_nm or 0 for job in pool.jobs for p in job.positions)
        high = min(p.max_nm or 0 for job in pool.jobs for p in job.positions)
        for group in assign(pool, priority=priority).groups:
            kind, mine = group.group.kind, [pool.jobs[i] for i in group.group.members]
            solver = fitmatch.Kernel(mine, kind, priority=priority)
            assert_same(solver.solve(), group.figures, seed)
            if low <= high:
                aimed = [
                    replace(
                        job, positions=tuple(replace(p, target_nm=low) if p.kind == kind else p for p in job.positions)
                    )
                    for job in pool.jobs
                ]
                answer = assign(replace(pool, jobs=tuple(aimed)), priority=priority)
                wanted = next(g.figures for g in answer.groups if g.group == group.group)
                assert_same(solver.solve(target_nm=low), wanted, seed)


def rods(*ideals: int, **limits: int) -> Job:
    """Rods that want walls of so many steps above the usual, with a shell of every step."""
    walls = [WALL + steps * STEP for steps in range(8)]
    positions = [make_position(f"R{i}", 2 * WALL + TARGET + steps * STEP, **limits) for i, steps in enumerate(ideals)]
    return make_job(positions, [*make_shells("upper", walls), *make_shells("lower", walls)])


def test_few_pairs_are_tried_out_and_many_are_not(monkeypatch: pytest.MonkeyPatch) -> None:
    """Both ways find the same; where trying takes too long, the other one is taken."""
    job = rods(1, 2, 2, 5, min_nm=TARGET - 3 * STEP, max_nm=TARGET + 3 * STEP)
    tried = [fitmatch.Kernel(job, "rod").solve(target_nm=TARGET + nm).figures for nm in (0, 700, -STEP)]
    honest = kernel.prove
    called = []
    monkeypatch.setattr(kernel, "prove", lambda *a, **more: called.append(a) or honest(*a, **more))
    assert tried[0] == fitmatch.Kernel(job, "rod").solve().figures
    assert not called
    monkeypatch.setattr(trying, "_MOST_STEPS", 3)
    solver = fitmatch.Kernel(job, "rod")
    assert [solver.solve(target_nm=TARGET + nm).figures for nm in (0, 700, -STEP)] == tried
    assert len(called) == 3


def test_a_kernel_that_is_stopped_says_so() -> None:
    """What was found till then comes back, unproven."""
    stop = Stop()
    stop.request()
    solved = fitmatch.Kernel(rods(1, 2), "rod").solve(stop=stop)
    assert not solved.proof.proven and not solved.placements


@pytest.mark.parametrize(
    ("options", "words"),
    [
        ({"target_nm": TARGET + 4 * STEP}, "outside its limits"),
        ({"target_nm": {"R9": TARGET}}, "no position 'R9'"),
        ({"strategy": "best"}, "unknown strategy"),
    ],
)
def test_what_a_kernel_refuses(options: dict[str, object], words: str) -> None:
    """Targets outside the limits, positions and strategies that are not there."""
    solver = fitmatch.Kernel(rods(1, 2, min_nm=TARGET - 3 * STEP, max_nm=TARGET + 3 * STEP), "rod")
    with pytest.raises(ValueError, match=words):
        solver.solve(**options)
