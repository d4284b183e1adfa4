"""`thick_half`: where the two walls of a bore differ, on which side the thicker one goes.

With "upper" or "lower" it is a rule about two walls. With "same" the thicker halves of a kind are all on one side,
whichever it is, so that bores constrain each other: the search has separate rows for that.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import ClassVar, Final, Self

from fitmatch.records.ask import Ask
from fitmatch.records.job import ENDLESS, Job
from fitmatch.records.parts import SIDES
from fitmatch.rules.of_kind import OfKind, differences_above

DEFAULT_FROM_NM: Final = 5_080  # 0.2 thou


@dataclass(frozen=True, slots=True)
class ThickHalf(OfKind):
    """If the walls differ by more than `from_nm`, the thicker goes to `side`: upper, lower or, for the kind as a whole,
    same."""

    side: str
    from_nm: int = DEFAULT_FROM_NM
    key: ClassVar = "thick_half"
    keys: ClassVar = ("thick_half", "thick_half_from")
    limit: ClassVar = "from_nm"
    phrases: ClassVar = {
        "in-force": "thick_half {by_kind}, from {from_nm}",
        "broken": (
            "its thicker half is not the {side} one: walls differ by {difference_nm}, and up to {from_nm} is allowed"
        ),
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        from_nm = ask.length("thick_half_from")
        for kind, side in ask.words_by_kind(cls.key, (*SIDES, "same"), "half (upper, lower or same)").items():
            yield cls(kind, side, DEFAULT_FROM_NM if from_nm is None else from_nm)

    @property
    def one_side(self) -> bool:
        """Whether the thicker halves must all go to one side, whichever it is."""
        return self.side == "same"

    def thick(self, upper_nm: int, lower_nm: int) -> int:
        """Which of two walls counts as the thicker: 1 the upper, -1 the lower, 0 neither."""
        difference = upper_nm - lower_nm
        return 0 if abs(difference) <= self.from_nm else 1 if difference > 0 else -1

    @property
    def differences(self) -> tuple[int, int]:
        return (-self.from_nm if self.side == "lower" else -ENDLESS, self.from_nm if self.side == "upper" else ENDLESS)

    @property
    def slots(self) -> dict[str, object]:
        return {"side": self.side, "from_nm": self.from_nm}

    def amounts(self, job: Job, kind: str) -> Sequence[int]:
        return differences_above(self.from_nm, job, kind)

    @classmethod
    def summed(cls, rules: Sequence[Self]) -> dict[str, object]:
        return {"by_kind": tuple((rule.of_kind, rule.side) for rule in rules), "from_nm": rules[0].from_nm}
