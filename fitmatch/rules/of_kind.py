"""What rules about one kind have in common, and which walls a kind has."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Self

from fitmatch.records.job import Job, Rule


@dataclass(frozen=True, slots=True)
class OfKind(Rule):
    """A rule that is set separately for each kind."""

    of_kind: str

    def binds(self, kind: str) -> bool:
        return kind == self.of_kind

    @classmethod
    def summed(cls, rules: Sequence[Self]) -> dict[str, object]:
        return {"by_kind_nm": tuple((rule.of_kind, rule.amount) for rule in rules)}


def walls_of(job: Job, kind: str) -> set[int]:
    """The walls of the kind's shells that are measured and not on hold."""
    return {s.wall_nm for s in job.shells if s.kind == kind and s.wall_nm is not None and s.hold is None}


def differences_above(least_nm: int, job: Job, kind: str) -> Sequence[int]:
    """Every larger difference between two walls of the kind, ascending: a limit in between allows no more than the one
    before it."""
    walls = walls_of(job, kind)
    return sorted({u - v for u in walls for v in walls if u - v > least_nm})
