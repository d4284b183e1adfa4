"""`wall_difference`: the most that the two walls of one bore may differ."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, Final, Self

from fitmatch.records.ask import Ask
from fitmatch.records.job import Job, Rule
from fitmatch.rules.of_kind import differences_above

DEFAULT_NM: Final = 15_240  # 0.6 thou


@dataclass(frozen=True, slots=True)
class WallDifference(Rule):
    """The walls of two halves in one bore differ by `most_nm` at most."""

    most_nm: int = DEFAULT_NM
    key: ClassVar = "wall_difference"
    keys: ClassVar = ("wall_difference",)
    limit: ClassVar = "most_nm"
    phrases: ClassVar = {
        "in-force": "wall_difference {most_nm}",
        "off": "wall_difference off",
        "broken": "its two walls differ by {difference_nm}, and wall_difference allows {most_nm}",
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        """On unless it is set to "off"."""
        if not ask.is_off(cls.key):
            most = ask.length(cls.key)
            yield cls(DEFAULT_NM if most is None else most)

    @property
    def differences(self) -> tuple[int, int]:
        return -self.most_nm, self.most_nm

    def amounts(self, job: Job, kind: str) -> Sequence[int]:
        return differences_above(self.most_nm, job, kind)
