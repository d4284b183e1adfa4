"""Rules over the axis shifts of several bores of one job and kind, as rows of a program.

All in twice the axis shift, wall of the lower - wall of the upper, so that everything stays a whole number. Two bores
that are locked in both halves are excused from each other, not from the rest.
"""

from bisect import bisect_left
from collections.abc import Collection, Iterable, Mapping, Sequence
from functools import cached_property
from itertools import pairwise, zip_longest

from fitmatch.fit.solver.program import Program
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import ENDLESS, Job, Near
from fitmatch.records.parts import Position
from fitmatch.rules.in_force import row_rules

ANYWHERE = (-ENDLESS, ENDLESS)
Seat = tuple[Position, list["Column"], bool]  # a position, its pairs, and whether it is sure to be filled
Column = tuple[int, int]  # a variable of a program, and twice the axis shift of its pair


class Shifts:
    """The rules about the row of one kind of one job."""

    def __init__(self, job: Job, kind: str) -> None:
        rules = row_rules(job, kind)
        self.names = [one.rule.key for one in rules]
        self._rules = [one.near for one in rules]
        self._row = [p.name for p in job.positions if p.kind == kind] if rules else []
        self._at = {name: i for i, name in enumerate(self._row)}

    @property
    def on(self) -> bool:
        return bool(self._rules)

    def allowed(self, position: Position, filled: Iterable[Placement]) -> tuple[int, int]:
        """The least and the greatest shift a bore may have beside these."""
        low, high = ANYWHERE
        if not self.on:
            return low, high
        at = self._at[position.name]
        for p in filled:
            other = self._at[p.position.name]
            for near in self._rules:
                if near.everyone or abs(other - at) == 1:
                    lies = p.twice_axis_shift_nm + near.origins[other] - near.origins[at]
                    low, high = max(low, lies - near.most), min(high, lies + near.most)
        return low, high

    def ends(self, position: Position, other: Position, shift: int) -> set[int]:
        """The smallest shifts a bore may have beside another one that has this shift."""
        at, there = self._at[position.name], self._at[other.name]
        return {shift + near.origins[there] - near.origins[at] - near.most for near in self._rules}

    def add_rows(self, program: Program, seats: Sequence[Seat]) -> None:
        """Add the rows that constrain the bores of a program."""
        bores = {position.name: _Bore(program, columns, full) for position, columns, full in seats}
        locked = {position.name for position, _, _ in seats if _locked(position)}
        for near in self._rules:
            if near.everyone:
                self._bind_all(near, bores, locked)
            else:
                for one, other in pairwise(self._row):
                    if one in bores and other in bores and not {one, other} <= locked:
                        _bind(near.most, bores[one], bores[other])

    def _bind_all(self, near: Near, bores: Mapping[str, "_Bore"], locked: Collection[str]) -> None:
        origin = {name: near.origins[self._at[name]] for name in bores}
        free = {name: bore for name, bore in bores.items() if name not in locked}
        if len(free) > 1:
            _line_up(near.most, [(bore, origin[name]) for name, bore in free.items()])
        for name in (name for name in bores if name in locked):
            for other, bore in free.items():
                _bind(near.most, bores[name], bore, origin[other] - origin[name])


class _Bore:
    """A bore of a program. `full`: it is certain to be filled."""

    def __init__(self, program: Program, columns: Sequence[Column], full: bool) -> None:
        self.program, self.columns, self.full = program, columns, full

    @cached_property
    def shifts(self) -> list[int]:
        return sorted({s for _, s in self.columns})

    @cached_property
    def from_on(self) -> list[int]:
        """For each of its shifts a variable that says whether it is filled with that shift or a greater one."""
        at: dict[int, list[Column]] = {}
        for j, s in self.columns:
            at.setdefault(s, []).append((j, -1))
        made = [self.program.variable(1) for _ in self.shifts]
        for one, greater, s in zip_longest(made, made[1:], self.shifts):
            self.program.row([(one, 1), *at[s], *([] if greater is None else [(greater, -1)])], 0, 0)
        return made

    def below(self, s: int) -> list[Column]:
        """Terms that add up to 1 if it is filled with a shift below this; none if it has no such shift."""
        k = bisect_left(self.shifts, s)
        terms = [(self.from_on[0], 1), *((j, -1) for j in self.from_on[k : k + 1])]
        return terms if k else []


def _line_up(most: int, bores: Sequence[tuple[_Bore, int]]) -> None:
    """Everything filled is between the start of the line and `most` beyond it; each bore with where its shifts count
    from."""
    places = sorted({s + origin for bore, origin in bores for s in bore.shifts})
    if places[-1] - places[0] <= most:
        return
    program = bores[0][0].program
    if all(bore.full for bore, _ in bores):
        begin = program.variable(places[-1] - places[0])
        for bore, origin in bores:
            terms = [*((j, s + origin - places[0]) for j, s in bore.columns), (begin, -1)]
            program.row(terms, 0, most)
        return
    # Some may stay empty. One variable for each place says whether the line starts there or before; along the places
    # they rise from 0 to 1 once. A single row for each bore that stops applying when it is empty would be weak.
    begun = dict(zip(places, program.rising(len(places)), strict=True))
    for bore, origin in bores:
        for s, beyond in zip(bore.shifts, bore.from_on, strict=True):
            program.row([*bore.below(s + 1), (begun[s + origin], -1)], None, 0)
            near = bisect_left(places, s + origin - most)  # the first place from which this one can be reached
            if near:
                program.row([(beyond, 1), (begun[places[near - 1]], 1)], None, 1)


def _bind(most: int, one: _Bore, other: _Bore, apart: int = 0) -> None:
    """Two bores are no farther apart than `most`, if both are filled; the shifts of the other count from `apart`."""
    if one.full and other.full:
        one.program.row([*one.columns, *((j, -s - apart) for j, s in other.columns)], -most, most)
        return
    # One of the two may stay empty: of "here at `s` or beyond" and "there too far below that" at most one holds. A
    # single row with a term that switches it off would be weak.
    for here, there, between in ((one, other, apart), (other, one, -apart)):
        last: list[Column] = []
        for s, beyond in zip(here.shifts, here.from_on, strict=True):
            below = there.below(s - between - most)
            if below != last:  # with the same ones there, the row before says more
                here.program.row([(beyond, 1), *below], None, 1)
                last = below


def _locked(position: Position) -> bool:
    return position.upper is not None and position.lower is not None
