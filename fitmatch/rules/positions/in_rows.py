"""`neighbour_step` and `line`: how the bores of a kind line up along their row.

The place of a bore is its axis shift, which comes from walls of unequal thickness; for `line` its offset plus axis
shift.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, Self

from fitmatch.records.ask import Ask
from fitmatch.records.job import Job, Near
from fitmatch.records.parts import Position
from fitmatch.rules.of_kind import OfKind


@dataclass(frozen=True, slots=True)
class _InRow(OfKind):
    """The places of two bores differ by `most_nm` at most."""

    most_nm: int
    limit: ClassVar = "most_nm"

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        return (cls(*one) for one in ask.lengths_by_kind(cls.key).items())

    def amounts(self, job: Job, kind: str) -> Sequence[int]:
        """Every length up to the most that two bores can differ by."""
        walls = [s.wall_nm for s in job.shells if s.kind == kind and s.wall_nm is not None]
        offsets = [p.offset_nm or 0 for p in job.positions if p.kind == kind]
        return range(self.most_nm + 1, max(walls) - min(walls) + max(offsets) - min(offsets) + 1)


@dataclass(frozen=True, slots=True)
class NeighbourStep(_InRow):
    """The axis shift changes by `most_nm` at most from one row to the next, where both are filled."""

    key: ClassVar = "neighbour_step"
    keys: ClassVar = ("neighbour_step",)
    phrases: ClassVar = {
        "in-force": "neighbour_step {by_kind_nm}",
        "broken": "its axis shift changes by {apart_twice_nm} from {one} to {other}, and neighbour_step allows "
        "{most_twice_nm}",
    }

    def near(self, row: Sequence[Position]) -> Near:
        return Near(2 * self.most_nm, False, (0,) * len(row))


@dataclass(frozen=True, slots=True)
class Line(_InRow):
    """Offset and axis shift together differ by `most_nm` at most over all filled bores of the kind."""

    key: ClassVar = "line"
    keys: ClassVar = ("line",)
    phrases: ClassVar = {
        "in-force": "line {by_kind_nm}",
        "broken": "offset and axis shift of {one} and {other} differ by {apart_twice_nm}, and line allows "
        "{most_twice_nm}",
    }

    def near(self, row: Sequence[Position]) -> Near:
        return Near(2 * self.most_nm, True, tuple(2 * (p.offset_nm or 0) for p in row))
