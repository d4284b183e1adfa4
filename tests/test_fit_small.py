"""Small reasons and cures: each set is enough and no part of it is, each cure works and is the least, none is missing;
against all plans there are on tiny random jobs, and on jobs whose answers are plain."""

import json
import os
import random
from collections import Counter
from collections.abc import Collection, Iterator
from dataclasses import replace

import oracle
import pytest
from jobs import STEP, TARGET, WALL, describe, guarded_job, make_job, make_position, make_shell, make_shells, random_job
from test_report_document import VALIDATOR

from fitmatch.fit import Stop, asking, assign, small
from fitmatch.fit.guards import check_guard
from fitmatch.fit.small import with_reasons
from fitmatch.parts import ANY, Band, Cure, Job, Plan, Position, Reason, Rules, Shell
from fitmatch.problems import InputError
from fitmatch.report.document import plan_document
from fitmatch.report.text import plan_text

DEEP = int(os.environ.get("FITMATCH_DEEP", "0"))


# --- the definition, by looking at every plan -------------------------------------------------------------------------


def without(job: Job, kind: str, bond: str) -> Job:
    """The job with one thing let go."""
    rules, positions = job.rules, list(job.positions)
    mine = [i for i, p in enumerate(positions) if p.kind == kind]
    match bond:
        case "wall_difference":
            return replace(job, rules=replace(rules, wall_difference_nm=None))
        case "thick_half":
            return replace(
                job, rules=replace(rules, thick_half={k: v for k, v in rules.thick_half.items() if k != kind})
            )
        case "same_in_bore":
            return replace(job, rules=replace(rules, same_in_bore=()))
        case "guard":
            return replace(job, rules=replace(rules, guard=0.0))
        case "family":
            return replace(job, fits={**job.fits, kind: replace(job.fits[kind], family=None)})
        case "holds":
            return replace(job, shells=tuple(replace(s, hold=None) if s.kind == kind else s for s in job.shells))
        case "locks":  # but for those that break a rule and are excused: letting go must take nothing away
            for i in mine:
                if not excused(job, positions[i]):
                    positions[i] = replace(positions[i], upper=None, lower=None)
        case "drawing":
            for i in mine:
                positions[i] = replace(positions[i], accept=positions[i].accept or "so be it")
        case _:
            assert bond == "match finish" and job.matched_columns == ("finish",)
            for i in mine:
                positions[i] = replace(positions[i], wants_upper=(ANY,), wants_lower=(ANY,))
    return replace(job, positions=tuple(positions))


def excused(job: Job, p: Position) -> bool:
    """Whether the locked shells alone break a rule, of a position that is measured."""
    known = {s.key: s for s in job.shells}
    if not oracle.measured(job, p):
        return False
    for side, lock in (("upper", p.upper), ("lower", p.lower)):
        if lock is not None and not oracle.matches(job, known[lock], p, side):
            return True
    if not oracle.locked_twice(p):
        return False
    pair = oracle.Pair(known[p.upper], known[p.lower])
    one_side = job.rules.thick_half.get(p.kind) == "same" and oracle.thicker_half(job, pair) is not None
    return one_side or bool(oracle.broken_rules(job, p, pair))


def names_of_bonds(job: Job, position: Position) -> set[str]:
    """Everything that binds the position, by definition."""
    mine = [p for p in job.positions if p.kind == position.kind]
    names = {"uppers", "lowers"}
    names |= {limit for limit in ("min", "max") if getattr(position, f"{limit}_nm") is not None}
    names |= {"drawing"} if any(oracle.measured(job, p) and not oracle.fillable(job, p) for p in mine) else set()
    names |= {"locks"} if any(p.upper or p.lower for p in mine) else set()
    names |= (
        {"holds"} if any(s.hold and s.kind == position.kind and s.wall_nm is not None for s in job.shells) else set()
    )
    names |= {"wall_difference"} if job.rules.wall_difference_nm is not None else set()
    names |= {"thick_half"} if position.kind in job.rules.thick_half else set()
    names |= {"same_in_bore"} if job.rules.same_in_bore else set()
    names |= {f"match {column}" for column in job.matched_columns}
    names |= {"family"} if job.fits[position.kind].family is not None else set()
    return names | ({"guard"} if job.rules.guard else set())


def misfit(job: Job, p: Position, pair: oracle.Pair) -> tuple[int, int, int]:
    short = oracle.shortfall_nm(job, p, pair)
    return int(short > 0), short, oracle.excess_nm(p, pair, oracle.margin_nm(job, p, pair))


