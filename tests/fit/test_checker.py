"""The checker of answers rejects every plan with one fault in it, and no plan without."""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shell, random_job, with_given
from made.seeds import seeds
from oracles import oracle
from oracles.rulebook import Rules, with_rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.checker import check
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.answers.placements import Placement, figures_of
from fitmatch.records.answers.plans import Plan, Proof, Status
from fitmatch.records.parts import Band, Fit, Position, Shell

ROOM = 2 * WALL + TARGET


def sound_plan() -> Plan:
    """Three filled rods, one locked and one that no shell may fill, a main, and shells of every fate."""
    limits = {"min_nm": TARGET - 6 * STEP, "max_nm": TARGET + 6 * STEP}
    plain = {"wants_upper": ("",), "wants_lower": ("",)}
    positions = [
        make_position("R1", ROOM, low=STEP, **limits, **plain),
        make_position("R2", ROOM + STEP, **limits, **plain),
        make_position("R3", ROOM, upper=("box-1", "u3"), **limits, **plain),
        make_position("R4", ROOM + 90 * STEP, **limits, **plain),  # outside the drawing
        make_position("R5", ROOM, upper=("box-1", "u7"), **limits, **plain, journal=None),
        make_position("M1", ROOM, kind="main", **limits, **plain),
    ]
    shells = [
        *(make_shell(f"u{i}", "upper", WALL + off) for i, off in enumerate((0, STEP, 0, 2 * STEP, STEP), 1)),
        *(make_shell(f"l{i}", "lower", WALL + off) for i, off in enumerate((0, 0, 0, STEP, -STEP), 1)),
        make_shell("u6", "upper", WALL, hold="scratched"),
        make_shell("u7", "upper", WALL),
        make_shell("u8", "upper", None),
        make_shell("u9", "upper", WALL, marks=("wide", "new")),
        make_shell("l6", "lower", WALL, marks=("", "old")),
        make_shell("l7", "lower", WALL + 3 * STEP),
        make_shell("e1", "either", WALL + 3 * STEP),
        make_shell("u10", "upper", WALL, family="wide-1"),
        make_shell("u11", "upper", WALL - 5 * STEP),
        make_shell("m1", "upper", WALL, kind="main"),
        make_shell("m2", "lower", WALL, kind="main"),
        make_shell("m3", "lower", WALL, kind="main"),
    ]
    shells = [replace(s, marks=s.marks or ("", "new"), family=s.family or "narrow-2") for s in shells]
    job = make_job(
        positions,
        shells,
        rules=Rules(wall_difference_nm=4 * STEP, same_in_bore=("series",)),
        fits={"rod": Fit("rod", TARGET, family=("narrow-2",))},
        drawing={
            "rod": {"housing_bore": Band(positions[0].housing_bore.mean_nm - STEP, positions[1].housing_bore.mean_nm)}
        },
        matched_columns=("width",),
        shell_columns=("width", "series"),
    )
    plan = best_plan(job)
    assert [p.position.name for p in plan.placements] == ["R1", "R2", "R3", "M1"]
    return plan


def shell_of(plan: Plan, name: str) -> Shell:
    return next(s for s in plan.job.shells if s.name == name)


def position_of(plan: Plan, name: str) -> Position:
    return next(p for p in plan.job.positions if p.name == name)


def with_books(plan: Plan, placements: tuple[Placement, ...]) -> Plan:
    """The plan with other placements, and with figures, leftovers and unfilled positions that follow from them, so that
    nothing but the placements themselves is at fault."""
    used = {s.key for p in placements for s in (p.upper, p.lower)}
    reserved = oracle.locked_keys(plan.job)
    free = [s for s in plan.job.shells if s.wall_nm is not None and s.hold is None and s.key not in used | reserved]
    placed = [p.position for p in placements]
    unfilled = tuple(u for u in plan.unfilled if u.position not in placed)
    plan = with_given(plan, placements=placements, unfilled=unfilled)
    groups = [
        g._replace(
            figures=figures_of([p for p in placements if p.position.kind == g.group.kind]),
            complete=int(plan.plans[0].is_complete(g.group.kind)),
        )
        for g in plan.groups
    ]
    return replace(plan, groups=tuple(groups), leftover=tuple(oracle.by_box_and_name(free)))


def swapped(plan: Plan, position: str, **halves: str) -> Plan:
    """The plan with other shells at one position, and books to match."""
    changes = {side: shell_of(plan, name) for side, name in halves.items()}
    return with_books(plan, tuple(replace(p, **changes) if p.position.name == position else p for p in plan.placements))


