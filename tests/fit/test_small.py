"""Small reasons and cures: each set is enough and no part of it is, each cure works and is the least, none is missing;
checked against all plans of tiny random jobs, and on jobs whose answers are plain."""

import json
import random
from collections import Counter
from collections.abc import Callable

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
    moving_job,
    random_job,
    row_job,
    wishing_job,
    with_given,
)
from made.pools import further_pool, random_pool
from made.seeds import seeds
from oracles.rulebook import Rules, rules_of
from oracles.schemas import VALIDATOR
from oracles.small_oracle import assert_reason, assert_small, groups, works

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.classes.guards import check_guard
from fitmatch.fit.solver.stopping import Stop
from fitmatch.fit.why import conflicts as small
from fitmatch.fit.why import questions as asking
from fitmatch.fit.why.conflicts import with_reasons
from fitmatch.problems import InputError
from fitmatch.records.job import Job
from fitmatch.records.parts import Band, Position, Shell
from fitmatch.records.plans import Cure, Plan, Reason
from fitmatch.report.data.document import plan_document
from fitmatch.report.text.report import plan_text


@seeds(30, 150, 2)
def test_reasons_and_cures_against_all_plans(seeds: list[int]) -> None:
    """Every position that fails has a reason that is enough and irreducible, a single bond where one is enough, and all
    the cures there are, each by the least amount."""
    seen: Counter[str] = Counter()
    for seed in seeds:
        plan = with_reasons(best_plan(random_job(random.Random(f"small {seed}"))), Stop())
        seen += assert_small(plan, f"seed {seed}")
    assert seen["reasons"]


@pytest.mark.parametrize(
    ("make", "cures"),
    [(wishing_job, {"max"}), (row_job, {"neighbour_step", "line"}), (moving_job, {"max"})],
)
@seeds(32, 60)
def test_reasons_with_wishes_rows_and_housings(seeds: list[int], make: Callable[..., Job], cures: set[str]) -> None:
    """The same where others must not miss their wanted band by more, where bores in a row bind each other, and where
    housings may move."""
    seen: Counter[str] = Counter()
    for seed in seeds:
        job = make(random.Random(f"small {make.__name__} {seed}"))
        if rules_of(job).guard or (rules_of(job).movable and len(job.positions) > 3):
            continue  # every order of the housings is looked at
        seen += assert_small(with_reasons(best_plan(job), Stop()), f"{make.__name__} {seed}")
    assert seen["reasons"] and 10 * seen["given up"] <= seen["reasons"]
    if 0 in seeds:  # the first show all of these
        assert seen.keys() >= cures


@seeds(20, 60)
def test_reasons_of_several_jobs(seeds: list[int]) -> None:
    """The same for two or three jobs that share their shells: no position of any of them is worse off."""
    seen: Counter[str] = Counter()
    for seed in seeds:
        rng = random.Random(f"small pool {seed}")
        make = rng.choice([random_pool, further_pool])
        pool, priority = make(rng, both_limits=False), rng.choice(["together", "in-order"])
        if any(rules_of(job).movable for job in pool.jobs) and sum(len(job.positions) for job in pool.jobs) > 3:
            continue
        seen += assert_small(with_reasons(best_plan(pool, priority=priority), Stop()), f"pool {seed}")
    assert seen["reasons"] and seen["lock"] + seen["upper"]


@seeds(45, 150)
def test_reasons_under_a_guard(seeds: list[int]) -> None:
    """The same with a guard; the guard of a cure works, and a hundredth more does not."""
    seen = guards = 0
    for seed in seeds:
        job = guarded_job(random.Random(f"small guard {seed}"), both_limits=True)
        try:
            check_guard([job])
        except InputError:
            continue
        for group in groups(with_reasons(best_plan(job), Stop())):
            for place, reason in group.reasons.items():
                what = f"seed {seed}, {reason}\n{describe(job)}"
                assert_reason(group, place, reason, what)
                seen += 1
                for cure in reason.cures or ():
                    if cure.change == "guard":
                        assert cure.factor is not None and cure.factor < rules_of(job).guard
                        assert works(group, place, cure), what
                        more = cure._replace(factor=cure.factor + 0.01)
                        assert more.factor >= rules_of(job).guard or not works(group, place, more), what
                        guards += 1
    assert 15 * seen > 2 * len(seeds) and guards


# --- by hand ----------------------------------------------------------------------------------------------------------