def possible(
    plan: Plan, job: Job, position: Position, plenty: Collection[str] = (), free: Collection[str] = ()
) -> bool:
    """Whether in this variant of the plan's job the position can be inside its limits, as far as they are not let go,
    with no other position worse off than in the plan. `plenty`: halves that are not counted."""
    answer = {p.position.name: misfit(plan.job, p.position, oracle.Pair(p.upper, p.lower)) for p in plan.placements}
    classes: dict[object, int] = {}
    stock: Counter[int] = Counter()
    of: dict[tuple[str, str], int] = {}
    reserved = oracle.locked_keys(job)
    for s in job.shells:
        alike = s.key if s.key in reserved else (s.kind, s.half, s.wall_nm, s.marks, s.family, s.hold, s.measured_as)
        of[s.key] = classes.setdefault(alike, len(classes))
        stock[of[s.key]] += 1
    reached: set[tuple[tuple[int, ...], str | None]] = {((), None)}
    for p in sorted(job.positions, key=lambda p: p.name != position.name):
        mine = p.name == position.name
        if p.kind != position.kind or not (mine or p.name in answer):
            continue
        ways = set()
        for pair in pairs_of(job, p, plenty):
            below, short, over = misfit(job, p, pair)
            if mine and ((short and "min" not in free) or (over and "max" not in free)):
                continue
            if not mine and (below, short, over) > answer[p.name]:
                continue
            counted = zip(("upper", "lower"), pair, strict=True)
            ways.add(
                (tuple(of[s.key] for side, s in counted if side not in plenty), oracle.deciding_side(job, p, pair))
            )
        fresh = set()
        for used, side in reached:
            for drawn, other in ways:
                if side and other and side != other:
                    continue
                total = tuple(sorted(used + drawn))
                if all(total.count(c) <= stock[c] for c in drawn):
                    fresh.add((total, side or other))
        reached = fresh
    return bool(reached)


def pairs_of(job: Job, p: Position, plenty: Collection[str]) -> Iterator[oracle.Pair]:
    """Possible pairs; where halves are not counted, a shell of either half may stand on both sides."""
    yield from oracle.possible_pairs(job, p)
    if plenty and oracle.fillable(job, p) and not oracle.locked_twice(p):
        lowers = {s.key for s in oracle.candidates(job, p, "lower")}
        for s in oracle.candidates(job, p, "upper"):
            pair = oracle.Pair(s, s)
            if s.key in lowers and oracle.has_clearance(job, p, pair) and not oracle.broken_rules(job, p, pair):
                yield pair


def only_with(plan: Plan, position: Position, in_force: Collection[str]) -> bool:
    """Whether it is possible when nothing but these binds."""
    let_go = names_of_bonds(plan.job, position) - set(in_force)
    job = plan.job
    for name in sorted(let_go - {"min", "max", "uppers", "lowers"}, key=lambda name: name != "locks"):
        job = without(job, position.kind, name)
    plenty = [side for side in ("upper", "lower") if f"{side}s" in let_go]
    if possible(plan, job, position, plenty, let_go):
        return True
    freed = (replace(p, upper=None, lower=None) if p.name == position.name else p for p in job.positions)
    job = replace(job, positions=tuple(freed))
    return "locks" in let_go and possible(plan, job, position, plenty, let_go)


# --- the tests --------------------------------------------------------------------------------------------------------


def failing(plan: Plan) -> list[Position]:
    inside = {p.position.name for p in plan.placements if p.within_limits}
    return [p for p in plan.job.positions if oracle.measured(plan.job, p) and p.name not in inside]


def assert_reason(plan: Plan, reason: Reason, what: str) -> None:
    """With all of it the position cannot be inside, without any one it can; and it has one part only if one does."""
    assert reason.reduced, what
    names, position = set(reason.together), reason.position
    assert names <= names_of_bonds(plan.job, position), what
    assert len(names) == len(reason.together)
    if not names:
        assert not only_with(plan, position, ()), what
        return
    if len(names) == 1 and not only_with(plan, position, ()):  # there is no half at all
        usable = [s for s in plan.job.shells if s.kind == position.kind and s.wall_nm is not None]
        assert not any(s.half in (reason.together[0].removesuffix("s"), "either") for s in usable), what
        return
    assert not only_with(plan, position, names), what
    for name in names:
        assert only_with(plan, position, names - {name}), what
        if len(names) > 1:
            assert only_with(plan, position, {name}), f"{name} would be enough; {what}"