def under_rules(plan: Plan, **rules: object) -> Plan:
    return with_given(plan, job=with_rules(plan.job, **rules))


def with_figure(plan: Plan, name: str, change: Callable[[int], int | None]) -> Plan:
    rod, main = plan.groups
    figures = rod.figures._replace(**{name: change(getattr(rod.figures, name))})
    return replace(plan, groups=(rod._replace(figures=figures), main))


def used_by(plan: Plan, position: str) -> Placement:
    return next(p for p in plan.placements if p.position.name == position)


def spare(plan: Plan, half: str) -> str:
    """A plain shell of this half that is left over."""
    return next(
        s.name
        for s in plan.leftover
        if s.half == half and s.name in ("u1", "u2", "u4", "u5", "l1", "l2", "l3", "l4", "l5")
    )


def filled_outside_drawing(plan: Plan) -> Plan:
    place = Placement(
        position_of(plan, "R4"), shell_of(plan, spare(plan, "upper")), shell_of(plan, spare(plan, "lower"))
    )
    return with_books(plan, tuple(sorted((*plan.placements, place), key=lambda p: p.position.row)))


def both_thick_ways(plan: Plan) -> Plan:
    """R1 thicker above, R2 thicker below, where one side is required."""
    names = {
        "R1": {"upper": shell_of(plan, "u4"), "lower": shell_of(plan, "l1")},
        "R2": {"upper": shell_of(plan, "u1"), "lower": shell_of(plan, "l4")},
        "R3": {"lower": shell_of(plan, "l2")},
    }
    placements = tuple(replace(p, **names.get(p.position.name, {})) for p in plan.placements)
    rules = {"thick_half": {"rod": "same"}, "thick_half_from_nm": 0}
    return under_rules(with_books(plan, placements), **rules)


def no_clearance(plan: Plan) -> Plan:
    """Everything about R1 as it was, but a journal that fills the room; its limits allow it."""
    place = used_by(plan, "R1")
    tight = replace(
        place.position,
        journal=replace(
            place.position.journal,
            mean_nm=place.position.journal.mean_nm + place.clearance_nm,
            smallest_nm=place.position.journal.smallest_nm + place.clearance_nm,
            largest_nm=place.position.journal.largest_nm + place.clearance_nm,
        ),
        min_nm=None,
    )
    job = replace(plan.job, positions=tuple(tight if p.name == "R1" else p for p in plan.job.positions))
    changed = tuple(replace(p, position=tight) if p.position.name == "R1" else p for p in plan.placements)
    return with_books(with_given(plan, job=job), changed)


