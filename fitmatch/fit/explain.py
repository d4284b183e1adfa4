"""One position explained: what else it could have, and what insisting on a certain pair would change.

`asked` finds the position and the shells by name and refuses what cannot be; `explained` adds to a finished plan the
runner-up, that is the best plan in which this position has another wall sum, and the best plan with the pair asked for.
"""

from collections.abc import Iterator
from dataclasses import replace
from typing import NamedTuple

from fitmatch.fit.candidates import Kind, bore_refused, ready
from fitmatch.fit.checker import check_bores, rules_broken
from fitmatch.fit.demands import Demand
from fitmatch.fit.levels import prove
from fitmatch.fit.naming import name_shells
from fitmatch.fit.stopping import Stop
from fitmatch.fit.words import sizes
from fitmatch.fit.worth import standing
from fitmatch.intake.names import nearest
from fitmatch.parts import SIDES, Explanation, Job, Plan, Position, Shell, Variant, figures_of


class NotPossible(ValueError):
    """What was asked for names nothing, or cannot be; the text says what to do."""


class Question(NamedTuple):
    position: Position
    pair: tuple[Shell, Shell] | None = None


def asked(job: Job, position: str, pair: tuple[str, str] | None = None) -> Question:
    """The position of this name, and the shells NAME or BOX/NAME. Raises NotPossible, with every rule that forbids the
    pair."""
    found = next((p for p in job.positions if p.name == position), None)
    if found is None:
        near = nearest(position, [p.name for p in job.positions])
        raise NotPossible(f"there is no position `{position}`" + (f"; did you mean `{near}`?" if near else ""))
    if pair is None:
        return Question(found)
    if not ready(found, {s.key: s for s in job.shells}):
        raise NotPossible(f"{found.name} is not yet measured; take its readings first")
    upper, lower = (_shell(job, found, name) for name in pair)
    against = list(dict.fromkeys(_forbids(job, found, upper, lower)))
    if against:
        raise NotPossible(f"{_name(upper)} and {_name(lower)} cannot go into {found.name}: {'; '.join(against)}")
    return Question(found, (upper, lower))


def _shell(job: Job, position: Position, name: str) -> Shell:
    box, slash, bare = name.rpartition("/")
    called = [s for s in job.shells if s.name == bare.strip() and (not slash or s.box == box.strip())]
    fitting = [s for s in called if s.kind == position.kind] or called
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        boxes = ", ".join(f"`{s.box}`" for s in fitting)
        raise NotPossible(f"shell `{name}` is in several boxes ({boxes}); write BOX/NAME")
    near = nearest(bare, [s.name for s in job.shells if s.kind == position.kind])
    raise NotPossible(f"there is no shell `{name}`" + (f"; did you mean `{near}`?" if near else ""))


def _forbids(job: Job, position: Position, upper: Shell, lower: Shell) -> Iterator[str]:
    """Everything that keeps these two shells out of this position, rules by their names."""
    if upper.key == lower.key:
        yield "they are one and the same shell"
    if bore_refused(job, position):
        yield "its housing bore lies outside its [drawing] band; write a reason in `accept` to use it all the same"
    locked_in = {lock: p.name for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
    for side, shell in zip(SIDES, (upper, lower), strict=True):
        lock: tuple[str, str] | None = getattr(position, side)
        if lock is not None and lock != shell.key:
            yield f"its {side} half is locked to {lock[0]}/{lock[1]}; take the lock out of positions.csv"
        elif locked_in.get(shell.key, position.name) != position.name:
            yield f"{_name(shell)} is locked in {locked_in[shell.key]}; take the lock out of positions.csv"
        if shell.kind != position.kind:
            yield f"{_name(shell)} is of kind {shell.kind}, not {position.kind}"
        if shell.half not in (side, "either"):
            yield f"{_name(shell)} is for the {shell.half} half; give the upper shell first"
        if shell.hold is not None:
            yield f"{_name(shell)} is on hold: {shell.hold}; clear its `hold` to use it"
        if shell.wall_nm is None:
            yield f"{_name(shell)} is not yet measured"
    if upper.wall_nm is None or lower.wall_nm is None:
        return
    pair = Kind(job, position.kind).place(position, upper, lower)
    if pair.clearance_tightest_nm <= 0:
        yield f"no clearance is left ({sizes(job.unit, [pair.clearance_tightest_nm])[0]})"
    for rule, fault in rules_broken(job, pair):
        yield f"the rule {rule} forbids it: {fault}"


def explained(plan: Plan, question: Question, stop: Stop) -> Plan:
    """The same plan with the explanation of one position."""
    position = question.position
    placed = next((p for p in plan.placements if p.position.name == position.name), None)
    why = next((u.why for u in plan.unfilled if u.position.name == position.name), None)
    runner_up = insisted = None
    if ready(position, {s.key: s for s in plan.job.shells}):
        other = Demand(position.name, not_sum_nm=None if placed is None else placed.wall_sum_nm)
        runner_up = _variant(plan, other, stop)
        if question.pair is not None:
            upper, lower = question.pair
            insisted = _variant(plan, Demand(position.name, pair=(upper.key, lower.key)), stop)
    return replace(plan, explanation=Explanation(position, placed, why, runner_up, question.pair, insisted))


def _variant(plan: Plan, demand: Demand, stop: Stop) -> Variant | None:
    """The best plan of the kind that obeys the demand; None where there is none, or none was found in time."""
    name = next(p.kind for p in plan.job.positions if p.name == demand.position)
    kind = Kind(plan.job, name)
    proven = prove(plan.job, kind, plan.strategy, plan.slack_nm, stop, demand.alter)
    if proven is None:
        return None
    order = {p.name: i for i, p in enumerate(plan.job.positions)}
    placements = sorted(kind.fixed + name_shells(plan.job, kind, proven.choice), key=lambda p: order[p.position.name])
    if all(p.position.name != demand.position for p in placements):
        return None  # stopped before there was a plan
    check_bores(plan.job, placements)
    mine = [p for p in plan.placements if p.position.kind == name]
    return Variant(
        figures_of(tuple(placements)), tuple(placements), proven.proof.proven, standing(plan.job, placements, mine)
    )


def _name(shell: Shell) -> str:
    return f"{shell.box}/{shell.name}"
