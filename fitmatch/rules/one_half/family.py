"""`family` of `[fit.KIND]`: the shell families that fit a kind."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from fitmatch.facts import Fact
from fitmatch.records.job import Half, Job, Rule
from fitmatch.records.parts import Position, Shell


@dataclass(frozen=True, slots=True)
class Family(Rule):
    """A shell of the kind belongs to one of these families."""

    fitting: tuple[str, ...]
    key: ClassVar = "family"
    plain_to_see: ClassVar = True
    offered: ClassVar = False
    phrases: ClassVar = {
        "demand": "family = {any_of}",
        "bond": "the rule on its family",
        "broken": "{shell} is of family {family}, not {any_of}",
    }

    @classmethod
    def of(cls, job: Job, kind: str) -> Iterator[Self]:
        """It is set in [fit.KIND], not in [rules]."""
        family = job.fits[kind].family
        if family is not None:
            yield cls(family)

    def off(self, job: Job, kind: str) -> Job:
        return replace(job, fits={**job.fits, kind: replace(job.fits[kind], family=None)})

    def asks(self, position: Position, side: str) -> tuple[str, ...]:
        return self.fitting

    def takes(self, position: Position, side: str, half: Half) -> bool:
        return half.family in self.fitting

    def reads(self, position: Position, side: str, other: Half) -> Iterator[tuple[str, tuple[str, ...]]]:
        yield self.key, self.fitting

    @property
    def slots(self) -> dict[str, object]:
        return {"any_of": self.fitting}

    def refusal(self, position: Position, side: str, shell: Shell) -> Fact:
        return Fact(self.key, {"shell": shell.key, "family": shell.family, **self.slots})
