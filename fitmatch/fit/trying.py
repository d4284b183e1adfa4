"""Few pairs are tried out: of all plans in which each bore has its best on levels 0 and 1 the best by level 2.

That is a proof like any other, and for a handful of bores far quicker than a program; what was listed once serves any
targets. Where it takes more than a few steps it is given up, and nothing is known then.
"""

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from itertools import pairwise
from operator import itemgetter
from typing import NamedTuple

from fitmatch.fit.bores import Pair
from fitmatch.fit.candidates import Kind
from fitmatch.fit.deciding import Place
from fitmatch.fit.filling import fill_at_best
from fitmatch.fit.search import Search
from fitmatch.fit.stopping import Stop

_MOST_POSITIONS, _MOST_PAIRS, _MOST_STEPS = 16, 2_000, 5_000  # (measured)
_FAR = 1 << 62
_DIGIT = 6  # bits for each class of shells
_NONE_LEFT = 1 << (_DIGIT - 1)  # what its digit has reached then


class _Row(NamedTuple):
    """A position and the pairs it may have, all of them counted or none, each with the digits of its shells."""

    place: Place
    target_nm: int
    seat: int
    pairs: list[tuple[Pair, int]]

    @property
    def counted(self) -> bool:
        return bool(self.pairs[0][0].counted)

    def ways(self, target_nm: int) -> "list[_Way]":
        """The nearest to the target first."""
        found = [(p.clearance_nm - target_nm if p.counted else 0, uses, p) for p, uses in self.pairs]
        return sorted(found, key=lambda way: abs(way[0]))


_Way = tuple[int, int, Pair]  # a pair by its deviation, 0 where it does not count, and the digits of its shells


class Tried(NamedTuple):
    """A plan and its figures."""

    worst: int
    squares: int
    spread: int
    plan: dict[str, Pair]  # by position


class Trial:
    """The plans of a kind that are best on levels 0 and 1, whatever its targets; `some` is one of them."""

    def __init__(self, rows: list[_Row], some: list[Pair], stock: tuple[int, int]) -> None:
        self.some = some
        self._rows = rows
        self._stock = stock  # the digits before anything is laid, and the bits of all that none is left of

    def best(self, targets: Mapping[Place, int]) -> Tried | None:
        """The best of them by the strategy `target`, with these targets where it has others; None where that takes too
        many steps."""
        rows = self._rows
        aims = [targets.get(row.place, row.target_nm) for row in rows]
        ways = [row.ways(aim) for row, aim in zip(rows, aims, strict=True)]
        likely = [p.clearance_nm - aim if p.counted else 0 for p, aim in zip(self.some, aims, strict=True)]
        values = sorted({abs(off) for some in ways for off, _, _ in some})
        left = _MOST_STEPS
        # No plan has a smaller worst deviation than the largest of each row's own best. The narrowest window first.
        least = max((abs(some[0][0]) for some in ways), default=0)
        for window in values[bisect_left(values, least) :] or [0]:
            near = [[way for way in some if abs(way[0]) <= window] for some in ways]
            turns = sorted(range(len(rows)), key=lambda i: (len(near[i]), rows[i].seat, aims[i]))
            alike = [rows[i].seat == rows[j].seat and aims[i] == aims[j] for i, j in pairwise(turns)]
            tried = _Laying([(near[i], rows[i].counted) for i in turns], alike, self._stock[1], left)
            if max(map(abs, likely), default=0) <= window:
                tried.begin([self.some[i] for i in turns], [likely[i] for i in range(len(rows)) if rows[i].counted])
            if not tried.lay(0, 0, _FAR, -_FAR, self._stock[0], 0):
                return None
            if tried.best is not None:
                self.some = [p for _, p in sorted(zip(turns, tried.best, strict=True), key=itemgetter(0))]
                plan = {row.place[1]: p for row, p in zip(rows, self.some, strict=True)}
                return Tried(window, tried.squares, tried.spread, plan)
            left = tried.left
        return None


