"""`movable` and `movable_within`: kinds whose housings are loose parts and may go to another journal.

The search has further bores for that. All that rules out plans is the columns in which a housing and its new journal
must agree.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from fitmatch.facts import Fact
from fitmatch.records.ask import Ask
from fitmatch.records.job import Job, Rule


@dataclass(frozen=True, slots=True)
class Movable(Rule):
    """Housings of these kinds may move where the columns `within` agree."""

    kinds: tuple[str, ...]
    within: tuple[str, ...] = ()
    key: ClassVar = "movable_within"
    keys: ClassVar = ("movable", "movable_within")
    columns_in: ClassVar = "positions"
    phrases: ClassVar = {
        "in-force": "movable {kinds}",
        "in-force-within": "movable {kinds} within {columns}",
        "idle": "rules.movable_within has no effect without rules.movable",
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        kinds, within = ask.loose_kinds("movable"), ask.journal_columns("movable_within")
        if kinds or within:
            yield cls(kinds, within)

    @property
    def idle(self) -> bool:
        return not self.kinds

    def binds(self, kind: str) -> bool:
        return kind in self.kinds

    @property
    def name(self) -> str | None:
        return self.key if self.within else None

    def off(self, job: Job, kind: str) -> Job:
        positions = (replace(p, within=()) if p.kind == kind else p for p in job.positions)
        return replace(job, positions=tuple(positions))

    @classmethod
    def told(cls, job: Job) -> Iterator[tuple[str, Fact]]:
        for rule in job.rules:
            if isinstance(rule, cls) and rule.kinds:
                within = {"columns": rule.within} if rule.within else {}
                yield "in-force-within" if within else "in-force", Fact(cls.key, {"kinds": rule.kinds, **within})

    @property
    def columns(self) -> tuple[str, ...]:
        return self.within


def is_movable(job: Job, kind: str) -> bool:
    """Whether housings of the kind are loose parts in this job."""
    return any(True for _ in Movable.of(job, kind))


def columns_within(rules: tuple[Rule, ...]) -> tuple[str, ...]:
    """The columns of positions.csv in which a housing and its new journal must agree."""
    return next((rule.within for rule in rules if isinstance(rule, Movable)), ())
