"""`min_wall`: no thinner shell in a kind."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from fitmatch.ask import Ask
from fitmatch.facts import Fact
from fitmatch.parts import ENDLESS, Job, Position, Rule, Shell


@dataclass(frozen=True, slots=True)
class MinWall(Rule):
    """No shell of the kind is thinner than `least_nm`."""

    of_kind: str
    least_nm: int
    key: ClassVar = "min_wall"
    keys: ClassVar = ("min_wall",)
    phrases: ClassVar = {
        "in-force": "min_wall {by_kind_nm}",
        "eased": "less",
        "demand": "a wall of at least {least_nm}",
        "broken": "the wall of {shell} is {wall_nm}, and min_wall asks for {least_nm}",
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        for kind, nm in ask.lengths_by_kind(cls.key, of_walls=True).items():
            yield cls(kind, nm)

    def binds(self, kind: str) -> bool:
        return kind == self.of_kind

    @property
    def walls(self) -> tuple[int, int]:
        return self.least_nm, ENDLESS

    def demand(self, position: Position, side: str) -> Fact:
        return Fact(self.key, {"least_nm": self.least_nm})

    def refusal(self, position: Position, side: str, shell: Shell) -> Fact:
        return Fact(self.key, {"shell": shell.key, "wall_nm": shell.wall_nm, "least_nm": self.least_nm})

    @property
    def amount(self) -> int:
        return self.least_nm

    def amounts(self, job: Job, kind: str) -> Sequence[int]:
        """The walls that are thinner, thickest first."""
        walls = {s.wall_nm for s in job.shells if s.kind == kind and s.wall_nm is not None and s.hold is None}
        return sorted((nm for nm in walls if nm < self.least_nm), reverse=True)

    def eased(self, amount: float) -> Self:
        return replace(self, least_nm=int(amount))

    @classmethod
    def told(cls, job: Job) -> Iterator[tuple[str, Fact]]:
        limits = tuple((rule.of_kind, rule.least_nm) for rule in job.rules if isinstance(rule, cls))
        if limits:
            yield "in-force", Fact(cls.key, {"by_kind_nm": limits})
