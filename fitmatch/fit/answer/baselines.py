"""Two ways of choosing that need no solver, shown beside every answer.

`as_boxed`: the shells as they come out of their boxes. `by_hand`: a careful builder who gives each position in turn the
pair nearest to its target. Both obey locks, holds, matched columns, family, drawing limits and "a clearance of zero or
less is not a fill"; by hand obeys every other hard rule too.
"""

from bisect import bisect_left, bisect_right
from collections import deque
from collections.abc import Iterator, Sequence
from heapq import heapify, heappop, heapreplace
from itertools import islice
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind, may_share
from fitmatch.fit.classes.classes import Bore, Rack, ShellClass, rack_of
from fitmatch.fit.classes.demands import Terms
from fitmatch.names import natural
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.parts import Position, Shell
from fitmatch.rules.in_force import broken, in_force, row_rules
from fitmatch.rules.two_halves.thick_half import ThickHalf


class _Alike(NamedTuple):
    """All that can be seen on a shell."""

    marks: tuple[str, ...]
    family: str
    wall_nm: None = None


def as_boxed(kind: Kind) -> list[Placement]:
    """Positions in file order each take the next upper and the next lower, by box and then file order, that match.

    An `either` shell is taken when no shell of that half is left; a pair without clearance is put back.
    """
    racks: dict[str, dict[_Alike, deque[tuple[int, Shell]]]] = {half: {} for half in ("upper", "lower", "either")}
    shelf = sorted(kind.free_shells(), key=lambda s: natural(s.box))  # stable: file order within a box
    for place, shell in enumerate(shelf):
        racks[shell.half].setdefault(_Alike(shell.marks, shell.family), deque()).append((place, shell))
    known = {s.key: s for s in kind.jobs[0].shells}

    def take(position: Position, half: str, other: Shell | None) -> Shell | None:
        lock: ShellKey | None = getattr(position, half)
        if lock is not None:
            return known[lock]
        rules = [rule for rule in kind.terms_of(position).rules if rule.plain_to_see]
        for rack in (racks[half], racks["either"]):
            fitting = (rack[alike] for alike in rack if all(rule.takes(position, half, alike) for rule in rules))
            first = [one for shells in fitting for one in islice((s for s in shells if s[1] is not other), 1)]
            if first:
                return min(first)[1]
        return None

    placed = []
    for position in kind.positions:
        upper = take(position, "upper", None)
        lower = take(position, "lower", upper)
        if upper is None or lower is None:
            continue
        placement = kind.place(position, upper, lower)
        if placement.clearance_tightest_nm <= 0:
            continue
        for shell in (upper, lower):
            rack = racks[shell.half].get(_Alike(shell.marks, shell.family))
            if rack and rack[0][1] is shell:  # a locked one is on no rack
                rack.popleft()
        placed.append(placement)
    return placed


def by_hand(kind: Kind) -> list[Placement]:
    """Positions in file order each take the pair with the smallest |deviation| that obeys all hard rules.

    Ties: the smaller wall difference, then the upper's and the lower's place in file order.
    """
    stock = _Stock(kind)
    bore_of = {p.key: bore for bore in kind.seats for p in bore.positions}
    fixed = {p.position.key: p for p in kind.fixed}
    offers: dict[int, _Offers] = {}  # by bore, if it has several positions
    sides: dict[Terms, int] = {}  # the side of a job's thicker halves, once decided
    placed = []
    for position in kind.positions:
        if position.key in fixed:
            placed.append(fixed[position.key])
            continue
        if position.key not in bore_of:
            continue  # its locked pair leaves no clearance
        bore = bore_of[position.key]
        side = sides.get(bore.terms, 0)
        here = offers.get(bore.index)
        if here is None:
            mates = [p for p in placed if kind.terms_of(p.position) is bore.terms] if bore.terms.shifts.on else []
            here = _Offers(bore, stock, bore.terms.shifts.allowed(position, mates))
            if bore.count > 1:
                offers[bore.index] = here
        best = here.best(side)
        if best is not None:
            upper, lower = best
            if bore.terms.one_thick_side and not side:
                sides[bore.terms] = bore.terms.thick(upper.wall_nm, lower.wall_nm)
            placed.append(kind.place(position, stock.take(upper), stock.take(lower)))
    return placed


