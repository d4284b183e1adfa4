"""Small reasons and cures: each set is enough and no part of it is, each cure works and is the least, none is missing;
checked against all plans of tiny random jobs, and on jobs whose answers are plain."""

import json
import random
import re
from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import pytest
from made.jobs import (
    STEP,
    TARGET,
    WALL,
    believed,
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
from oracles.rulebook import Rules, rules_of, with_rules
from oracles.schemas import VALIDATOR
from oracles.small_oracle import assert_reason, assert_small, groups, works

from fitmatch.facts import Fact
from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.solver.stopping import Stop
from fitmatch.fit.why import conflicts as small
from fitmatch.fit.why import questions as asking
from fitmatch.fit.why.conflicts import with_reasons
from fitmatch.lengths import parse_length
from fitmatch.records.answers.plans import Cure, NotOffered, Plan, Reason
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import Band, Fit, Position, Shell
from fitmatch.report.data.document import plan_document
from fitmatch.report.text.report import plan_text
from fitmatch.report.words.small_reasons import Beside, in_words


@seeds(30, 50)
def test_reasons_and_cures_against_all_plans(seeds: list[int]) -> None:
    """Every position that fails has a reason that is enough and irreducible, a single bond where one is enough, and all
    the cures there are, each by the least amount."""
    seen: Counter[str] = Counter()
    for seed in seeds:
        plan = with_reasons(believed(best_plan(random_job(random.Random(f"small {seed}")))), Stop())
        seen += assert_small(plan, f"seed {seed}")
    assert seen["reasons"]


@pytest.mark.parametrize(
    ("make", "cures"),
    [
        (wishing_job, {"upper", "not offered: max"}),
        (row_job, {"neighbour_step", "line"}),
        (moving_job, {"upper", "not offered: max"}),
    ],
)
@seeds(32, 44)
def test_reasons_with_wishes_rows_and_housings(seeds: list[int], make: Callable[..., Job], cures: set[str]) -> None:
    """The same where others must not miss their wanted band by more, where bores in a row bind each other, and where
    housings may move."""
    seen: Counter[str] = Counter()
    for seed in seeds:
        job = make(random.Random(f"small {make.__name__} {seed}"))
        if rules_of(job).guard or (rules_of(job).movable and len(job.positions) > 3):
            continue  # every order of the housings is looked at
        seen += assert_small(with_reasons(believed(best_plan(job)), Stop()), f"{make.__name__} {seed}")
    assert seen["reasons"] and 10 * seen["given up"] <= seen["reasons"]
    if 0 in seeds:  # the first show all of these
        assert seen.keys() >= cures


@seeds(20, 40)
def test_reasons_of_several_jobs(seeds: list[int]) -> None:
    """The same for two or three jobs that share their shells: no position of any of them is worse off."""
    seen: Counter[str] = Counter()
    for seed in seeds:
        rng = random.Random(f"small pool {seed}")
        make = rng.choice([random_pool, further_pool])
        pool, priority = make(rng, both_limits=False), rng.choice(["together", "in-order"])
        if any(rules_of(job).movable for job in pool.jobs) and sum(len(job.positions) for job in pool.jobs) > 3:
            continue
        seen += assert_small(with_reasons(believed(best_plan(pool, priority=priority)), Stop()), f"pool {seed}")
    assert seen["reasons"] and seen["lock"] + seen["upper"]


@seeds(20, 45)
def test_reasons_under_a_guard(seeds: list[int]) -> None:
    """The same with a guard; the guard of a cure works, and a hundredth more does not."""
    seen = guards = 0
    for seed in seeds:
        job = guarded_job(random.Random(f"small guard {30 + seed}"), both_limits=True)
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


def told(plan: Plan) -> str:
    """Its report, as if on one endless line."""
    return " ".join(plan_text(plan, "in").split())


def test_its_max_alone() -> None:
    """Two walls are 3 steps too thin for max: max is enough by itself; that it misses by 3 steps is reported and
    another max is not offered; one more half of either side that is 3 steps thicker at least cures."""
    position = make_position("R1", 2 * WALL + TARGET + 5 * STEP, min_nm=TARGET - 2 * STEP, max_nm=TARGET + 2 * STEP)
    plan, reason = only([position], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])])
    assert (reason.together, reason.reduced) == (("max",), True)
    most = WALL + 6 * STEP  # what wall_difference allows: 0.6 thou
    assert reason.cures == (
        Cure("upper", WALL + 5 * STEP, low_nm=WALL + 3 * STEP, high_nm=most),
        Cure("lower", WALL + 5 * STEP, low_nm=WALL + 3 * STEP, high_nm=most),
    )
    assert reason.not_offered == (NotOffered("max", 3 * STEP),)
    assert (
        "Kept out by its max alone. Misses the maker's max by 3 tenths; only the maker may change that. Any one of "
        "these changes would fix it and make no other position worse: one more upper half: wall "
    ) in told(plan)
    document = json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    (reason_value,) = document["reasons"]
    assert reason_value["together"] == ["max"] and reason_value["in_doubt"] is False
    assert reason_value["not_offered"] == [{"change": "max", "by": 0.0003, "name": None, "why": None, "guarded": False}]
    assert [(cure["change"], cure["marks"], cure["family"]) for cure in reason_value["cures"]] == [
        ("upper", {}, None), ("lower", {}, None),
    ]  # fmt: skip


