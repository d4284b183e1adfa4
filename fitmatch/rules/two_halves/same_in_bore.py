"""`same_in_bore`: columns in which the two halves of one bore must agree, one rule for each.

What is not written holds by default: never an old half with a new one, nor a coated half with an uncoated one.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Final, Self

from fitmatch.facts import Fact
from fitmatch.records.ask import Ask
from fitmatch.records.job import Half, Rule
from fitmatch.records.parts import ANY, Position, Shell, marks_agree

DEFAULT: Final = ("series", "condition", "coating")


@dataclass(frozen=True, slots=True)
class SameInBore(Rule):
    """The halves of a bore agree in `column`, which is number `at` among the marks of a shell."""

    column: str
    written: bool = True  # False: it holds by default, where the shell files have the column
    at: int = -1
    key: ClassVar = "same_in_bore"
    keys: ClassVar = ("same_in_bore",)
    phrases: ClassVar = {
        "in-force": "same_in_bore {columns}",
        "bond": "the rule same_in_bore in {column}",
        "broken": "its two halves differ in {column}",
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        """The default unless it is written."""
        if not ask.is_written(cls.key):
            yield from (cls(column, written=False) for column in DEFAULT)
        elif not ask.is_off(cls.key):
            yield from map(cls, ask.columns(cls.key, ("box",)))

    @property
    def columns(self) -> tuple[str, ...]:
        return (self.column,)

    @property
    def by_default(self) -> bool:
        return not self.written

    @property
    def name(self) -> str:
        return f"{self.key} {self.column}"

    def located(self, shell_columns: tuple[str, ...]) -> Self:
        return replace(self, at=shell_columns.index(self.column))

    def binds_among(self, marks: Collection[tuple[str, ...]]) -> bool:
        """A column that is blank throughout tells nothing apart."""
        return any(cells[self.at] for cells in marks)

    def reads(self, position: Position, side: str, other: Half) -> Iterator[tuple[str, tuple[str, ...]]]:
        mark = other.marks[self.at]
        if mark != ANY:
            yield self.column, (mark,)

    def share(self, upper: Half, lower: Half) -> bool:
        return marks_agree(upper.marks[self.at], lower.marks[self.at])

    def discord(self, upper: Shell, lower: Shell) -> Iterator[Fact]:
        if not self.share(upper, lower):
            yield Fact(self.key, {"column": self.column})

    @classmethod
    def summed(cls, rules: Sequence[Self]) -> dict[str, object]:
        return {"columns": tuple(rule.column for rule in rules)}
