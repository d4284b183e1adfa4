"""Demands on one position: filled, with this very pair, or with another wall sum than some.

A demand alters a `Kind`: the position then stands apart from those it could not be told from, and of its pairs one must
be used.
"""

from dataclasses import replace
from typing import NamedTuple

from fitmatch.fit.altering import apart, reserving, with_bores
from fitmatch.fit.bores import Bore, Pair, rack_of
from fitmatch.fit.candidates import Kind
from fitmatch.fit.deciding import Place

Key = tuple[str, str]


class Demand(NamedTuple):
    """The position is filled: with `pair` (upper, lower) if given, else with walls that do not total `not_sum_nm`."""

    place: Place
    pair: "tuple[Key, Key] | None" = None
    not_sum_nm: int | None = None

    def alter(self, kind: Kind) -> tuple[Kind, list[Pair]]:
        """The kind in which this position's pairs are those demanded, and these; none where it has no such pair."""
        kind, own = apart(kind, self.place, may_be_empty=False)
        if self.pair is not None:
            kind = _with_pair(kind, own, *self.pair)
        elif self.not_sum_nm is not None:
            kind = with_bores(kind, own, [part for bore in own for part in _without_sum(bore, self.not_sum_nm)])
        seats = {b.seat for b in own}
        return kind, [p for b in kind.bores if b.seat in seats for p in kind.pairs(b, 0, b.sum_high)]


def _with_pair(kind: Kind, own: list[Bore], upper: Key, lower: Key) -> Kind:
    """With bores for these two shells alone, which are then kept for them."""
    found = {s.key: (s, c) for c in kind.classes for s in c.members if s.key in (upper, lower)}
    if len(found) < 2:
        return with_bores(kind, own, ())
    (up, up_class), (low, low_class) = found[upper], found[lower]
    fitting = [b for b in own if up_class in b.upper.classes and low_class in b.lower.classes]
    kind, alone = reserving(with_bores(kind, own, ()), (up, low))
    racks = [rack_of([c]) for c in alone]
    return with_bores(kind, (), [replace(b, upper=racks[0], lower=racks[1]) for b in fitting])


def _without_sum(bore: Bore, walls_nm: int) -> list[Bore]:
    """The same bore for each wall of its uppers, without the lowers that would make up this sum."""
    parts = []
    for wall in sorted(set(bore.upper.walls)):
        uppers = [c for c in bore.upper.classes if c.wall_nm == wall]
        lowers = [c for c in bore.lower.classes if c.wall_nm != walls_nm - wall]
        parts.append(replace(bore, upper=rack_of(uppers), lower=rack_of(lowers)))
    return parts
