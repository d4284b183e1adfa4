"""Parts of the set of all plans of a kind, and the moves that walk through them value by value.

A `Region` is every plan whose counted deviations lie in a window and that obeys some limits; a set of plans such as
"spread exactly s" is a list of regions. A `Figure` is a number by which plans are ordered: it can keep the plans in
which it has one value exactly, or a larger one, and find its smallest value over a list of regions.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple, Protocol

from fitmatch.fit.candidates import Bore, Kind, Pair
from fitmatch.fit.search import Choice, Limit, Listed, Measure, Search
from fitmatch.fit.stopping import Stop

_FIRST_REACH = 1_000  # nm


class Region(NamedTuple):
    """Plans whose counted deviations lie from `low` to `high` and that obey `limits`; `listed`: from these pairs."""

    low: int
    high: int
    limits: tuple[Limit, ...] = ()
    listed: "list[Pair] | None" = None

    def clip(self, low: int, high: int, *limits: Limit) -> "Region":
        return self._replace(low=max(self.low, low), high=min(self.high, high), limits=self.limits + limits)


@dataclass(frozen=True, slots=True)
class Ground:
    """What all regions of one kind have in common: where their pairs come from, and whether every bore is filled."""

    kind: Kind
    stop: Stop
    bores: Sequence[Bore]  # those with a pair inside their limits
    outside: list[Pair] = field(repr=False)  # pairs outside their limits that may be used
    to_fill: int | None  # this many seats, each wholly; None: any may stay empty
    least_worst: int  # the worst |deviation| is no smaller
    start: "list[Region]" = field(repr=False)  # together all plans

    def pairs(self, region: Region) -> list[Pair]:
        low, high = region.low, region.high
        if region.listed is not None:
            return [p for p in region.listed if not p.inside or low <= p.deviation_nm <= high]
        found = list(self.outside)
        for bore in self.bores:
            found.extend(self.kind.within(bore, low, high))
        return found

    def deviations(self, region: Region) -> list[int]:
        """Every counted deviation that occurs, ascending."""
        return sorted({p.deviation_nm for p in self.pairs(region) if p.inside})

    def plan(self, region: Region, *more: Limit) -> Choice | None:
        """Some plan of the region that obeys `more` as well, or None where there is none; raises Stopped."""
        pairs, limits = self.pairs(region), (*region.limits, *more)
        return self._search(limits).feasible(pairs)

    def some_plan(self, regions: list[Region]) -> Choice | None:
        """Some plan of any of the regions. Narrow windows are asked first: a wide one may hold very many pairs."""
        reach = max(_FIRST_REACH, self.least_worst)
        while regions:
            for region in regions:
                found = self.plan(region.clip(-reach, reach))
                if found is not None:
                    return found
            regions = [r for r in regions if reach < max(-r.low, r.high)]
            reach *= 4
        return None

    def least(self, region: Region, measure: Measure, known: Choice) -> tuple[Choice, Region]:
        """The plan of the region with the smallest total, and the region left; `known` is a plan of the region."""
        search = self._search(region.limits)
        search.choice = known
        found = search.minimise_in(self.pairs(region), measure, total(known, measure))
        assert found is not None, "a region lost the plan it holds"
        value, pairs = found
        return search.choice, region._replace(limits=(*region.limits, Limit(measure, value)), listed=pairs)

    def _search(self, limits: Iterable[Limit]) -> Search:
        search = Search(self.kind, self.stop)
        search.limits = list(limits)
        if self.to_fill is not None:
            search.require_full(self.to_fill)
        return search


def ground_filled(search: Search) -> Ground:
    """The plans that give every bore its best on levels 0 and 1, after a search has found that there are such plans."""
    kind, bores = search.kind, list(search.own_best)
    widest = 0
    for bore in bores:
        low = kind.smallest_sum(bore, bore.inside_low, bore.inside_high)
        high = kind.largest_sum(bore, bore.inside_low, bore.inside_high)
        widest = max(widest, *(abs(s - bore.ideal) for s in (low, high) if s is not None))
    seats = {bore.seat for bore in bores} | {p.bore.seat for p in search.outside}
    start = [Region(-widest, widest)]
    return Ground(kind, search.stop, bores, search.outside, len(seats), search.least_worst, start)


def ground_of_all(kind: Kind, stop: Stop) -> Ground:
    """All plans there are."""
    pairs: list[Pair] = []
    for bore in kind.bores:
        stop.seconds_left()
        pairs.extend(kind.pairs(bore, 0, bore.sum_high))
    widest = max((abs(p.deviation_nm) for p in pairs if p.inside), default=0)
    return Ground(kind, stop, (), [], None, 0, [Region(-widest, widest, (), pairs)])


def total(choice: Choice, measure: Measure) -> int:
    return sum(measure(pair) * times for pair, times in choice.items())


class Figure(Protocol):
    """A number by which plans are ordered; smaller is better."""

    def value(self, choice: Choice) -> int: ...

    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]: ...

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]: ...

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        """The best plan by this figure, `known` being one of the regions' plans, and the regions of its equals."""
        ...


