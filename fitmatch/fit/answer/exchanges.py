"""A good plan without a proof: the one by hand, made better by exchanging shells.

A position takes another shell that its rules allow, and whoever had that one takes the shell given up, if that gains.
Where nothing does, an exchange is made by chance, and undone unless what follows gains more. First the greatest
deviations are made small, by a high power of them, then the sum of squares without a worse worst. All is counted in
whole numbers and in steps, never in seconds, so that the same job gives the same plan.
"""

import random
from collections import Counter
from collections.abc import Iterable
from itertools import chain
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore
from fitmatch.fit.model.order import INSIDE, LEVEL_1, WISH
from fitmatch.fit.model.pairs import Choice
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.answers.placements import Placement

_MOST_TRIED, _TRIED_EACH = 2_000_000, 5_000  # exchanges, in all and for each position (measured)
_MOST_FOLLOWING = 200  # positions looked at after an exchange by chance
_SQUARE, _POWER, _SEED = 2, 8, 7
_FIELD = 1 << 44  # more than any figure of levels 0 and 1
_BEYOND, _LEVELS = 1 << 96, 1 << 224  # more than all squares; more than all deviations to their power
_NEVER = 1 << 1_000


_Row = tuple[list[int], dict[int, int]]  # shells that one side may have, thinnest first, and the place of each


class _Seat(NamedTuple):
    """A position, and what its shells may be."""

    sums: tuple[
        int, int, int, int
    ]  # on target; that leave levels 0 and 1 nothing to ask, from and to; with any clearance
    differences: tuple[int, int]  # the least and the most by which the lower wall may exceed the upper one
    alike: bool  # any two halves may share it, apart from what their walls say
    bore: Bore
    rows: tuple[_Row, _Row]


