"""One position explained: what else it could have, and what insisting on a certain pair would change.

`asked` finds the position and the shells by name and refuses what cannot be; `explained` adds to a finished answer the
runner-up, that is the best plan in which this position has another wall sum, and the best plan with the pair asked for.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

from fitmatch.facts import Fact
from fitmatch.fit.alternatives import other_plan
from fitmatch.fit.candidates import ready
from fitmatch.fit.deciding import Decided, decided, turns
from fitmatch.fit.demands import Demand
from fitmatch.fit.filling import NoPlan
from fitmatch.fit.levels import prove
from fitmatch.fit.stopping import Stop
from fitmatch.fit.terms import Terms
from fitmatch.housings import may_move, rehoused
from fitmatch.intake.names import nearest
from fitmatch.parts import SIDES, Job, Position, Shell
from fitmatch.placements import Placement
from fitmatch.plans import Explanation, OtherPlan, Plan
from fitmatch.problems import NotPossible
from fitmatch.rules.drawing import bore_refused
from fitmatch.rules.in_force import broken, row_rules
from fitmatch.rules.movable import is_movable


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
        raise NotPossible(Fact("not-measured", {"position": found.name}))
    upper, lower = (_shell(job, found, name) for name in pair)
    against: list[Fact] = []
    for fact in _forbids(jobs, job, found, upper, lower):
        against += [] if fact in against else [fact]
    if against:
        slots = {"upper": _name(upper), "lower": _name(lower), "position": found.name, "against": tuple(against)}
        raise NotPossible(Fact("forbidden", slots))
    return Question(job, found, (upper, lower))


def _position(jobs: Sequence[Job], name: str) -> tuple[Job, Position]:
    known = {f"{job.name}/{p.name}" if job.name else p.name: (job, p) for job in jobs for p in job.positions}
    if name in known:
        return known[name]
    alike = [full for full, (_, p) in known.items() if p.name == name]
    if alike:
        raise NotPossible(Fact("job-missing", {"name": name, "full": tuple(alike)}))
    raise NotPossible(Fact("no-position", {"name": name, "near": nearest(name, list(known))}))


def _shell(job: Job, position: Position, name: str) -> Shell:
    box, slash, bare = name.rpartition("/")
    called = [s for s in job.shells if s.name == bare.strip() and (not slash or s.box == box.strip())]
    fitting = [s for s in called if s.kind == position.kind] or called
    if len(fitting) == 1:
        return fitting[0]
    if fitting:
        raise NotPossible(Fact("several-boxes", {"name": name, "boxes": tuple(s.box for s in fitting)}))
    near = nearest(bare, [s.name for s in job.shells if s.kind == position.kind])
    raise NotPossible(Fact("no-shell", {"name": name, "near": near}))


def _forbids(jobs: Sequence[Job], job: Job, position: Position, upper: Shell, lower: Shell) -> Iterator[Fact]:
    """Everything that keeps these two shells out of this position."""
    if upper.key == lower.key:
        yield Fact("same-shell")
    housed = _housed(job, position)
    if not housed:
        yield Fact("drawing")
    locked_in = {lock: p.key for each in jobs for p in each.positions for lock in (p.upper, p.lower) if lock}
    for side, shell in zip(SIDES, (upper, lower), strict=True):
        lock: tuple[str, str] | None = getattr(position, side)
        where = locked_in.get(shell.key, position.key)
        if lock is not None and lock != shell.key:
            yield Fact("half-locked", {"side": side, "lock": "/".join(lock)})
        elif where != position.key:
            full = where[1] if where[0] == job.name else "/".join(where)
            yield Fact("locked-elsewhere", {"shell": _name(shell), "position": full})
        if shell.kind != position.kind:
            yield Fact("other-kind", {"shell": _name(shell), "has": shell.kind, "wants": position.kind})
        if shell.half not in (side, "either"):
            yield Fact("other-half", {"shell": _name(shell), "half": shell.half})
        if shell.hold is not None:
            yield Fact("on-hold", {"shell": _name(shell), "hold": shell.hold})
        if shell.wall_nm is None:
            yield Fact("no-wall", {"shell": _name(shell)})
    if upper.wall_nm is None or lower.wall_nm is None:
        return
    terms = Terms(job, position.kind)
    clearances = [terms.place(p, upper, lower).clearance_tightest_nm for p in housed]
    if clearances and max(clearances) <= 0:
        yield Fact("no-clearance", {"clearance_nm": max(clearances)})
    pair = terms.place(position, upper, lower)
    faults = broken(terms.rules, position, upper, lower)
    yield from (Fact("rule", {"broken": fault.fact}) for fault in faults if not fault.excused)
    # Of bores in a row others can follow, or stay empty; those that are locked in both halves cannot.
    row, beside = [p for p in job.positions if p.kind == position.kind], [*_locked_bores(job, position), pair]
    apart = (fault for one in row_rules(job, position.kind) for fault in one.apart(row, beside))
    yield from (Fact("rule-beside-locked", {"broken": fault.fact}) for fault in apart if not fault.excused)


def _housed(job: Job, position: Position) -> list[Position]:
    """The position in each housing that may stand there and is not refused."""
    by_key = {s.key: s for s in job.shells}
    housings = [position]
    if is_movable(job, position.kind):
        others = (p for p in job.positions if p.kind == position.kind and p.key != position.key and ready(p, by_key))
        housings += [rehoused(position, p) for p in others if may_move(position, p)]
    return [p for p in housings if not bore_refused(job, p)]


def _locked_bores(job: Job, position: Position) -> list[Placement]:
    """Other bores of the kind that are locked in both halves and filled whatever is chosen."""
    by_key, terms = {s.key: s for s in job.shells}, Terms(job, position.kind)
    found = []
    for p in job.positions:
        if p.kind != position.kind or p.key == position.key or p.upper is None or p.lower is None:
            continue
        if not ready(p, by_key):
            continue
        placements = [terms.place(housed, by_key[p.upper], by_key[p.lower]) for housed in _housed(job, p)]
        if placements and all(placement.clearance_tightest_nm > 0 for placement in placements):
            found.append(terms.place(p, by_key[p.upper], by_key[p.lower]))
    return found


def explained(plan: Plan, question: Question, stop: Stop) -> Plan:
    """The same answer with the explanation of one position."""
    position, place = question.position, question.position.key
    one = next(one for one in decided(plan) if any(p.key == place for p in one.positions()))
    runner_up = insisted = None
    stopped = False
    if ready(position, {s.key: s for s in question.job.shells}):
        placed = one.by_place().get(place)
        other = Demand(place, not_sum_nm=None if placed is None else placed.wall_sum_nm)
        runner_up, stopped = _best_with(one, other, stop)
        if question.pair is not None:
            upper, lower = question.pair
            insisted, cut = _best_with(one, Demand(place, pair=(upper.key, lower.key)), stop)
            stopped |= cut
    told = Explanation(position, one.label, runner_up, question.pair, insisted, stopped)
    return replace(plan, explanation=told)


def _best_with(one: Decided, demand: Demand, stop: Stop) -> tuple[OtherPlan | None, bool]:
    """The best plan that meets the demand, and whether the search was cut short; None where there is no such plan, or
    none was found in time."""
    kind = one.fresh()
    try:
        proven = prove(kind, one.strategy, one.slack_nm, stop, turns(kind, one.priority), demand.alter)
    except NoPlan:
        return None, False
    found = other_plan(one, proven.kind, proven.choice, proven=proven.proof.proven)
    if all(p.position.key != demand.place for p in found.placements):
        return None, True  # stopped before there was a plan
    return found, not proven.proof.proven


def _name(shell: Shell) -> str:
    return "/".join(shell.key)
