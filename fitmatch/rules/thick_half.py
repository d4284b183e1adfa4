"""`thick_half`: where the two walls of a bore differ, on which side the thicker one goes.

With "upper" or "lower" it is a rule about two walls. With "same" the thicker halves of a kind all lie on one side,
whichever it is, so that bores bind each other: the search has rows of its own for that.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import ClassVar, Final, Self

from fitmatch.ask import Ask
from fitmatch.facts import Fact
from fitmatch.parts import ENDLESS, SIDES, Job, Rule, Shell
from fitmatch.rules.walls import differences_above

DEFAULT_FROM_NM: Final = 5_080  # 0.2 thou


@dataclass(frozen=True, slots=True)
class ThickHalf(Rule):
    """Of walls that differ by more than `from_nm` the thicker goes to `side`: upper, lower or, of the kind as a whole,
    same."""

    of_kind: str
    side: str
    from_nm: int = DEFAULT_FROM_NM
    key: ClassVar = "thick_half"
    keys: ClassVar = ("thick_half", "thick_half_from")
    phrases: ClassVar = {
        "in-force": "thick_half {by_kind}, from {from_nm}",
        "broken": "its thicker half is not the {side} one: walls differ by {difference_nm}, {from_nm} may pass",
    }

    @classmethod
    def read(cls, ask: Ask) -> Iterator[Self]:
        from_nm = ask.length("thick_half_from")
        for kind, side in ask.words_by_kind(cls.key, (*SIDES, "same"), "half (upper, lower or same)").items():
            yield cls(kind, side, DEFAULT_FROM_NM if from_nm is None else from_nm)

    def binds(self, kind: str) -> bool:
        return kind == self.of_kind

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

    def discord(self, upper: Shell, lower: Shell) -> Iterator[Fact]:
        for fact in Rule.discord(self, upper, lower):
            yield Fact(self.key, {**fact.slots, "side": self.side, "from_nm": self.from_nm})

    @property
    def change(self) -> str:
        return "thick_half_from"

    @property
    def amount(self) -> int:
        return self.from_nm

    def amounts(self, job: Job, kind: str) -> Sequence[int]:
        return differences_above(self.from_nm, job, kind)

    def eased(self, amount: float) -> Self:
        return replace(self, from_nm=int(amount))

    @classmethod
    def told(cls, job: Job) -> Iterator[tuple[str, Fact]]:
        found = [rule for rule in job.rules if isinstance(rule, cls)]
        if found:
            by_kind = tuple((rule.of_kind, rule.side) for rule in found)
            yield "in-force", Fact(cls.key, {"by_kind": by_kind, "from_nm": found[0].from_nm})
