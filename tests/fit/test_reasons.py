"""Why a position is empty or outside its limits: one line of shop words for each, with the arithmetic that shows it."""

import random
import re
from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import pytest
from made.jobs import (
    JOURNAL,
    STEP,
    TARGET,
    WALL,
    describe,
    make_job,
    make_position,
    make_shell,
    make_shells,
    random_job,
)
from oracles.rulebook import Rules, with_rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.assign import assign
from fitmatch.fit.solver.stopping import Stop
from fitmatch.fit.why.conflicts import with_reasons
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.parts import Band, Fit, Position, Shell
from fitmatch.report.words.reasons import flag_words, words_of

_MISFITS = ("below-min", "above-max")
THOU_WALL = 1_524_000  # 0.0600 in
LIMITS = {"min_nm": TARGET - 5 * STEP, "max_nm": TARGET + 5 * STEP}  # 0.0015 and 0.0025 in about a target of 0.0020 in


def bore(name: str = "R1", *, off: int = 0, **more: Any) -> Position:
    """A position that two walls of 0.0600 in bring to its target, and `off` looser; limits 5 tenths either side."""
    return make_position(name, 2 * THOU_WALL + TARGET + off, **(LIMITS | more))


def both(*offs: int, half: str = "") -> list[Shell]:
    """Uppers and lowers 0.0600 in thick, and thicker by these."""
    walls = [THOU_WALL + off for off in offs]
    return [s for side in ("upper", "lower") if half in ("", side) for s in make_shells(side, walls)]


def solved(positions: Sequence[Position], shells: Sequence[Shell], **more: Any) -> Plan:
    return best_plan(make_job(positions, shells, **more))


def reasons(plan: Plan, unit: str = "") -> dict[str, str]:
    """What is said of every position that is empty or outside its limits, lengths in the job's unit or in another; each
    is one line and never twice the same."""
    unit = unit or plan.job.unit
    told = {u.position.name: words_of(u.why, unit) for u in plan.unfilled}
    outside = {p.position.name for p in plan.placements if not p.within_limits}
    for flag in plan.flags:
        if flag.code in _MISFITS:
            assert flag.position in outside and flag.position not in told
            text = flag_words(flag, unit)
            told[flag.position] = text.removeprefix("NOT TO BE ASSEMBLED: ")
            assert text != told[flag.position]
    assert told.keys() == {u.position.name for u in plan.unfilled} | outside
    assert all(len(text.splitlines()) == 1 for text in told.values())
    return told


def small(plan: Plan) -> tuple[tuple[str, ...], list[tuple[str, str | None]]]:
    """The small reason of the only position that fails, and its cures except for more shells."""
    (reason,) = with_reasons(plan, Stop()).reasons
    assert reason.reduced
    return reason.together, [(c.change, c.name) for c in reason.cures if c.change not in ("upper", "lower")]


def held_back(plan: Plan) -> list[tuple[str | None, str | None]]:
    """The held shells that would put the only position that fails inside, with the reason for each hold."""
    (reason,) = with_reasons(plan, Stop()).reasons
    return [(one.name, one.why) for one in reason.not_offered if one.change == "hold"]


def only(plan: Plan) -> str:
    (text,) = reasons(plan).values()
    return text


# --- walls that do not fit ---


def test_too_thin() -> None:
    """Where all walls are too thin, the walls that would fit, the thickest pair, what it lacks and its clearance."""
    assert only(solved([bore(off=8 * STEP)], both(0, -STEP))) == (
        "needs walls totalling 0.12030 to 0.12130 in; the thickest admissible pair in these boxes totals 0.12000 in: "
        "3 tenths too thin, clearance 0.00280 in, max 0.00250 in"
    )


def test_too_thick() -> None:
    """The same the other way round."""
    assert only(solved([bore(off=-6 * STEP)], both(0, STEP))) == (
        "needs walls totalling 0.11890 to 0.11990 in; the thinnest admissible pair in these boxes totals 0.12000 in: "
        "1 tenth too thick, clearance 0.00140 in, min 0.00150 in"
    )


