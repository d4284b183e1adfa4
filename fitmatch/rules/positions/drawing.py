"""The makers' drawing limits: a position whose housing bore is outside them is filled only if its row quotes the
maker's permission, in `accept`; a shell outside them is never proposed.
"""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import ClassVar

from fitmatch.records.job import ENDLESS, Job, Jobs, Rule, Single
from fitmatch.records.keys import PositionKey
from fitmatch.records.parts import Position
from fitmatch.rules.positions.movable import is_movable

_ACCEPTED = "let go"


class Drawing(Rule):
    """Housing bores outside their drawing limits are refused."""

    key: ClassVar = "drawing"
    phrases: ClassVar = {"bond": "the drawing limits of the housing bore"}
    offered: ClassVar = False

    @classmethod
    def of(cls, job: Job, kind: str) -> "Iterator[Drawing]":
        """Where a bore is refused."""
        if any(p.kind == kind and not p.missing and bore_refused(job, p) for p in job.positions):
            yield cls()

    def off(self, job: Job, kind: str) -> Job:
        positions = (replace(p, accept=p.accept or _ACCEPTED) if p.kind == kind else p for p in job.positions)
        return replace(job, positions=tuple(positions))

    @classmethod
    def singles(cls, jobs: Jobs, kind: str, place: PositionKey, bonds: Sequence[str]) -> Iterator[Single]:
        """A refused housing bore accepted: the position's own, or any one if housings may move."""
        job = next(job for job in jobs if job.name == place[0])
        movable = is_movable(job, kind)
        for row in job.positions if cls.key in bonds else ():
            if row.kind == kind and (movable or row.name == place[1]) and not row.missing and bore_refused(job, row):
                accepted = replace(row, accept=_ACCEPTED)
                changed = replace(job, positions=tuple(accepted if p is row else p for p in job.positions))
                without = tuple(changed if other is job else other for other in jobs)
                yield Single("accept", None if row.name == place[1] else row.name, row.name, without)


def bore_refused(job: Job, position: Position) -> bool:
    """Whether the housing bore is outside its drawing limits and has not been accepted.

    Thicker shells would correct the clearance but not the crush.
    """
    band = job.drawing.get(position.kind, {}).get("housing_bore")
    assert position.housing_bore is not None
    return band is not None and position.accept is None and position.housing_bore.mean_nm not in band


def walls_drawn(job: Job, kind: str) -> tuple[int, int]:
    """The least and the greatest wall that the maker's drawing allows a shell of the kind."""
    band = job.drawing.get(kind, {}).get("wall")
    return (0, ENDLESS) if band is None else (band.low_nm, band.high_nm)
