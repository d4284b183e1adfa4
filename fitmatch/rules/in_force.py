"""Which rules apply to a kind, and what is wrong where shells break one."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import NamedTuple

from fitmatch.facts import Fact
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job, Near, Rule
from fitmatch.records.parts import SIDES, Position, Shell
from fitmatch.rules.one_half.family import Family


def in_force(job: Job, kind: str) -> tuple[Rule, ...]:
    """The rules of a job about one kind, and the families that its fit names."""
    return (*(rule for rule in job.rules if rule.binds(kind)), *Family.of(job, kind))


class Broken(NamedTuple):
    """What is wrong where shells break the rule with this code; `excused`: the locked shells alone break it."""

    fact: Fact
    excused: bool


def broken(rules: Iterable[Rule], position: Position, upper: Shell, lower: Shell) -> Iterator[Broken]:
    """What these two shells break in this position, taken alone. A lock excuses its shell, and two locks the pair."""
    locked = position.upper is not None and position.lower is not None
    for rule in rules:
        for side, shell in zip(SIDES, (upper, lower), strict=True):
            if not rule.takes(position, side, shell):
                yield Broken(rule.refusal(position, side, shell), getattr(position, side) is not None)
        yield from (Broken(fact, locked) for fact in rule.discord(upper, lower))


class RowRule(NamedTuple):
    """A rule about a row of bores, and what it says about this one."""

    rule: Rule
    near: Near
    row: Sequence[Position]

    def apart(self, placements: Iterable[Placement]) -> Iterator[Broken]:
        """Bores that are too far apart: each such pair of neighbours or, for a rule over all, the two farthest apart,
        both among those not excused and among those excused. Two bores are excused if both are locked in both
        halves."""
        at = self.lies(placements)
        if not self.near.everyone:
            for (i, one), (j, other) in pairwise(at):
                if j[0] - i[0] == 1 and abs(other - one) > self.near.most:
                    yield self._apart((i[1], one), (j[1], other))
            return
        free = [(p, lies) for (_, p), lies in at if not p.locked]
        fixed = [(p, lies) for (_, p), lies in at if p.locked]
        for some in (fixed, *([free, *([*free, p] for p in fixed)] if free else [])):
            low, high = (end(some, key=lambda bore: bore[1], default=None) for end in (min, max))
            if low is not None and high is not None and high[1] - low[1] > self.near.most:
                yield self._apart(low, high)

    def too_many(self, placements: Sequence[Placement]) -> int:
        """The fewest bores without which the others would obey the rule; those locked in both halves have to stay, and
        are excused from each other."""
        if not self.near.everyone:
            return sum(not apart.excused for apart in self.apart(placements))
        at = self.lies(placements)
        fixed = [lies for (_, p), lies in at if p.locked]
        free = [lies for (_, p), lies in at if not p.locked]
        near = [v for v in free if all(abs(v - f) <= self.near.most for f in fixed)]
        return len(free) - max((sum(low <= v <= low + self.near.most for v in near) for low in near), default=0)

    def lies(self, placements: Iterable[Placement]) -> list[tuple[tuple[int, Placement], int]]:
        """For each filled bore its index in the row, and its place."""
        placed = {p.position.name: p for p in placements}
        found = ((i, placed[p.name]) for i, p in enumerate(self.row) if p.name in placed)
        return [((i, p), p.twice_axis_shift_nm + self.near.origins[i]) for i, p in found]

    def _apart(self, one: tuple[Placement, int], other: tuple[Placement, int]) -> Broken:
        slots = {
            "one": one[0].position.name,
            "other": other[0].position.name,
            "apart_twice_nm": abs(other[1] - one[1]),
            "most_twice_nm": self.near.most,
        }
        return Broken(Fact(self.rule.key, slots), one[0].locked and other[0].locked)


def row_rules(job: Job, kind: str) -> list[RowRule]:
    """The rules about the row of this kind's bores."""
    row = [p for p in job.positions if p.kind == kind]
    found = ((rule, rule.near(row)) for rule in job.rules if rule.binds(kind))
    return [RowRule(rule, near, row) for rule, near in found if near is not None]
