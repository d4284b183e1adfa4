"""If there are few pairs they are tried out: the best by level 2 of all plans in which each bore has its best on levels
0 and 1.

That is a proof like any other, and for a handful of bores far quicker than a program; what was listed once serves any
targets. If it takes more than a few steps it is given up, and then nothing is known.

Windows of |deviation| are tried from the narrowest that could hold a plan: no deviation is smaller than that of its
bore's own best, and their sum is what the rooms leave of the walls, of which the thinnest or the thickest are known.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Pair, ShellClass
from fitmatch.fit.proof.field.pair_sources import Best
from fitmatch.fit.proof.filling import bests_of, fill_at_best
from fitmatch.fit.proof.search import Search
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.keys import PositionKey

_MOST_POSITIONS, _MOST_PAIRS, _MOST_STEPS = 16, 2_000, 5_000  # (measured)
_FAR = 1 << 62
_DIGIT = 6  # bits for each class of shells
_NONE_LEFT = 1 << (_DIGIT - 1)  # what its digit has reached then

_Way = tuple[int, int, Pair]  # a pair as its deviation, 0 if it does not count, and the digits of its shells


class Tried(NamedTuple):
    """A plan and its figures."""

    worst: int
    squares: int
    spread: int
    plan: dict[PositionKey, Pair]


class _TooMany(Exception):
    """Trying out would take too many steps."""


@dataclass(eq=False, slots=True)
class Trial:
    """The plans of a kind that are best on levels 0 and 1, whatever its targets; `some` is one of them, if one is
    known.

    In `rows` each position has its pairs, either all or none of them counted, each with the digits of its shells.
    """

    rows: Mapping[PositionKey, list[tuple[Pair, int]]]
    stock: tuple[int, int]  # the digits before anything is placed, and the bits of all classes with none left
    some: dict[PositionKey, Pair] | None = None
    _as_is: Tried | None = None  # the best with the targets that the kind has

    def best(self, targets: Mapping[PositionKey, int]) -> Tried | None:
        """The best of them by the strategy `target`, with these targets if they differ; None if there is none or it
        takes too many steps."""
        if not targets and self._as_is is not None:
            return self._as_is
        rows = {place: _ways(pairs, targets.get(place)) for place, pairs in self.rows.items()}
        known = None if self.some is None else _known(rows, self.some)
        least = max((abs(ways[0][0]) for ways in rows.values()), default=0)
        least = max(least, _least_by_sum(rows))
        windows = {abs(off) for ways in rows.values() for off, _, _ in ways if least <= abs(off)}
        laying = _Laying(*self.stock)
        try:
            for window in sorted(w for w in windows if known is None or w < known.worst):
                laying.lay_all(rows, window)
                if laying.best is not None:
                    break
            else:
                if known is None:
                    return None
                laying.best = known
                laying.lay_all(rows, known.worst)
        except _TooMany:
            return None
        self.some = laying.best.plan
        if not targets:
            self._as_is = laying.best
        return laying.best


class _Laying:
    """Places pairs row by row; a branch is left if it can only end worse than the best known."""

    def __init__(self, stock: int, none_left: int) -> None:
        self.best: Tried | None = None
        self._stock, self._none_left = stock, none_left
        self._steps = _MOST_STEPS

    def lay_all(self, rows: Mapping[PositionKey, list[_Way]], window: int) -> None:
        """PositionKey them within a window, those with the fewest choices first."""
        near = [(place, [way for way in ways if abs(way[0]) <= window]) for place, ways in rows.items()]
        self._rows = sorted(near, key=lambda row: (len(row[1]), row[1][0][2].bore.seat))
        self._rest = [0]  # the least squares that the rows from each on add
        for _, ways in reversed(self._rows):
            self._rest.insert(0, self._rest[0] + ways[0][0] ** 2)
        self._window = window
        self._laid: dict[PositionKey, Pair] = {}
        self._seen: dict[int, list[tuple[int, int, int]]] = {}
        self._lay(0, _FAR, -_FAR, self._stock)

    def _lay(self, squares: int, low: int, high: int, used: int) -> None:
        """Place the remaining rows."""
        at = len(self._laid)
        if at == len(self._rows):
            self.best = Tried(self._window, squares, max(0, high - low), dict(self._laid))
            return
        place, ways = self._rows[at]
        rest = self._rest[at + 1]
        bottom, top = low, high
        for off, uses, pair in ways:
            self._steps -= 1
            if self._steps < 0:
                raise _TooMany
            total = squares + off * off
            if self.best is not None and total + rest > self.best.squares:
                break  # those that follow add no less
            now = used + uses
            if now & self._none_left:
                continue
            if pair.counted:
                bottom, top = min(low, off), max(high, off)
            if self.best is not None and total + rest == self.best.squares and top - bottom >= self.best.spread:
                continue
            # Nothing is gained if the same shells were already placed in these rows with figures as good.
            known = self._seen.setdefault(now, [])
            if any(a <= total and b >= bottom and c <= top for a, b, c in known):
                continue
            known.append((total, bottom, top))
            self._laid[place] = pair
            self._lay(total, bottom, top, now)
            del self._laid[place]


def _known(rows: Mapping[PositionKey, list[_Way]], plan: dict[PositionKey, Pair]) -> Tried:
    offs = [off for place, ways in rows.items() for off, _, p in ways if p is plan[place] and p.counted]
    worst, squares = max(map(abs, offs), default=0), sum(off * off for off in offs)
    return Tried(worst, squares, max(offs, default=0) - min(offs, default=0), plan)


def _least_by_sum(rows: Mapping[PositionKey, list[_Way]]) -> int:
    """What the worst deviation of counted rows is at least, as their mean is not nearer to zero."""
    counted = [ways for ways in rows.values() if ways[0][2].counted]
    if not counted:
        return 0
    places = len(counted)
    pairs = [pair for ways in counted for _, _, pair in ways]
    uppers, lowers = {p.upper.index: p.upper for p in pairs}, {p.lower.index: p.lower for p in pairs}
    rooms = sum(off + pair.upper.wall_nm + pair.lower.wall_nm for off, _, pair in (ways[0] for ways in counted))
    most = rooms - sum(_outermost(some.values(), places, 1) for some in (uppers, lowers))
    least = rooms - sum(_outermost(some.values(), places, -1) for some in (uppers, lowers))
    return max(0, -(-least // places), -(most // places))


def _outermost(classes: Iterable[ShellClass], places: int, way: int) -> int:
    """The sum of so many of the thinnest walls, or by -1 of the thickest; of fewer, all walls that there are."""
    total = 0
    for one in sorted(classes, key=lambda c: way * c.wall_nm):
        taken = min(places, one.count)
        total += taken * one.wall_nm
        places -= taken
    return total


def _ways(pairs: list[tuple[Pair, int]], target_nm: int | None) -> list[_Way]:
    """The nearest to the target first; None: the kind's own."""
    aim = pairs[0][0].bore.target_nm if target_nm is None else target_nm
    found = [(p.clearance_nm - aim if p.counted else 0, uses, p) for p, uses in pairs]
    return sorted(found, key=lambda way: abs(way[0]))


