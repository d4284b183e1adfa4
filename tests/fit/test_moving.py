"""Housings that may go to another journal, against every plan there is and by hand."""

import random
from dataclasses import replace

import pytest
from made.jobs import (
    JOURNAL,
    STEP,
    TARGET,
    WALL,
    describe,
    make_job,
    make_position,
    make_shells,
    moving_job,
    with_given,
)
from made.seeds import seeds
from oracles import oracle
from oracles.all_plans import assert_best
from oracles.mutants import level_off
from oracles.rulebook import Rules, rules_of, with_rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.checker import check
from fitmatch.fit.model import moved_housings as moving
from fitmatch.fit.model import order
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.answers.plans import Plan
from fitmatch.records.housings import may_move, rehoused, with_housings
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS, Form, Reading
from fitmatch.records.parts import ANY, Band, Position, Size
from fitmatch.report.words.reasons import words_of


@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(4, 14, slow=[1, 2])
def test_housings_are_the_best_of_all_plans(seeds: list[int], strategy: str) -> None:
    """With housings that may move, beside all other rules, the plan has the figures of the best plan over every
    order of the housings, and moves no more of them than it must."""
    for seed in seeds:
        rng = random.Random(f"move {strategy} {seed}")
        job, slack_nm = moving_job(rng, both_limits=strategy == "even"), rng.choice([0, 0, STEP])
        if len(job.positions) > 4:
            continue
        plan = best_plan(job, strategy, slack_nm=slack_nm)
        assert_best(job, plan, strategy, slack_nm, seed)
        assert not oracle.faults_of(plan), f"seed {seed}\n{describe(job)}"


# --- by hand ---------------------------------------------------------------------------------------------------------

MOVABLE = Rules(wall_difference_nm=None, movable=("rod",))


def rod(name: str, journal: int, bore: int, width: int = 9, **more: object) -> Position:
    """A rod whose journal and housing bore are off by so many steps."""
    nm = JOURNAL + journal * STEP, JOURNAL + 2 * WALL + TARGET + bore * STEP
    limits = {"min_nm": TARGET - width * STEP, "max_nm": TARGET + width * STEP}
    plain = make_position(name, 2 * WALL + TARGET, **limits)
    return replace(plain, journal=Size(nm[0], nm[0], nm[0]), housing_bore=Size(nm[1], nm[1], nm[1]), **more)


def even_shells(count: int) -> list[oracle.Shell]:
    return [s for half in ("upper", "lower") for s in make_shells(half, [WALL] * count)]


def rods(*positions: Position, rules: Rules = MOVABLE, **more: object) -> Job:
    return make_job(list(positions), even_shells(len(positions)), rules=rules, **more)


def where(plan: Plan) -> list[str]:
    """The housing of each position, in file order."""
    return [p.housing or p.name for p in plan.job.positions]


def test_housings_go_where_they_fit() -> None:
    """The larger bore goes to the larger journal, and the answer says what staying would have given."""
    plan = best_plan(rods(rod("R1", 3, 0), rod("R2", 0, 3)))
    assert where(plan) == ["R2", "R1"]
    assert plan.figures["rod"].worst_deviation_nm == 0
    assert plan.plans[0].staying["rod"].worst_deviation_nm == 3 * STEP
    assert [p.clearance_nm for p in plan.placements] == [TARGET, TARGET]
    read = plan.plans[0].moved_from
    assert read is not None and [p.housing for p in read.positions] == [None, None]
    assert not plan.needs_attention


def test_nothing_moves_without_a_gain() -> None:
    """Of equal plans the one with the most housings in their places: alike bores, and three of which two would do."""
    assert where(best_plan(rods(rod("R1", 0, 0), rod("R2", 0, 0)))) == ["R1", "R2"]
    assert where(best_plan(rods(rod("R1", 3, 0), rod("R2", 3, 3), rod("R3", 0, 3)))) == ["R3", "R2", "R1"]
    assert best_plan(rods(rod("R1", 0, 0), rod("R2", 0, 0))).plans[0].moved_from is None


def test_only_where_columns_agree() -> None:
    """A housing goes where the columns of both rows agree, `any` with everything."""
    rules = replace(MOVABLE, movable_within=("bank",))
    apart = rod("R1", 3, 0, within=("a",)), rod("R2", 0, 3, within=("b",))
    assert where(best_plan(rods(*apart, rules=rules))) == ["R1", "R2"]
    free = replace(apart[1], within=(ANY,))
    assert where(best_plan(rods(apart[0], free, rules=rules))) == ["R2", "R1"]
    assert may_move(apart[0], free) and not may_move(*apart)


