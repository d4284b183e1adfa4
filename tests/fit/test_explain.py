"""A position explained: its runner-up and what insisting on a pair changes, against all plans there are and by hand."""

import json
import random
from collections.abc import Callable
from dataclasses import replace

import pytest
from made.jobs import (
    STEP,
    TARGET,
    WALL,
    describe,
    make_job,
    make_position,
    make_shell,
    make_shells,
    moving_job,
    random_job,
    row_job,
    wishing_job,
)
from made.pools import further_pool, random_pool
from made.seeds import seeds
from oracles import oracle, pool_oracle
from oracles.rulebook import Rules, rules_of, with_rules
from oracles.schemas import VALIDATOR

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.beside.alternatives import with_alternatives
from fitmatch.fit.beside.explanations import NotPossible, asked, explained
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.answers.plans import OtherPlan, Plan
from fitmatch.records.job import Job
from fitmatch.records.parts import Band, Position
from fitmatch.report.data.document import plan_document
from fitmatch.report.text.report import plan_text
from fitmatch.report.words.refusals import refused as refused_words


def figures(plan: Plan, kind: str, other: OtherPlan | None) -> oracle.Levels | None:
    boxes = plan.strategy == "keep-sets"
    return other and oracle.levels_of_bores(plan.job, kind, other.placements, with_boxes=boxes)


def some_pair(rng: random.Random, job: Job, position: Position) -> oracle.Pair | None:
    pairs = [] if oracle.locked_twice(position) else list(oracle.possible_pairs(job, position))
    return rng.choice(pairs) if pairs else None


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(30, 45, slow=[0, 4])
def test_runner_up_and_insisting_against_all_plans(seeds: list[int], strategy: str) -> None:
    """The runner-up is the best of all plans in which the position's walls total something else, or in which it is
    filled if it is not; with a pair insisted on the plan is the best of all that have it. Where there is no such plan,
    none is given."""
    for seed in seeds:
        rng = random.Random(f"explain {seed}")
        make = rng.choice([random_job, random_job, wishing_job, row_job, moving_job])
        job, slack_nm = make(rng, both_limits=strategy == "even"), rng.choice([0, 0, STEP])
        if len(job.positions) > 4 or rules_of(job).guard:
            continue
        plan = best_plan(job, strategy, slack_nm=slack_nm)
        position = rng.choice([p for p in job.positions if oracle.measured(job, p)] or [None])
        if position is None:
            continue
        pair = some_pair(rng, job, position)
        names = pair and (f"{pair.upper.box}/{pair.upper.name}", f"{pair.lower.box}/{pair.lower.name}")
        placed = next((p for p in plan.placements if p.position.name == position.name), None)
        what = f"seed {seed}, {strategy}, slack {slack_nm}, {position.name}\n{describe(job)}"
        try:
            question = asked([job], position.name, names)
        except NotPossible as refused:  # beside bores that are locked in both halves
            assert "bores in a row" in refused_words(refused.why, job.unit)
            assert oracle.best(job, position.kind, strategy, slack_nm, (position.name, pair.__eq__)) is None, what
            continue
        told = explained(plan, question, Stop()).explanation
        assert told is not None and told.position == position
        other_sum = (position.name, _not_walls(placed and placed.wall_sum_nm))
        wanted = None
        if not oracle.locked_twice(position) or position.kind in rules_of(job).movable:
            wanted = oracle.best(job, position.kind, strategy, slack_nm, other_sum)
        assert figures(plan, position.kind, told.runner_up) == (wanted and wanted._replace(moved=0)), what
        if pair is not None:
            wanted = oracle.best(job, position.kind, strategy, slack_nm, (position.name, pair.__eq__))
            assert figures(plan, position.kind, told.insisted) == (wanted and wanted._replace(moved=0)), what
            if told.insisted is None:
                continue
            mine = next(p for p in told.insisted.placements if p.position.name == position.name)
            assert (mine.upper, mine.lower) == pair
        for other in (told.runner_up, told.insisted):
            assert other is None or other.proven


def _not_walls(walls_nm: int | None) -> Callable[[oracle.Pair], bool]:
    return lambda pair: pair.upper.wall_nm + pair.lower.wall_nm != walls_nm