def changed(plan: Plan, position: Position, cure: Cure, nm: int | None = None) -> Job:
    """The job after a cure; `nm`: with this length in place of the cure's own."""
    job, to = plan.job, cure.to_nm if nm is None else nm
    match cure.change:
        case "min" | "max":
            positions = (replace(p, **{f"{cure.change}_nm": to}) if p == position else p for p in job.positions)
            return replace(job, positions=tuple(positions))
        case "wall_difference" | "thick_half_from":
            return replace(job, rules=replace(job.rules, **{f"{cure.change}_nm": to}))
        case "guard":
            return replace(job, rules=replace(job.rules, guard=cure.factor))
        case "hold":
            freed = (replace(s, hold=None) if f"{s.box}/{s.name}" == cure.name else s for s in job.shells)
            return replace(job, shells=tuple(freed))
        case "lock":

            def off(lock: tuple[str, str] | None) -> tuple[str, str] | None:
                return None if lock and f"{lock[0]}/{lock[1]}" == cure.name else lock

            return replace(
                job, positions=tuple(replace(p, upper=off(p.upper), lower=off(p.lower)) for p in job.positions)
            )
        case "accept":
            return replace(job, positions=tuple(replace(p, accept="ok") if p == position else p for p in job.positions))
        case "upper" | "lower":
            return with_shell(job, position.kind, cure.change, to)
    return without(job, position.kind, cure.change)


def with_shell(job: Job, kind: str, half: str, wall: int | None) -> Job:
    family = (job.fits[kind].family or ("",))[0]
    marks = (ANY,) * len(job.shell_columns)
    return replace(job, shells=(*job.shells, Shell("new", "new", kind, half, wall, marks, family)))


def assert_cures(plan: Plan, reason: Reason, what: str) -> None:
    """Every cure works, is the least of its sort, and none that would work is missing."""
    job, position = plan.job, reason.position
    assert reason.cures is not None, what
    for cure in reason.cures:
        new = next(p for p in changed(plan, position, cure).positions if p.name == position.name)
        assert possible(plan, changed(plan, position, cure), new), f"{cure} does not work; {what}"
        if cure.by_nm is not None:
            less = cure.to_nm + (1 if cure.change == "min" else -1)
            almost = changed(plan, position, cure, less)
            new = next(p for p in almost.positions if p.name == position.name)
            assert not possible(plan, almost, new), f"less than {cure} does; {what}"
        for end in (cure.low_nm, cure.high_nm):
            if end is not None:
                assert possible(plan, changed(plan, position, cure, end), position), f"{end} of {cure}; {what}"
    told = {cure.change for cure in reason.cures}
    freed = {(cure.change, cure.name) for cure in reason.cures if cure.name}
    for name in names_of_bonds(job, position) - {"uppers", "lowers", "holds", "locks", "drawing"}:
        helps = (
            possible(plan, without(job, position.kind, name), position)
            if name not in ("min", "max")
            else possible(plan, job, position, free=(name,))
        )
        assert helps == ({name: name, "thick_half": "thick_half_from"}.get(name, name) in told), f"{name}; {what}"
    for s in job.shells:
        if s.hold is not None and s.kind == position.kind and s.wall_nm is not None:
            helps = possible(plan, changed(plan, position, Cure("hold", name=f"{s.box}/{s.name}")), position)
            alike = [o for o in job.shells if o.hold and _features(o) == _features(s)]
            named = any(("hold", f"{o.box}/{o.name}") in freed for o in alike)
            assert helps == named, f"{s}; {what}"
    if oracle.fillable(job, position) and not oracle.locked_twice(position):
        for half, other in (("upper", "lower"), ("lower", "upper")):
            if half in told or getattr(position, half) is not None:
                continue
            ideal = position.housing_bore.mean_nm - position.journal.mean_nm + position.seating_nm - position.target_nm
            walls = {ideal - s.wall_nm for s in oracle.candidates(job, position, other)}
            walls |= {s.wall_nm for s in job.shells if s.kind == position.kind and s.wall_nm is not None}
            for wall in walls:
                assert not possible(plan, with_shell(job, position.kind, half, wall), position), (
                    f"{half} {wall}; {what}"
                )


