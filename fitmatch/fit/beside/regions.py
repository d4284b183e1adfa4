"""Parts of the set of all plans of a kind, and the moves that walk through them value by value.

A `Region` is every plan that has its counted deviations in a window for each job and obeys some limits; a set of
plans such as "spread exactly s" is a list of regions.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Pair
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.pairs import FREE, Bounds, Choice, Limit, Measure, Work
from fitmatch.fit.proof.field.pair_sources import Best, span
from fitmatch.fit.proof.search import Search
from fitmatch.fit.proof.windows import Windows, widest_deviation
from fitmatch.fit.solver.stopping import Stop
from fitmatch.problems import FaultInFitmatch

_FIRST_REACH = 1_000  # nm


class Region(NamedTuple):
    """Plans with their counted deviations in the window of their job, within `bounds`; `listed`: from these pairs."""

    windows: Mapping[Terms, tuple[int, int]]
    bounds: Bounds = FREE
    listed: "list[Pair] | None" = None

    def clip(self, work: Work, low: int, high: int, *limits: Limit) -> "Region":
        """What is left of it with the deviations of these jobs from `low` to `high`."""
        narrowed = {t: (max(self.windows[t][0], low), min(self.windows[t][1], high)) for t in work}
        return self._replace(windows={**self.windows, **narrowed}).limit(*limits)

    def limit(self, *limits: Limit) -> "Region":
        """What is left of it within these."""
        return self._replace(bounds=self.bounds.and_limits(*limits))

    def spread_over(self, work: Work, most: int) -> "Region":
        """What is left of it with no job's spread above `most`."""
        return self._replace(bounds=self.bounds.and_spreads(work, most))

    def bound(self, **changes: Any) -> "Region":
        """The same with these bounds changed."""
        return self._replace(bounds=self.bounds._replace(**changes))

    def admits(self, pair: Pair) -> bool:
        low, high = self.windows[pair.bore.terms]
        return not pair.counted or low <= pair.deviation_nm <= high


@dataclass(frozen=True, slots=True)
class Ground:
    """What all regions of one kind have in common: where their pairs come from."""

    kind: Kind
    stop: Stop
    own_best: Mapping[Bore, Best]  # bores with a pair inside their limits
    outside: list[Pair] = field(repr=False)  # further pairs that may be used
    least_worst: int  # the worst |deviation| is no smaller
    start: "list[Region]" = field(repr=False)  # together all plans

    def pairs(self, region: Region) -> list[Pair]:
        if region.listed is not None:
            return [p for p in region.listed if region.admits(p)]
        found = list(self.outside)
        for bore, best in self.own_best.items():
            found.extend(self.stop.asking(self.kind.pairs(bore, *span(bore, best, *region.windows[bore.terms]))))
        return found

    def deviations(self, region: Region, work: Work) -> list[int]:
        """Every counted deviation of these jobs that occurs, ascending."""
        return sorted({p.deviation_nm for p in self.pairs(region) if p.counted and p.bore.terms in work})

    def plan(self, region: Region, *more: Limit) -> Choice | None:
        """Some plan of the region that also obeys `more`, or None if there is none; raises Stopped."""
        return Search(self.kind, self.stop, region.bounds.and_limits(*more)).feasible(self.pairs(region))

    def some_plan(self, regions: list[Region]) -> Choice | None:
        """Some plan of any of the regions. Narrow windows are tried first: a wide one may have very many pairs."""
        reach, work = max(_FIRST_REACH, self.least_worst), self.kind.terms
        while regions:
            for region in regions:
                found = self.plan(region.clip(work, -reach, reach))
                if found is not None:
                    return found
            regions = [r for r in regions if any(reach < max(-low, high) for low, high in r.windows.values())]
            reach *= 4
        return None

    def least(self, region: Region, measure: Measure, known: Choice) -> tuple[Choice, Region]:
        """The plan of the region with the smallest total, and the region left; `known` is a plan of the region."""
        search = Search(self.kind, self.stop, region.bounds, choice=known)
        most = sum(measure(pair) * times for pair, times in known.items())
        found = search.minimise_in(self.pairs(region), measure, most)
        if found is None:
            raise FaultInFitmatch("a region has lost the plan it has")
        value, pairs = found
        return search.choice, region.limit(Limit(measure, value))._replace(listed=pairs)


def ground_filled(windows: Windows) -> Ground:
    """The plans that give every bore its best on levels 0 and 1, once a search has found that there are such plans."""
    search, own_best, outside = windows.search, windows.own_best, windows.outside
    widest = widest_deviation(search.kind, own_best)
    seats = frozenset({bore.seat for bore in own_best} | {p.bore.seat for p in outside})
    start = [Region(dict.fromkeys(search.kind.terms, (-widest, widest)), Bounds(full=seats))]
    return Ground(search.kind, search.stop, own_best, outside, search.least_worst, start)


def ground_of_all(kind: Kind, stop: Stop) -> Ground:
    """All plans."""
    pairs: list[Pair] = list(kind.vacancies)
    for bore in kind.bores:
        pairs.extend(stop.asking(kind.pairs(bore, 0, bore.sum_high)))
    widest = max((abs(p.deviation_nm) for p in pairs if p.counted), default=0)
    start = [Region(dict.fromkeys(kind.terms, (-widest, widest)), listed=pairs)]
    return Ground(kind, stop, {}, [], 0, start)
