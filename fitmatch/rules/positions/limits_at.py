"""`limits_at`: at which clearance a limit is judged. It keeps nothing out by itself."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Final, Self

from fitmatch.records.ask import Ask
from fitmatch.records.job import Job, Rule

TIGHTEST: Final = "tightest"


@dataclass(frozen=True, slots=True)
class LimitsAt(Rule):
    """min is held against the tightest clearance, or against the one by the means."""

    at: str = TIGHTEST
    key: ClassVar = "limits_at"
    keys: ClassVar = ("limits_at",)
    phrases: ClassVar = {"in-force": "limits_at {at}"}

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        yield cls(ask.word(cls.key, (TIGHTEST, "mean")) or TIGHTEST)

    @property
    def name(self) -> None:
        return None

    @property
    def slots(self) -> dict[str, object]:
        return {"at": self.at}


def limits_at(job: Job) -> str:
    """ "tightest" or "mean"."""
    return next((rule.at for rule in job.rules if isinstance(rule, LimitsAt)), TIGHTEST)