class _Laying:
    """Lays pairs row by row; a way is left where it can only come out worse than the best known."""

    def __init__(self, rows: list[tuple[list[_Way], bool]], alike: list[bool], none_left: int, steps: int) -> None:
        self.best: list[Pair] | None = None
        self.squares = self.spread = 1 << 124
        self.left = steps
        self._rows, self._alike, self._none_left = rows, [*alike, False], none_left
        self._laid: list[Pair] = []
        self._seen: dict[tuple[int, int, int], list[tuple[int, int, int]]] = {}
        self._rest = [0]  # the squares that the rows from each on add at least
        for row, _ in reversed(rows):
            self._rest.insert(0, self._rest[0] + row[0][0] ** 2)

    def begin(self, plan: list[Pair], offs: Sequence[int]) -> None:
        """Begin with a plan that is known."""
        self.best, self.squares = plan, sum(off * off for off in offs)
        self.spread = max(offs) - min(offs) if offs else 0

    def lay(self, at: int, squares: int, low: int, high: int, used: int, first: int) -> bool:
        """Lay the rows from this one on, beginning with its way `first`; False where that is given up."""
        if at == len(self._rows):
            self.best, self.squares, self.spread = list(self._laid), squares, max(0, high - low)
            return True
        row, counted = self._rows[at]
        rest, alike = self._rest[at + 1], self._alike[at]
        bottom, top = low, high
        for i in range(first, len(row)):
            off, uses, pair = row[i]
            self.left -= 1
            if self.left < 0:
                return False
            total = squares + off * off
            if total + rest > self.squares:
                break  # those that follow add no less
            now = used + uses
            if now & self._none_left:
                continue
            if counted:
                bottom, top = min(low, off), max(high, off)
            if total + rest == self.squares and top - bottom >= self.spread:
                continue
            # A row like this one takes none of the earlier ways, as that would be the same plan.
            following = i if alike else 0
            # Nor is anything gained where the same shells were laid in these rows with figures as good.
            known = self._seen.setdefault((at, following, now), [])
            if any(a <= total and b >= bottom and c <= top for a, b, c in known):
                continue
            known.append((total, bottom, top))
            self._laid.append(pair)
            if not self.lay(at + 1, total, bottom, top, now, following):
                return False
            self._laid.pop()
        return True


def trial_of(kind: Kind, stop: Stop) -> Trial | None:
    """None where more binds than shells, where not all bores can have their best, or where they are too many. Raises
    Stopped."""
    if len(kind.terms) > 1 or kind.vacancies or any(t.one_thick_side or t.shifts.on for t in kind.terms):
        return None
    if sum(bore.count for bore in kind.seats) > _MOST_POSITIONS:
        return None
    search = Search(kind, stop)
    windows = fill_at_best(search, None, wished=any(bore.wishes for bore in kind.bores))
    if windows is None or search.bounds.limits:
        return None
    if sum(kind.count(bore, best.low, best.high) for bore, best in windows.own_best.items()) > _MOST_PAIRS:
        return None
    pairs: dict[int, list[Pair]] = {}
    for p in windows.outside:
        pairs.setdefault(p.bore.seat, []).append(p)
    for bore, best in windows.own_best.items():
        pairs.setdefault(bore.seat, []).extend(kind.pairs(bore, best.low, best.high))
    classes = {c.index: c for some in pairs.values() for p in some for c in (p.upper, p.lower)}
    digit = {index: 1 << _DIGIT * i for i, index in enumerate(classes)}
    (terms,) = kind.terms
    rows = []
    for seat, some in pairs.items():
        told = [(p, digit[p.upper.index] + digit[p.lower.index]) for p in some]
        for position in some[0].bore.positions:
            rows.append(_Row((terms.job.name, position.name), some[0].bore.target_nm, seat, told))
    chosen = {seat: [p for p, n in search.choice.items() if p.bore.seat == seat for _ in range(n)] for seat in pairs}
    # A digit begins so high that it reaches the bit for none left as soon as more are laid than there are.
    stock = sum((_NONE_LEFT - 1 - min(c.count, _NONE_LEFT - 1)) * digit[index] for index, c in classes.items())
    none_left = sum(_NONE_LEFT * one for one in digit.values())
    return Trial(rows, [p for some in chosen.values() for p in some], (stock, none_left))