def test_too_thin_and_too_thick() -> None:
    """Where some pairs are too thin and the others too thick, the nearest of each are shown."""
    narrow = {"min_nm": TARGET - STEP, "max_nm": TARGET + STEP}
    assert only(solved([bore(**narrow)], both(-2 * STEP, 3 * STEP, half="upper") + both(0, half="lower"))) == (
        "needs walls totalling 0.11990 to 0.12010 in; the nearest admissible pairs in these boxes total 0.11980 in: "
        "1 tenth too thin, clearance 0.00220 in, max 0.00210 in; and 0.12030 in: 2 tenths too thick, clearance "
        "0.00170 in, min 0.00190 in"
    )


def test_metric_words() -> None:
    """In a metric job the same is said in mm and um."""
    position = make_position("R1", 2 * WALL + 60_000, target=45_000, min_nm=40_000, max_nm=50_000)
    assert only(solved([position], make_shells("upper", [WALL]) + make_shells("lower", [WALL]), unit="mm")) == (
        "needs walls totalling 3.0100 to 3.0200 mm; the thickest admissible pair in these boxes totals 3.0000 mm: "
        "10 um too thin, clearance 0.0600 mm, max 0.0500 mm"
    )


def test_one_limit_only() -> None:
    """With one limit, the walls that fit are bounded on one side only."""
    assert "needs walls totalling at least 0.12030 in;" in only(solved([bore(off=8 * STEP, min_nm=None)], both(0)))
    assert "needs walls totalling at most 0.11990 in;" in only(solved([bore(off=-6 * STEP, max_nm=None)], both(0)))


@pytest.mark.parametrize("min_nm", [None, 0])
@pytest.mark.parametrize(
    ("extra", "words"),
    [(0, "in: no clearance is left"), (3 * STEP, "in: 3 tenths too thick to leave any clearance")],
)
def test_no_clearance_at_all(min_nm: int | None, extra: int, words: str) -> None:
    """A bore without a min needs some clearance all the same; walls that leave none at all miss by nothing."""
    text = only(solved([bore(off=-TARGET - extra, min_nm=min_nm, max_nm=None)], both(0)))
    assert text.startswith("needs walls totalling less than 0.1") and text.endswith(words)


@pytest.mark.parametrize(("unit", "miss"), [("mm", "0.003 um"), ("in", "0.001 tenths")])
def test_a_hair_is_not_nothing(unit: str, miss: str) -> None:
    """A miss finer than what is usually shown is shown with enough decimals, and so are the lengths it is between."""
    text = only(solved([bore(off=-5 * STEP - 3)], both(0), unit=unit))
    assert f"{miss} too thick" in text
    needs, pair = text.split(" to ")[1].split()[0], text.split("totals ")[1].split()[0]
    clearance, least = text.split("clearance ")[1].split()[0], text.split("min ")[1].split()[0]
    assert needs < pair and clearance < least


def test_the_tightest_readings_are_named_where_they_were_judged() -> None:
    """Below min the clearance shown is that of the tightest places, and said to be."""
    text = only(solved([bore(low=3 * STEP, high=3 * STEP)], both(0)))
    assert text.endswith("1 tenth too thick, clearance at the tightest places 0.00140 in, min 0.00150 in")
    assert "0.00200" not in text


def test_the_means_are_named_where_they_were_judged() -> None:
    """Above max the clearance shown is that of the means, and said to be where it is not the only one."""
    text = only(solved([bore(off=6 * STEP, low=STEP, high=STEP)], both(0)))
    assert text.endswith("1 tenth too thin, clearance by the means 0.00260 in, max 0.00250 in")
    judged = only(solved([bore(off=6 * STEP, low=STEP)], both(0), rules=Rules(limits_at="mean")))
    assert judged.endswith("1 tenth too thin, clearance 0.00260 in, max 0.00250 in")


def test_readings_that_scatter_too_much() -> None:
    """Where the places differ by more than the limits are apart no walls can help, and that is what is said."""
    text = only(solved([bore(low=6 * STEP, high=5 * STEP)], both(-STEP, 0, STEP)))
    assert "its places differ by more than its limits allow" in text and "measure again" in text
    assert "is 11 tenths below the one from the means, and from min to max it is 10 tenths" in text
    assert text.startswith("its walls total ") and "too thick, clearance at the tightest places" in text
    assert "max is 25 tenths" in only(solved([bore(low=26 * STEP, off=TARGET, min_nm=None)], both(0)))


# --- shells that are short ---