FAULTS: dict[str, Callable[[Plan], Plan]] = {
    "a shell used at two positions": lambda plan: swapped(plan, "R1", upper=used_by(plan, "R2").upper.name),
    "one shell as both halves": lambda plan: swapped(plan, "R1", upper="e1", lower="e1"),
    "a held shell used": lambda plan: swapped(plan, "R1", upper="u6"),
    "a shell of the wrong half": lambda plan: swapped(plan, "R1", upper=spare(plan, "lower")),
    "a shell of another kind": lambda plan: swapped(
        plan, "R1", lower="m3" if used_by(plan, "M1").lower.name == "m2" else "m2"
    ),
    "a shell reserved for an unmeasured position": lambda plan: swapped(plan, "R1", upper="u7"),
    "a shell that is not of the job": lambda plan: with_books(
        plan,
        (replace(plan.placements[0], upper=replace(plan.placements[0].upper, name="stranger")), *plan.placements[1:]),
    ),
    "a shell with another wall than the job's": lambda plan: with_books(
        plan,
        (replace(plan.placements[0], upper=replace(plan.placements[0].upper, wall_nm=WALL + 1)), *plan.placements[1:]),
    ),
    "a matched column broken": lambda plan: swapped(plan, "R1", upper="u9"),
    "a family broken": lambda plan: swapped(plan, "R1", upper="u10"),
    "the wall difference broken": lambda plan: swapped(plan, "R1", upper="u11", lower="l7"),
    "the wrong half thicker": lambda plan: under_rules(
        both_thick_ways(plan), thick_half={"rod": "lower"}, thick_half_from_nm=0
    ),
    "thicker halves on both sides": both_thick_ways,
    "same_in_bore broken": lambda plan: swapped(plan, "R1", lower="l6"),
    "a lock ignored": lambda plan: swapped(plan, "R3", upper=spare(plan, "upper")),
    "a housing bore outside its drawing": filled_outside_drawing,
    "no clearance": no_clearance,
    "a placement missing": lambda plan: with_books(plan, plan.placements[1:]),
    "a position placed twice": lambda plan: with_given(plan, placements=(plan.placements[0], *plan.placements)),
    "placements out of order": lambda plan: with_given(plan, placements=plan.placements[::-1]),
    "unfilled though placed": lambda plan: with_given(
        plan, unfilled=(plan.unfilled[0]._replace(position=plan.placements[0].position), *plan.unfilled)
    ),
    "an unfilled position forgotten": lambda plan: with_given(plan, unfilled=()),
    "an unmeasured position called unfilled": lambda plan: with_given(
        plan, unfilled=(*plan.unfilled, plan.unfilled[0]._replace(position=position_of(plan, "R5")))
    ),
    "a leftover missing": lambda plan: replace(plan, leftover=plan.leftover[1:]),
    "a placed shell left over": lambda plan: replace(
        plan, leftover=tuple(oracle.by_box_and_name((*plan.leftover, plan.placements[0].upper)))
    ),
    "a reserved shell left over": lambda plan: replace(
        plan, leftover=tuple(oracle.by_box_and_name((*plan.leftover, shell_of(plan, "u7"))))
    ),
    "an unmeasured shell left over": lambda plan: replace(
        plan, leftover=tuple(oracle.by_box_and_name((*plan.leftover, shell_of(plan, "u8"))))
    ),
    "a leftover twice": lambda plan: replace(plan, leftover=(plan.leftover[0], *plan.leftover)),
    "a held shell missing": lambda plan: replace(plan, held=()),
    "a free shell called held": lambda plan: replace(plan, held=(plan.leftover[0], *plan.held)),
    "a position with other readings than the job's": lambda plan: with_books(
        plan,
        tuple(
            replace(p, position=replace(p.position, max_nm=p.position.max_nm + 1)) if p.position.name == "R2" else p
            for p in plan.placements
        ),
    ),
    "a bore judged at the means": lambda plan: with_books(
        plan, tuple(replace(p, limits_at="mean") if p.position.name == "R1" else p for p in plan.placements)
    ),
    "figures of a kind missing": lambda plan: replace(plan, groups=plan.groups[1:]),
    "a proof missing": lambda plan: replace(plan, groups=plan.groups[:1]),
    **{
        f"{name} wrong": lambda plan, name=name: with_figure(plan, name, lambda value: value + 1)
        for name in (
            "filled",
            "below",
            "shortfall_nm",
            "above",
            "excess_nm",
            "counted",
            "worst_deviation_nm",
            "sum_squared_deviation_nm2",
            "spread_nm",
            "mean_clearance_nm",
            "boxes",
        )
    },
    "a figure missing": lambda plan: with_figure(plan, "worst_deviation_nm", lambda value: None),
}


@pytest.fixture(scope="module")
def plan() -> Plan:
    return sound_plan()


@pytest.mark.parametrize("fault", FAULTS)
def test_a_seeded_fault_is_found(plan: Plan, fault: str) -> None:
    """A plan with this one fault is rejected."""
    check(plan)
    faulty = FAULTS[fault](plan)
    assert oracle.faults_of(faulty)
    with pytest.raises(FaultInFitmatch):
        check(faulty)


@seeds(20, 60)
def test_sound_plans_pass(seeds: list[int]) -> None:
    """Plans of random jobs, locks and all, pass the check in every strategy."""
    for seed in seeds:
        job = random_job(random.Random(f"sound {seed}"), both_limits=True)
        for strategy in ("target", "even", "keep-sets"):
            check(best_plan(job, strategy=strategy))


def test_the_status_is_what_was_proven(plan: Plan) -> None:
    """A plan is called proven if every kind is, whatever is filled, and else empty only if nothing is."""
    rod, main = plan.groups
    stopped = rod._replace(proof=Proof(False, "worst_deviation", 0))
    assert plan.status is Status.PROVEN
    assert replace(plan, groups=(stopped, main)).status is Status.UNPROVEN
    assert with_given(plan, placements=()).status is Status.NONE
    assert with_given(replace(plan, groups=(stopped, main)), placements=()).status is Status.UNPROVEN


def test_too_many_jobs_called_complete_are_found(plan: Plan) -> None:
    """How many jobs are complete in a kind is counted once more, and no kind may be answered twice."""
    rod, main = plan.groups
    assert (rod.complete, main.complete) == (0, 1)
    for groups in ((rod._replace(complete=1), main), (rod, main, main)):
        with pytest.raises(FaultInFitmatch):
            check(replace(plan, groups=groups))
