"""`same_in_bore`: columns in which the two halves of one bore must agree."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import ClassVar, Self

from fitmatch.facts import Fact
from fitmatch.records.ask import Ask
from fitmatch.records.job import Half, Rule
from fitmatch.records.parts import Shell, marks_agree


@dataclass(frozen=True, slots=True)
class SameInBore(Rule):
    """The halves of a bore agree in `names`, which are numbers `at` among the marks of a shell."""

    names: tuple[str, ...]
    at: tuple[int, ...] = ()
    key: ClassVar = "same_in_bore"
    keys: ClassVar = ("same_in_bore",)
    phrases: ClassVar = {
        "in-force": "same_in_bore {columns}",
        "broken": "its two halves differ in {column}",
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        names = ask.columns(cls.key, ("box",))
        if names:
            yield cls(names)

    @property
    def columns(self) -> tuple[str, ...]:
        return self.names

    def located(self, shell_columns: tuple[str, ...]) -> Self:
        return replace(self, at=tuple(map(shell_columns.index, self.names)))

    def share(self, upper: Half, lower: Half) -> bool:
        return all(marks_agree(upper.marks[i], lower.marks[i]) for i in self.at)

    def discord(self, upper: Shell, lower: Shell) -> Iterator[Fact]:
        for name, i in zip(self.names, self.at, strict=True):
            if not marks_agree(upper.marks[i], lower.marks[i]):
                yield Fact(self.key, {"column": name})

    @property
    def slots(self) -> dict[str, object]:
        return {"columns": self.names}