def test_its_min_alone() -> None:
    """The same of two walls too thick for min: what they miss it by is reported, and no other min is offered."""
    position = make_position("R1", 2 * WALL + TARGET - 5 * STEP, min_nm=TARGET - STEP)
    plan, reason = only([position], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])])
    assert reason.not_offered == (NotOffered("min", 4 * STEP),)
    assert {cure.change for cure in reason.cures} == {"upper", "lower"}
    assert "Misses the maker's min by 4 tenths; only the maker may change that." in told(plan)


def test_a_hold_and_too_few() -> None:
    """Two bores, two uppers, and of two lowers one is on hold: it takes too few lowers and the hold together. The held
    one is reported with its reason, and not offered."""
    positions = [make_position(f"R{n}", 2 * WALL + TARGET) for n in (1, 2)]
    held = make_shell("l2", "lower", WALL, hold="scratched")
    plan, reason = only(positions, [*make_shells("upper", [WALL, WALL]), *make_shells("lower", [WALL]), held])
    assert (reason.together, reason.reduced) == (("lowers", "holds"), True)
    assert reason.cures_complete
    assert [(c.change, c.to_nm) for c in reason.cures] == [("lower", WALL)]
    assert reason.not_offered == (NotOffered("hold", name="box-1/l2", why="scratched"),)
    assert "Kept out by too few lower halves and the holds together" in told(plan)
    assert "box-1/l2 would fit but is on hold: 'scratched'." in told(plan) and "removed from box" not in told(plan)


def test_many_held_shells_are_counted() -> None:
    """Of five held shells that differ and would each fit, two are named and the others counted; JSON has all."""
    held = [make_shell(f"h{n}", "lower", WALL + n, hold=f"scratch {n}") for n in range(5)]
    plan, reason = only([make_position("R1", 2 * WALL + TARGET)], [*make_shells("upper", [WALL]), *held])
    assert len(reason.not_offered) == 5
    assert (
        "box-1/h0 would fit but is on hold: 'scratch 0'; box-1/h1 would fit but is on hold: 'scratch 1'; 3 more that "
        "are on hold would."
    ) in told(plan)


def test_one_more_half_is_described_completely() -> None:
    """With its wall what it must read: the matched columns of its side, blank ones too, what its partner reads where
    both halves must agree, and the families that fit."""
    positions = [
        make_position(
            "R1",
            2 * WALL + TARGET,
            min_nm=TARGET - 300,
            max_nm=TARGET + 300,
            wants_upper=("yes", ""),
            wants_lower=("", "left"),
        )
    ]
    columns = ("flange", "chamfer")
    lower = make_shell("l1", "lower", WALL, marks=("", "left", "old"), family="narrow-2")
    plan, reason = only(
        positions,
        [lower, make_shell("l2", "lower", WALL + 9 * STEP, marks=("", "left", "new"), family="narrow-3")],
        fits={"rod": Fit("rod", TARGET, family=("narrow-2", "narrow-3"))},
        matched_columns=columns,
        shell_columns=(*columns, "condition"),
        rules=Rules(same_in_bore=("condition",)),
    )
    (cure,) = reason.cures
    assert cure.change == "upper" and cure.to_nm == WALL
    assert cure.marks == (
        ("flange", ("yes",)), ("chamfer", ("",)), ("condition", ("old",)), ("family", ("narrow-2", "narrow-3")),
    )  # fmt: skip
    assert "one more upper half: wall 0.0590" in told(plan)
    assert " will do), flange yes, no chamfer mark, condition old, family narrow-2 or narrow-3." in told(plan)
    (value,) = json.loads(plan_document(plan, "in"))["reasons"][0]["cures"]
    assert value["marks"] == {"flange": "yes", "chamfer": "", "condition": "old"}
    assert value["family"] == ["narrow-2", "narrow-3"]