class _Stock:
    """The shells that are left, and each rack with the classes of which there are any."""

    def __init__(self, kind: Kind) -> None:
        self.classes = kind.classes
        self._place = {s.key: i for i, s in enumerate(kind.jobs[0].shells)}
        self._left = {c.index: c.members[::-1] for c in kind.classes}
        self._racks: dict[int, Rack] = {}  # by the identity of the whole ones

    def of(self, rack: Rack) -> Rack:
        """What is left of a rack."""
        if id(rack) not in self._racks:
            full = [c for c in rack.classes if self._left[c.index]]
            self._racks[id(rack)] = rack_of(full)
        return self._racks[id(rack)]

    def place(self, c: ShellClass, last: int = -1) -> int | None:
        """Where the shell of this class that comes next stands among all, or with -2 the one behind it."""
        left = self._left[c.index]
        return self._place[left[last].key] if len(left) >= -last else None

    def take(self, c: ShellClass) -> Shell:
        taken = self._left[c.index].pop()
        if not self._left[c.index]:
            for rack in self._racks.values():
                at = bisect_left(rack.walls, c.wall_nm)
                while at < len(rack.walls) and rack.walls[at] == c.wall_nm:
                    if rack.classes[at] is c:
                        del rack.walls[at], rack.classes[at]
                    at += 1
        return taken


# |deviation|, wall difference, places in file order; smaller is better. Before it is known it is less: its first two.
_Rank = tuple[int, int] | tuple[int, int, int, int]
_Offer = tuple[_Rank, int, int]  # and which lower and which upper class it is
_MANY_UPPERS, _NEAR_NM = 1_000, 8  # (measured)
_TRIED = 4  # uppers looked at first, on either side of half the wall sum that is wanted (measured)
_FAR = 1 << 62


