"""The next best plans against all plans there are, on tiny random jobs, and on jobs whose answers are plain."""

import json
import random
from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Any

import pytest
from made.jobs import (
    STEP,
    TARGET,
    WALL,
    describe,
    guarded_job,
    make_job,
    make_position,
    make_shell,
    make_shells,
    measured_by,
    moving_job,
    random_job,
    remeasured,
    row_job,
    wishing_job,
)
from made.pools import further_pool, random_pool
from made.seeds import seeds
from oracles import pool_oracle
from oracles.all_plans import COUNT, assert_in_turn
from oracles.rulebook import rules_of
from oracles.schemas import VALIDATOR

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.beside import next_values as figures
from fitmatch.fit.beside.alternatives import with_alternatives
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.answers.plans import OtherPlan
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, Measuring
from fitmatch.report.data.document import plan_document
from fitmatch.report.text.report import plan_text

STRATEGIES = ["target", "even", "keep-sets"]


@pytest.mark.parametrize("strategy", STRATEGIES)
@seeds(8, 24, slow=[6, 11, 14])
def test_alternatives_are_the_next_of_all_plans(seeds: list[int], strategy: str) -> None:
    """The figures of the alternatives are the next values of all plans, ties included, and none is missing at the
    end, with and without slack."""
    for seed in seeds:
        rng = random.Random(f"next {seed}")
        job, slack_nm = random_job(rng, both_limits=strategy == "even"), rng.choice([0, 0, STEP // 2, STEP, 2 * STEP])
        assert_in_turn(job, strategy, slack_nm, f"seed {seed}")


@pytest.mark.parametrize("strategy", STRATEGIES)
@pytest.mark.parametrize("make", [wishing_job, row_job, moving_job])
@seeds(5, 10, slow=[0])
def test_alternatives_with_wishes_rows_and_housings(seeds: list[int], make: Callable[..., Job], strategy: str) -> None:
    """The same with a wanted band, with rules about the row of bores, and with housings that may move."""
    for seed in seeds:
        rng = random.Random(f"next {make.__name__} {seed}")
        job = make(rng, both_limits=strategy == "even")
        if len(job.positions) > (3 if rules_of(job).movable else 4):
            continue  # every order of the housings is looked at
        assert_in_turn(job, strategy, rng.choice([0, 0, STEP]), f"{make.__name__} {seed}")


@pytest.mark.parametrize("priority", ["together", "in-order"])
@pytest.mark.parametrize("strategy", STRATEGIES)
@seeds(4, 14)
def test_alternatives_of_several_jobs(seeds: list[int], strategy: str, priority: str) -> None:
    """Two or three jobs that share their shells: the next values of all plans for each kind, first the engines complete
    in it; in order, those of the first job before those of the second."""
    for seed in seeds:
        rng = random.Random(f"next pool {strategy} {priority} {seed}")
        make = rng.choice([random_pool, further_pool])
        pool, slack = make(rng, both_limits=strategy == "even"), rng.choice([0, 0, STEP])
        if any(rules_of(job).movable for job in pool.jobs) and sum(len(job.positions) for job in pool.jobs) > 3:
            continue  # every order of the housings is looked at
        answer = with_alternatives(best_plan(pool, strategy, slack_nm=slack, priority=priority), COUNT, Stop())
        for g in answer.groups:
            kind, members = g.group.kind, g.group.members
            jobs = [pool.jobs[i] for i in members]
            turn_by_turn = priority == "in-order"
            wanted = pool_oracle.in_turn(jobs, kind, strategy, slack, turn_by_turn=turn_by_turn)
            others = answer.alternatives[g.group.label]
            assert others.complete and all(a.proven for a in others.plans)
            found = [values_of(jobs, kind, a, strategy, turn_by_turn=turn_by_turn) for a in others.plans]
            shown = "\n".join(map(describe, jobs))
            if slack:  # what is forgiven cannot be seen in a plan alone
                width = 3 + len(pool_oracle.PLACES[strategy])
                found, wanted = (
                    [tuple(v for i, v in enumerate(key) if i % width != 2) for key in keys] for keys in (found, wanted)
                )
            assert found == wanted[1 : COUNT + 1], f"seed {seed}, {strategy}, {priority}, slack {slack}\n{shown}"
            for a in others.plans:
                used = [s.key for p in a.placements for s in (p.upper, p.lower)]
                assert len(used) == len(set(used))


def values_of(
    jobs: Sequence[Job], kind: str, other: OtherPlan, strategy: str, *, turn_by_turn: bool
) -> tuple[object, ...]:
    """Levels 0 to 2 of a plan, from its shells alone, after each turn the first figure of quality once more."""
    key = pool_oracle.key_of(
        jobs, kind, strategy, pool_oracle.sums_of(jobs, kind, other.placements), turn_by_turn=turn_by_turn
    )
    width = 2 + len(pool_oracle.PLACES[strategy])
    return tuple(v for at in range(0, len(key), width) for v in (*key[at : at + width], key[at + 2]))


@seeds(3, 10, slow=[4])
def test_boxes_counted_in_rows(seeds: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    """The same where there are too many sets of boxes to look at one by one."""
    monkeypatch.setattr(figures, "_MANY_SETS", 0)
    for seed in seeds:
        rng = random.Random(f"rows of boxes {seed}")
        assert_in_turn(random_job(rng), "keep-sets", rng.choice([0, STEP, 2 * STEP]), f"seed {seed}")


@pytest.mark.parametrize("strategy", STRATEGIES)
@seeds(2, 10)
def test_alternatives_under_a_guard(seeds: list[int], strategy: str) -> None:
    """The same where limits differ from pair to pair."""
    for seed in seeds:
        assert_in_turn(guarded_job(random.Random(f"guard {seed}"), both_limits=True), strategy, 0, f"seed {seed}")


def two_rods(**more: Any) -> Job:
    """R1 needs walls of 2 x WALL, R2 one step more; the pairs total 0, 1, 2 and 3 steps more than 2 x WALL."""
    rooms = [2 * WALL + TARGET, 2 * WALL + TARGET + STEP]
    positions = [make_position(f"R{n}", room, **more) for n, room in enumerate(rooms, 1)]
    return make_job(
        positions, [*make_shells("upper", [WALL, WALL + STEP]), *make_shells("lower", [WALL, WALL + 2 * STEP])]
    )


def test_the_next_by_hand() -> None:
    """Two rods and four shells have four complete plans. In steps of a tenth their deviations are: u1+l1 and u2+l2
    (0, -2), u2+l2 and u1+l1 (-3, 1), u1+l2 and u2+l1 (-2, 0), u2+l1 and u1+l2 (-1, -1). So the worst is 1, then 2
    (twice, alike in every figure), then 3; after these come plans that leave a rod empty."""
    plan = with_alternatives(best_plan(two_rods()), 5, Stop())
    assert [(p.upper.name, p.lower.name) for p in plan.placements] == [("u2", "l1"), ("u1", "l2")]
    found = [
        (f.filled, f.worst_deviation_nm, f.sum_squared_deviation_nm2, f.spread_nm)
        for f in (a.figures for a in plan.alternatives["rod"].plans)
    ]
    steps = [(2, 2, 4, 2), (2, 3, 10, 4), (1, 0, 0, 0), (1, 1, 1, 0), (1, 2, 4, 0)]
    assert found == [(n, w * STEP, s * STEP**2, d * STEP) for n, w, s, d in steps]
    assert all(a.proven and a.against_plan is None for a in plan.alternatives["rod"].plans)


def test_the_next_by_boxes_by_hand() -> None:
    """One rod; u1 + l1 of box 1 are one step too thick, u2 + l2 of box 2 two, u1 + l2 of both none and u2 + l1 three.
    Within a step of slack one box comes before two, beyond it the worst deviation before the boxes."""
    shells = [
        *make_shells("upper", [WALL], box="box-1"),
        *make_shells("lower", [WALL + STEP], box="box-1"),
        *make_shells("upper", [WALL + 2 * STEP], box="box-2"),
        *make_shells("lower", [WALL], box="box-2"),
    ]
    job = make_job([make_position("R1", 2 * WALL + TARGET)], shells)
    plan = with_alternatives(best_plan(job, "keep-sets", slack_nm=STEP), 9, Stop())
    found = [(f.boxes, f.worst_deviation_nm) for f in (a.figures for a in plan.alternatives["rod"].plans)]
    assert (plan.figures["rod"].boxes, plan.figures["rod"].worst_deviation_nm) == (1, STEP)
    assert found == [(2, 0), (1, 2 * STEP), (2, 3 * STEP), (0, None)]


def test_the_next_by_boxes_beside_locked_ones() -> None:
    """A bore locked to box 4 always draws on that. The other hits the target from box 1, and from boxes 1 and 2; with
    the upper of box 3 it is a step off, within the slack; or it stays empty."""
    locked = make_position("R1", 2 * WALL + TARGET, upper=("box-4", "u1"), lower=("box-4", "l1"))
    walls = [("box-4", "upper", 0), ("box-4", "lower", 0), ("box-1", "upper", 0), ("box-1", "lower", 0)]
    walls += [("box-2", "lower", 0), ("box-3", "upper", 1)]
    shells = [s for box, half, steps in walls for s in make_shells(half, [WALL + steps * STEP], box=box)]
    job = make_job([locked, make_position("R2", 2 * WALL + TARGET)], shells)
    plan = with_alternatives(best_plan(job, "keep-sets", slack_nm=STEP), 9, Stop())
    found = [(f.boxes, f.worst_deviation_nm) for f in (a.figures for a in plan.alternatives["rod"].plans)]
    assert (plan.figures["rod"].boxes, found) == (2, [(3, 0), (3, STEP), (1, None)])


def test_boxes_count_as_named() -> None:
    """If equal shells are in both boxes, an alternative from one box is named from one, and the halves of each bore
    come from one box where the figures allow."""
    shells = [
        s for box in ("box-1", "box-2") for half in ("upper", "lower") for s in make_shells(half, [WALL] * 2, box=box)
    ]
    job = make_job([make_position(f"R{n}", 2 * WALL + TARGET) for n in (1, 2)], shells)
    plan = with_alternatives(best_plan(job, "keep-sets"), 2, Stop())
    two = plan.alternatives["rod"].plans[0]
    assert plan.figures["rod"].boxes == 1 and two.figures.boxes == 2
    assert all(p.upper.box == p.lower.box for p in two.placements)


def test_no_more_than_there_are() -> None:
    """With one rod and one shell of each half there is one other plan: the empty one."""
    job = make_job(
        [make_position("R1", 2 * WALL + TARGET)], [make_shell("u", "upper", WALL), make_shell("l", "lower", WALL)]
    )
    found = with_alternatives(best_plan(job), 9, Stop()).alternatives["rod"]
    assert found.complete and [a.figures.filled for a in found.plans] == [0]


def test_locked_bores_leave_nothing_to_choose() -> None:
    """A kind whose only bore is locked in both halves has no other plan, and says so."""
    locked = make_position("R1", 2 * WALL + TARGET, upper=("box-1", "u"), lower=("box-1", "l"))
    job = make_job([locked], [make_shell("u", "upper", WALL), make_shell("l", "lower", WALL)])
    plan = with_alternatives(best_plan(job), 3, Stop())
    assert plan.alternatives["rod"] == ((), True)
    assert "There is none: every plan has the same figures." in plan_text(plan, "in")


def test_a_stop_says_what_is_not_known() -> None:
    """Stopped before the first alternative, the answer remains and the kind's alternatives are called incomplete."""
    stop = Stop()
    stop.request()
    plan = with_alternatives(best_plan(two_rods()), 3, stop)
    assert plan.alternatives["rod"] == ((), False) and plan.proofs["rod"].proven
    assert "Stopped before all of them were found and proven." in plan_text(plan, "in")


def test_equal_within_measurement() -> None:
    """Where readings are so rough that the next plan cannot be told from the answer, it says so, in text and JSON."""
    gauges = {"mic": Gauge("mic", repeatability_nm=20_000)}
    how = measured_by("mic")
    job = two_rods(min_nm=0, max_nm=2 * TARGET)
    job = replace(
        job,
        positions=tuple(
            replace(
                p, journal=replace(p.journal, measured_as=how), housing_bore=replace(p.housing_bore, measured_as=how)
            )
            for p in job.positions
        ),
        shells=tuple(remeasured(s, how) for s in job.shells),
        measuring=Measuring(gauges=gauges),
    )
    plan = with_alternatives(best_plan(job), 3, Stop())
    assert [a.against_plan for a in plan.alternatives["rod"].plans] == ["equal within measurement"] * 2 + [None]
    document = json.loads(plan_document(plan, "mm"))
    VALIDATOR.validate(document)
    found = document["alternatives"]["rod"]
    assert found["complete"] is True and found["plans"][0]["against_plan"] == "equal within measurement"
    assert [p["upper"]["shell"] for p in found["plans"][0]["positions"]] == ["u1", "u2"]
    assert "Its worst deviation is equal within measurement." in " ".join(plan_text(plan, "mm").split())


def test_a_relaxation_that_goes_in_circles_is_given_up() -> None:
    """In this job the linear solver finds no end in a relaxation of 58 rows; the answer does without it."""
    rng = random.Random("next 68")
    job, slack_nm = random_job(rng, both_limits=True), rng.choice([0, 0, STEP // 2, STEP, 2 * STEP])
    assert slack_nm == STEP // 2
    assert_in_turn(job, "even", slack_nm, "in circles")