def test_words_that_few_answers_have() -> None:
    """One more half that is for another position says for which, a housing of another row whose it is, and a limit that
    a guard draws in that it does."""
    row = make_position("R1", 2 * WALL + TARGET)
    cures = (Cure("upper", 2_540_000, name="b/R2", low_nm=2_540_000, high_nm=2_540_500), Cure("guard", factor=0.25))
    barred = (NotOffered("min", STEP, guarded=True), NotOffered("accept", name="R3"))
    text = in_words(Reason(row, ("min",), True, cures, True, barred), "in", Beside(), several=False)
    assert "one more upper half for b/R2: wall 0.100000 in (0.100000 to 0.100019 will do); a guard of 0.25." in text
    assert (
        "Misses the maker's min, as your guard draws it in, by 1 tenth; the maker's min is not yours to change." in text
    )
    assert "The housing bore of R3 would do only with the engine maker's written permission" in text


def test_a_half_that_no_mark_lets_in_is_not_offered() -> None:
    """Where a half must match its position and its partner in one column, and these differ, there is no such half."""
    position = make_position("R1", 2 * WALL + TARGET, wants_upper=("g",), wants_lower=("",))
    more = {"matched_columns": ("finish",), "shell_columns": ("finish",)}
    shells = [make_shell("l1", "lower", WALL, marks=("",))]
    _, reason = only([position], shells, rules=Rules(same_in_bore=("finish",)), **more)
    assert reason.cures == () and reason.cures_complete
    _, reason = only([position], shells, **more)
    assert [cure.change for cure in reason.cures] == ["upper"]


def test_one_more_half_keeps_to_the_drawing() -> None:
    """The walls of one more half are inside the drawing limits; if these leave none, none is offered."""
    position = make_position("R1", 2 * WALL + TARGET + 5 * STEP, min_nm=TARGET - 2 * STEP, max_nm=TARGET + 2 * STEP)
    shells = [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])]
    drawing = {"rod": {"wall": Band(WALL - STEP, WALL + 4 * STEP)}}
    _, reason = only([position], shells, drawing=drawing)
    assert [(c.change, c.to_nm, c.low_nm, c.high_nm) for c in reason.cures] == [
        (side, WALL + 4 * STEP, WALL + 3 * STEP, WALL + 4 * STEP) for side in ("upper", "lower")
    ]
    drawing = {"rod": {"wall": Band(WALL - STEP, WALL + 2 * STEP)}}
    plan, reason = only([position], shells, drawing=drawing)
    assert reason.cures == () and reason.cures_complete
    assert "No single change that is yours to make would fix it" in told(plan)


def test_no_rule_is_eased_for_a_shell_off_the_drawing() -> None:
    """A min_wall that keeps out a thinner shell is not relaxed if the maker's drawing keeps it out as well."""
    position = make_position("R1", 2 * WALL + TARGET - STEP, min_nm=TARGET, max_nm=TARGET)
    shells = [*make_shells("upper", [WALL, WALL - STEP]), *make_shells("lower", [WALL])]
    rules = Rules(min_wall_nm={"rod": WALL})
    _, reason = only([position], shells, rules=rules)
    assert Cure("min_wall", WALL - STEP, STEP) in reason.cures
    _, reason = only([position], shells, rules=rules, drawing={"rod": {"wall": Band(WALL, WALL + STEP)}})
    assert reason.cures == () and reason.cures_complete


