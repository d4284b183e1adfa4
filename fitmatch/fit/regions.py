"""Parts of the set of all plans of a kind, and the moves that walk through them value by value.

A `Region` is every plan whose counted deviations lie in a window for each job and that obeys some limits; a set of
plans such as "spread exactly s" is a list of regions.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import NamedTuple

from fitmatch.fit.bores import Bore, Pair
from fitmatch.fit.candidates import Kind
from fitmatch.fit.search import BoxLimit, Choice, Limit, Measure, Search
from fitmatch.fit.sources import Best, span
from fitmatch.fit.stopping import Stop
from fitmatch.fit.terms import Terms

Work = Sequence[Terms]  # the jobs that a figure judges
_FIRST_REACH = 1_000  # nm


class Region(NamedTuple):
    """Plans whose counted deviations lie in the window of their job and that obey `limits`; `spreads`: no job spreads
    over more; `complete`: so many jobs at least, and at most, have all positions inside; `boxes`: so many are drawn
    from; `listed`: from these pairs."""

    windows: Mapping[Terms, tuple[int, int]]
    limits: tuple[Limit, ...] = ()
    spreads: Mapping[Terms, int] = MappingProxyType({})
    complete: tuple[int, int | None] = (0, None)
    boxes: tuple[BoxLimit, ...] = ()
    listed: "list[Pair] | None" = None

    def clip(self, work: Work, low: int, high: int, *limits: Limit) -> "Region":
        """What is left of it with the deviations of these jobs from `low` to `high`."""
        narrowed = {t: (max(self.windows[t][0], low), min(self.windows[t][1], high)) for t in work}
        return self._replace(windows={**self.windows, **narrowed}, limits=self.limits + limits)

    def spread_over(self, work: Work, most: int) -> "Region":
        """What is left of it with no job spreading over more than `most`."""
        return self._replace(spreads={**self.spreads, **{t: min(most, self.spreads.get(t, most)) for t in work}})

    def admits(self, pair: Pair) -> bool:
        low, high = self.windows[pair.bore.terms]
        return not pair.counted or low <= pair.deviation_nm <= high


@dataclass(frozen=True, slots=True)
class Ground:
    """What all regions of one kind have in common: where their pairs come from, and whether every bore is filled."""

    kind: Kind
    stop: Stop
    own_best: Mapping[Bore, Best]  # bores with a pair inside their limits
    outside: list[Pair] = field(repr=False)  # further pairs that may be used
    to_fill: int | None  # this many seats, each wholly; None: any may stay empty
    least_worst: int  # the worst |deviation| is no smaller
    start: "list[Region]" = field(repr=False)  # together all plans

    def pairs(self, region: Region) -> list[Pair]:
        if region.listed is not None:
            return [p for p in region.listed if region.admits(p)]
        found = list(self.outside)
        for bore, best in self.own_best.items():
            found.extend(self.kind.pairs(bore, *span(bore, best, *region.windows[bore.terms])))
        return found

    def deviations(self, region: Region, work: Work) -> list[int]:
        """Every counted deviation of these jobs that occurs, ascending."""
        return sorted({p.deviation_nm for p in self.pairs(region) if p.counted and p.bore.terms in work})

    def plan(self, region: Region, *more: Limit) -> Choice | None:
        """Some plan of the region that obeys `more` as well, or None where there is none; raises Stopped."""
        return self._search(region, more).feasible(self.pairs(region))

    def some_plan(self, regions: list[Region]) -> Choice | None:
        """Some plan of any of the regions. Narrow windows are asked first: a wide one may hold very many pairs."""
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
        search = self._search(region)
        search.choice = known
        found = search.minimise_in(self.pairs(region), measure, total(known, measure))
        assert found is not None, "a region lost the plan it holds"
        value, pairs = found
        return search.choice, region._replace(limits=(*region.limits, Limit(measure, value)), listed=pairs)

    def _search(self, region: Region, more: Iterable[Limit] = ()) -> Search:
        search = Search(self.kind, self.stop)
        search.limits = [*region.limits, *more]
        search.spreads = dict(region.spreads)
        search.complete, search.complete_most = region.complete
        search.box_limits = list(region.boxes)
        if self.to_fill is not None:
            search.require_full(self.to_fill)
        return search


def ground_filled(search: Search) -> Ground:
    """The plans that give every bore its best on levels 0 and 1, after a search has found that there are such plans."""
    kind = search.kind
    widest = 0
    for bore, best in search.own_best.items():
        ends = kind.smallest_sum(bore, best.low, best.high), kind.largest_sum(bore, best.low, best.high)
        widest = max(widest, *(abs(s - bore.ideal) for s in ends if s is not None))
    seats = {bore.seat for bore in search.own_best} | {p.bore.seat for p in search.outside}
    start = [Region(dict.fromkeys(kind.terms, (-widest, widest)))]
    return Ground(kind, search.stop, search.own_best, search.outside, len(seats), search.least_worst, start)


def ground_of_all(kind: Kind, stop: Stop) -> Ground:
    """All plans there are."""
    pairs: list[Pair] = list(kind.vacancies)
    for bore in kind.bores:
        stop.seconds_left()
        pairs.extend(kind.pairs(bore, 0, bore.sum_high))
    widest = max((abs(p.deviation_nm) for p in pairs if p.counted), default=0)
    start = [Region(dict.fromkeys(kind.terms, (-widest, widest)), listed=pairs)]
    return Ground(kind, stop, {}, [], None, 0, start)


def total(choice: Choice, measure: Measure) -> int:
    return sum(measure(pair) * times for pair, times in choice.items())