@pytest.mark.parametrize("priority", ["together", "in-order"])
@pytest.mark.parametrize("strategy", ["target", "even"])
@seeds(20, 60)
def test_explained_in_several_jobs(seeds: list[int], strategy: str, priority: str) -> None:
    """The same where several jobs share their shells: runner-up and insisted plan are the best for all of them, or turn
    by turn, even where it costs a job that comes before."""
    seen = {"runner-up": 0, "insisted": 0}
    for seed in seeds:
        rng = random.Random(f"explain pool {strategy} {priority} {seed}")
        make = rng.choice([random_pool, further_pool])
        pool = make(rng, both_limits=strategy == "even")
        if any(rules_of(job).movable for job in pool.jobs) and sum(len(job.positions) for job in pool.jobs) > 3:
            continue  # every order of the housings is looked at
        job = rng.choice(pool.jobs)
        position = rng.choice(job.positions)
        if not oracle.measured(job, position):
            continue
        answer, pair = best_plan(pool, strategy, priority=priority), some_pair(rng, job, position)
        names = pair and (f"{pair.upper.box}/{pair.upper.name}", f"{pair.lower.box}/{pair.lower.name}")
        try:
            question = asked(pool.jobs, f"{job.name}/{position.name}", names)
        except NotPossible as refused:
            assert "bores in a row" in refused_words(refused.why, job.unit)
            continue
        told = explained(answer, question, Stop()).explanation
        assert told is not None
        (group,) = [g.group for g in answer.groups if g.group.label == told.label]
        jobs, turn_by_turn = [pool.jobs[i] for i in group.members], priority == "in-order"
        placed = next(
            (p for plan in answer.plans if plan.job.name == job.name for p in plan.placements
             if p.position.name == position.name), None,
        )  # fmt: skip
        for name, other, test in (
            ("runner-up", told.runner_up, _not_walls(placed and placed.wall_sum_nm)),
            ("insisted", told.insisted, pair.__eq__),
        ):
            if name == "insisted" and pair is None:
                continue
            if name == "runner-up" and placed is not None and oracle.locked_twice(position):
                assert other is None
                continue
            demand = (job.name, position.name, test)
            wanted = pool_oracle.first(jobs, group.kind, strategy, turn_by_turn=turn_by_turn, demand=demand)
            found = other and pool_oracle.key_of(
                jobs,
                group.kind,
                strategy,
                pool_oracle.sums_of(jobs, group.kind, other.placements),
                turn_by_turn=turn_by_turn,
            )
            shown = "\n".join(map(describe, jobs))
            assert found == wanted, (
                f"seed {seed}, {name} of {job.name}/{position.name}, {strategy}, {priority}\n{shown}"
            )
            seen[name] += other is not None
    assert min(seen.values()) > 5


def three_rods(**more: object) -> Job:
    """Every rod hits its target with walls of 2 x WALL; there are three such pairs and one of a tenth more each."""
    positions = [
        make_position(f"R{n}", 2 * WALL + TARGET, min_nm=TARGET - 2 * STEP, max_nm=TARGET + 2 * STEP) for n in (1, 2, 3)
    ]
    shells = [
        *make_shells("upper", [WALL, WALL, WALL, WALL + STEP]),
        *make_shells("lower", [WALL, WALL, WALL, WALL + 3 * STEP]),
    ]
    return make_job(positions, shells, **more)


def test_explained_by_hand() -> None:
    """With three pairs on target and one upper half a tenth thicker, the runner-up of any rod is a tenth too tight and
    changes no other clearance."""
    plan = explained(best_plan(three_rods()), asked([three_rods()], "R2"), Stop())
    told = plan.explanation
    assert told is not None and told.runner_up is not None and told.insisted is None
    assert told.runner_up.figures.worst_deviation_nm == STEP
    by_name = {p.position.name: p for p in told.runner_up.placements}
    assert [by_name[n].deviation_nm for n in ("R1", "R2", "R3")] == [0, -STEP, 0]
    text = plan_text(plan, "in")
    assert "R2 (rod) EXPLAINED" in text and "\nrunner-up       3 " in text
    document = json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    assert document["explanation"]["position"] == "R2" and document["explanation"]["with"] is None


def test_insisting_shows_before_and_after() -> None:
    """Insisting on the pair that is three tenths thicker leaves R1 below its min, not to be assembled."""
    job = with_rules(three_rods(), Rules(wall_difference_nm=None))
    plan = explained(best_plan(job), asked([job], "R1", ("u1", "box-1/l4")), Stop())
    told = plan.explanation
    assert told is not None and told.insisted is not None
    assert (told.insisted.figures.below, told.insisted.figures.shortfall_nm) == (1, STEP)
    text = " ".join(plan_text(plan, "in").split())
    assert "With box-1/u1 + box-1/l4, the best plan:" in text and "NOT TO BE ASSEMBLED" in text
    document = json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    assert document["explanation"]["with"] == {
        "upper": {"shell": "u1", "box": "box-1"},
        "lower": {"shell": "l4", "box": "box-1"},
    }
    assert document["explanation"]["insisted"]["below"] == 1