def test_a_family_or_a_mark_is_never_dropped() -> None:
    """Shells of another family or with another mark would fit, and neither rule is offered to be dropped."""
    position = make_position("R1", 2 * WALL + TARGET, wants_upper=("yes",), wants_lower=("yes",))
    fits = {"rod": Fit("rod", TARGET, family=("narrow-2",))}
    others = [make_shell(half[0], half, WALL, marks=("",), family="narrow-2") for half in ("upper", "lower")]
    _, reason = only([position], others, fits=fits, matched_columns=("flange",), shell_columns=("flange",))
    assert (reason.together, reason.cures, reason.cures_complete) == (("match flange",), (), True)
    others = [replace(shell, marks=("yes",), family="wide") for shell in others]
    _, reason = only([position], others, fits=fits, matched_columns=("flange",), shell_columns=("flange",))
    assert (reason.together, reason.cures, reason.cures_complete) == (("family",), (), True)


def doubt_about(item: str, feature: str, code: str = "off", **slots: object) -> Doubt:
    return Doubt("positions.csv", 2, item, feature, 0, Fact(code, {"error_nm": 9 * STEP, **slots}), ("unknown",))


@pytest.mark.parametrize(
    ("doubt", "in_doubt"),
    [
        (doubt_about("R1", "journal"), {"R1"}),
        (doubt_about("R1", "housing_bore"), {"R1"}),
        (doubt_about("R2", "journal"), {"R2"}),
        (doubt_about("R3", "journal"), set()),
        (doubt_about("R3", "journal", "copied", other="R2"), {"R2"}),
        (doubt_about("box-1/u1", "wall"), {"R1"}),
        (doubt_about("box-9/spare", "wall"), set()),
        (doubt_about("R3", "housing_bore", "step", last="R3", half="", of="rod"), {"R1", "R2"}),
        (doubt_about("R3", "journal", "sitting", half="", of="rod"), {"R1", "R2"}),
        (doubt_about("box-1/u1", "wall", "sitting", half="lower", of="box-1"), {"R1", "R2"}),
        (doubt_about("box-9/spare", "wall", "sitting", half="upper", of="box-9"), set()),
    ],
    ids=lambda value: f"{value.item} {value.feature} {value.what.code}" if isinstance(value, Doubt) else "",
)
def test_no_cure_while_a_reading_is_in_doubt(doubt: Doubt, in_doubt: set[str]) -> None:
    """A position with a doubtful size, or with a shell of a doubtful wall, has its reason and no cure: that is measured
    again first. Doubts about anything else change nothing."""
    positions = [
        make_position(f"R{n}", 2 * WALL + TARGET + off, max_nm=TARGET + STEP)
        for n, off in ((1, 3 * STEP), (2, 4 * STEP), (3, 0))
    ]
    shells = [*make_shells("upper", [WALL] * 3), *make_shells("lower", [WALL] * 3)]
    shells += [make_shell("spare", "upper", WALL - 9 * STEP, box="box-9")]
    plan = best_plan(make_job(positions, shells))
    by_name = {p.position.name: p for p in plan.placements}
    if doubt.item == "box-1/u1" and doubt.what.code == "off":  # the upper that R1 has
        doubt = doubt._replace(item="/".join(by_name["R1"].upper.key))
    plan = with_reasons(with_given(plan, doubts=(doubt,)), Stop())
    found = {r.position.name: r for r in plan.reasons}
    assert {name for name, r in found.items() if r.in_doubt} == in_doubt
    for name, reason in found.items():
        assert reason.together == ("max",)
        assert bool(reason.cures) == bool(reason.not_offered) == reason.cures_complete == (name not in in_doubt)
    words = "No change is proposed while a reading of it is in doubt: measure that again first."
    assert (words in told(plan)) == bool(in_doubt)
    document = json.loads(plan_document(plan, "in"))
    VALIDATOR.validate(document)
    assert {r["position"] for r in document["reasons"] if r["in_doubt"]} == in_doubt


def test_an_empty_position_waits_for_any_wall_in_doubt() -> None:
    """A doubtful wall might have gone into a position that stays empty: no cure of it before that is read again."""
    positions = [make_position(f"R{n}", 2 * WALL + TARGET) for n in (1, 2)]
    shells = [*make_shells("upper", [WALL] * 2), *make_shells("lower", [WALL])]
    shells += [make_shell("odd", "lower", 2 * WALL), make_shell("x", "upper", WALL, kind="main")]
    plan = best_plan(make_job(positions, shells))
    assert [u.position.name for u in plan.unfilled]
    for item, waits in (("box-1/odd", True), ("box-1/x", False)):
        (reason,) = with_reasons(with_given(plan, doubts=(doubt_about(item, "wall"),)), Stop()).reasons
        assert reason.in_doubt == waits and bool(reason.cures) != waits


