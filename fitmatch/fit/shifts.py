"""Rules over the axis shifts of several bores of one job and kind: `neighbour_step` and `line`.

All in twice the axis shift, wall of the lower - wall of the upper, so that everything stays a whole number. A step is
between neighbouring rows that are both filled; the line is over all filled bores, offset and shift together. Two bores
that are locked in both halves are excused from each other, not from the rest.
"""

from bisect import bisect_left
from collections.abc import Iterable, Sequence
from itertools import pairwise

from fitmatch.fit.program import Program
from fitmatch.parts import Job, Position
from fitmatch.placements import Placement

ANYWHERE = (-(1 << 62), 1 << 62)
Column = tuple[int, int]  # a variable of a program, and twice the axis shift of its pair


class Shifts:
    """The two rules as they bind one kind of one job."""

    def __init__(self, job: Job, kind: str) -> None:
        step, line = job.rules.neighbour_step_nm.get(kind), job.rules.line_nm.get(kind)
        self._step = None if step is None else 2 * step
        self._line = None if line is None else 2 * line
        self._neighbours = (
            list(pairwise([p for p in job.positions if p.kind == kind])) if self._step is not None else []
        )

    @property
    def on(self) -> bool:
        return self._step is not None or self._line is not None

    def allowed(self, position: Position, filled: Iterable[Placement]) -> tuple[int, int]:
        """From and to which shift a bore may have beside these."""
        low, high = ANYWHERE
        if not self.on:
            return low, high
        beside = {a.key for a, b in self._neighbours if b.key == position.key}
        beside |= {b.key for a, b in self._neighbours if a.key == position.key}
        for p in filled:
            if self._step is not None and p.position.key in beside:
                low = max(low, p.twice_axis_shift_nm - self._step)
                high = min(high, p.twice_axis_shift_nm + self._step)
            if self._line is not None:
                lies = p.twice_axis_shift_nm + twice_offset(p.position) - twice_offset(position)
                low, high = max(low, lies - self._line), min(high, lies + self._line)
        return low, high

    def add_rows(self, program: Program, seats: Sequence[tuple[Position, list[Column], bool]]) -> None:
        """Bind the bores of a program: for each its position, its pairs, and whether it is sure to be filled."""
        at = {position.key: (columns, full) for position, columns, full in seats}
        if self._step is not None:
            for one, other in self._neighbours:
                if one.key in at and other.key in at and not (_locked(one) and _locked(other)):
                    _bind(program, self._step, *at[one.key], *at[other.key])
        if self._line is not None:
            free = [seat for seat in seats if not _locked(seat[0])]
            if len(free) > 1:
                self._line_up(program, free)
            for position, columns, full in seats:
                if _locked(position):
                    for other, others, other_full in free:
                        apart = twice_offset(other) - twice_offset(position)
                        shifted = [(j, s + apart) for j, s in others]
                        _bind(program, self._line, columns, full, shifted, other_full)

    def _line_up(self, program: Program, seats: Sequence[tuple[Position, list[Column], bool]]) -> None:
        """Everything filled lies from where the line begins to `line` beyond."""
        assert self._line is not None
        lies = [[(j, s + twice_offset(position)) for j, s in columns] for position, columns, _ in seats]
        places = sorted({v for columns in lies for _, v in columns})
        if places[-1] - places[0] <= self._line:
            return
        if all(full for _, _, full in seats):
            begin = program.variable(places[-1] - places[0])
            for columns in lies:
                terms = [*((j, v - places[0]) for j, v in columns), (begin, -1)]
                program.row(terms, 0, self._line)
            return
        # Some may stay empty. One variable for each place says whether the line begins there or before; along the
        # places they rise from 0 to 1 once. A single row for each bore that lets go of an empty one would be weak.
        begun = {v: program.variable(1) for v in places}
        for one, following in pairwise(places):
            program.row([(begun[one], 1), (begun[following], -1)], None, 0)
        for columns in lies:
            for place in sorted({v for _, v in columns}):
                program.row([*((j, 1) for j, v in columns if v <= place), (begun[place], -1)], None, 0)
                near = bisect_left(places, place - self._line)  # the first place from which this one can be reached
                if near:
                    program.row([*((j, 1) for j, v in columns if v >= place), (begun[places[near - 1]], 1)], None, 1)


def _bind(
    program: Program, most: int, ones: list[Column], one_full: bool, others: list[Column], other_full: bool
) -> None:
    """Two bores lie no farther apart than `most`, if both are filled."""
    if one_full and other_full:
        program.row([*ones, *((j, -s) for j, s in others)], -most, most)
        return
    # One of the two may stay empty: of the pairs here that lie at `s` or beyond and those there that are then too far
    # below, at most one is used. As a single row with a term that lets go it would be a weak one.
    for here, there in ((ones, others), (others, ones)):
        for s in sorted({s for _, s in here}):
            below = [(j, 1) for j, t in there if t < s - most]
            if below:
                program.row([*((j, 1) for j, t in here if t >= s), *below], None, 1)


def _locked(position: Position) -> bool:
    return position.upper is not None and position.lower is not None


def twice_offset(position: Position) -> int:
    return 2 * (position.offset_nm or 0)