def test_short_of_one_half() -> None:
    """Too few lowers are called a shortage, not a bad fit, and so are too few uppers."""
    positions = [bore(f"R{i}") for i in range(1, 4)]
    for few, words in (("lower", "a lower half"), ("upper", "an upper half")):
        many = "upper" if few == "lower" else "lower"
        shells = both(0, 0, 0, half=many) + both(0, 0, half=few)
        assert only(solved(positions, shells)) == f"shells are short: 3 positions need {words} and there are 2"


def test_short_of_halves_in_all() -> None:
    """With shells that fit either side, it is their number in all that is short."""
    shells = make_shells("either", [THOU_WALL] * 3)
    assert only(solved([bore("R1"), bore("R2")], shells)) == (
        "shells are short: 2 positions need 4 halves in all and there are 3"
    )


def test_a_shortage_names_what_is_set_aside() -> None:
    """Halves on hold or without a reading are named: they may end the shortage."""
    shells = [
        *both(0, 0, half="upper"), *both(0, half="lower"),
        make_shell("l2", "lower", THOU_WALL, hold="dropped\non the floor"), make_shell("l3", "lower", None),
    ]  # fmt: skip
    assert only(solved([bore("R1"), bore("R2")], shells)) == (
        "shells are short: 2 positions need a lower half and there is 1; box-1/l2 is on hold; box-1/l3 is not yet "
        "measured"
    )


def test_short_of_halves_that_match() -> None:
    """Where only the halves that match are short, the shortage says of what."""
    positions = [
        bore("R1", wants_upper=("yes",), wants_lower=("",)),
        bore("R2", wants_upper=("yes",), wants_lower=("",)),
    ]
    shells = [replace(s, marks=("",)) for s in both(0, 0)] + [make_shell("f1", "upper", THOU_WALL, marks=("yes",))]
    plan = solved(positions, shells, matched_columns=("flange",), shell_columns=("flange",))
    assert only(plan) == "shells are short: 2 positions need an upper half that matches flange = yes and there is 1"


def test_a_bad_fit_in_a_shortage() -> None:
    """The position that stays empty since it fits badly says both, in this order."""
    positions = [bore("R1"), bore("R2", off=8 * STEP)]
    text = only(solved(positions, both(0, half="upper") + both(0, half="lower")))
    assert "3 tenths too thin" in text
    assert text.endswith("; also, shells are short: 2 positions need an upper half and there is 1; "
                         "2 positions need a lower half and there is 1")  # fmt: skip


def test_each_failing_position_has_its_own_line() -> None:
    """A bad fit and an empty position give two reasons, each with its own figures; the good one between gives none."""
    told = reasons(solved([bore("R1", off=8 * STEP), bore("R2"), bore("R3", off=-7 * STEP)], both(0, 0)))
    assert list(told) == ["R3", "R1"]
    assert "3 tenths too thin, clearance 0.00280 in" in told["R1"]
    assert "2 tenths too thick, clearance 0.00130 in" in told["R3"]


def test_wanted_elsewhere() -> None:
    """A position whose only fitting shells go elsewhere is reported with such pairs existing but being too few."""
    positions = [bore("R1", off=8 * STEP), bore("R2", off=8 * STEP)]
    plan = solved(positions, both(0, 4 * STEP), rules=Rules(wall_difference_nm=3 * STEP))
    assert only(plan) == (
        "its walls total 0.12000 in: 3 tenths too thin, clearance 0.00280 in, max 0.00250 in; needs walls totalling "
        "0.12030 to 0.12130 in; pairs that would fit it exist, but there are too few for all the "
        "positions that need them"
    )


# --- halves that match nothing, locks, drawings ---


def test_no_half_of_that_side() -> None:
    """Without a single upper half there is nothing to choose from; locked and held ones are named."""
    shells = [make_shell("u1", "upper", THOU_WALL, hold="bent"), *both(0, half="lower")]
    assert only(solved([bore()], shells)) == "there is no upper half of kind rod to choose from; box-1/u1 is on hold"
    locked = [bore("R1", upper=("box-1", "u1")), bore("R2")]
    told = reasons(solved(locked, both(0, half="upper") + both(0, 0, half="lower")))
    assert told == {"R2": "there is no upper half of kind rod to choose from; box-1/u1 is locked to a position"}


