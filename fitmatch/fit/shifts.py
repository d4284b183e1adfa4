"""Rules over the axis shifts of several bores of one job and kind: `neighbour_step` and `line`.

All in twice the axis shift, wall of the lower - wall of the upper, so that everything stays a whole number. A step is
between neighbouring rows that are both filled; the line is over all filled bores, offset and shift together. Two bores
that are locked in both halves are excused from each other, not from the rest.
"""

from collections.abc import Iterable, Sequence
from itertools import pairwise

from fitmatch.fit.program import Program
from fitmatch.parts import Job, Placement, Position

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
        beside = {id(a) for a, b in self._neighbours if b is position}
        beside |= {id(b) for a, b in self._neighbours if a is position}
        for p in filled:
            if self._step is not None and id(p.position) in beside:
                low = max(low, p.twice_axis_shift_nm - self._step)
                high = min(high, p.twice_axis_shift_nm + self._step)
            if self._line is not None:
                lies = p.twice_axis_shift_nm + twice_offset(p.position) - twice_offset(position)
                low, high = max(low, lies - self._line), min(high, lies + self._line)
        return low, high

    def add_rows(self, program: Program, seats: Sequence[tuple[Position, list[Column], bool]]) -> None:
        """Bind the bores of a program: for each its position, its pairs, and whether it is sure to be filled."""
        at = {id(position): (columns, full) for position, columns, full in seats}
        if self._step is not None:
            for one, other in self._neighbours:
                if id(one) in at and id(other) in at:
                    self._bind(program, *at[id(one)], *at[id(other)])
        if self._line is not None and len(seats) > 1:
            self._line_up(program, seats)

    def _bind(
        self, program: Program, ones: list[Column], one_full: bool, others: list[Column], other_full: bool
    ) -> None:
        assert self._step is not None
        if one_full and other_full:
            program.row([*ones, *((j, -s) for j, s in others)], -self._step, self._step)
            return
        for here, there in ((ones, others), (others, ones)):
            # here - there <= step if both are filled: an empty one lets the row go by `loose`.
            loose = max(0, max(s for _, s in here) - self._step, -min(s for _, s in there) - self._step)
            terms = [(j, s + loose) for j, s in here] + [(j, loose - s) for j, s in there]
            program.row(terms, None, self._step + 2 * loose)

    def _line_up(self, program: Program, seats: Sequence[tuple[Position, list[Column], bool]]) -> None:
        """Everything filled lies from a variable `low` to `low` + line."""
        assert self._line is not None
        lies = [[(j, s + twice_offset(position)) for j, s in columns] for position, columns, _ in seats]
        least = min(v for columns in lies for _, v in columns)
        most = max(v for columns in lies for _, v in columns) - least
        if most <= self._line:
            return
        low = program.variable(most)
        for columns, (_, _, full) in zip(lies, seats, strict=True):
            loose = 0 if full else most
            program.row([*((j, v - least) for j, v in columns), (low, -1)], None, self._line)
            program.row([(low, 1), *((j, loose - (v - least)) for j, v in columns)], None, loose)


def twice_offset(position: Position) -> int:
    return 2 * (position.offset_nm or 0)
