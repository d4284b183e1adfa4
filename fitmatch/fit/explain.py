"""One position explained: what else it could have, and what insisting on a certain pair would change.

`asked` finds the position and the shells by name and refuses what cannot be; `explained` adds to a finished answer the
runner-up, that is the best plan in which this position has another wall sum, and the best plan with the pair asked for.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple, overload

from fitmatch.fit.alternatives import other_plan
from fitmatch.fit.candidates import bore_refused, ready
from fitmatch.fit.checker import rules_broken
from fitmatch.fit.deciding import Decided, decided, turns
from fitmatch.fit.demands import Demand
from fitmatch.fit.filling import NoPlan
from fitmatch.fit.levels import prove
from fitmatch.fit.rowrules import broken_in_rows
from fitmatch.fit.stopping import Stop
from fitmatch.fit.terms import Terms
from fitmatch.fit.words import sizes
from fitmatch.housings import may_move, rehoused
from fitmatch.intake.names import nearest
from fitmatch.parts import SIDES, Job, Position, Shell
from fitmatch.plans import Explanation, OtherPlan, Placement, Plan
from fitmatch.pools import PoolPlan


class NotPossible(ValueError):
    """What was asked for names nothing, or cannot be; the text says what to do."""


class Question(NamedTuple):
    job: Job
    position: Position
    pair: tuple[Shell, Shell] | None = None


def asked(jobs: Sequence[Job], position: str, pair: tuple[str, str] | None = None) -> Question:
    """The position of this name, `JOB/POSITION` where there are several jobs, and the shells NAME or BOX/NAME. Raises
    NotPossible, with every rule that forbids the pair."""
    job, found = _position(jobs, position)
    if pair is None:
        return Question(job, found)
    if not ready(found, {s.key: s for s in job.shells}):
        raise NotPossible(f"{found.name} is not yet measured; take its readings first")
    upper, lower = (_shell(job, found, name) for name in pair)
    against = list(dict.fromkeys(_forbids(jobs, job, found, upper, lower)))
    if against:
        raise NotPossible(f"{_name(upper)} and {_name(lower)} cannot go into {found.name}: {'; '.join(against)}")
    return Question(job, found, (upper, lower))


def _position(jobs: Sequence[Job], name: str) -> tuple[Job, Position]:
    known = {f"{job.name}/{p.name}" if job.name else p.name: (job, p) for job in jobs for p in job.positions}
    if name in known:
        return known[name]
    alike = [full for full, (_, p) in known.items() if p.name == name]
    if alike:
        raise NotPossible(f"position `{name}` needs the name of its job: {' or '.join(f'`{full}`' for full in alike)}")
    near = nearest(name, list(known))
    raise NotPossible(f"there is no position `{name}`" + (f"; did you mean `{near}`?" if near else ""))


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


def _forbids(jobs: Sequence[Job], job: Job, position: Position, upper: Shell, lower: Shell) -> Iterator[str]:
    """Everything that keeps these two shells out of this position, rules by their names."""
    if upper.key == lower.key:
        yield "they are one and the same shell"
    housed = _housed(job, position)
    if not housed:
        yield "its housing bore lies outside its [drawing] band; write a reason in `accept` to use it all the same"
    locked_in = {
        lock: (each.name, p.name) for each in jobs for p in each.positions for lock in (p.upper, p.lower) if lock
    }
    for side, shell in zip(SIDES, (upper, lower), strict=True):
        lock: tuple[str, str] | None = getattr(position, side)
        where = locked_in.get(shell.key, (job.name, position.name))
        if lock is not None and lock != shell.key:
            yield f"its {side} half is locked to {lock[0]}/{lock[1]}; take the lock out of positions.csv"
        elif where != (job.name, position.name):
            full = where[1] if where[0] == job.name else "/".join(where)
            yield f"{_name(shell)} is locked in {full}; take the lock out of positions.csv"
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
    terms = Terms(job, position.kind)
    clearances = [terms.place(p, upper, lower).clearance_tightest_nm for p in housed]
    if clearances and max(clearances) <= 0:
        yield f"no clearance is left ({sizes(job.unit, [max(clearances)])[0]})"
    pair = terms.place(position, upper, lower)
    for rule, fault in rules_broken(job, pair):
        yield f"the rule {rule} forbids it: {fault}"
    # Of bores in a row others can follow, or stay empty; those that are locked in both halves cannot.
    for fault in broken_in_rows(job, [*_locked_bores(job, position), pair]):
        yield f"a rule on bores in a row forbids it beside locked shells: {fault}"


def _housed(job: Job, position: Position) -> list[Position]:
    """The position in each housing that may stand there and is not refused."""
    by_key = {s.key: s for s in job.shells}
    housings = [position]
    if position.kind in job.rules.movable:
        others = (p for p in job.positions if p.kind == position.kind and p is not position and ready(p, by_key))
        housings += [rehoused(position, p) for p in others if may_move(position, p)]
    return [p for p in housings if not bore_refused(job, p)]


def _locked_bores(job: Job, position: Position) -> list[Placement]:
    """Other bores of the kind that are locked in both halves and filled whatever is chosen."""
    by_key, terms = {s.key: s for s in job.shells}, Terms(job, position.kind)
    found = []
    for p in job.positions:
        if p.kind != position.kind or p is position or p.upper is None or p.lower is None or not ready(p, by_key):
            continue
        placements = [terms.place(housed, by_key[p.upper], by_key[p.lower]) for housed in _housed(job, p)]
        if placements and all(placement.clearance_tightest_nm > 0 for placement in placements):
            found.append(terms.place(p, by_key[p.upper], by_key[p.lower]))
    return found


@overload
def explained(answer: Plan, question: Question, stop: Stop) -> Plan: ...
@overload
def explained(answer: PoolPlan, question: Question, stop: Stop) -> PoolPlan: ...
def explained(answer: Plan | PoolPlan, question: Question, stop: Stop) -> Plan | PoolPlan:
    """The same answer with the explanation of one position."""
    job, position = question.job, question.position
    one = next(
        one for one in decided(answer) if one.kind == position.kind and any(j.name == job.name for j in one.jobs)
    )
    runner_up = insisted = None
    stopped = False
    if ready(position, {s.key: s for s in job.shells}):
        place = job.name, position.name
        placed = one.by_place().get(place)
        other = Demand(place, not_sum_nm=None if placed is None else placed.wall_sum_nm)
        runner_up, stopped = _best_with(one, other, stop)
        if question.pair is not None:
            upper, lower = question.pair
            insisted, cut = _best_with(one, Demand(place, pair=(upper.key, lower.key)), stop)
            stopped |= cut
    told = Explanation(job.name, position, one.label, runner_up, question.pair, insisted, stopped)
    return replace(answer, explanation=told)


def _best_with(one: Decided, demand: Demand, stop: Stop) -> tuple[OtherPlan | None, bool]:
    """The best plan that meets the demand, and whether the search was cut short; None where there is no such plan, or
    none was found in time."""
    kind = one.fresh()
    try:
        proven = prove(kind, one.strategy, one.slack_nm, stop, turns(kind, one.priority), demand.alter)
    except NoPlan:
        return None, False
    found = other_plan(one, proven.kind, proven.choice, proven=proven.proof.proven)
    job, name = demand.place
    if all(p.position.name != name for p in found.placements[job]):
        return None, True  # stopped before there was a plan
    return found, not proven.proof.proven


def _name(shell: Shell) -> str:
    return f"{shell.box}/{shell.name}"
