"""`match`: columns in which a shell and its position must agree, one rule per column.

Some columns are matched without being named, depending on the headers; the reader decides that.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from fitmatch.facts import Fact
from fitmatch.records.ask import Ask
from fitmatch.records.job import Half, Rule
from fitmatch.records.parts import ANY, KEPT_FOR, Position, Shell, marks_agree


@dataclass(frozen=True, slots=True)
class Match(Rule):
    """Shell and position agree in `column`, which is number `at` among the shell's marks and the position's wants."""

    column: str
    at: int = -1
    key: ClassVar = "match"
    keys: ClassVar = ("match",)
    columns_in: ClassVar = "either"
    plain_to_see: ClassVar = True
    offered: ClassVar = False
    phrases: ClassVar = {
        "in-force": "match {columns}",
        "demand": "{column} = {wanted}",
        "bond": "matching {column}",
        "broken": "the {column} of {shell} is {mark}, not {wanted}",
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        return map(cls, ask.matched_columns(cls.key))

    @property
    def columns(self) -> tuple[str, ...]:
        return (self.column,)

    def located(self, shell_columns: tuple[str, ...]) -> Self:
        return replace(self, at=shell_columns.index(self.column))

    @property
    def name(self) -> str:
        return f"{self.key} {self.column}"

    def asks(self, position: Position, side: str) -> str:
        wants = position.wants_upper if side == "upper" else position.wants_lower
        return wants[self.at]

    def takes(self, position: Position, side: str, half: Half) -> bool:
        return marks_agree(self.asks(position, side), half.marks[self.at])

    def reads(self, position: Position, side: str, other: Half) -> Iterator[tuple[str, tuple[str, ...]]]:
        wanted = self.asks(position, side)
        if wanted != ANY and self.column != KEPT_FOR:  # what is bought is set aside for nobody
            yield self.column, (wanted,)

    def demand(self, position: Position, side: str) -> Fact | None:
        wanted = self.asks(position, side)
        return (
            None
            if wanted == ANY or self.column == KEPT_FOR
            else Fact(self.key, {"column": self.column, "wanted": wanted})
        )

    def refusal(self, position: Position, side: str, shell: Shell) -> Fact:
        mark, wanted = shell.marks[self.at], self.asks(position, side)
        return Fact(self.key, {"column": self.column, "shell": shell.key, "mark": mark, "wanted": wanted})

    @classmethod
    def summed(cls, rules: Sequence[Self]) -> dict[str, object]:
        return {"columns": tuple(rule.column for rule in rules)}