def test_no_half_matches() -> None:
    """Where no half matches, the demands that none meets are named, and no other, with what the halves have."""
    columns = ("flange", "chamfer")
    shells = [replace(s, marks=("", "left")) for s in both(0, 0)]
    position = bore(wants_upper=("yes", "left"), wants_lower=("", "left"))
    plan = solved([position], shells, matched_columns=columns, shell_columns=columns)
    told = "none of the 2 upper halves of kind rod matches flange = yes"
    assert only(plan) == f"{told}; their flange is blank"
    mixed = [replace(shells[0], marks=("yes", "")), *shells[1:]]
    plan = solved([position], mixed, matched_columns=columns, shell_columns=columns)
    assert only(plan) == "none of the 2 upper halves of kind rod matches flange = yes and chamfer = left together"
    single = solved([position], shells[1:], matched_columns=columns, shell_columns=columns)
    assert only(single) == "the only upper half of kind rod does not match flange = yes; its flange is blank"


def test_blank_demands_are_said_to_be_blank() -> None:
    """A plain main for which there are only flanged shells is reported as needing blank ones."""
    position = bore(wants_upper=("",), wants_lower=("any",))
    shells = [replace(s, marks=("yes",)) for s in both(0)]
    plan = solved([position], shells, matched_columns=("flange",), shell_columns=("flange",))
    assert only(plan) == "the only upper half of kind rod does not match flange = blank; its flange is `yes`"


def test_another_family() -> None:
    """Shells of another family are out, and the families that fit are named."""
    fits = {"rod": Fit("rod", TARGET, family=("narrow-2", "wide\n3"))}
    plan = solved([bore()], both(0), fits=fits)
    assert only(plan) == "the only upper half of kind rod does not match family = narrow-2 or wide 3"


@pytest.mark.parametrize(("off", "side"), [(STEP, "above"), (-STEP, "below")])
def test_a_housing_bore_off_its_drawing(off: int, side: str) -> None:
    """A housing bore outside its drawing is refused for the crush, which shells cannot correct."""
    size = JOURNAL + 2 * THOU_WALL + TARGET
    position = bore(off=off)
    text = only(solved([position], both(0), drawing={"rod": {"housing_bore": Band(size, size)}}))
    assert (
        f"is {side} its drawing limits" in text
        and ("no choice of shells can correct the crush") in text
        and "`accept`" in text
    )
    by_a_hair = solved([bore(off=1)], both(0), drawing={"rod": {"housing_bore": Band(size, size)}}, unit="mm")
    shown = only(by_a_hair).split()
    assert shown[3] > shown[shown.index("limits,") + 1]


def test_an_accepted_housing_bore_is_flagged_on_one_line() -> None:
    """An accepted bore is filled and flagged with the reason, whose line breaks become spaces."""
    size = JOURNAL + 2 * THOU_WALL
    plan = solved([bore(accept="sleeved\r\nand bored")], both(0), drawing={"rod": {"housing_bore": Band(size, size)}})
    (flag,) = plan.flags
    assert flag.code == "housing-bore-outside-drawing"
    assert flag_words(flag, "in").endswith("; accepted: sleeved and bored")


def test_a_locked_pair_outside_its_limits() -> None:
    """A bore locked in both halves names its shells, by how much they miss and the clearance they give."""
    lock = {"upper": ("box-1", "u1"), "lower": ("box-1", "l1")}
    assert only(solved([bore(off=8 * STEP, **lock)], both(0))) == (
        "its locked shells box-1/u1 and box-1/l1 are 3 tenths too thin, clearance 0.00280 in, max 0.00250 in"
    )
    assert only(solved([bore(low=6 * STEP, **lock)], both(0))) == (
        "its locked shells box-1/u1 and box-1/l1 are 1 tenth too thick, clearance at the tightest places 0.00140 in, "
        "min 0.00150 in"
    )


def test_a_locked_pair_without_clearance() -> None:
    """Locked shells that leave no clearance are not placed, and the reason says so."""
    lock = {"upper": ("box-1", "u1"), "lower": ("box-1", "l1")}
    plan = solved([bore(off=-TARGET - STEP, **lock)], both(0))
    assert [u.position.name for u in plan.unfilled] == ["R1"]
    assert only(plan) == "its locked shells box-1/u1 and box-1/l1 leave no clearance (-0.00010 in)"


