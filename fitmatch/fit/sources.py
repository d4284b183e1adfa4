"""Where the windows of a spread get their pairs from: all that a kind admits, or a field that is listed already."""

from collections.abc import Iterator

from fitmatch.fit.candidates import Bore, Kind, Pair


class Source:
    """Pairs by window of deviations, for the inside ones; pairs outside their limits always come along."""

    def __init__(self, kind: Kind, outside: list[Pair], bores: list[Bore]) -> None:
        self._kind = kind
        self._outside = outside
        self._bores = bores
        values: dict[int, set[int]] = {}
        for bore in bores:
            values.setdefault(bore.seat, set()).update(kind.deviations(bore))
        self._values = {seat: sorted(found) for seat, found in values.items()}
        self._counts = {b.seat: b.count for b in bores}

    def least_widths(self, wanted: int) -> Iterator[tuple[int, int]]:
        """For every deviation that a window may begin with, the least width that reaches `wanted` positions, each
        taken by itself; none where no width does."""
        values = sorted({v for found in self._values.values() for v in found}, reverse=True)
        ends = {index: len(found) for index, found in self._values.items()}
        for start in values:
            reached: list[tuple[int, int]] = []
            for index, found in self._values.items():
                at = ends[index]
                while at and found[at - 1] >= start:
                    at -= 1
                ends[index] = at
                if at < len(found):
                    reached.append((found[at], self._counts[index]))
            count = 0
            for value, positions in sorted(reached):
                count += positions
                if count >= wanted:
                    yield start, value - start
                    break

    def pairs(self, low: int, high: int) -> list[Pair]:
        return [*self._outside, *(p for bore in self._bores for p in self._kind.within(bore, low, high))]


class Listed(Source):
    """A field that is already listed, its pairs all in work."""

    def __init__(self, field: list[Pair]) -> None:
        self._field = field
        values: dict[int, set[int]] = {}
        self._counts = {}
        for p in field:
            if p.inside:
                values.setdefault(p.bore.seat, set()).add(p.deviation_nm)
                self._counts[p.bore.seat] = p.bore.count
        self._values = {index: sorted(found) for index, found in values.items()}

    def pairs(self, low: int, high: int) -> list[Pair]:
        return [p for p in self._field if not p.inside or low <= p.deviation_nm <= high]