def test_only_kinds_that_are_named() -> None:
    """Without the rule, or with it for another kind, all housings stay."""
    for movable in ((), ("main",)):
        plan = best_plan(rods(rod("R1", 3, 0), rod("R2", 0, 3), rules=replace(MOVABLE, movable=movable)))
        assert where(plan) == ["R1", "R2"] and plan.plans[0].staying == {}


def test_what_travels_and_what_stays() -> None:
    """Bore with its readings and form, seating and accept go with the housing; all else stays with the journal."""
    one = rod("R1", 3, 0, seating_nm=5, accept="a sleeve", pin=1, upper=("box-1", "u1"))
    other = rod("R2", 0, 3, seating_nm=-5, pin=2, target_nm=TARGET + 1)
    both = rehoused(one, other)
    assert (both.housing_bore, both.seating_nm, both.accept) == (other.housing_bore, -5, None)
    assert replace(both, housing_bore=one.housing_bore, seating_nm=5, accept="a sleeve", housing=None) == one
    assert both.housing == "R2" and rehoused(one, one) is one
    one = replace(one, journal=formed(one.journal, 1), housing_bore=formed(one.housing_bore, 2))
    other = replace(other, housing_bore=formed(other.housing_bore, 3))
    moved = with_housings(rods(one, other), {"R1": other, "R2": one}).positions
    assert [[p.form(feature) for feature in DIAMETERS] for p in moved] == [[Form(1), Form(3)], [None, Form(2)]]
    assert [p.housing_bore for p in moved] == [other.housing_bore, one.housing_bore]


def formed(size: Size | None, taper: int) -> Size:
    """A size with readings and form of its own."""
    assert size is not None
    return replace(size, readings=(Reading(size.mean_nm, station=taper),), form=Form(taper))


def test_a_form_goes_with_its_housing() -> None:
    """In an answer too, also to a journal of whose row no form was read."""
    one = rod("R1", 3, 0)
    plan = best_plan(rods(replace(one, housing_bore=formed(one.housing_bore, 2)), rod("R2", 0, 3)))
    assert where(plan) == ["R2", "R1"]
    assert [p.form("housing_bore") for p in plan.job.positions] == [None, Form(2)]


def test_baselines_break_rules_where_housings_moved() -> None:
    """What the ways without a search break is counted with their bores where they were, whatever housings the answer
    moved."""
    rules = replace(MOVABLE, wall_difference_nm=None, neighbour_step_nm={"rod": 0})
    shells = [*make_shells("upper", [WALL, WALL]), *make_shells("lower", [WALL, WALL + 2 * STEP])]
    positions = rod("R1", 3, 0), rod("R2", 0, 3)
    moving, fixed = (best_plan(make_job(positions, shells, rules=some)) for some in (rules, replace(rules, movable=())))
    assert moving.plans[0].moved_from is not None
    assert moving.baselines["as-boxed"]["rod"] == fixed.baselines["as-boxed"]["rod"]
    assert fixed.baselines["as-boxed"]["rod"].rules_broken == 1


def test_a_refused_housing_is_refused_everywhere() -> None:
    """A bore outside its drawing limits fills no position, and goes where that costs least."""
    band = {"rod": {"housing_bore": Band(0, JOURNAL + 2 * WALL + TARGET + 4 * STEP)}}
    # R1's housing is refused; R2's fits the journal of R1 only, so R2 gets the refused one.
    plan = best_plan(rods(rod("R1", 0, 5, 1), rod("R2", -3, 0, 1), drawing=band))
    assert where(plan) == ["R2", "R1"]
    assert [p.position.name for p in plan.placements] == ["R1"]
    assert [u.position.name for u in plan.unfilled] == ["R2"] and "housing bore" in words_of(plan.unfilled[0].why, "in")
    accepted = rod("R1", 0, 5, 1, accept="measured twice")
    assert len(best_plan(rods(accepted, rod("R2", 5, 0, 1), drawing=band)).placements) == 2


