"""Demands on one position: filled, with this very pair, or with another wall sum than some.

A demand alters a freshly made `Kind`, in which the position then stands apart from those it could not be told from, and
gives the pairs of which one must be used.
"""

from dataclasses import replace
from typing import NamedTuple

from fitmatch.fit.bores import Bore, Pair, Rack, ShellClass
from fitmatch.fit.candidates import Kind
from fitmatch.fit.deciding import Place
from fitmatch.parts import Shell

Key = tuple[str, str]


class Demand(NamedTuple):
    """The position is filled: with `pair` (upper, lower) if given, else with walls that do not total `not_sum_nm`."""

    place: Place
    pair: "tuple[Key, Key] | None" = None
    not_sum_nm: int | None = None

    def alter(self, kind: Kind) -> list[Pair]:
        """Let the kind's pairs of this position be those demanded, and give them; none where it has no such pair."""
        own = apart(kind, self.place, may_be_empty=False)
        if self.pair is not None:
            wanted = _with_pair(kind, own, *self.pair)
        elif self.not_sum_nm is not None:
            wanted = [part for bore in own for part in _without_sum(bore, self.not_sum_nm)]
        else:
            return [p for bore in own for p in kind.pairs(bore, 0, bore.sum_high)]
        kind.bores[:] = [*(b for b in kind.bores if not any(b is old for old in own)), *wanted]
        return [p for bore in wanted for p in kind.pairs(bore, 0, bore.sum_high)]


def apart(kind: Kind, place: Place, *, may_be_empty: bool) -> list[Bore]:
    """Give the position a seat of its own; the bores it then has, none where the kind has no choice for it.

    Where housings may move, `may_be_empty` says whether it may still have one and no shells.
    """
    seats = [b for b in kind.seats if any(p.key == place for p in b.positions)]
    if not seats:
        return []
    (old,) = seats
    position = next(p for p in old.positions if p.key == place)
    new = 1 + max(b.seat for b in kind.seats)

    def alone(bore: Bore) -> Bore:
        return replace(bore, seat=new, positions=[position])

    own = [alone(b) for b in kind.bores if b.seat == old.seat]
    empty = [v._replace(bore=alone(v.bore)) for v in kind.vacancies if v.bore.seat == old.seat]
    kind.seats.append(alone(old))
    old.positions[:] = [p for p in old.positions if p.key != place]  # the list that all bores of the seat share
    kind.bores[:] = [*(b for b in kind.bores if b.positions), *own]
    kind.seats[:] = [b for b in kind.seats if b.positions]
    kind.vacancies[:] = [*(v for v in kind.vacancies if v.bore.positions), *(empty if may_be_empty else ())]
    return own


def _with_pair(kind: Kind, own: list[Bore], upper: Key, lower: Key) -> list[Bore]:
    """Bores for these two shells alone, which are then kept for them."""
    found = {s.key: (s, c) for c in kind.classes for s in c.members if s.key in (upper, lower)}
    if len(found) < 2:
        return []
    (up, up_class), (low, low_class) = found[upper], found[lower]
    fitting = [b for b in own if up_class in b.upper.classes and low_class in b.lower.classes]
    racks = [_reserve(kind, shell, c) for shell, c in ((up, up_class), (low, low_class))]
    return [replace(b, upper=racks[0], lower=racks[1]) for b in fitting]


def _reserve(kind: Kind, shell: Shell, shell_class: ShellClass) -> Rack:
    """A class of its own for a shell, out of everybody else's reach."""
    shell_class.members.remove(shell)
    if not shell_class.members:
        for rack in {id(r): r for b in kind.bores for r in (b.upper, b.lower)}.values():
            if shell_class in rack.classes:
                rack.classes.remove(shell_class)
                rack.walls[:] = [c.wall_nm for c in rack.classes]
    alone = replace(shell_class, index=len(kind.classes), members=[shell])
    kind.classes.append(alone)
    return Rack([alone], [alone.wall_nm])


def _without_sum(bore: Bore, walls_nm: int) -> list[Bore]:
    """The same bore for each wall of its uppers, without the lowers that would make up this sum."""
    parts = []
    for wall in sorted(set(bore.upper.walls)):
        uppers = [c for c in bore.upper.classes if c.wall_nm == wall]
        lowers = [c for c in bore.lower.classes if c.wall_nm != walls_nm - wall]
        parts.append(replace(bore, upper=_rack(uppers), lower=_rack(lowers)))
    return parts


def _rack(classes: list[ShellClass]) -> Rack:
    return Rack(classes, [c.wall_nm for c in classes])
