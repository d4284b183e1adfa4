"""Windows of |deviation| in which a plan is sought, and which of their pairs need to be listed at all.

A window is the same for every bore, but without a coarse reading grid it contains hundreds of thousands of pairs, few
of which can matter. So each bore at first reaches only a little beyond its own best, and further if a relaxation asks
for it; and of very many pairs a bore at first lists only a few, spread over all it reaches.

That loses no plan. In the relaxation a bore has a price, its row's multiplier, and a class of shells has one that is
never above 0. The reduced cost of a pair is its own cost minus these: a pair that is not listed cannot improve on a
plan unless it costs less than its bore's price. So a relaxation without a point stays without one as long as no bore of
a price above 0 reaches further or could list more, and a bound on squares holds as long as no bore has a pair left
whose square is below its price. Where rules over several bores have rows of their own this does not hold, and all bores
reach further together.
"""

from bisect import bisect_left
from collections import Counter
from collections.abc import Iterable, Mapping
from math import isqrt
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Pair
from fitmatch.fit.model.order import SQUARES, WORST
from fitmatch.fit.model.pairs import Bounds, Model
from fitmatch.fit.proof.field.pair_sources import Best, Source, span
from fitmatch.fit.proof.field.relaxations import of_jobs
from fitmatch.fit.proof.search import Search
from fitmatch.fit.solver.adapter import relax
from fitmatch.fit.solver.program import exact_bound, price
from fitmatch.fit.solver.stopping import Stopped

MANY_PAIRS = 3_000  # fewer are solved before they could be narrowed down (measured)
ANY = 1 << 62  # larger than any deviation
NONE = -1  # smaller than any
MANY_LISTED, FEW_EACH = 40_000, 12  # of more pairs each seat at first lists so many (measured)
_FIRST_STEP_NM = 50
_MOST_TRIES = 3  # of the narrowest window that could do


class _Priced(NamedTuple):
    """No plan costs less than `least`; one that uses a pair costs at least `least` + its cost - its seat's price + what
    is to be paid for its classes of shells, by index, where they are scarce."""

    prices: dict[int, int]
    least: int
    scarce: dict[int, int]