def test_a_locked_half_without_a_partner() -> None:
    """Where no half may join the locked one, it is named, and so is the rule that keeps the others away."""
    shells = [*both(9 * STEP, half="upper"), *both(0, half="lower")]
    plan = solved([bore(upper=("box-1", "u1"), max_nm=TARGET, min_nm=TARGET - 10 * STEP)], shells)
    assert only(plan) == (
        "needs walls totalling 0.12000 to 0.12100 in; no lower half in these boxes may go with the locked box-1/u1"
    )
    assert small(plan) == (("wall_difference",), [("wall_difference", None)])


# --- rules that stand in the way ---


def rule_job(**more: Any) -> Job:
    """An upper of 0.0604 in and a lower of 0.0600 in, which fit together, with whatever keeps them apart."""
    shells = more.pop("shells", both(4 * STEP, half="upper") + both(0, half="lower"))
    return make_job([bore(off=4 * STEP, **more.pop("position", {}))], shells, **more)


@pytest.mark.parametrize(
    ("job", "rule", "cure"),
    [
        (rule_job(rules=Rules(wall_difference_nm=3 * STEP)), "wall_difference", "wall_difference"),
        (rule_job(rules=Rules(thick_half={"rod": "lower"}, thick_half_from_nm=STEP)), "thick_half", "thick_half_from"),
        (
            rule_job(
                shells=[
                    make_shell("u1", "upper", THOU_WALL + 4 * STEP, marks=("a",)),
                    make_shell("l1", "lower", THOU_WALL, marks=("b",)),
                ],
                rules=Rules(same_in_bore=("series",)),
                shell_columns=("series",),
            ),
            "same_in_bore series",
            "same_in_bore series",
        ),
    ],
)
def test_the_rule_in_the_way_is_named(job: Job, rule: str, cure: str) -> None:
    """A pair that would fit but for one rule is reported, with the rule, which is the reason and the cure."""
    assert only(assign(job)).endswith("may go together in it")
    assert small(assign(job)) == ((rule,), [(cure, None)])
    free = with_rules(job, Rules())
    assert reasons(assign(free)) == {}


def far(name: str, half: str, **more: Any) -> Shell:
    """A shell that matches and is too thin by far."""
    return make_shell(name, half, THOU_WALL - 9 * STEP, **more)


def test_matching_in_the_way() -> None:
    """A column that keeps the fitting halves away is named, for every position alike that it keeps them from, and never
    offered to be dropped."""
    shells = [
        *(make_shell(f"{half}{i}", half, THOU_WALL, marks=("black",)) for half in ("upper", "lower") for i in (1, 2)),
        *(far(f"far-{half}{i}", half, marks=("",)) for half in ("upper", "lower") for i in (1, 2)),
    ]
    wants = {"wants_upper": ("",), "wants_lower": ("",)}
    positions = [bore("R0", wants_upper=("black",), wants_lower=("black",)), bore("R1", **wants), bore("R2", **wants)]
    plan = solved(positions, shells, matched_columns=("finish",), shell_columns=("finish",))
    told = with_reasons(plan, Stop()).reasons
    assert [r.position.name for r in told] == ["R1", "R2"]
    assert [r.together for r in told] == [("max", "match finish")] * 2
    assert all(r.cures_complete and {c.change for c in r.cures} <= {"upper", "lower"} for r in told)


def test_the_family_in_the_way() -> None:
    """Shells of another family that would fit are reported, and never offered."""
    shells = [*both(0), far("u9", "upper", family="narrow-2"), far("l9", "lower", family="narrow-2")]
    plan = solved([bore()], shells, fits={"rod": Fit("rod", TARGET, family=("narrow-2",))})
    assert small(plan) == (("max", "family"), [])


def test_holds_in_the_way() -> None:
    """A held shell that would fit is named with the reason for its hold, of several identical ones the first; none is
    offered."""
    shells = [
        *both(0, half="lower"), far("u9", "upper"),
        make_shell("u1", "upper", THOU_WALL, hold="scratched"), make_shell("u2", "upper", 2 * WALL, hold="too thick"),
    ]  # fmt: skip
    plan = solved([bore()], shells)
    assert small(plan) == (("max", "holds"), []) and held_back(plan) == [("box-1/u1", "scratched")]
    many = [make_shell(f"h{i}", "upper", THOU_WALL, hold="boxed up") for i in range(20)]
    plan = solved([bore()], [*both(0, half="lower"), far("u9", "upper"), *many])
    assert small(plan) == (("max", "holds"), []) and held_back(plan) == [("box-1/h0", "boxed up")]