def only(positions: list[Position], shells: list[Shell], **more: object) -> tuple[Plan, Reason]:
    plan = with_reasons(best_plan(make_job(positions, shells, **more)), Stop())
    (reason,) = plan.reasons
    return plan, reason


def test_its_max_alone() -> None:
    """Two walls are 3 steps too thin for max: max is enough by itself; raising it by 3 steps cures, and so does one
    more half of either side that is 3 steps thicker at least."""
    position = make_position("R1", 2 * WALL + TARGET + 5 * STEP, min_nm=TARGET - 2 * STEP, max_nm=TARGET + 2 * STEP)
    plan, reason = only([position], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])])
    assert (reason.together, reason.reduced) == (("max",), True)
    most = WALL + 6 * STEP  # what wall_difference allows: 0.6 thou
    assert reason.cures == (
        Cure("max", TARGET + 5 * STEP, 3 * STEP),
        Cure("upper", WALL + 5 * STEP, low_nm=WALL + 3 * STEP, high_nm=most),
        Cure("lower", WALL + 5 * STEP, low_nm=WALL + 3 * STEP, high_nm=most),
    )
    text = " ".join(plan_text(plan, "in").split())
    assert "Kept out by its max alone, whatever else is let go. Any one of these puts it inside" in text
    document = json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    assert document["reasons"][0]["together"] == ["max"]
    assert document["reasons"][0]["cures"][0] == {
        "change": "max", "name": None, "to": 0.0025, "by": 0.0003, "factor": None, "low": None, "high": None,
    }  # fmt: skip


def test_a_hold_and_too_few() -> None:
    """Two bores, two uppers, and of two lowers one is on hold: it takes too few lowers and the hold together."""
    positions = [make_position(f"R{n}", 2 * WALL + TARGET) for n in (1, 2)]
    held = make_shell("l2", "lower", WALL, hold="scratched")
    plan, reason = only(positions, [*make_shells("upper", [WALL, WALL]), *make_shells("lower", [WALL]), held])
    assert (reason.together, reason.reduced) == (("lowers", "holds"), True)
    assert reason.cures_complete
    assert [(c.change, c.name, c.to_nm) for c in reason.cures] == [("hold", "box-1/l2", None), ("lower", None, WALL)]
    text = " ".join(plan_text(plan, "in").split())
    assert "Kept out by too few lower halves and the holds together" in text
    assert "the hold taken off box-1/l2; one more lower half with a wall of" in text


def test_two_rules_and_no_single_cure() -> None:
    """An upper 4 steps thicker than the lower is kept out by wall_difference and, by itself as well, by thick_half: the
    first is a reason alone, and no single change cures."""
    position = make_position("R1", 2 * WALL + 4 * STEP + TARGET, min_nm=TARGET, max_nm=TARGET)
    rules = Rules(wall_difference_nm=STEP, thick_half={"rod": "lower"}, thick_half_from_nm=0)
    plan, reason = only(
        [position], [*make_shells("upper", [WALL + 4 * STEP]), *make_shells("lower", [WALL])], rules=rules
    )
    assert (reason.together, reason.cures) == (
        ("wall_difference",),
        (Cure("lower", WALL, 0),),
    ) or reason.cures_complete
    assert reason.together == ("wall_difference",)
    assert reason.cures == ()
    assert "No single change puts it inside without making another position worse." in " ".join(
        plan_text(plan, "in").split()
    )


def test_a_rule_is_let_out_by_the_least() -> None:
    """Of two pairs on target, 4 and 7 steps apart, the nearer one says what wall_difference must be."""
    position = make_position("R1", 2 * WALL + TARGET, min_nm=TARGET, max_nm=TARGET)
    shells = [
        *make_shells("upper", [WALL + 2 * STEP, WALL + 3 * STEP]),
        *make_shells("lower", [WALL - 2 * STEP, WALL - 4 * STEP]),
    ]
    _, reason = only([position], shells, rules=Rules(wall_difference_nm=STEP))
    assert reason.cures_complete and reason.cures[0] == Cure("wall_difference", 4 * STEP, 3 * STEP)


def test_a_bore_off_its_drawing() -> None:
    """A refused bore is kept out by its drawing limits alone, and a reason in `accept` cures it."""
    position = make_position("R1", 2 * WALL + TARGET)
    band = {"rod": {"housing_bore": Band(position.housing_bore.mean_nm + 1, position.housing_bore.mean_nm + 2)}}
    plan, reason = only([position], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])], drawing=band)
    assert (reason.together, reason.cures) == (("drawing",), (Cure("accept"),))
    assert "Kept out by the drawing limits of the housing bore alone" in " ".join(plan_text(plan, "in").split())