def trial_of(kind: Kind, stop: Stop) -> Trial | None:
    """None if there are constraints other than shells, if not all bores can have their best, or if there are too many.
    Raises Stopped."""
    if len(kind.terms) > 1 or kind.vacancies or any(t.one_thick_side or t.shifts.on for t in kind.terms):
        return None
    if sum(bore.count for bore in kind.seats) > _MOST_POSITIONS:
        return None
    search, wished = Search(kind, stop), any(bore.wishes for bore in kind.bores)
    bests = bests_of(search, wished=wished)
    if len({bore.seat for bore in bests}) == len(kind.seats) and not _too_many(kind, bests):
        trial = _trial(p for bore, best in bests.items() for p in stop.asking(kind.pairs(bore, best.low, best.high)))
        if trial.best({}) is not None:
            return trial
    windows = fill_at_best(search, None, wished=wished)
    if windows is None or search.bounds.limits or _too_many(kind, windows.own_best):
        return None
    trial = _trial(windows.within(_FAR))
    trial.some = {}
    for seat in kind.seats:
        listed = trial.rows.get(seat.positions[0].key, [])
        chosen = [pair for pair, _ in listed for _ in range(search.choice[pair])]
        trial.some |= zip([position.key for position in seat.positions if listed], chosen, strict=True)
    return trial


def _too_many(kind: Kind, bests: Mapping[Bore, Best]) -> bool:
    return sum(kind.count(bore, best.low, best.high) for bore, best in bests.items()) > _MOST_PAIRS


def _trial(listed: Iterable[Pair]) -> Trial:
    """Of all pairs that may be used, those of each seat together."""
    pairs: dict[int, list[Pair]] = {}
    for p in listed:
        pairs.setdefault(p.bore.seat, []).append(p)
    classes = {c.index: c for some in pairs.values() for p in some for c in (p.upper, p.lower)}
    digit = {index: 1 << _DIGIT * i for i, index in enumerate(classes)}
    # A digit starts so high that it reaches the bit for "none left" as soon as more are placed than there are.
    stock = sum((_NONE_LEFT - 1 - min(c.count, _NONE_LEFT - 1)) * digit[index] for index, c in classes.items())
    rows: dict[PositionKey, list[tuple[Pair, int]]] = {}
    for some in pairs.values():
        told = [(p, digit[p.upper.index] + digit[p.lower.index]) for p in some]
        rows |= {position.key: told for position in some[0].bore.positions}
    return Trial(rows, (stock, _NONE_LEFT * sum(digit.values())))