def test_unmeasured_rows_keep_their_housings() -> None:
    """Neither journal nor housing of a row that is not yet measured takes part."""
    for lacking in ({"journal": None}, {"housing_bore": None}):
        plan = best_plan(rods(replace(rod("R1", 3, 0), **lacking), rod("R2", 0, 3)))
        assert where(plan) == ["R1", "R2"]


def test_locked_shells_stay_with_the_journal() -> None:
    """A bore locked in both halves may get another housing, if that brings it inside its limits."""
    locked = rod("R1", 3, 0, 1, upper=("box-1", "u1"), lower=("box-1", "l1"))
    plan = best_plan(rods(locked, rod("R2", 0, 3, 1)))
    assert where(plan) == ["R2", "R1"]
    assert plan.placements[0].upper.name == "u1"
    assert all(p.within_limits for p in plan.placements) and plan.figures["rod"].counted == 1


def test_a_stopped_search_moves_nothing() -> None:
    """Where no time is left the housings stay, and the answer is called unproven."""
    from fitmatch.fit.solver.stopping import Stop

    stop = Stop()
    stop.request()
    plan = best_plan(rods(rod("R1", 3, 0), rod("R2", 0, 3)), stop=stop)
    assert where(plan) == ["R1", "R2"] and not plan.proofs["rod"].proven


# --- the checks can tell ---------------------------------------------------------------------------------------------


def spoilt(plan: Plan, **changes: dict[str, object]) -> Plan:
    """The plan with something else said of some positions, in job and placements alike."""
    now = {p.name: replace(p, **changes.get(p.name, {})) for p in plan.job.positions}
    job = replace(plan.job, positions=tuple(now.values()))
    placements = tuple(replace(p, position=now[p.position.name]) for p in plan.placements)
    return with_given(plan, job=job, placements=placements)


@pytest.mark.parametrize(
    ("changes", "words"),
    [
        ({"R1": {"housing": "R3"}}, "R1 is not its journal with the housing of R3"),
        ({"R1": {"seating_nm": 1}}, "R1 is not its journal"),
        ({"R1": {"pin": 9}}, "R1 is not its journal"),
        ({"R3": {"housing": "R1"}}, "the housing of R1 is in 2 places"),
        ({"R1": {"housing": "R9"}}, "the housing of R9 is in 1 places"),
    ],
)
def test_the_check_sees_a_wrong_housing(changes: dict[str, dict[str, object]], words: str) -> None:
    """A housing in two places, one that left something behind, and a journal that changed are all refused."""
    plan = best_plan(rods(rod("R1", 3, 0), rod("R2", 0, 3), rod("R3", 1, 1)))
    check(plan)
    with pytest.raises(FaultInFitmatch, match=words):
        check(spoilt(plan, **changes))


def test_the_check_sees_a_housing_that_may_not_move(monkeypatch: pytest.MonkeyPatch) -> None:
    """With the columns forgotten in the search alone, the program's own check refuses some answer; so does it where
    the kind may not move at all."""
    monkeypatch.setattr(moving, "may_move", lambda *_: True)
    rules = replace(MOVABLE, movable_within=("bank",))
    apart = rod("R1", 3, 0, within=("a",)), rod("R2", 0, 3, within=("b",))
    with pytest.raises(FaultInFitmatch, match="does not agree"):
        best_plan(rods(*apart, rules=rules))
    plan = best_plan(rods(rod("R1", 3, 0), rod("R2", 0, 3)))
    assert plan.plans[0].moved_from is not None
    job = with_rules(plan.job, movable=())
    with pytest.raises(FaultInFitmatch, match="may not move"):
        check(with_given(plan, job=job))


# Of each level the first job that tells, which comes soon or late.
TELLING = {order.STAYING: 14, order.CLEARANCE: 393, order.DIFFERENCE: 152}


@pytest.mark.parametrize("off", TELLING, ids=lambda figure: figure.name)
def test_a_level_switched_off_is_caught(off: order.Figure, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without this level some job with housings that may move is answered with a plan that is not the best."""
    level_off(off)(monkeypatch)
    for seed in (TELLING[off], *range(600)):
        job = moving_job(random.Random(f"mutant move {seed}"))
        if len(job.positions) > 3 or rules_of(job).guard:
            continue
        plan = best_plan(job)
        if any(oracle.levels_of(plan, kind) != oracle.best(job, kind) for kind in job.kinds):
            return
    pytest.fail("nothing tells")
