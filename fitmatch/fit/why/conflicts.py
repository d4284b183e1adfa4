"""Small reasons: for a position that fails, a smallest set of bonds that prevents it from being filled inside its
limits.

"It cannot" always means: not without making another position of the kind worse off on levels 0 and 1. A single bond
that is enough is looked for first; otherwise bonds are dropped one by one from the set of all, as long as what is left
is enough (the deletion filter for irreducible infeasible subsets; J. W. Chinneck, Feasibility and Infeasibility in
Optimization, Springer 2008 - citation from memory).

Interchangeable positions are looked into once. All questions about one answer share one `Budget`; once it is
spent, nothing more is asked, and the reasons say so.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import replace

from fitmatch.fit.classes.candidates import ready
from fitmatch.fit.model.groups import Decided, decided
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.fit.why.cures import with_cures
from fitmatch.fit.why.questions import Asker, Budget, TooMuch
from fitmatch.records.answers.doubted import Doubted, doubted
from fitmatch.records.answers.plans import Cure, Plan, Reason
from fitmatch.records.job import Jobs
from fitmatch.records.keys import PositionKey
from fitmatch.records.parts import Position
from fitmatch.rules.positions.locks import Locks, lock_excuses, without_locks
from fitmatch.rules.registry import bonds

_LIMITS = ("max", "min")
_HALVES = {"uppers": "upper", "lowers": "lower"}  # too few of them
_PRIORITY = "priority"  # of the jobs before it, whose quality comes first


def with_reasons(plan: Plan, stop: Stop) -> Plan:
    """The same answer with the small reason of each position that is empty or outside its limits, in file order."""
    budget, doubts = Budget(), doubted((one.read, one.doubts) for one in plan.plans)
    work = [_Failing(one, stop, budget, doubts) for one in decided(plan) if one.proof.proven]
    for some in work:
        some.find_reasons()
    budget.open_rest()  # cures take longer, and some budget must be left for them
    for some in work:
        some.find_cures()
    found = {place: reason for some in work for place, reason in some.told()}
    plans = [
        replace(one, reasons=tuple(found[p.key] for p in one.job.positions if p.key in found)) for one in plan.plans
    ]
    return replace(plan, plans=tuple(plans))


class _Failing:
    """The positions of one kind that are empty or outside their limits; of identical ones only the first."""

    def __init__(self, one: Decided, stop: Stop, budget: Budget, doubts: Doubted) -> None:
        by_key = {s.key: s for s in one.jobs[0].shells}
        placed = one.by_place()
        inside = {place for place, p in placed.items() if p.within_limits}
        self._all = {p.key: p for p in one.positions() if p.key not in inside and ready(p, by_key)}
        final = (p for job in one.final for p in job.positions if p.key in self._all)
        self._in_doubt = {}  # with the shells that could fill it where only these are in doubt
        for p in final:
            spare = () if p.key in placed else doubts.could_fill(p)
            if (own := doubts.concerns(p, placed.get(p.key))) or spare:
                self._in_doubt[p.key] = () if own else spare
        self._reasons: dict[PositionKey, Reason] = {}
        if self._all:
            self._asker = Asker(one, stop, budget)

    def find_reasons(self) -> None:
        if not self._all:
            return
        off = {bond.name: bond.off for bond in bonds(self._asker.jobs, self._asker.kind)}
        for place, position in self._all.items():
            if self._asker.first_like(place) == place:
                self._reasons[place] = _reason(self._asker, _Bonds(self._asker, off, place, position))

    def find_cures(self) -> None:
        sought = {self._asker.first_like(place) for place in self._all.keys() - self._in_doubt}
        for place, reason in self._reasons.items():
            if not reason.cures_complete and place in sought:
                self._reasons[place] = with_cures(self._asker, place, reason)

    def told(self) -> Iterator[tuple[PositionKey, Reason]]:
        for place, position in self._all.items():
            reason = self._reasons[self._asker.first_like(place)]._replace(position=position)
            if place in self._in_doubt:
                reason = reason._replace(cures=(), cures_complete=False, not_offered=(), in_doubt=True)
                reason = reason._replace(doubted=self._in_doubt[place])
            yield place, reason


def _reason(asker: Asker, binding: "_Bonds") -> Reason:
    """Without its cures, unless there is only one."""
    position = binding.position
    try:
        # In a proven plan it cannot, except because of how earlier jobs used their shells.
        if asker.in_order and asker.can(asker.jobs, binding.place, ()):
            return Reason(position, (_PRIORITY,), True, (Cure(_PRIORITY),), True)
    except (Stopped, TooMuch):
        return Reason(position, binding.names, False, (), False)
    together, reduced = binding.smallest()
    return Reason(position, together, reduced, (), False, as_well=binding.as_well(together) if reduced else ())


class _Bonds:
    """All that constrains one position, and the question whether part of it is enough to keep it out."""

    def __init__(
        self, asker: Asker, off: Mapping[str, Callable[[Jobs], Jobs]], place: PositionKey, position: Position
    ) -> None:
        self.position = position
        self._asker = asker
        self.place = place
        self._off = off  # the bonds of the kind, and how to drop each
        limits = [name for name in _LIMITS if getattr(position, f"{name}_nm") is not None]
        self.names = (*limits, *_HALVES, *self._off)

    def smallest(self) -> tuple[tuple[str, ...], bool]:
        """The bonds of a set that cannot be made smaller, and whether that could be shown."""
        left = list(self.names)
        try:
            if not self._can(()):
                return self._lacking(), True
            for name in self.names:
                if not self._can((name,)):
                    return (name,), True
            for name in reversed(self.names):
                fewer = [other for other in left if other != name]
                if not self._can(fewer):
                    left = fewer
        except (Stopped, TooMuch):
            return tuple(left), False
        return tuple(left), True

    def as_well(self, together: tuple[str, ...]) -> tuple[str, ...]:
        """Other columns of a rule in the set, each of which keeps the position out in place of the one there."""
        found = []
        for at, name in enumerate(together):
            rule, _, column = name.partition(" ")
            for other in self.names if column else ():
                if other.partition(" ")[0] != rule or other in together:
                    continue
                try:
                    found += [] if self._can((*together[:at], other, *together[at + 1 :])) else [other]
                except (Stopped, TooMuch):
                    return tuple(found)
        return tuple(found)

    def _can(self, in_force: Iterable[str]) -> bool:
        """Whether the position can be filled inside its limits with only these bonds."""
        let_go = [name for name in self.names if name not in in_force]
        jobs = self._asker.jobs
        for name in let_go:
            if name in self._off:
                jobs = self._off[name](jobs)
        key = tuple(name for name in let_go if name in self._off)
        plenty = [_HALVES[name] for name in let_go if name in _HALVES]
        if self._asker.can(jobs, self.place, key, plenty=plenty, free=let_go):
            return True
        job = next(job for job in self._asker.jobs if job.name == self.place[0])
        if Locks.key not in let_go or not lock_excuses(job, self.position):
            return False
        # Its own lock was kept because it excuses its shells; the position may do without it.
        jobs = without_locks(jobs, {self.place})
        return self._asker.can(jobs, self.place, (*key, self.place), plenty=plenty, free=let_go)

    def _lacking(self) -> tuple[str, ...]:
        """No dropped bond helps: there is no half at all for a side, or none thin enough to leave clearance."""
        kind = self._asker.kind
        usable = [s for s in self._asker.jobs[0].shells if s.kind == kind and s.wall_nm is not None]
        return tuple(name for name, side in _HALVES.items() if not any(s.half in (side, "either") for s in usable))
