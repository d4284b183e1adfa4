"""`limits_at`: which clearance is compared with min. By itself it rules nothing out."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import ClassVar, Final, Self

from fitmatch.records.ask import Ask
from fitmatch.records.job import Job, Rule

TIGHTEST: Final = "tightest"


@dataclass(frozen=True, slots=True)
class LimitsAt(Rule):
    """min is compared with the tightest clearance, or with the mean one."""

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
