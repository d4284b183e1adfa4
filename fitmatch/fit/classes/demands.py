"""What one job demands of the pairs of a kind: its own rules and guard. Several jobs may share their shells, but each
keeps its own terms."""

from collections.abc import Iterable, Mapping

from fitmatch.fit.classes.axis_rows import Shifts
from fitmatch.fit.classes.guards import Guards
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import ENDLESS, Half, Job, Rule
from fitmatch.records.parts import Position, Shell
from fitmatch.rules.in_force import in_force
from fitmatch.rules.positions.limits_at import limits_at
from fitmatch.rules.two_halves.thick_half import ThickHalf


class Terms:
    """The rules of one job that apply to its bores of one kind."""

    def __init__(self, job: Job, kind: str) -> None:
        self.job = job
        self.rules = in_force(job, kind)
        self.guards = Guards(job)
        self.shifts = Shifts(job, kind)
        self.limits_at = limits_at(job)
        # The least and the most by which the lower wall may exceed the upper one, and the walls a half may have.
        self.differences = _within(rule.differences for rule in self.rules)
        self.walls = _within(rule.walls for rule in self.rules)
        self.one_side = next((r for r in self.rules if isinstance(r, ThickHalf) and r.one_side), None)
        self._takers = [r for r in self.rules if type(r).takes is not Rule.takes or r.walls != (0, ENDLESS)]
        self._sharers = [r for r in self.rules if type(r).share is not Rule.share]

    @property
    def one_thick_side(self) -> bool:
        """Whether the thicker halves must all go to one side, whichever it is."""
        return self.one_side is not None

    def place(self, position: Position, upper: Shell, lower: Shell) -> Placement:
        """These two shells in this position, judged by its limits as drawn in by the guard for this pair."""
        return Placement(position, upper, lower, self.limits_at, self.guards.margin(position, upper, lower))

    @property
    def shares_all(self) -> bool:
        """Whether any two halves may share a bore, apart from what their walls say."""
        return not self._sharers

    def asks(self, position: Position, side: str) -> tuple[object, ...]:
        """All that `takes` depends on apart from the half."""
        return tuple((rule, rule.asks(position, side)) for rule in self._takers)

    def takes(self, position: Position, side: str, half: Half) -> bool:
        """Whether this half may go into this side of the position, whatever the other half is."""
        return all(rule.takes(position, side, half) for rule in self._takers)

    def share(self, upper: Half, lower: Half) -> bool:
        """Whether these two halves may share a bore, apart from what their walls say."""
        return not self._sharers or all(rule.share(upper, lower) for rule in self._sharers)  # asked of every pair

    def reads(self, position: Position, side: str, other: Half) -> Mapping[str, tuple[str, ...]] | None:
        """What a half bought for this side of the position must read beside this other one: by column, any one of
        several marks. None: whatever it reads, some rule rules it out."""
        asked: dict[str, tuple[str, ...]] = {}
        for column, marks in (each for rule in self.rules for each in rule.reads(position, side, other)):
            asked[column] = tuple(mark for mark in asked.get(column, marks) if mark in marks)
        columns = dict.fromkeys((*self.job.shell_columns, *asked))
        return None if () in asked.values() else {column: asked[column] for column in columns if column in asked}

    def thick(self, upper: int, lower: int) -> int:
        """If all thicker halves must go to one side, which of two walls counts as the thicker: 1 the upper, -1 the
        lower, 0 neither."""
        return 0 if self.one_side is None else self.one_side.thick(upper, lower)


def _within(ranges: Iterable[tuple[int, int]]) -> tuple[int, int]:
    """The least and the greatest value common to all of these ranges."""
    lows, highs = zip((-ENDLESS, ENDLESS), *ranges, strict=True)
    return max(lows), min(highs)
