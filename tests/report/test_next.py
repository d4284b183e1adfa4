"""NEXT: what the report says to do now. No shell of a kind is fitted before the kind is complete."""

from collections.abc import Sequence
from dataclasses import replace
from itertools import product

import pytest
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shell, make_shells, named, with_given

from fitmatch.facts import Fact
from fitmatch.fit.assign import assign
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import SIDES, Band, Fit, Position, Shell
from fitmatch.records.pools import IN_ORDER, TOGETHER, Pool
from fitmatch.report.screen.attention import next_steps
from fitmatch.report.screen.table import which_shell_goes_where
from fitmatch.report.shared.certainty import Certainty
from fitmatch.report.shared.scale import scale_for

STATES = ("complete", "tight", "loose", "empty", "refused", "no journal", "no wall", "in doubt")
WHOLE = ("complete", "no wall")  # the wall of a shell that is in no position
PAIRS = list(product(STATES, STATES))
LIMITS = {"min_nm": TARGET - STEP, "max_nm": TARGET + STEP}


def kind_in(state: str, kind: str, box: str) -> tuple[list[Position], list[Shell]]:
    """Two positions of a kind in this state, and their shells."""
    off = {"tight": -4 * STEP, "loose": 4 * STEP, "refused": 50 * STEP}.get(state, 0)
    first = make_position(f"{kind}1", 2 * WALL + TARGET, kind=kind, **LIMITS)
    second = make_position(f"{kind}2", 2 * WALL + TARGET + off, kind=kind, **LIMITS)
    if state == "no journal":
        second = replace(second, journal=None)
    shells = [
        *make_shells("upper", [WALL, WALL], kind=kind, box=box),
        *make_shells("lower", [WALL] if state == "empty" else [WALL, WALL], kind=kind, box=box),
    ]
    if state == "no wall":
        shells.append(make_shell("unread", "upper", None, kind=kind, box=box))
    return [first, second], shells


def job_in(states: dict[str, str], box: str = "box") -> Job:
    """A job whose kinds are in these states."""
    parts = [kind_in(state, kind, f"{box}-{kind}") for kind, state in states.items()]
    positions, shells = ([one for some in each for one in some] for each in zip(*parts, strict=True))
    bores = {p.kind: p.housing_bore.mean_nm for p in positions if p.name.endswith("1")}
    drawing = {kind: {"housing_bore": Band(nm - 9 * STEP, nm + 9 * STEP)} for kind, nm in bores.items()}
    fits = {kind: Fit(kind, TARGET, family=("narrow",)) for kind in states}
    return make_job(positions, [replace(s, family="narrow") for s in shells], drawing=drawing, fits=fits)


def doubt_about(item: str) -> Doubt:
    return Doubt("positions.csv", 2, item, "journal", 0, Fact("off", {"error_nm": 9}), ("unknown",))


def steps_of(plan: Plan, at: int = 0) -> str:
    one = plan.plans[at]
    return " ".join(" ".join(next_steps(one, plan.proofs_of(one))).split())


def fit_none(kinds: Sequence[str]) -> str:
    return (
        f"fit no shell of {' or '.join(kinds)} yet: another box or reading may change them all. To begin all the same, "
        "lock the shells you fit. A lock is a shell's name in upper or lower of the positions file."
    )


@pytest.mark.parametrize(("rod", "main"), PAIRS)
def test_no_kind_is_begun_before_it_is_complete(rod: str, main: str) -> None:
    """Whatever states two kinds are in, no shell of an incomplete kind is laid out, and all of a complete one are."""
    states = {"rod": rod, "main": main}
    doubts = [doubt_about(f"{kind}1") for kind, state in states.items() if state == "in doubt"]
    steps = steps_of(with_given(assign(job_in(states)), doubts=tuple(doubts)))
    complete = [kind for kind, state in states.items() if state in WHOLE]
    rest = [kind for kind in states if kind not in complete]
    assert (fit_none(rest) in steps) == bool(rest) == ("fit no shell" in steps)
    which = f" ({', '.join(complete)})" if rest else ""
    assert (f"Lay out the shells as shown{which}, fit them" in steps) == bool(complete) == ("Lay out" in steps)
    assert ("take the missing readings" in steps) == ("no journal" in states.values())
    assert steps.count("- First ") + steps.count("- Before anything else ") <= 1
    assert ("are of shells left over" in steps) == ("no wall" in states.values())
    assert ("Before anything else measure again what is in doubt" in steps) == ("in doubt" in states.values())
    assert ("Run no engine" in steps) == bool({"tight", "loose"} & set(states.values()))


