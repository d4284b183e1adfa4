"""Which numbers of boxes of which steps are looked at."""

from collections.abc import Iterator, Sequence
from itertools import product
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.problems import NotPossible
from fitmatch.study.boxes.steps import Step

MOST_MIXES: Final = 200  # of a kind


class Mix(NamedTuple):
    """How many boxes of each step are opened, in the order of the steps."""

    counts: tuple[int, ...]

    @property
    def boxes(self) -> int:
        return sum(self.counts)

    def fewer(self) -> Iterator["Mix"]:
        """Each mix that lacks one of its boxes."""
        for at, count in enumerate(self.counts):
            if count:
                yield Mix((*self.counts[:at], count - 1, *self.counts[at + 1 :]))


def mixes_of(kind: str, steps: Sequence[Step], budget: int, *, some_open: bool) -> tuple[Mix, ...]:
    """Every mix within the budget and the stock, the fewest boxes first; that of none only where `some_open`. Raises
    NotPossible where there are too many."""
    number = 1
    for step in steps:  # no more than this many are listed
        number *= step.stock + 1
    found = []
    if number <= MOST_MIXES * MOST_MIXES:
        found = [Mix(counts) for counts in product(*(range(step.stock + 1) for step in steps))]
        found = [mix for mix in found if (0 if some_open else 1) <= mix.boxes <= budget]
    if len(found) > MOST_MIXES or number > MOST_MIXES * MOST_MIXES:
        raise NotPossible(Fact("too-many-mixes", {"kind": kind, "steps": len(steps), "most": MOST_MIXES}))
    return tuple(sorted(found, key=lambda mix: (mix.boxes, [-count for count in mix.counts])))
