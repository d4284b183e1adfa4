"""`guard`: limits tightened on each side by a multiple of the expanded uncertainty.

By how much depends on the pair of shells; the search has separate bores for each way in which shells were measured.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import ClassVar, Final, Self

from fitmatch.records.ask import Ask
from fitmatch.records.job import Job, Rule

_STEPS: Final = 100  # other guards are tried in steps of one hundredth


@dataclass(frozen=True, slots=True)
class Guard(Rule):
    """Limits are tightened by `factor` times the expanded uncertainty; `row` is where job.toml sets it."""

    factor: float
    row: int | None = field(default=None, compare=False)
    key: ClassVar = "guard"
    keys: ClassVar = ("guard",)
    limit: ClassVar = "factor"
    phrases: ClassVar = {"in-force": "guard {factor}", "bond": "the guard"}

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        factor = ask.number(cls.key, 10.0)
        if factor:
            yield cls(factor, ask.row(cls.key))

    def amounts(self, job: Job, kind: str) -> Sequence[float]:
        """Smaller guards in steps of one hundredth, down to none."""
        return [step / _STEPS for step in range(int(self.factor * _STEPS), -1, -1)]


def guard_of(job: Job) -> float:
    """The factor in force; 0 without a guard."""
    return next((rule.factor for rule in job.rules if isinstance(rule, Guard)), 0.0)


def guard_row(job: Job) -> int | None:
    """The row of job.toml that sets it."""
    return next((rule.row for rule in job.rules if isinstance(rule, Guard)), None)
