"""Small reasons: for a position that fails, a smallest set of bonds that keeps it from being filled inside its limits.

"It cannot" always means: not without making another position of the kind worse off on levels 0 and 1. Bonds that stand
alone are looked for first; else bonds are dropped from the set of all one by one, as long as what is left is enough
(the deletion filter for irreducible infeasible subsets; J. W. Chinneck, Feasibility and Infeasibility in Optimization,
Springer 2008 - citation from memory).
"""

from collections.abc import Iterable
from dataclasses import replace

from fitmatch.fit.asking import Asker, TooMuch
from fitmatch.fit.candidates import ready
from fitmatch.fit.cures import cures
from fitmatch.fit.letgo import bonds, lock_excuses, with_position
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.parts import Plan, Position, Reason

_LIMITS = ("max", "min")
_HALVES = {"uppers": "upper", "lowers": "lower"}  # too few of them
_MOST_POSITIONS = 20  # of one kind; of more the reasons are not sought


def with_reasons(plan: Plan, stop: Stop) -> Plan:
    """The same plan with the small reason of each position that is empty or outside its limits, in file order."""
    by_key = {s.key: s for s in plan.job.shells}
    inside = {p.position.name for p in plan.placements if p.within_limits}
    found: list[Reason] = []
    for kind, proof in plan.proofs.items():
        failing = [p for p in plan.job.positions if p.kind == kind and p.name not in inside and ready(p, by_key)]
        if not failing or not proof.proven:
            continue
        asker = Asker(plan.job, kind, [p for p in plan.placements if p.position.kind == kind], stop)
        few = len(failing) <= _MOST_POSITIONS
        found += [_reason(asker, position) if few else _unknown(asker, position) for position in failing]
    order = {p.name: i for i, p in enumerate(plan.job.positions)}
    return replace(plan, reasons=tuple(sorted(found, key=lambda r: order[r.position.name])))


def _reason(asker: Asker, position: Position) -> Reason:
    together, reduced = _Bonds(asker, position).smallest()
    try:
        return Reason(position, together, reduced, tuple(cures(asker, position)))
    except (Stopped, TooMuch):
        return Reason(position, together, reduced, None)


def _unknown(asker: Asker, position: Position) -> Reason:
    return Reason(position, _Bonds(asker, position).names, False, None)


class _Bonds:
    """All that binds one position, and the question whether some of it is enough to keep it out."""

    def __init__(self, asker: Asker, position: Position) -> None:
        self._asker = asker
        self._position = position
        self._off = {bond.name: bond.off for bond in bonds(asker.job, asker.kind)}
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

    def _can(self, in_force: Iterable[str]) -> bool:
        """Whether the position can be filled inside its limits with only these bonds."""
        let_go = [name for name in self.names if name not in in_force]
        job = self._asker.job
        for name in let_go:
            if name in self._off:
                job = self._off[name](job)
        key = tuple(name for name in let_go if name in self._off)
        plenty = [_HALVES[name] for name in let_go if name in _HALVES]
        if self._asker.can(job, self._position, key, plenty=plenty, free=let_go):
            return True
        if "locks" not in let_go or not lock_excuses(self._asker.job, self._position):
            return False
        # Its own lock stayed, for the excuse it gives; it may do without.
        job = with_position(job, self._position.name, upper=None, lower=None)
        return self._asker.can(job, self._position, (*key, self._position.name), plenty=plenty, free=let_go)

    def _lacking(self) -> tuple[str, ...]:
        """Nothing that is let go helps: there is no half at all of a side, or none thin enough to leave clearance."""
        kind = self._asker.kind
        usable = [s for s in self._asker.job.shells if s.kind == kind and s.wall_nm is not None]
        return tuple(name for name, side in _HALVES.items() if not any(s.half in (side, "either") for s in usable))