def _features(s: Shell) -> object:
    return s.kind, s.half, s.wall_nm, s.marks, s.family, s.measured_as


@pytest.mark.parametrize("block", range(10))
def test_reasons_and_cures_against_all_plans(block: int) -> None:
    """Every position that fails has a reason that is enough and irreducible, a single bond where one is enough, and all
    the cures there are, each by the least amount."""
    each, seen = (DEEP or 150) // 10, 0
    for seed in range(block * each, (block + 1) * each):
        plan = with_reasons(assign(random_job(random.Random(f"small {seed}"))), Stop())
        assert [r.position for r in plan.reasons] == failing(plan)
        for reason in plan.reasons:
            what = f"seed {seed}, {reason}\n{describe(plan.job)}"
            assert_reason(plan, reason, what)
            assert_cures(plan, reason, what)
            seen += 1
    assert seen


def test_reasons_under_a_guard() -> None:
    """The same with a guard; the guard of a cure works, and a hundredth more does not."""
    seen = guards = 0
    for seed in range(DEEP or 150):
        job = guarded_job(random.Random(f"small guard {seed}"), both_limits=True)
        try:
            check_guard([job])
        except InputError:
            continue
        plan = with_reasons(assign(job), Stop())
        for reason in plan.reasons:
            what = f"seed {seed}, {reason}\n{describe(job)}"
            assert_reason(plan, reason, what)
            seen += 1
            for cure in reason.cures or ():
                if cure.change == "guard":
                    assert cure.factor is not None and cure.factor < job.rules.guard
                    assert possible(plan, changed(plan, reason.position, cure), reason.position), what
                    more = cure._replace(factor=cure.factor + 0.01)
                    if more.factor < job.rules.guard:
                        assert not possible(plan, changed(plan, reason.position, more), reason.position), what
                    guards += 1
    assert seen > 20 and guards


# --- by hand ----------------------------------------------------------------------------------------------------------


def only(positions: list[Position], shells: list[Shell], **more: object) -> tuple[Plan, Reason]:
    plan = with_reasons(assign(make_job(positions, shells, **more)), Stop())
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
    assert reason.cures is not None
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
    ) or reason.cures is not None
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
    assert reason.cures is not None and reason.cures[0] == Cure("wall_difference", 4 * STEP, 3 * STEP)


def test_a_bore_off_its_drawing() -> None:
    """A refused bore is kept out by its drawing band alone, and a reason in `accept` cures it."""
    position = make_position("R1", 2 * WALL + TARGET)
    band = {"rod": {"housing_bore": Band(position.housing_bore.mean_nm + 1, position.housing_bore.mean_nm + 2)}}
    plan, reason = only([position], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])], drawing=band)
    assert (reason.together, reason.cures) == (("drawing",), (Cure("accept"),))
    assert "Kept out by the drawing band of the housing bore alone" in " ".join(plan_text(plan, "in").split())


def test_too_much_is_said(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a question is too large, or positions that fail are too many, the reason is called not reduced."""
    position = make_position("R1", 2 * WALL + TARGET + 5 * STEP, max_nm=TARGET + 2 * STEP)
    shells = [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])]
    monkeypatch.setattr(asking, "_MOST_PAIRS", 0)
    plan, reason = only([position], shells)
    assert not reason.reduced and reason.cures is None and "max" in reason.together
    text = " ".join(plan_text(plan, "in").split())
    assert "What keeps it out was not narrowed down; it is among: its max, too few upper halves" in text
    assert "Cures were not sought: it would take too long." in text
    monkeypatch.undo()
    monkeypatch.setattr(small, "_MOST_POSITIONS", 0)
    assert not only([position], shells)[1].reduced


def test_a_stop_is_said() -> None:
    """Where time runs out before a reason is small, it is called not reduced."""
    job = make_job(
        [make_position("R1", 2 * WALL + TARGET + 5 * STEP, max_nm=TARGET + 2 * STEP)],
        [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])],
    )
    plan, stop = assign(job), Stop()
    stop.request()
    (reason,) = with_reasons(plan, stop).reasons
    assert not reason.reduced and reason.cures is None


def test_nothing_to_say() -> None:
    """A plan in which nothing fails has no reasons."""
    job = make_job(
        [make_position("R1", 2 * WALL + TARGET)], [*make_shells("upper", [WALL]), *make_shells("lower", [WALL])]
    )
    assert with_reasons(assign(job), Stop()).reasons == ()