def test_alike_positions_are_doubted_each_by_itself() -> None:
    """Of two that nothing tells apart but a doubt, the one has its cures and the other waits."""
    positions = [make_position(f"R{n}", 2 * WALL + TARGET + 4 * STEP, max_nm=TARGET + STEP) for n in (1, 2)]
    shells = [*make_shells("upper", [WALL] * 2), *make_shells("lower", [WALL] * 2)]
    plan = with_given(best_plan(make_job(positions, shells)), doubts=(doubt_about("R1", "journal"),))
    assert [(r.position.name, r.in_doubt, bool(r.cures)) for r in with_reasons(plan, Stop()).reasons] == [
        ("R1", True, False), ("R2", False, True),
    ]  # fmt: skip


def printed(plan: Plan, unit: str, rule: str) -> str:
    """The limit that the report gives for this rule, as it is printed there with its unit."""
    text = " ".join(plan_text(plan, unit).split())
    return re.findall(rf"the rule {rule} at ([0-9.]+ (?:in|mm))", text)[0]


@pytest.mark.parametrize("unit", ["in", "mm"])
@pytest.mark.parametrize("off", range(-3, 4))
def test_a_printed_limit_cures(unit: str, off: int) -> None:
    """The limit works when written back as it is printed, whichever way rounding would take it."""
    upper, lower = WALL + 4 * STEP + 37 * off, WALL - 31 * off
    position = make_position("R1", upper + lower + TARGET, min_nm=TARGET, max_nm=TARGET)
    shells = [*make_shells("upper", [upper]), *make_shells("lower", [lower])]
    for rule, rules in (
        ("wall_difference", Rules(wall_difference_nm=STEP)),
        ("min_wall", Rules(wall_difference_nm=None, min_wall_nm={"rod": WALL + 2 * STEP})),
    ):
        job = make_job([position], shells, rules=rules)
        plan = with_reasons(best_plan(job), Stop())
        nm, _ = parse_length(printed(plan, unit, rule), unit, inch_job=True)
        assert len(best_plan(with_rules(job, **as_rules(rule, nm))).placements) == 1


def as_rules(rule: str, nm: int) -> dict[str, object]:
    return {f"{rule}_nm": {"rod": nm} if rule == "min_wall" else nm}


@pytest.mark.parametrize("off", range(-3, 4))
def test_printed_walls_will_do(off: int) -> None:
    """Every wall that is printed for one more half, the ends of its range too, puts the position inside; none is
    printed where it would have to be met closer than gauges tell apart."""
    for width in (40, 249, 251, 700):
        position = make_position("R1", 2 * WALL + TARGET + 4 * STEP, min_nm=TARGET - width, max_nm=TARGET + width)
        shells = [*make_shells("upper", [WALL]), *make_shells("lower", [WALL + 29 * off])]
        plan, _ = only([position], shells)
        told_walls = re.findall(r"upper half: wall ([0-9.]+) in(?: \(([0-9.]+) to ([0-9.]+) will do\))?", told(plan))
        assert bool(told_walls) == (width > 250)
        for text in filter(None, told_walls[0] if told_walls else ()):
            more = make_shell("new", "upper", parse_length(text, "in", inch_job=True)[0])
            plan = best_plan(make_job([position], [*shells, more]))
            assert all(p.within_limits for p in plan.placements), (width, text)


def test_two_rules_and_no_single_cure() -> None:
    """An upper 4 steps thicker than the lower is kept out by wall_difference and, by itself as well, by thick_half: the
    first is a reason alone, and no single change cures."""
    position = make_position("R1", 2 * WALL + 4 * STEP + TARGET, min_nm=TARGET, max_nm=TARGET)
    rules = Rules(wall_difference_nm=STEP, thick_half={"rod": "lower"}, thick_half_from_nm=0)
    plan, reason = only(
        [position], [*make_shells("upper", [WALL + 4 * STEP]), *make_shells("lower", [WALL])], rules=rules
    )
    assert reason.together == ("wall_difference",)
    assert reason.cures == () and reason.cures_complete
    assert "No single change that is yours to make would fix it without making another position worse." in told(plan)


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
    """A refused bore is kept out by its drawing limits alone; the maker's permission is named and not offered."""
    position = make_position("R1", 2 * WALL + TARGET)
    band = {"rod": {"housing_bore": Band(position.housing_bore.mean_nm + 1, position.housing_bore.mean_nm + 2)}}
    plan, reason = only([position], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])], drawing=band)
    assert (reason.together, reason.cures, reason.not_offered) == (("drawing",), (), (NotOffered("accept"),))
    assert "Kept out by the drawing limits of the housing bore alone" in told(plan)
    assert "only with the engine maker's written permission, quoted in the column `accept`" in told(plan)