class Exchanges:
    """The positions and the shells they have, all by number. Whoever has a shell is told as twice the position, plus 1
    for its lower side; -1 is nobody."""

    def __init__(self, kind: Kind, placements: Iterable[Placement], stop: Stop) -> None:
        self._kind, self._stop = kind, stop
        shells = [(shell.key, c) for c in kind.classes for shell in c.members]
        number = {key: i for i, (key, _) in enumerate(shells)}
        self._classes, self._walls = [c for _, c in shells], [c.wall_nm for _, c in shells]
        self._who = [-1] * len(shells)
        self._seats: list[_Seat] = []
        self._has: list[list[int]] = []
        racks = {id(rack): rack for bore in kind.seats for rack in (bore.upper, bore.lower)}  # most bores share theirs
        found = {at: [number[shell.key] for c in rack.classes for shell in c.members] for at, rack in racks.items()}
        rows = {at: (some, {shell: i for i, shell in enumerate(some)}) for at, some in found.items()}
        placed = {p.position.key: p for p in placements}
        for bore in kind.seats:
            sums = bore.ideal, bore.wanted_low, bore.wanted_high, bore.sum_high
            both = rows[id(bore.upper)], rows[id(bore.lower)]
            here = [placed[p.key] for p in bore.positions if p.key in placed]
            self._seats += [_Seat(sums, bore.differences, bore.terms.shares_all, bore, both)] * len(here)
            self._has += [[number[p.upper.key], number[p.lower.key]] for p in here]
        for at, shell in enumerate(chain.from_iterable(self._has)):
            self._who[shell] = at
        self._left = min(_MOST_TRIED, _TRIED_EACH * len(self._seats))
        self._judge_by(_SQUARE)

    def choice(self) -> Choice:
        """The plan as a choice of pairs."""
        both = ((self._classes[upper], self._classes[lower]) for upper, lower in self._has)
        return Counter(self._kind.pair(seat.bore, *pair) for seat, pair in zip(self._seats, both, strict=True))

    def improve(self) -> None:
        """Make levels 0 and 1 and the worst deviation as good as exchanges can, then the sum of squares."""
        chance, everyone = random.Random(_SEED), range(len(self._has))  # noqa: S311, it keeps no secret
        self._settle(everyone)
        costs = self._judge_by(_POWER)
        self._settle(everyone)
        third = self._left // 3
        while self._left > 2 * third:
            self._kick(max(chance.choices(everyone, k=3), key=costs.__getitem__), chance)
        costs = self._judge_by(_SQUARE, self._worst_now() - 1)
        while self._left > third:
            at = max(everyone, key=costs.__getitem__)
            if costs[at] < _BEYOND:  # the worst deviation has become less
                costs = self._judge_by(_SQUARE, self._worst_now() - 1)
            else:
                self._kick(at, chance)
        self._judge_by(_SQUARE, self._worst_now())
        self._settle(everyone)
        while self._left > 0:
            self._kick(chance.choice(everyone), chance)

    def _judge_by(self, power: int, most: int = _FIELD) -> list[int]:
        """Cost is |deviation| to this power from now on, and far more beyond `most`; returns each position's."""
        self._power, self._most = power, most
        self._costs = [self._cost(i, 0, upper) for i, (upper, _) in enumerate(self._has)]
        return self._costs

    def _worst_now(self) -> int:
        return max((cost % _LEVELS for cost in self._judge_by(1)), default=0)

    def _cost(self, i: int, side: int, shell: int) -> int:
        """What a position costs with this shell on one side and its own on the other. Of plans that fill the same
        positions the better costs less; a pair that is not allowed costs more than anything."""
        (ideal, low, high, most), (least, farthest), alike, bore, _ = self._seats[i]
        other = self._has[i][1 - side]
        wall, beside = self._walls[shell], self._walls[other]
        total = wall + beside
        if total > most or not least <= (wall - beside if side else beside - wall) <= farthest:
            return _NEVER
        off, levels, upper, lower = abs(total - ideal), 0, *((other, shell) if side else (shell, other))
        if not (alike or bore.terms.share(self._classes[upper], self._classes[lower])):
            return _NEVER
        if not low <= total <= high:
            pair = self._kind.pair(bore, self._classes[upper], self._classes[lower])
            levels = 1 + INSIDE.measure(pair)
            for figure in (*LEVEL_1, *WISH):
                levels = levels * _FIELD + figure.measure(pair)
            off *= pair.counted
        cost: int = off**self._power + levels * _LEVELS
        return cost if off <= self._most else cost + _BEYOND * (off - self._most) ** 2

    def _settle(self, queue: Iterable[int], most: int | None = None) -> list[tuple[int, int, int, int]]:
        """Make every exchange that gains, first for these positions, then for those it moved, up to so many; returns
        what it gained each time, below 0, with the position, side and shell that undo it."""
        made, looked_at = list[tuple[int, int, int, int]](), 0
        while queue:
            moved: dict[int, None] = {}
            for i in queue:
                if most is None:
                    self._stop.seconds_left()
                if looked_at == most or self._left <= 0:
                    return made
                looked_at += 1
                for side in (0, 1):
                    gain, shell = self._best(i, side)
                    if gain < 0:
                        made.append((gain, i, side, self._has[i][side]))
                        moved.update(dict.fromkeys(self._exchange(i, side, shell)))
            queue = list(moved)
        return made

    def _best(self, i: int, side: int) -> tuple[int, int]:
        """The exchange of this half that gains the most: the gain, below 0, and which shell to take."""
        shells, place = self._seats[i].rows[side]
        at, best, gain = place[self._has[i][side]], -1, 0
        for bit in range(len(shells).bit_length()):
            for to in (at + (1 << bit), at - (1 << bit)):
                if 0 <= to < len(shells):
                    found = self._gain(i, side, shells[to], gain)
                    if found < gain:
                        best, gain = shells[to], found
        return gain, best

    def _gain(self, i: int, side: int, shell: int, most: int) -> int:
        """What changes if the position takes this shell and whoever has it the one given up; where it is `most` or
        more, anything from there on."""
        self._left -= 1
        change = self._cost(i, side, shell) - self._costs[i]
        if (who := self._who[shell]) < 0:
            return change
        j, its, given = who >> 1, who & 1, self._has[i][side]
        change -= self._costs[j]
        if change >= most:
            return change
        return _NEVER if j == i or given not in self._seats[j].rows[its][1] else change + self._cost(j, its, given)

    def _exchange(self, i: int, side: int, shell: int) -> tuple[int, ...]:
        """Give a position this shell, and whoever has it the one given up; returns whom it moved."""
        given, who = self._has[i][side], self._who[shell]
        self._has[i][side], self._who[shell], self._who[given] = shell, 2 * i + side, who
        if who >= 0:
            self._has[who >> 1][who & 1] = given
        moved = (i,) if who < 0 else (i, who >> 1)
        for one in moved:
            self._costs[one] = self._cost(one, 0, self._has[one][0])
        return moved

    def _kick(self, i: int, chance: random.Random) -> None:
        """Exchange a half of this position by chance; undone unless it gains with all that follows."""
        self._stop.seconds_left()
        side = chance.randrange(2)
        shell, given = chance.choice(self._seats[i].rows[side][0]), self._has[i][side]
        change = self._gain(i, side, shell, _NEVER)
        if change < _LEVELS:
            made = self._settle(self._exchange(i, side, shell), _MOST_FOLLOWING)
            if change + sum(gain for gain, *_ in made) >= 0:
                for _, one, half, back in reversed(made):
                    self._exchange(one, half, back)
                self._exchange(i, side, given)