class _Offers:
    """For one bore the best pair with each upper, best of all first. A bore in a row has one position.

    As shells are used up, and once a side is decided, a pair can only become worse: an offer that is unchanged when
    asked for again is the best there is, and one that promised more than it holds is looked at then.
    """

    def __init__(self, bore: Bore, stock: _Stock, shifts: tuple[int, int]) -> None:
        self._bore, self._stock, self._shifts = bore, stock, shifts
        self._upper, self._lower = stock.of(bore.upper), stock.of(bore.lower)
        self._side = 0
        self._least: dict[int, int] = {}  # by wall sum, how little its pairs may differ
        self._ranked: list[_Offer] | None = None

    def best(self, side: int) -> tuple[ShellClass, ShellClass] | None:
        """The pair chosen by hand; `side` is where the thicker half goes, once decided."""
        self._side = side
        classes = self._stock.classes
        if self._ranked is None:
            near = self._near()
            if near is not None:
                return classes[near[2]], classes[near[1]]
            self._ranked = self._promises()
            heapify(self._ranked)
        while self._ranked:
            rank, lower, upper = self._ranked[0]
            now = self._rank_of(classes[upper])
            if now is None:
                heappop(self._ranked)
            elif now == (rank, lower):
                return classes[upper], classes[lower]
            else:
                heapreplace(self._ranked, (*now, upper))
        return None

    def _near(self) -> _Offer | None:
        """The best pair, where one hits the target or, of very many shells, nearly does: it is soon found then."""
        ideal = self._bore.ideal
        for off in range(1 + min(len(self._upper.walls) // _MANY_UPPERS, _NEAR_NM)):
            found = [one for total in {ideal - off, ideal + off} for one in self._of_sum(total, off)]
            if found:
                return min(found)
        return None

    def _of_sum(self, total: int, off: int) -> Iterator[_Offer]:
        """The pairs of this wall sum that differ the least, sought from equal walls outward."""
        walls, lowers = self._upper.walls, self._lower.walls
        least = self._least.get(total, 0)
        below, above = bisect_right(walls, (total - least) / 2) - 1, bisect_left(walls, (total + least) / 2)
        above = max(above, below + 1)
        differ: int | None = None
        first, end = (
            (bisect_left(walls, total - lowers[-1]), bisect_right(walls, total - lowers[0])) if lowers else (0, 0)
        )
        while below >= first or above < end:
            if below < first or (above < end and 2 * walls[above] - total <= total - 2 * walls[below]):
                i, above = above, above + 1
            else:
                i, below = below, below - 1
            if differ is not None and abs(2 * walls[i] - total) > differ:
                break
            at = bisect_left(lowers, total - walls[i])
            if at < len(lowers) and walls[i] + lowers[at] == total:
                found = self._rank_of(self._upper.classes[i])
                if found is not None and found[0][0] == off:
                    differ = found[0][1]
                    yield *found, self._upper.classes[i].index
        self._least[total] = _FAR if differ is None else differ

    def _promises(self) -> list[_Offer]:
        """What each upper promises, whatever the rules say. Of a bore with one position those are left out that promise
        less than some others hold."""
        uppers, lowers, ideal = self._upper, self._lower, self._bore.ideal
        if not uppers.walls or not lowers.walls:
            return []
        first, last = 0, len(uppers.walls)
        most = _FAR, _FAR
        if self._bore.count == 1:
            middle = bisect_left(uppers.walls, ideal / 2)  # where two halves differ the least
            tried = uppers.classes[max(0, middle - _TRIED) : middle + _TRIED]
            some = map(self._rank_of, tried or uppers.classes[-1:])
            most = min((found[0][:2] for found in some if found is not None), default=most)
            first = bisect_left(uppers.walls, ideal - most[0] - lowers.walls[-1])
            last = bisect_right(uppers.walls, ideal + most[0] - lowers.walls[0])
        walls = [-2 * _FAR, *lowers.walls, 2 * _FAR]
        found: list[_Offer] = []
        for at in range(first, last):
            wall = uppers.walls[at]
            wanted = ideal - wall
            above = bisect_left(walls, wanted)
            under, over = wanted - walls[above - 1], walls[above] - wanted
            if under <= most[0] or over <= most[0]:
                nearest = min((under, abs(wall - walls[above - 1])), (over, abs(wall - walls[above])))
                if nearest <= most:
                    found.append((nearest, -1, uppers.classes[at].index))
        return found

    def _rank_of(self, upper: ShellClass) -> tuple[_Rank, int] | None:
        """The best pair with this upper: its rank, and which lower."""
        place, stock = self._stock.place(upper), self._stock
        if place is None:
            return None
        best: tuple[_Rank, int] | None = None
        for lower in self._nearest(upper):
            other = stock.place(lower, -2 if lower is upper else -1)
            assert other is not None, "the lowers that are nearest are left"
            off, difference = abs(self._bore.ideal - upper.wall_nm - lower.wall_nm), abs(upper.wall_nm - lower.wall_nm)
            found = (off, difference, place, other), lower.index
            best = found if best is None else min(best, found)
        return best

    def _nearest(self, upper: ShellClass) -> Iterator[ShellClass]:
        """The lowers that bring this upper nearest to the target from above and from below, all those of equal wall."""
        bore, walls, lowers = self._bore, self._lower.walls, self._lower.classes
        (least, most), (down, up) = bore.differences, self._shifts
        low = upper.wall_nm + max(least, down)
        high = min(upper.wall_nm + min(most, up), bore.sum_high - upper.wall_nm)
        ideal = bore.ideal - upper.wall_nm
        above = range(bisect_left(walls, max(ideal, low)), bisect_right(walls, high))
        below = range(bisect_right(walls, min(ideal - 1, high)) - 1, bisect_left(walls, low) - 1, -1)
        for span in (above, below):
            found: int | None = None
            for at in span:
                if found is not None and walls[at] != found:
                    break
                lower = lowers[at]
                enough = lower is not upper or self._stock.place(lower, -2) is not None
                wrong_side = self._side and bore.terms.thick(upper.wall_nm, walls[at]) == -self._side
                if enough and not wrong_side and may_share(bore, upper, lower):
                    found = walls[at]
                    yield lower


def rules_broken_by(job: Job, placements: Sequence[Placement]) -> int:
    """Each rule counted once per bore that breaks it; in a kind with thicker halves on both sides, those on the side
    with fewer."""
    if not placements:
        return 0
    kind = placements[0].position.kind
    rules = in_force(job, kind)
    count = sum(
        len({one.fact.code for one in broken(rules, p.position, p.upper, p.lower) if not one.excused})
        for p in placements
    )
    for rule in rules:
        if isinstance(rule, ThickHalf) and rule.one_side:
            thick = [p for p in placements if p.wall_difference_nm > rule.from_nm and not p.locked]
            on_top = sum(p.twice_axis_shift_nm < 0 for p in thick)
            count += min(on_top, len(thick) - on_top)
    return count + sum(one.too_many(placements) for one in row_rules(job, kind))