def test_no_shell_corrects_a_refused_bore() -> None:
    """A housing bore outside its drawing limits sends nobody to other shells, which would lose their crush in it."""
    steps = steps_of(assign(job_in({"rod": "refused"})))
    assert "rework the housing: no shell can correct it" in steps
    assert "another box or choose" not in steps and "Open another box" not in steps


@pytest.mark.parametrize("priority", [TOGETHER, IN_ORDER])
@pytest.mark.parametrize(("first", "second"), PAIRS)
def test_engines_that_share_a_kind_wait_for_each_other(
    first: str, second: str, priority: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """If two engines share their boxes, what completes the one may change the other: neither NEXT contradicts the
    other, and a kind that only one of them has is none of the other's business."""
    states = {"a": first, "b": second}
    jobs = [named(job_in({"rod": first, "main": "complete"}, "a"), "a"), named(job_in({"rod": second}, "b"), "b")]
    every = tuple(shell for job in jobs for shell in job.shells)
    pool = Pool(tuple(replace(job, shells=every, own_shells=job.shells) for job in jobs))
    monkeypatch.setattr(
        "fitmatch.fit.answer.best_plan.doubts_of",
        lambda job, _: (doubt_about("rod1"),) if states[job.name] == "in doubt" else (),
    )
    plan = assign(pool, priority=priority)
    ready = [one.is_ready("rod") for one in plan.plans]
    for at in (0, 1):
        steps = steps_of(plan, at)
        assert (fit_none(["rod"]) in steps) == (not all(ready))
        assert ("Lay out the shells as shown, " in steps) == all(ready)
        assert at or all(ready) or "Lay out the shells as shown (main)" in steps
        waits = ready[at] and not ready[1 - at]
        one = plan.plans[at]
        table = " ".join(which_shell_goes_where(one, "rod", scale_for("in", []), Certainty(one)))
        assert ("fit none of these yet" in table) == (bool(one.of_kind("rod")) and not all(ready))
        assert (f"While its shells may still change for {'ba'[at]}, fit no shell of rod yet" in steps) == waits


def test_a_plan_without_troubles_is_laid_out() -> None:
    """If everything is good there is one thing to do."""
    steps = steps_of(assign(job_in({"rod": "complete"})))
    assert steps.startswith("NEXT: Lay out the shells as shown, fit them") and " - " not in steps


def test_locked_shells_may_be_fitted() -> None:
    """In a kind that is not whole, shells that are locked in a bore inside its limits stay where they are and may be
    fitted, no others; not those of a bore that is bad or rests on a reading in doubt."""
    job = job_in({"rod": "tight"})
    good, bad = job.positions
    lock = {side: next(s.key for s in job.shells if s.half == side) for side in SIDES}
    locked = assign(replace(job, positions=(replace(good, **lock), bad)))
    told = (
        "As it stands, of rod fit only the locked shells of rod1, and no other yet: another box or reading may change"
    )
    assert told in steps_of(locked) and "To begin with others all the same, lock the shells" in steps_of(locked)
    assert fit_none(["rod"]) in steps_of(with_given(locked, doubts=(doubt_about("rod1"),)))
    assert fit_none(["rod"]) in steps_of(assign(replace(job, positions=(good, replace(bad, **lock)))))


def test_a_box_that_may_be_a_copy_is_looked_at_first() -> None:
    """A kind with shells of a box that reads like another waits until somebody has looked whether it is a copy; where
    neither is used, the kind is ready."""
    job = job_in({"rod": "complete"})
    spare = [make_shell("s", "upper", WALL + 9 * STEP, kind="rod", box=box) for box in "cd"]
    job = replace(job, shells=(*job.shells, *(replace(s, family="narrow") for s in spare)))
    waits = assign(replace(job, look_alikes=(("c", "box-rod"),)))
    assert waits.needs_attention and not waits.plans[0].is_ready("rod")
    steps = steps_of(waits)
    assert "- First look whether c is a copy of box-rod" in steps and "copy_confirmed" in steps
    assert fit_none(["rod"]) in steps and "Lay out" not in steps
    ready = assign(replace(job, look_alikes=(("d", "c"),)))
    assert ready.needs_attention and "Lay out the shells as shown, fit them" in steps_of(ready)