def test_too_much_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a question is too large, or positions that fail are too many, the reason is called not reduced."""
    position = make_position("R1", 2 * WALL + TARGET + 5 * STEP, max_nm=TARGET + 2 * STEP)
    shells = [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])]
    monkeypatch.setattr(asking, "_MOST_PAIRS", 0)
    plan, reason = only([position], shells)
    assert not reason.reduced and not reason.cures_complete and "max" in reason.together
    assert "Not looked into further, as it would take too long: it is kept out by some of its max, " in told(plan)
    assert "were not all looked for, as it would take too long, and none was found." in told(plan)
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
            assert reason.not_offered == whole.not_offered
            assert "Others were not looked for, as it would take too long." in told(plan)
            document = json.loads(plan_document(plan, "in"))
            VALIDATOR.validate(document)
            (value,) = document["reasons"]
            assert value["cures_complete"] is False and len(value["cures"]) == len(reason.cures)
    assert set(counts) == {0, 1, 2}


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


@pytest.mark.deep
def test_many_that_fail_share_one_amount_of_work() -> None:
    """Where forty different positions fail, no more is asked than the work allows, and what could not be looked into
    says so."""
    plan = with_given(best_plan(_short_of_uppers()), doubts=())  # bores that grow steadily look like a gauge set anew
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
    assert "were not all looked for, as it would take too long, and none was found." in words
    assert words.count("Not looked into further") <= 1
    document = json.loads(plan_document(told, "in"))
    VALIDATOR.validate(document)
    assert [r["position"] for r in document["reasons"]] == [u.position.name for u in told.unfilled]


@pytest.mark.deep
def test_many_that_fail_are_told_the_same_twice() -> None:
    """Where the work ends before all is looked into, the same job gives the same text all the same."""
    plans = [with_given(best_plan(_short_of_uppers()), doubts=()) for _ in range(2)]
    first, second = (plan_text(with_reasons(plan, Stop()), "in") for plan in plans)
    assert first == second


def test_what_differs_only_in_why_is_told_together() -> None:
    """Two bores of different size, each too large for any pair, share what keeps them out in a sentence of its own."""
    positions = [
        make_position(f"R{n}", 2 * WALL + TARGET + 4 * STEP * n, min_nm=TARGET - STEP, max_nm=TARGET + STEP)
        for n in (1, 2)
    ]
    shells = [*make_shells("upper", [WALL] * 2), *make_shells("lower", [WALL] * 2)]
    plan = with_reasons(best_plan(make_job(positions, shells)), Stop())
    bare = (r._replace(cures=(), not_offered=(), cures_complete=True) for r in plan.reasons)
    stripped = with_given(plan, reasons=tuple(bare))
    text = " ".join(plan_text(stripped, "in").split())
    assert "R1, R2 (rod): Kept out by its max alone, even if every other limit and rule were relaxed. No single" in text
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
    """A permission for a refused bore with two locked shells does not help if its neighbour would then break the rule
    about the row; without the rule it does."""
    positions = [
        make_position("R1", 2 * WALL + TARGET),
        make_position("R2", 2 * WALL + TARGET + 9, upper=("box-1", "u2"), lower=("box-1", "l2")),
    ]
    shells = [*make_shells("upper", [WALL, WALL + 5 * STEP]), *make_shells("lower", [WALL, WALL - 5 * STEP])]
    bore = positions[0].housing_bore.mean_nm
    drawing = {"rod": {"housing_bore": Band(bore - 1, bore + 1)}}
    for rules, permitted in ((Rules(), (NotOffered("accept"),)), (Rules(neighbour_step_nm={"rod": STEP}), ())):
        (reason,) = with_reasons(best_plan(make_job(positions, shells, drawing=drawing, rules=rules)), Stop()).reasons
        assert (reason.position.name, reason.not_offered, reason.cures_complete) == ("R2", permitted, True)


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