def test_too_much_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a question is too large, or positions that fail are too many, the reason is called not reduced."""
    position = make_position("R1", 2 * WALL + TARGET + 5 * STEP, max_nm=TARGET + 2 * STEP)
    shells = [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])]
    monkeypatch.setattr(asking, "_MOST_PAIRS", 0)
    plan, reason = only([position], shells)
    assert not reason.reduced and not reason.cures_complete and "max" in reason.together
    text = " ".join(plan_text(plan, "in").split())
    assert "Not looked into further, as it would take too long: it is kept out by some of its max, " in text
    assert "Cures were not all looked for, as it would take too long, and none was found." in text
    monkeypatch.undo()
    monkeypatch.setattr(asking, "_MOST_WORK", 0)
    assert not only([position], shells)[1].reduced


def test_cures_found_are_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    """However early the work for cures ends, those found until then are reported, and that there may be more."""
    position = make_position("R1", 2 * WALL + TARGET + 5 * STEP, min_nm=TARGET - 2 * STEP, max_nm=TARGET + 2 * STEP)
    shells = [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])]
    _, whole = only([position], shells)
    counts = Counter[int]()
    for work in range(0, 2000, 20):
        monkeypatch.setattr(asking, "_MOST_WORK", work)
        plan, reason = only([position], shells)
        assert reason.cures == whole.cures[: len(reason.cures)]
        assert not reason.cures_complete or (reason.reduced and reason.cures == whole.cures)
        counts[len(reason.cures)] += 1
        if 0 < len(reason.cures) < len(whole.cures):
            text = " ".join(plan_text(plan, "in").split())
            assert "(3 tenths more)" in text and "Others were not looked for, as it would take too long." in text
            document = json.loads(plan_document(plan, "in"))
            VALIDATOR.validate(document)
            (told,) = document["reasons"]
            assert told["cures_complete"] is False and len(told["cures"]) == len(reason.cures)
    assert set(counts) == {0, 1, 2, 3}


def test_positions_alike_are_looked_into_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Identical positions have the same reason at the cost of one of them; the text gives it once for all."""
    positions = [make_position(f"R{n}", 2 * WALL + TARGET) for n in range(1, 41)]
    asked: list[str] = []
    smallest = small._Bonds.smallest
    monkeypatch.setattr(small._Bonds, "smallest", lambda self: (asked.append(self.position.name), smallest(self))[1])
    shells = [*make_shells("upper", [WALL] * 25), *make_shells("lower", [WALL] * 40)]
    plan = with_reasons(best_plan(make_job(positions, shells)), Stop())
    assert len(plan.reasons) == 15 and asked == [plan.reasons[0].position.name]
    assert [r.position for r in plan.reasons] == [u.position for u in plan.unfilled]
    assert {r[1:] for r in plan.reasons} == {plan.reasons[0][1:]} and plan.reasons[0].together == ("uppers",)
    text = " ".join(plan_text(plan, "in").split())
    names = ", ".join(r.position.name for r in plan.reasons)
    assert f"NOT FILLED: {names} (rod): shells are short" in text and text.count("Kept out by") == 1


