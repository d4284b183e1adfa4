"""`min_wall`: the thinnest shell allowed in a kind."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, Self

from fitmatch.records.ask import Ask
from fitmatch.records.job import ENDLESS, Job
from fitmatch.rules.of_kind import OfKind, walls_of


@dataclass(frozen=True, slots=True)
class MinWall(OfKind):
    """No shell of the kind is thinner than `least_nm`."""

    least_nm: int
    key: ClassVar = "min_wall"
    keys: ClassVar = ("min_wall",)
    limit: ClassVar = "least_nm"
    phrases: ClassVar = {
        "in-force": "min_wall {by_kind_nm}",
        "eased": "less",
        "demand": "a wall of at least {least_nm}",
        "broken": "the wall of {shell} is {wall_nm}, and min_wall requires {least_nm}",
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        return (cls(*one) for one in ask.lengths_by_kind(cls.key, of_walls=True).items())

    @property
    def walls(self) -> tuple[int, int]:
        return self.least_nm, ENDLESS

    def amounts(self, job: Job, kind: str) -> Sequence[int]:
        """The thinner walls, thickest first."""
        return sorted((nm for nm in walls_of(job, kind) if nm < self.least_nm), reverse=True)