def refusal(job: Job, upper: str, lower: str, position: str = "R1") -> str:
    with pytest.raises(NotPossible) as refused:
        asked([job], position, (upper, lower))
    return refused_words(refused.value.why, job.unit)


def test_what_forbids_a_pair_is_named() -> None:
    """A pair that a rule forbids is refused with the rule's name, and everything else that cannot be by what it is."""
    strict = Rules(wall_difference_nm=STEP, thick_half={"rod": "upper"}, thick_half_from_nm=0)
    job = three_rods(rules=strict)
    text = refusal(job, "u1", "l4")
    assert "the rule wall_difference forbids it: " in text and "the rule thick_half forbids it: " in text
    assert "is for the upper half" in refusal(job, "u1", "u2")
    assert "they are the same shell" in refusal(job, "u1", "u1")
    held = make_job(list(job.positions), [*job.shells[1:], make_shell("u1", "upper", WALL, hold="scratched")])
    assert "box-1/u1 is on hold: scratched" in refusal(held, "u1", "l1")
    tight = make_job([make_position("R1", 2 * WALL, target=0)], list(job.shells))
    assert "no clearance is left (0.00000 in)" in refusal(tight, "u1", "l1")
    locked = replace(job, positions=(replace(job.positions[0], upper=("box-1", "u2")), *job.positions[1:]))
    assert "its upper half is locked to box-1/u2" in refusal(locked, "u1", "l1")
    assert "box-1/u2 is locked in R1" in refusal(locked, "u2", "l1", "R2")


def test_names_that_are_none() -> None:
    """A name in two boxes must say which; an unknown one gets the nearest."""
    job = three_rods()
    twice = make_job(list(job.positions), [*job.shells, make_shell("u1", "upper", WALL, box="box-2")])
    assert "shell `u1` is in several boxes (`box-1`, `box-2`); write BOX/NAME" in refusal(twice, "u1", "l1")
    assert asked([twice], "R1", ("box-2/u1", "l1")).pair is not None
    assert "there is no shell `u9`; did you mean `u1`?" in refusal(job, "u9", "l1")
    assert "there is no position `R7`" in refusal(job, "u1", "l1", "R7")


def test_a_position_that_stays_empty() -> None:
    """For an empty position the reason is given, and the best plan in which it is filled."""
    job = make_job(
        [make_position(f"R{n}", 2 * WALL + TARGET + (n - 1) * STEP) for n in (1, 2)],
        list(three_rods().shells[:1]) + list(three_rods().shells[4:]),
    )
    plan = best_plan(job)
    empty = plan.unfilled[0].position.name
    told = explained(plan, asked([job], empty), Stop())
    assert told.explanation is not None and told.explanation.runner_up is not None
    assert [p.position.name for p in told.explanation.runner_up.placements] == [empty]
    assert "Runner-up, the best plan in which it is filled" in plan_text(told, "in")


def test_locked_and_unmeasured() -> None:
    """A bore locked in both halves has nothing to choose; one without readings nothing to explain."""
    job = three_rods()
    first, second, third = job.positions
    locked = replace(first, upper=("box-1", "u1"), lower=("box-1", "l1"))
    job = replace(job, positions=(locked, replace(second, journal=None), third))
    plan = best_plan(job)
    assert "It is locked in both halves: there is nothing to choose." in plan_text(
        explained(plan, asked([job], "R1"), Stop()), "in"
    )
    assert "Not yet measured: no reading of journal." in plan_text(explained(plan, asked([job], "R2"), Stop()), "in")
    assert "not yet measured" in refusal(job, "u2", "l2", "R2")