def _short_of_uppers() -> Job:
    """A hundred bores that all differ, and sixty uppers."""
    rng = random.Random("short of uppers")
    positions = [
        make_position(f"R{n}", 2 * WALL + TARGET + 50 * n, min_nm=TARGET - 5 * STEP, max_nm=TARGET + 5 * STEP)
        for n in range(1, 101)
    ]
    walls = [WALL + STEP // 2 * rng.randint(-6, 6) for _ in range(160)]
    return make_job(positions, [*make_shells("upper", walls[:60]), *make_shells("lower", walls[60:])])


def test_many_that_fail_share_one_amount_of_work() -> None:
    """Where forty different positions fail, no more is asked than the work allows, and what could not be looked into
    says so."""
    plan = best_plan(_short_of_uppers())
    spent: list[float] = []
    with pytest.MonkeyPatch.context() as patch:
        spend = asking.Budget.spend

        def counted(budget: asking.Budget, work: float) -> None:
            spend(budget, work)  # raises where it is not to be had
            spent.append(work)

        patch.setattr(asking.Budget, "spend", counted)
        told = with_reasons(plan, Stop())
    assert 0 < sum(spent) <= asking._MOST_WORK
    assert len(told.reasons) == len(told.unfilled) == 40
    reduced, complete = [r for r in told.reasons if r.reduced], [r for r in told.reasons if r.cures_complete]
    assert 0 < len(complete) < 40 and reduced and all(r.cures for r in complete)
    words = " ".join(plan_text(told, "in").split())
    assert "Cures were not all looked for, as it would take too long, and none was found." in words
    assert words.count("Not looked into further") <= 1
    document = json.loads(plan_document(told, "in"))
    VALIDATOR.validate(document)
    assert [r["position"] for r in document["reasons"]] == [u.position.name for u in told.unfilled]


@pytest.mark.deep
def test_many_that_fail_are_told_the_same_twice() -> None:
    """Where the work ends before all is looked into, the same job gives the same text all the same."""
    first, second = (plan_text(with_reasons(best_plan(_short_of_uppers()), Stop()), "in") for _ in range(2))
    assert first == second


def test_what_differs_only_in_why_is_told_together() -> None:
    """Two bores of different size, each too large for any pair, share what keeps them out in a sentence of its own."""
    positions = [
        make_position(f"R{n}", 2 * WALL + TARGET + 4 * STEP * n, min_nm=TARGET - STEP, max_nm=TARGET + STEP)
        for n in (1, 2)
    ]
    shells = [*make_shells("upper", [WALL] * 2), *make_shells("lower", [WALL] * 2)]
    plan = with_reasons(best_plan(make_job(positions, shells)), Stop())
    stripped = with_given(plan, reasons=tuple(r._replace(cures=(), cures_complete=True) for r in plan.reasons))
    text = " ".join(plan_text(stripped, "in").split())
    assert "R1, R2 (rod): Kept out by its max alone, whatever else is let go. No single change" in text
    assert text.count("Kept out by") == 1 and text.count("NOT TO BE ASSEMBLED: R") == 2


def test_one_more_half_in_a_row_has_a_range() -> None:
    """Beside a neighbour whose shift is 0, a step of 1 lets one more upper be 1 step... thicker or thinner than its
    lower, and no more, though its limits would."""
    positions = [make_position(f"R{n}", 2 * WALL + TARGET, min_nm=TARGET - 9 * STEP, max_nm=TARGET + 9 * STEP)
                 for n in (1, 2)]  # fmt: skip
    shells = [*make_shells("upper", [WALL]), *make_shells("lower", [WALL] * 2)]
    plan = with_reasons(best_plan(make_job(positions, shells, rules=Rules(neighbour_step_nm={"rod": STEP}))), Stop())
    (reason,) = plan.reasons
    (cure,) = [c for c in reason.cures if c.change == "upper"]
    assert cure == Cure("upper", WALL, low_nm=WALL - 2 * STEP, high_nm=WALL + 2 * STEP)


def test_a_locked_bore_off_its_drawing_binds_its_row() -> None:
    """A refused bore with two locked shells is not cured by a reason in `accept` if its neighbour would then break the
    rule about the row; without the rule it is."""
    positions = [
        make_position("R1", 2 * WALL + TARGET),
        make_position("R2", 2 * WALL + TARGET + 9, upper=("box-1", "u2"), lower=("box-1", "l2")),
    ]
    shells = [*make_shells("upper", [WALL, WALL + 5 * STEP]), *make_shells("lower", [WALL, WALL - 5 * STEP])]
    bore = positions[0].housing_bore.mean_nm
    drawing = {"rod": {"housing_bore": Band(bore - 1, bore + 1)}}
    for rules, cures in ((Rules(), (Cure("accept"),)), (Rules(neighbour_step_nm={"rod": STEP}), ())):
        (reason,) = with_reasons(best_plan(make_job(positions, shells, drawing=drawing, rules=rules)), Stop()).reasons
        assert (reason.position.name, reason.cures, reason.cures_complete) == ("R2", cures, True)


def test_a_stop_is_said() -> None:
    """Where time runs out before a reason is small, it is called not reduced."""
    job = make_job(
        [make_position("R1", 2 * WALL + TARGET + 5 * STEP, max_nm=TARGET + 2 * STEP)],
        [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])],
    )
    plan, stop = best_plan(job), Stop()
    stop.request()
    (reason,) = with_reasons(plan, stop).reasons
    assert not reason.reduced and not reason.cures_complete


def test_nothing_to_say() -> None:
    """A plan in which nothing fails has no reasons."""
    job = make_job(
        [make_position("R1", 2 * WALL + TARGET)], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])]
    )
    assert with_reasons(best_plan(job), Stop()).reasons == ()