def test_several_rules_each_or_all() -> None:
    """If either of two would do, both are reported, and the rule alone is offered; if both must go, neither is."""
    job = rule_job(rules=Rules(wall_difference_nm=3 * STEP, thick_half={"rod": "lower"}, thick_half_from_nm=STEP))
    held = make_shell("u8", "upper", 2 * WALL, hold="bent")
    assert small(best_plan(replace(job, shells=(*job.shells, held)))) == (("wall_difference",), [])
    spare = replace(held, wall_nm=THOU_WALL + 2 * STEP)
    spare_job = with_rules(replace(job, shells=(*job.shells, spare)), Rules(wall_difference_nm=3 * STEP))
    plan = assign(spare_job)
    assert small(plan) == (("holds", "wall_difference"), [("wall_difference", None)])
    assert held_back(plan) == [("box-1/u8", "bent")]


def test_no_rule_is_blamed_that_does_not_help() -> None:
    """Where no pair would fit even without any rule, none is named."""
    text = only(solved([bore(off=30 * STEP)], both(0), rules=Rules(thick_half={"rod": "lower"})))
    assert "would fit" not in text


def test_thick_half_same_may_keep_pairs_out() -> None:
    """Where the kind keeps its thicker halves to one side and all pairs that fit are on the other, that is reported."""
    finish = {name: {"wants_upper": (name,), "wants_lower": (name,)} for name in "ab"}
    narrow = {"min_nm": TARGET - STEP, "max_nm": TARGET + STEP}
    positions = [bore(f"R{name}", off=6 * STEP, **narrow, **finish[name]) for name in "ab"]
    shells = [
        make_shell("u1", "upper", THOU_WALL + 6 * STEP, marks=("a",)),
        make_shell("l1", "lower", THOU_WALL, marks=("a",)),
        make_shell("u2", "upper", THOU_WALL, marks=("b",)),
        make_shell("l2", "lower", THOU_WALL + 6 * STEP, marks=("b",)),
    ]
    plan = solved(
        positions, shells, matched_columns=("finish",), shell_columns=("finish",),
        rules=Rules(thick_half={"rod": "same"}),
    )  # fmt: skip
    text = only(plan)
    side = "lower" if "Rb" in reasons(plan) else "upper"
    assert text.endswith(f"or the rule thick_half keeps them out: in each of them the {side} half is the thicker")


# --- another unit ---


def test_told_in_another_unit() -> None:
    """Reasons and flags are the same in a job of another unit, and in that unit they read as they do there."""
    band = Band(THOU_WALL - 2 * STEP, THOU_WALL - STEP)
    positions = [bore("R1", off=8 * STEP), bore("R2", off=-20 * STEP), bore("R3")]
    job = make_job(positions, both(0, 0), drawing={"rod": {"wall": band}})
    plan, metric = assign(job), assign(replace(job, unit="mm"))
    assert (plan.unfilled, plan.flags) == (metric.unfilled, metric.flags)
    assert reasons(plan, "mm") == reasons(metric) != reasons(plan)
    assert " in" not in "".join(flag_words(f, "mm").replace(" in ", " ") for f in plan.flags)


@pytest.mark.parametrize("seed", range(60))
def test_reasons_of_random_jobs(seed: int) -> None:
    """Whatever fails and however, it has a reason of one line that calls no miss nothing, in either unit."""
    job = random_job(random.Random(f"reasons {seed}"))
    plan = assign(job)
    for texts in (reasons(plan, "in"), reasons(plan, "mm")):
        assert all(texts.values()), describe(job)
        assert not any(re.search(r"\b0(\.0*)? (tenths|um)\b", text) for text in texts.values()), describe(job)
    for p in plan.placements:
        if not p.within_limits:
            (flag,) = (f for f in plan.flags if f.position == p.position.name and f.code in _MISFITS)
            text = flag_words(flag, job.unit)
            judged = "clearance at the tightest places" if p.shortfall_nm else "clearance by the means"
            scattered = p.clearance_tightest_nm != p.clearance_nm
            assert (judged in text) == scattered and ("too thick" if p.shortfall_nm else "too thin") in text