def in_a_row(**more: object) -> Job:
    """Three mains alike, of which the first may be locked; lowers of the same wall and one a tenth thicker."""
    mains = [make_position(f"M{n}", 2 * WALL + TARGET, kind="main") for n in (1, 2, 3)]
    mains[0] = replace(mains[0], **more)
    shells = [
        *make_shells("upper", [WALL] * 4, kind="main"),
        *make_shells("lower", [WALL, WALL, WALL, WALL + 2 * STEP], kind="main"),
    ]
    return make_job(mains, shells, rules=Rules(neighbour_step_nm={"main": STEP // 2}))


def test_a_rule_about_the_row_forbids_only_beside_locks() -> None:
    """An axis shift of a tenth beside a main locked at none is refused with the rule; where that main is free it stays
    empty, as no other can follow."""
    locked = in_a_row(upper=("box-1", "u1"), lower=("box-1", "l1"))
    text = refusal(locked, "u2", "l4", "M2")
    assert "a rule on bores in a row forbids it beside locked shells: its axis shift changes" in text
    assert "neighbour_step allows" in text
    job = in_a_row()
    told = explained(best_plan(job), asked([job], "M2", ("u2", "l4")), Stop()).explanation
    assert told is not None and told.insisted is not None and told.insisted.proven
    assert [p.position.name for p in told.insisted.placements] == ["M2"]


def test_another_housing_for_the_pair() -> None:
    """Thick shells that leave no clearance in a rod's own housing may be insisted on where a larger housing may come to
    it; where housings stay they are refused."""
    rods = [make_position("R1", 2 * WALL + TARGET), make_position("R2", 2 * WALL + 3 * TARGET)]
    shells = [*make_shells("upper", [WALL, WALL + TARGET]), *make_shells("lower", [WALL, WALL + TARGET])]
    job = make_job(rods, shells, rules=Rules(movable=("rod",)))
    told = explained(best_plan(job), asked([job], "R1", ("u2", "l2")), Stop()).explanation
    assert told is not None and told.insisted is not None
    assert [(p.position.name, p.position.housing) for p in told.insisted.placements] == [("R1", "R2"), ("R2", "R1")]
    assert "no clearance is left" in refusal(make_job(rods, shells), "u2", "l2", "R1")


def _next(lines: list[str]) -> int:
    return next(at for at, line in enumerate(lines) if line.startswith("NEXT: "))


def test_parts_of_the_text_stand_apart() -> None:
    """In the text every table beside the answer has a blank line or a heading before it, and a blank line after it."""
    job = make_job(
        [make_position(f"R{n}", 2 * WALL + TARGET) for n in (1, 2)],
        [*make_shells("upper", [WALL, WALL + STEP]), *make_shells("lower", [WALL, WALL + STEP])],
    )
    plan = with_alternatives(best_plan(job), 1, Stop())
    plan = explained(plan, asked([job], "R1", ("box-1/u2", "box-1/l2")), Stop())
    lines = plan_text(plan, "in").split("\n")
    start, end = lines.index("NEXT BEST PLANS (each has figures worse than the one before)"), _next(lines)
    beside = lines[start:end] if start < end else lines[start:]
    assert "ROD" in beside and "R1 (rod) EXPLAINED" in beside
    heads = [i for i, line in enumerate(beside) if line.startswith(("           filled", "clearance "))]
    assert len(heads) >= 3 and {beside[i - 1] for i in heads} == {"ROD", ""}
    for text in ("Runner-up, ", "With box-1/u2"):
        (at,) = [i for i, line in enumerate(beside) if line.startswith(text)]
        assert beside[at - 1] == ""
    for i, line in enumerate(beside):
        if line.startswith(("with them", "runner-up")):
            assert beside[i + 1] == ""


def test_a_pair_outside_the_drawing_is_told() -> None:
    """Where somebody insists on shells whose walls the maker's drawing does not allow, the text says so; shells inside
    it are not named."""
    positions = [make_position(f"R{n}", 2 * WALL + TARGET) for n in (1, 2)]
    shells = [*make_shells("upper", [WALL, WALL + STEP]), *make_shells("lower", [WALL, WALL + STEP])]
    for high, pair, told in (
        (WALL, ("box-1/u2", "box-1/l1"), "Outside the maker's drawing limits is the wall of box-1/u2, 0."),
        (WALL - 1, ("box-1/u2", "box-1/l1"), "Outside the maker's drawing limits are the wall of box-1/u2, 0."),
        (WALL + STEP, ("box-1/u2", "box-1/l1"), ""),
    ):
        job = make_job(positions, shells, drawing={"rod": {"wall": Band(WALL - STEP, high)}})
        text = plan_text(explained(best_plan(job), asked([job], "R1", pair), Stop()), "in")
        assert ("Outside the maker's" in text) == bool(told) and told in " ".join(text.split())
