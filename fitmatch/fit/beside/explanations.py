"""One position explained: what else it could have, and what insisting on a certain pair would change.

`asked` finds the position and the shells by name and refuses what is impossible; `explained` adds to a finished answer
the runner-up, that is the best plan in which this position has another wall sum, and the best plan with the requested
pair.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import partial
from typing import NamedTuple

from fitmatch.facts import Fact
from fitmatch.fit.beside.alternatives import other_plan, the_answer
from fitmatch.fit.classes.candidates import Kind, ready
from fitmatch.fit.classes.classes import Bore, Pair, rack_of
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.groups import Decided, decided, kind_for, turns
from fitmatch.fit.model.variants import apart, reserving, with_bores
from fitmatch.fit.proof.filling import NoPlan
from fitmatch.fit.proof.levels import prove
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.names import nearest
from fitmatch.problems import NotPossible
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Explanation, OtherPlan, Plan
from fitmatch.records.housings import may_move, rehoused
from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey, ShellKey, full_name
from fitmatch.records.parts import SIDES, Position, Shell
from fitmatch.rules.in_force import broken, row_rules
from fitmatch.rules.positions.drawing import bore_refused
from fitmatch.rules.positions.movable import is_movable


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
    told = list(_forbids(jobs, job, found, upper, lower))
    against = [fact for i, fact in enumerate(told) if fact not in told[:i]]
    if against:
        slots = {
            "upper": full_name(upper.key),
            "lower": full_name(lower.key),
            "position": found.name,
            "against": tuple(against),
        }
        raise NotPossible(Fact("forbidden", slots))
    return Question(job, found, (upper, lower))


def _position(jobs: Sequence[Job], name: str) -> tuple[Job, Position]:
    known = {full_name((job.name, p.name)): (job, p) for job in jobs for p in job.positions}
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
    """Everything that forbids these two shells in this position."""
    if upper.key == lower.key:
        yield Fact("same-shell")
    housed = _housed(job, position)
    if not housed:
        yield Fact("drawing")
    locked_in = {lock: p.key for each in jobs for p in each.positions for lock in (p.upper, p.lower) if lock}
    for side, shell in zip(SIDES, (upper, lower), strict=True):
        lock: ShellKey | None = getattr(position, side)
        where = locked_in.get(shell.key, position.key)
        if lock is not None and lock != shell.key:
            yield Fact("half-locked", {"side": side, "lock": full_name(lock)})
        elif where != position.key:
            full = where[1] if where[0] == job.name else full_name(where)
            yield Fact("locked-elsewhere", {"shell": full_name(shell.key), "position": full})
        if shell.kind != position.kind:
            yield Fact("other-kind", {"shell": full_name(shell.key), "has": shell.kind, "wants": position.kind})
        if shell.half not in (side, "either"):
            yield Fact("other-half", {"shell": full_name(shell.key), "half": shell.half})
        if shell.hold is not None:
            yield Fact("on-hold", {"shell": full_name(shell.key), "hold": shell.hold})
        if shell.wall_nm is None:
            yield Fact("no-wall", {"shell": full_name(shell.key)})
    if upper.wall_nm is None or lower.wall_nm is None:
        return
    terms = Terms(job, position.kind)
    clearances = [terms.place(p, upper, lower).clearance_tightest_nm for p in housed]
    if clearances and max(clearances) <= 0:
        yield Fact("no-clearance", {"clearance_nm": max(clearances)})
    pair = terms.place(position, upper, lower)
    faults = broken(terms.rules, position, upper, lower)
    yield from (Fact("rule", {"broken": fault.fact}) for fault in faults if not fault.excused)
    # Other bores in the row can adapt, or stay empty; those that are locked in both halves cannot.
    beside = [*_locked_bores(job, position), pair]
    apart = (fault for one in row_rules(job, position.kind) for fault in one.apart(beside))
    yield from (Fact("rule-beside-locked", {"broken": fault.fact}) for fault in apart if not fault.excused)


def _housed(job: Job, position: Position) -> list[Position]:
    """The position in each housing that may go there and is not refused."""
    housings = [position]
    if is_movable(job, position.kind):
        housings += [rehoused(position, p) for p in _others(job, position) if may_move(position, p)]
    return [p for p in housings if not bore_refused(job, p)]


def _others(job: Job, position: Position) -> list[Position]:
    """The other positions of its kind, those that are measured."""
    by_key = {s.key: s for s in job.shells}
    return [p for p in job.positions if p.kind == position.kind and p.key != position.key and ready(p, by_key)]


def _locked_bores(job: Job, position: Position) -> list[Placement]:
    """Other bores of the kind that are locked in both halves and filled whatever is chosen."""
    by_key, terms = {s.key: s for s in job.shells}, Terms(job, position.kind)
    found = []
    for p in _others(job, position):
        if p.upper is None or p.lower is None:
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
        other = _Demand(place, not_sum_nm=None if placed is None else placed.wall_sum_nm)
        runner_up, stopped = _best_with(one, other, stop)
        if question.pair is not None and placed is not None and question.pair == (placed.upper, placed.lower):
            insisted = the_answer(one)  # locked there or not: the best of all plans is the best with them
        elif question.pair is not None:
            insisted, cut = _best_with(one, _Demand(place, pair=question.pair), stop)
            stopped |= cut
    told = Explanation(position, one.label, runner_up, question.pair, insisted, stopped)
    return replace(plan, explanation=told)


class _Demand(NamedTuple):
    """The position is filled: with `pair` (upper, lower) if given, else with walls that do not total `not_sum_nm`.

    A demand alters a kind: the position is then separated from those it was interchangeable with, and one of its pairs
    must be used.
    """

    place: PositionKey
    pair: tuple[Shell, Shell] | None = None
    not_sum_nm: int | None = None

    def alter(self, stop: Stop, kind: Kind) -> tuple[Kind, list[Pair]]:
        """The kind in which this position has only the pairs demanded, and those pairs; none if it has no such pair."""
        kind, own = apart(kind, self.place, may_be_empty=False)
        if self.pair is not None:
            kind = _with_pair(kind, own, *self.pair)
        elif self.not_sum_nm is not None:
            kind = with_bores(kind, own, [part for bore in own for part in _without_sum(bore, self.not_sum_nm, stop)])
        seats = {b.seat for b in own}
        bores = [b for b in kind.bores if b.seat in seats]
        return kind, [p for b in bores for p in stop.asking(kind.pairs(b, 0, b.sum_high))]


def _with_pair(kind: Kind, own: list[Bore], upper: Shell, lower: Shell) -> Kind:
    """With bores for these two shells only, which are then reserved for them."""
    class_of = {s.key: c for c in kind.classes for s in c.members}
    rest, up, low = with_bores(kind, own, ()), class_of.get(upper.key), class_of.get(lower.key)
    fitting = [b for b in own if up in b.upper.classes and low in b.lower.classes]
    if up is None or low is None:
        return rest
    kind, racks = reserving(rest, (upper, lower))
    return with_bores(kind, (), [replace(b, upper=racks[0], lower=racks[1]) for b in fitting])


def _without_sum(bore: Bore, walls_nm: int, stop: Stop) -> list[Bore]:
    """The same bore for each wall of its uppers, without the lowers that would make up this sum."""
    parts = []
    for wall in stop.asking(sorted(set(bore.upper.walls)), 1):
        uppers = [c for c in bore.upper.classes if c.wall_nm == wall]
        lowers = [c for c in bore.lower.classes if c.wall_nm != walls_nm - wall]
        parts.append(replace(bore, upper=rack_of(uppers), lower=rack_of(lowers)))
    return parts


def _best_with(one: Decided, demand: _Demand, stop: Stop) -> tuple[OtherPlan | None, bool]:
    """The best plan that meets the demand, and whether the search was cut short; None if there is no such plan, or none
    was found in time."""
    kind = kind_for(one.jobs, one.kind)
    try:
        work = turns(kind, one.plan.priority)
        proven = prove(kind, one.plan.way, one.plan.slack_nm, stop, work, partial(demand.alter, stop))
    except NoPlan:
        return None, False
    except Stopped:
        return None, True
    found = other_plan(one, proven.kind, proven.choice, proven=proven.proof.proven)
    if all(p.position.key != demand.place for p in found.placements):
        return None, True  # stopped before there was a plan
    return found, not proven.proof.proven