class Windows:
    """What the jobs in work of a search may use: the best pairs of each bore in `own_best`, and the pairs `outside`.

    `all_at_once`: every bore has its best on levels 0 and 1, whatever the others have. `narrowed`: the search's field
    lacks pairs that a plan that may still be the best could use.
    """

    def __init__(self, search: Search, own_best: dict[Bore, Best], outside: list[Pair]) -> None:
        self.search = search
        self.own_best = own_best
        self.outside = outside
        self.all_at_once = self.narrowed = False
        self._reach = Counter[int]()  # how far beyond their bores' own bests the seats reach
        self._critical: set[int] = set()  # seats that were blamed for windows without a plan
        self._thin = False  # whether seats list few of their pairs unless asked for more
        self._whole: set[int] = set()  # seats that were
        self._listed: dict[Bore, tuple[tuple[int, bool], list[Pair]]] = {}  # for a radius, and whether all or few
        self._thinned: set[Bore] = set()  # those of which few are listed
        self._failures = 0

    def source(self) -> Source:
        """All of it, window by window, for fields that lack nothing."""
        self.narrowed = False
        return Source(self.search.kind, self.outside, self.own_best, self.search.stop)

    def within(self, radius: int) -> list[Pair]:
        """The pairs outside their limits that may still be used, and those inside with a |deviation| up to `radius`."""
        return self._near(dict.fromkeys(self.own_best, radius))

    def open(self, radius: int) -> None:
        """Use all of these."""
        self.narrowed = False
        self.search.fields = [self.within(radius)]

    def holds_many(self, window: int) -> bool:
        """Whether there are so many pairs within this window that at first only a few of each seat would be listed."""
        return self._holds_more(dict.fromkeys(self.own_best, window), MANY_LISTED)

    def fill(self, window: int) -> bool:
        """Whether a plan fills every bore within this window; it is then the current one."""
        search = self.search
        if not self._holds_more(dict.fromkeys(self.own_best, window), MANY_PAIRS):  # not worth narrowing
            self._reach_further({bore.seat: window for bore in self.own_best}, window)
        elif self._excluded(window):
            self._failures += 1
            return False
        likely = search.only_shells_bind or not self._failures
        while True:
            field = self._look_near(window)
            found = search.feasible(field, likely=likely)
            if found is not None:
                search.choice = found
                self.all_at_once = True
                return True
            asking = {bore.seat for bore in self.own_best}
            known = search.blamed is not None and search.only_shells_bind
            if known:
                asking &= search.blamed or set()
            likely = known
            if self._list_whole(asking):
                continue
            if known:
                self._critical |= asking
            if not self._double(asking, window) or self._excluded(window):
                self._failures += 1
                return False

    def wider(self, window: int, widest: int) -> int:
        """What to try where this window holds no plan: at first the narrowest that the bores blamed so far leave."""
        most = min(2 * window + 1_000, widest)
        possible = self._possible(window + 1, most) if self._failures <= _MOST_TRIES else []
        return possible[0] if possible else most

    def least_worst(self) -> int:
        """Prove the smallest worst |deviation| and keep it."""
        search = self.search
        if not self.narrowed:
            return search.narrow_worst(WORST)
        search.figure = WORST
        low, best, tries = search.least_worst, search.value(WORST), 0
        values = [] if self._critical else self._deviations(self.own_best, low, best)
        try:
            while low < best:
                left = self._possible(low, best) if self._critical else [v for v in values if low <= v < best]
                likely = tries <= _MOST_TRIES if self._critical else not tries  # that the very first will do
                if left:
                    middle = left[0 if likely else len(left) // 2]
                elif self._critical:  # others may bind; most often nothing is left to gain
                    middle = best - 1 if likely else (low + best - 1) // 2
                else:
                    break
                tries += 1
                if self.fill(middle):
                    best = search.value(WORST)
                else:
                    low = middle + 1
        except Stopped:
            raise Stopped(low) from None
        search.least_worst = best
        self._look_near(best)
        return search.proved(best)

    def least_squares(self, radius: int) -> None:
        """Prove the smallest sum of squares of plans within `radius` and keep it."""
        if self.narrowed:
            # A good plan among few pairs shows which others could be part of a better one.
            found = self._priced(radius) if self.all_at_once else None
            self.search.minimise(SQUARES, keep=False)
            if found is None:
                self.open(radius)
            else:
                self.narrowed = False
                self.search.fields = [self._affordable(radius, found)]
                if self.search.value(SQUARES) == found.least:  # nothing is left to prove
                    self.search.keep(SQUARES)
                    return
        self.search.minimise(SQUARES)

    def _look_near(self, window: int) -> list[Pair]:
        """Use the pairs within the window, but no farther from each bore's own best than its seat reaches."""
        bests = self.own_best.items()
        radii = {bore: min(window, own.deviation_nm + self._reach[bore.seat]) for bore, own in bests}
        self._thin = self._thin or self._holds_more(radii, MANY_LISTED)
        field = self._few_of(radii) if self._thin else self._near(radii)
        self.narrowed = bool(self._thinned) or any(radius < window for radius in radii.values())
        self.search.fields, self.search.bounds = [field], self.search.filling(field)
        return field

    def _near(self, radii: Mapping[Bore, int]) -> list[Pair]:
        found = [*self.search.kept, *self.outside]
        for bore, radius in radii.items():
            pairs = self.search.kind.pairs(bore, *span(bore, self.own_best[bore], -radius, radius))
            found.extend(self.search.stop.asking(pairs))
        return found

    def _few_of(self, radii: Mapping[Bore, int]) -> list[Pair]:
        """The same, but only a few of each seat that was not asked for all, with those of the current plan."""
        found = [*self.search.kept, *self.outside]
        for bore, radius in self.search.stop.asking(radii.items(), 1):
            asked = radius, bore.seat in self._whole
            if self._listed.get(bore, (None, []))[0] != asked:
                pairs = list(self.search.kind.pairs(bore, *span(bore, self.own_best[bore], -radius, radius)))
                few = len(pairs) > FEW_EACH and not asked[1]
                self._thinned.add(bore) if few else self._thinned.discard(bore)
                self._listed[bore] = asked, pairs[:: -(-len(pairs) // FEW_EACH)] if few else pairs
            found += self._listed[bore][1]
        known = set(found)
        found += [p for p in self.search.choice if abs(p.deviation_nm) <= radii.get(p.bore, -1) and p not in known]
        return found

    def _list_whole(self, seats: Iterable[int]) -> bool:
        """Let these seats list all their pairs; whether any did not."""
        new = {bore.seat for bore in self._thinned}.intersection(seats)
        self._whole |= new
        return bool(new)

    def _holds_more(self, radii: Mapping[Bore, int], most: int) -> bool:
        """Whether these reach more pairs than that."""
        pairs = 0
        for bore, radius in self.search.stop.asking(radii.items(), 1):
            pairs += self.search.kind.count(bore, *span(bore, self.own_best[bore], -radius, radius))
            if pairs > most:
                return True
        return False

    def _priced(self, radius: int) -> _Priced:
        """What the seats cost within `radius`, counted in squares, of plans with all bores at their best. The field
        then reaches as far as these prices require."""
        search = self.search
        if search.only_shells_bind:
            # First among those that reach beyond their own best, which are few: the others are likely to follow.
            for few in (True, False):
                found = self._relaxed(radius, few=few)
                while found is not None and self._lacking(found.prices, radius):
                    found = self._relaxed(radius, few=few)
            if found is not None:
                return found
        bests = {seat: nm**2 for seat, nm in own_bests(self.own_best).items()}  # each bore costs at least its own best
        counts = {bore.seat: bore.count for bore in self.own_best}
        return _Priced(bests, sum(counts[seat] * cost for seat, cost in bests.items()), {})

    def _relaxed(self, radius: int, *, few: bool) -> _Priced | None:
        """The prices in a relaxation, of all seats or of few."""
        search, field = self.search, self._look_near(radius)
        if few:
            field = [p for p in field if self._reach[p.bore.seat]]
        bounds = search.bounds._replace(full=search.bounds.full & {p.bore.seat for p in field})
        model = Model(search.kind, field, bounds, search.stop)
        cost = model.cost(of_jobs(SQUARES.measure, search.kind, search.work))
        relaxed = relax(model.program, cost, search.stop)
        if relaxed is None:
            return None
        multipliers = relaxed.multipliers
        prices = dict(zip(model.seats, map(price, multipliers), strict=False))
        scarce = {index: -price(multipliers[row]) for row, index in model.classes.items()}
        return _Priced(prices, exact_bound(model.program, cost, multipliers, search.stop).least, scarce)

    def _lacking(self, prices: Mapping[int, int], radius: int) -> bool:
        """Whether seats have pairs that cost less than their price and were not looked at; they now list them."""
        bests = own_bests(self.own_best)
        more = self._list_whole(bore.seat for bore in self._thinned if bests[bore.seat] ** 2 < prices.get(bore.seat, 0))
        return self._reach_further(self._underpriced(prices), radius) or more

    def _underpriced(self, prices: Mapping[int, int]) -> dict[int, int]:
        """How far seats should reach of which pairs that cost less than their price are not looked at."""
        return {
            bore.seat: min(isqrt(prices[bore.seat]) + 1, 4 * self._reach[bore.seat] + 4 * _FIRST_STEP_NM)
            for bore, best in self.own_best.items()
            if (best.deviation_nm + self._reach[bore.seat] + 1) ** 2 < prices.get(bore.seat, 0)
        }

    def _affordable(self, radius: int, found: _Priced) -> list[Pair]:
        """The pairs within `radius` that a plan costing no more than the current one can use."""
        spare, scarce = self.search.value(SQUARES) - found.least, found.scarce
        most = {bore: max(0, found.prices[bore.seat] + spare) for bore in self.own_best}
        near = self._near({bore: min(radius, isqrt(square)) for bore, square in most.items()})
        return [
            p
            for p in near
            if not self.search.judged(p)
            or p.deviation_nm**2 + scarce.get(p.upper.index, 0) + scarce.get(p.lower.index, 0) <= most[p.bore]
        ]

    def _excluded(self, window: int) -> bool:
        """Whether the bores that were blamed before cannot all be filled within the window: they are few, and an exact
        bound on what they can have tells."""
        search = self.search
        bests = {bore: own for bore, own in self.own_best.items() if bore.seat in self._critical}
        while bests and search.only_shells_bind:
            field: list[Pair] = []
            for bore, own in bests.items():
                radius = min(window, own.deviation_nm + self._reach[bore.seat])
                field.extend(search.stop.asking(search.kind.pairs(bore, *span(bore, own, -radius, radius))))
            model = Model(search.kind, field, Bounds(full=frozenset(self._critical)), search.stop)
            if not search.out_of_reach(model):
                return False
            if not self._double(search.blamed or set(), window):
                return True
        return False

    def _possible(self, low: int, high: int) -> list[int]:
        """The deviations from `low` up to below `high` that blamed bores may have, from the first window on that they
        do not exclude."""
        bests = {bore: own for bore, own in self.own_best.items() if bore.seat in self._critical}
        values = self._deviations(bests, low, high)
        return values[bisect_left(values, True, key=lambda window: not self._excluded(window)) :]

    def _deviations(self, bests: Mapping[Bore, Best], low: int, high: int) -> list[int]:
        """Every |deviation| of these bores from `low` up to below `high`."""
        values: set[int] = set()
        for bore, own in bests.items():
            found = self.search.kind.deviations(bore, *span(bore, own, -high, high))
            values.update(map(abs, self.search.stop.asking(found)))
        return sorted(v for v in values if low <= v < high)

    def _double(self, seats: Iterable[int], window: int) -> bool:
        """Let these seats reach about twice as far, though not beyond the window; whether any now does."""
        return self._reach_further({seat: 2 * self._reach[seat] + _FIRST_STEP_NM for seat in seats}, window)

    def _reach_further(self, wanted: Mapping[int, int], window: int) -> bool:
        """Let seats reach this far beyond their bores' own bests, but not beyond the window; returns whether any reach
        changed."""
        some = False
        for bore, best in self.own_best.items():
            before = self._reach[bore.seat]
            if bore.seat in wanted and best.deviation_nm + before < window and wanted[bore.seat] > before:
                self._reach[bore.seat] = wanted[bore.seat]
                some = True
        return some


def own_bests(bores: Mapping[Bore, Best]) -> dict[int, int]:
    """The least |deviation| of each seat."""
    found: dict[int, int] = {}
    for bore, best in bores.items():
        found[bore.seat] = min(best.deviation_nm, found.get(bore.seat, best.deviation_nm))
    return found


def widest_deviation(kind: Kind, bores: Mapping[Bore, Best]) -> int:
    """The largest |deviation| that the best pairs of these bores have."""
    widest = 0
    for bore, best in bores.items():
        ends = kind.smallest_sum(bore, best.low, best.high), kind.largest_sum(bore, best.low, best.high)
        widest = max(widest, *(abs(s - bore.ideal) for s in ends if s is not None))
    return widest
