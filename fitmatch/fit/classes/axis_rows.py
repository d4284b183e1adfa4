"""Rules over the axis shifts of several bores of one job and kind, as rows of a program.

All in twice the axis shift, wall of the lower - wall of the upper, so that everything stays a whole number. Two bores
that are locked in both halves are excused from each other, not from the rest.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import pairwise

from fitmatch.fit.solver.program import Program
from fitmatch.records.job import ENDLESS, Job, Near
from fitmatch.records.parts import Position
from fitmatch.records.placements import Placement
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
        for near in self._rules:
            if near.everyone:
                self._bind_all(program, near, seats)
            else:
                at = {position.name: (position, columns, full) for position, columns, full in seats}
                for one, other in pairwise(self._row):
                    if one in at and other in at and not (_locked(at[one][0]) and _locked(at[other][0])):
                        _bind(program, near.most, *at[one][1:], *at[other][1:])

    def _bind_all(self, program: Program, near: Near, seats: Sequence[Seat]) -> None:
        origin = {position.name: near.origins[self._at[position.name]] for position, _, _ in seats}
        free = [seat for seat in seats if not _locked(seat[0])]
        if len(free) > 1:
            lies = [[(j, s + origin[position.name]) for j, s in columns] for position, columns, _ in free]
            _line_up(program, near.most, lies, full=all(full for _, _, full in free))
        for position, columns, full in seats:
            if _locked(position):
                for other, others, other_full in free:
                    apart = origin[other.name] - origin[position.name]
                    shifted = [(j, s + apart) for j, s in others]
                    _bind(program, near.most, columns, full, shifted, other_full)


def _line_up(program: Program, most: int, lies: Sequence[Sequence[Column]], *, full: bool) -> None:
    """Everything filled is between the start of the line and `most` beyond it; `full`: all bores are filled."""
    places = sorted({v for columns in lies for _, v in columns})
    if places[-1] - places[0] <= most:
        return
    if full:
        begin = program.variable(places[-1] - places[0])
        for columns in lies:
            terms = [*((j, v - places[0]) for j, v in columns), (begin, -1)]
            program.row(terms, 0, most)
        return
    # Some may stay empty. One variable for each place says whether the line starts there or before; along the places
    # they rise from 0 to 1 once. A single row for each bore that stops applying when it is empty would be weak.
    begun = dict(zip(places, program.rising(len(places)), strict=True))
    for columns in lies:
        for place in sorted({v for _, v in columns}):
            program.row([*((j, 1) for j, v in columns if v <= place), (begun[place], -1)], None, 0)
            near = bisect_left(places, place - most)  # the first place from which this one can be reached
            if near:
                program.row([*((j, 1) for j, v in columns if v >= place), (begun[places[near - 1]], 1)], None, 1)


def _bind(
    program: Program, most: int, ones: list[Column], one_full: bool, others: list[Column], other_full: bool
) -> None:
    """Two bores are no farther apart than `most`, if both are filled."""
    if one_full and other_full:
        program.row([*ones, *((j, -s) for j, s in others)], -most, most)
        return
    # One of the two may stay empty: of the pairs here at `s` or beyond, and those there that are then too far below, at
    # most one is used. A single row with a term that switches it off would be weak.
    for here, there in ((ones, others), (others, ones)):
        for s in sorted({s for _, s in here}):
            below = [(j, 1) for j, t in there if t < s - most]
            if below:
                program.row([*((j, 1) for j, t in here if t >= s), *below], None, 1)


def _locked(position: Position) -> bool:
    return position.upper is not None and position.lower is not None