@dataclass(frozen=True, slots=True)
class Sum:
    """The total of a measure."""

    measure: Measure

    def value(self, choice: Choice) -> int:
        return total(choice, self.measure)

    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [r._replace(limits=(*r.limits, Limit(self.measure, value, value))) for r in regions]

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [r._replace(limits=(*r.limits, Limit(self.measure, None, value + 1))) for r in regions]

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        best, kept = known, []
        for region in regions:
            here = ground.plan(region, Limit(self.measure, self.value(best)))
            if here is not None:
                here, left = ground.least(region, self.measure, here)
                kept.append((self.value(here), left))
                best = min(best, here, key=self.value)
        return best, [region for value, region in kept if value == self.value(best)]


@dataclass(frozen=True, slots=True)
class Worst:
    """The largest |deviation| of the counted; 0 where none is. Up to `forgiven` all is alike."""

    forgiven: int = 0

    def value(self, choice: Choice) -> int:
        return max(self.forgiven, 0, *(abs(p.deviation_nm) for p in choice if p.inside))

    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        reached = () if value == self.forgiven else (_some(lambda p: abs(p.deviation_nm) >= value),)
        return [r.clip(-value, value, *reached) for r in regions]

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [r.clip(r.low, r.high, _some(lambda p: abs(p.deviation_nm) > value)) for r in regions]

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        best = known
        for region in regions:
            low, step = self.forgiven, 0
            while low < self.value(best):
                reach = self.value(best) - 1
                values = {abs(v) for v in ground.deviations(region.clip(-reach, reach))} | {self.forgiven}
                left = sorted(v for v in values if low <= v <= reach)
                if not left:
                    break
                # The very next value is often reached; then larger steps.
                middle = left[min(step, len(left) // 2)]
                found = ground.plan(region.clip(-middle, middle))
                if found is None:
                    low, step = middle + 1, 2 * step + 1
                else:
                    best = found
        value = self.value(best)
        return best, [region.clip(-value, value) for region in regions]


@dataclass(frozen=True, slots=True)
class Spread:
    """Largest less smallest deviation of the counted; 0 where none is. Up to `forgiven` all is alike."""

    forgiven: int = 0

    def value(self, choice: Choice) -> int:
        deviations = [p.deviation_nm for p in choice if p.inside]
        return max(self.forgiven, max(deviations, default=0) - min(deviations, default=0))

    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        found = []
        for region in regions:
            starts = ground.deviations(region)
            if value == self.forgiven:
                found += [region.clip(a, a + value) for a in starts] or [region]
                continue
            ends = set(starts)
            for a in starts:
                if a + value in ends:
                    found.append(region.clip(a, a + value, _some(_equal(a)), _some(_equal(a + value))))
        return found

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [
            region.clip(a, region.high, _some(_equal(a)), _some(_more(a + value)))
            for region in regions
            for a in ground.deviations(region)
            if a + value < region.high
        ]

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        wanted = sum(times for p, times in known.items() if p.inside)
        if not wanted:
            return known, regions
        best = known
        widths = sorted(
            (width, start, i)
            for i, region in enumerate(regions)
            for start, width in Listed(ground.pairs(region)).least_widths(wanted)
        )
        for width, start, i in widths:
            low = max(width, self.forgiven)
            reach = self.value(best) - 1  # first whether this window can do better at all
            while low <= reach:
                found = ground.plan(regions[i].clip(start, start + reach))
                if found is not None:
                    best = found
                elif reach == self.value(best) - 1:
                    break
                else:
                    low = reach + 1
                reach = (low + self.value(best) - 1) // 2
        value = self.value(best)
        return best, [regions[i].clip(start, start + value) for width, start, i in widths if width <= value]


def _some(test: Callable[[Pair], bool]) -> Limit:
    """At least one counted pair is like that."""
    return Limit(lambda p: int(bool(p.inside) and test(p)), None, 1)


def _equal(deviation: int) -> Callable[[Pair], bool]:
    return lambda p: p.deviation_nm == deviation


def _more(deviation: int) -> Callable[[Pair], bool]:
    return lambda p: p.deviation_nm > deviation
