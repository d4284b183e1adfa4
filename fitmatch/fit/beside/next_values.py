"""The figures that plans are ordered by, each as a walk through regions of plans: it can keep the plans with exactly
one value of the figure, or with a larger one, and find its smallest value over a list of regions.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from itertools import combinations
from math import comb
from typing import Final

from fitmatch.fit.beside.regions import Ground, Region
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.job_rows import locked_boxes
from fitmatch.fit.model.order import Adds, Figure, value
from fitmatch.fit.model.pairs import BoxLimit, Choice, Limit, Measure, Work, shares_of
from fitmatch.fit.proof.field.pair_sources import Listed
from fitmatch.fit.proof.field.relaxations import of_jobs
from fitmatch.problems import FaultInFitmatch

_MANY_SETS = 500  # up to this many sets of boxes are looked at one by one


@dataclass(frozen=True, slots=True)
class Walk:
    """A figure of these jobs, here a sum. For a worst deviation or a spread, everything up to `forgiven` counts the
    same."""

    figure: Figure
    kind: Kind
    work: Work
    forgiven: int

    def value(self, choice: Choice) -> int:
        found = value(self.figure, shares_of(self.kind, choice, self.work))
        return max(found, self.forgiven) if self.figure.adds in (Adds.WORST, Adds.SPREAD) else found

    @property
    def measure(self) -> Measure:
        return of_jobs(self.figure.measure, self.kind, self.work)

    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        """The plans of the regions with this value."""
        return [r.limit(Limit(self.measure, value, value)) for r in regions]

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        """The plans of the regions with a larger value."""
        return [r.limit(Limit(self.measure, None, value + 1)) for r in regions]

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        """The best plan by this figure, and the regions of plans equal to it; `known` is one of the regions' plans."""
        best, kept = known, []
        for region in regions:
            here = ground.plan(region, Limit(self.measure, self.value(best)))
            if here is not None:
                here, left = ground.least(region, self.measure, here)
                kept.append((self.value(here), left))
                best = min(best, here, key=self.value)
        return best, [region for found, region in kept if found == self.value(best)]


class _Engines(Walk):
    """Jobs complete: with a minus, as more are better."""

    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [r.bound(complete=-value, complete_most=-value) for r in regions]

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [r.bound(complete=0, complete_most=-value - 1) for r in regions] if value else []

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        best, least, most = known, -self.value(known), len(self.work)
        while least < most:
            middle = (least + most + 1) // 2
            found = next((p for r in regions if (p := ground.plan(r.bound(complete=middle)))), None)
            if found is None:
                most = middle - 1
            else:
                best, least = found, -self.value(found)
        return best, [region.bound(complete=least) for region in regions]


class _Boxes(Walk):
    """The boxes of locked pairs are included; for kinds sorted by box."""

    def value(self, choice: Choice) -> int:
        drawn = ({p.upper.box, p.lower.box} for p in choice if self._draws(p))
        return len(locked_boxes(self.kind, self.work).union(*drawn))

    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [region for _, region in self._parts(ground, regions, value, value)]

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [self._limited(r, value + 1, None) for r in regions]

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        least = min(
            max((boxes.least for boxes in r.bounds.boxes if boxes.work is self.work), default=0) for r in regions
        )
        for count in range(max(least, len(locked_boxes(self.kind, self.work))), self.value(known) + 1):
            parts = self._parts(ground, regions, 0, count)
            if parts:
                return parts[0][0], [region for _, region in parts]
        raise FaultInFitmatch("the regions have lost a plan")

    def _limited(self, region: Region, least: int, most: int | None) -> Region:
        if not least and most is None:
            return region
        return region.bound(boxes=(*region.bounds.boxes, BoxLimit(self.work, least, most)))

    def _parts(self, ground: Ground, regions: list[Region], least: int, most: int) -> list[tuple[Choice, Region]]:
        """The plans of these regions that draw on at least and at most so many boxes: the parts that have any, each
        with one of them."""
        parts = (part for region in regions for part in self._apart(ground, region, least, most))
        return [(found, part) for part in parts if (found := ground.plan(part)) is not None]

    def _apart(self, ground: Ground, region: Region, least: int, most: int) -> Iterator[Region]:
        """The same as one part for each set of so many boxes, since rows that limit the number of boxes are weak (8
        bores, 80 shells in 8 boxes: six times as slow)."""
        always = locked_boxes(self.kind, self.work)
        pairs = ground.pairs(region)
        drawn = {i: {p.upper.box, p.lower.box} - always for i, p in enumerate(pairs) if self._draws(p)}
        boxes = sorted(frozenset[str]().union(*drawn.values()))
        count = most - len(always)
        if not 0 <= count < len(boxes) or comb(len(boxes), count) > _MANY_SETS:
            yield self._limited(region, least, most)
            return
        for some in map(set, combinations(boxes, count)):
            yield self._limited(region, least, None)._replace(
                listed=[p for i, p in enumerate(pairs) if drawn.get(i, some) <= some]
            )

    def _draws(self, pair: Pair) -> bool:
        return bool(pair.filled) and pair.bore.terms in self.work


