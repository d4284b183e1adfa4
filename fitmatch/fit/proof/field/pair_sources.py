"""Where the windows of a spread get their pairs from: all that a kind admits, or a field already listed."""

from collections.abc import Iterator
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Pair
from fitmatch.fit.solver.stopping import Stop


class Best(NamedTuple):
    """The best a bore can have on levels 0 and 1, taken by itself: any pair with a wall sum from `low` to `high`; and
    the least |deviation| among these."""

    deviation_nm: int
    low: int
    high: int


def span(bore: Bore, best: Best, low: int, high: int) -> tuple[int, int]:
    """The wall sums of a bore's best pairs that give a deviation from low to high."""
    return max(best.low, bore.ideal - high), min(best.high, bore.ideal - low)


class Source:
    """Pairs by window of deviations, for those inside; pairs outside their limits are always included."""

    def __init__(self, kind: Kind, outside: list[Pair], bores: dict[Bore, Best], stop: Stop) -> None:
        self._kind, self._stop = kind, stop
        self._outside = outside
        self._bores = bores
        self._counts = {b.seat: b.count for b in bores}
        self._seats: dict[int, set[int]] = {}  # that have pairs of a deviation
        for bore, best in bores.items():
            for deviation in stop.asking(kind.deviations(bore, best.low, best.high)):
                self._seats.setdefault(deviation, set()).add(bore.seat)

    def least_widths(self, wanted: int) -> Iterator[tuple[int, int]]:
        """For every deviation that a window may start with, the least width that reaches `wanted` positions, each taken
        by itself; left out if no width does."""
        nearest: dict[int, int] = {}  # for each seat, from the start on
        for start in self._stop.asking(sorted(self._seats, reverse=True), 1):
            nearest.update(dict.fromkeys(self._seats[start], start))
            count = 0
            for value, seat in sorted((value, seat) for seat, value in nearest.items()):
                count += self._counts[seat]
                if count >= wanted:
                    yield start, value - start
                    break

    def count(self, low: int, high: int) -> int:
        """About how many pairs such a window has."""
        bests = self._stop.asking(self._bores.items(), 1)
        return sum(self._kind.count(bore, *span(bore, best, low, high)) for bore, best in bests)

    def pairs(self, low: int, high: int) -> list[Pair]:
        found = list(self._outside)
        for bore, best in self._bores.items():
            found.extend(self._stop.asking(self._kind.pairs(bore, *span(bore, best, low, high))))
        return found


class Listed(Source):
    """A field that is already listed, all its pairs in use."""

    def __init__(self, field: list[Pair], stop: Stop) -> None:
        self._field, self._stop = field, stop
        self._counts = {p.bore.seat: p.bore.count for p in field}
        self._seats = {}
        for p in stop.asking(field):
            if p.counted:
                self._seats.setdefault(p.deviation_nm, set()).add(p.bore.seat)

    def count(self, low: int, high: int) -> int:
        return sum(low <= p.deviation_nm <= high for p in self._field)

    def pairs(self, low: int, high: int) -> list[Pair]:
        return [p for p in self._field if not p.counted or low <= p.deviation_nm <= high]