class _Worst(Walk):
    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        reached = () if value == self.forgiven else (_some(self.work, lambda p: abs(p.deviation_nm) >= value),)
        return [r.clip(self.work, -value, value, *reached) for r in regions]

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        beyond = _some(self.work, lambda p: abs(p.deviation_nm) > value)
        return [r.limit(beyond) for r in regions]

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        best = known
        for region in regions:
            low, step = self.forgiven, 0
            while low < self.value(best):
                reach = self.value(best) - 1
                within = region.clip(self.work, -reach, reach)
                values = {abs(v) for v in ground.deviations(within, self.work)} | {self.forgiven}
                left = sorted(v for v in values if low <= v <= reach)
                if not left:
                    break
                # The next value is often reached; then larger steps.
                middle = left[min(step, len(left) // 2)]
                found = ground.plan(region.clip(self.work, -middle, middle))
                if found is None:
                    low, step = middle + 1, 2 * step + 1
                else:
                    best = found
        value = self.value(best)
        return best, [region.clip(self.work, -value, value) for region in regions]


class _Spread(Walk):
    def exactly(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        if value == self.forgiven:
            return [region.spread_over(self.work, value) for region in regions]
        found = []
        for region in regions:
            for job in self.work:
                others = region.spread_over([t for t in self.work if t is not job], value)
                values = ground.deviations(region, [job])
                ends = set(values)
                for a in values:
                    if a + value in ends:
                        reached = _some([job], _equal(a)), _some([job], _equal(a + value))
                        found.append(others.clip([job], a, a + value, *reached))
        return found

    def above(self, ground: Ground, regions: list[Region], value: int) -> list[Region]:
        return [
            region.clip([job], a, region.windows[job][1], _some([job], _equal(a)), _some([job], _more(a + value)))
            for region in regions
            for job in self.work
            for a in ground.deviations(region, [job])
            if a + value < region.windows[job][1]
        ]

    def smallest(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        # Sliding windows are for a single job, and need many programs, each hard if bores constrain each other.
        bound = self.work[0].shifts.on or any(bore.house is not None for bore in ground.kind.bores)
        if len(self.work) == 1 and not bound:
            return self._by_windows(ground, regions, known)
        best = known
        for region in regions:
            least, middle = self.forgiven, self.value(best) - 1  # usually nothing is left to gain
            while least < self.value(best):
                found = ground.plan(region.spread_over(self.work, middle))
                if found is None:
                    least = middle + 1
                else:
                    best = found
                middle = (least + self.value(best)) // 2
        return best, [region.spread_over(self.work, self.value(best)) for region in regions]

    def _by_windows(self, ground: Ground, regions: list[Region], known: Choice) -> tuple[Choice, list[Region]]:
        work = self.work
        wanted = sum(times for p, times in known.items() if p.counted and p.bore.terms in work)
        if not wanted:
            return known, regions
        best = known
        widths = sorted(
            (width, start, i)
            for i, region in enumerate(regions)
            for start, width in Listed(
                [p for p in ground.pairs(region) if p.bore.terms in work], ground.stop
            ).least_widths(wanted)
        )
        for width, start, i in widths:
            low = max(width, self.forgiven)
            reach = self.value(best) - 1  # first whether this window can do better at all
            while low <= reach:
                found = ground.plan(regions[i].clip(work, start, start + reach))
                if found is not None:
                    best = found
                elif reach == self.value(best) - 1:
                    break
                else:
                    low = reach + 1
                reach = (low + self.value(best) - 1) // 2
        value = self.value(best)
        return best, [regions[i].clip(work, start, start + value) for width, start, i in widths if width <= value]


def _some(work: Work, test: Callable[[Pair], bool]) -> Limit:
    """At least one counted pair of these jobs is like that."""
    return Limit(lambda p: int(bool(p.counted) and p.bore.terms in work and test(p)), None, 1)


def _equal(deviation: int) -> Callable[[Pair], bool]:
    return lambda p: p.deviation_nm == deviation


def _more(deviation: int) -> Callable[[Pair], bool]:
    return lambda p: p.deviation_nm > deviation


_WALKS: Final = {
    Adds.SUM: Walk,
    Adds.WORST: _Worst,
    Adds.SPREAD: _Spread,
    Adds.ENGINES: _Engines,
    Adds.BOXES: _Boxes,
}


def walk(figure: Figure, kind: Kind, work: Work, forgiven: int = 0) -> Walk:
    """How to walk along this figure of these jobs."""
    return _WALKS[figure.adds](figure, kind, work, forgiven)
