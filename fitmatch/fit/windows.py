"""Windows of |deviation| in which a plan is sought, and which of their pairs need to be listed at all.

A window is the same for every bore, but off the reading grid it holds pairs by the hundred thousand, of which few can
matter. So each bore reaches only a little beyond its own best at first, and further where a relaxation asks for it.

That loses no plan. In the relaxation a bore has a price, its row's multiplier, and a class of shells one that is never
above 0. A pair costs its own cost less these: one that is not listed cannot improve on a plan unless it costs less than
its bore's price. So a relaxation without a point stays without one as long as no bore of a price above 0 reaches
further, and a bound on squares holds as long as no bore has a pair left whose square is below its price. Where rules
over several bores have rows of their own this does not hold, and all bores reach further together.
"""

from collections.abc import Mapping
from math import isqrt
from typing import NamedTuple

from fitmatch.fit.bores import Pair
from fitmatch.fit.program import exact_bound, price
from fitmatch.fit.search import Measure, Model, Search
from fitmatch.fit.solve import relax
from fitmatch.fit.sources import span
from fitmatch.fit.stopping import Stopped

MANY_PAIRS = 3_000  # fewer are solved before they could be narrowed (measured)
_FIRST_STEP_NM = 50


def fill_within(search: Search, window: int) -> bool:
    """Whether a plan fills every bore within this window."""
    bests = search.own_best.items()
    if sum(search.kind.count(bore, *span(bore, best, -window, window)) for bore, best in bests) <= MANY_PAIRS:
        _reach_further(search, {bore.seat: window for bore in search.own_best}, window)
    while True:
        search.fields = [search.near(window)]
        search.narrowed = _narrower(search, window)
        search.require_full()
        found = search.feasible(search.fields[0])
        if found is not None:
            search.choice = found
            search.all_at_once = True
            return True
        asking = {bore.seat for bore in search.own_best}
        if search.blamed is not None and search.only_shells_bind:
            asking &= search.blamed
        if not _reach_further(search, {seat: 2 * search.reach[seat] + _FIRST_STEP_NM for seat in asking}, window):
            return False


def least_worst_within(search: Search, level: str) -> int:
    """Prove the smallest worst |deviation|, where a plan is in hand and not all pairs are listed, and keep it."""
    search.level = level
    low, best = search.least_worst, search.worst(search.choice)
    values = {
        abs(deviation)
        for bore, own in search.own_best.items()
        for deviation in search.kind.deviations(bore, *span(bore, own, -best, best))
    }
    while low < best:
        left = sorted(v for v in values if low <= v < best)
        if not left:
            break
        middle = left[0] if low == search.least_worst else left[len(left) // 2]
        try:
            better = fill_within(search, middle)
        except Stopped:
            raise Stopped(low) from None
        if better:
            best = search.worst(search.choice)
        else:
            low = middle + 1
    search.fields, search.narrowed = [search.near(best)], _narrower(search, best)
    search.require_full()
    return search.proved(best)


def _narrower(search: Search, window: int) -> bool:
    """Whether some bore does not reach all of the window."""
    return any(best.deviation_nm + search.reach[bore.seat] < window for bore, best in search.own_best.items())


class Priced(NamedTuple):
    """No plan costs less than `least`; one that uses a pair costs at least `least` + its cost - its seat's price."""

    prices: dict[int, int]
    least: int


def priced(search: Search, measure: Measure, radius: int) -> Priced:
    """What the seats cost within `radius`, `measure` being squares, of plans with all bores at their best. The fields
    then reach as far as these prices ask for."""
    measure = search.in_work(measure)
    while search.only_shells_bind:
        search.fields = [search.near(radius)]
        model = Model(search, search.fields[0])
        cost = model.cost(measure)
        relaxed = relax(model.program, cost, search.stop)
        if relaxed is None:
            break
        prices = dict(zip(model.seats, map(price, relaxed.multipliers), strict=False))
        further = {
            bore.seat: min(isqrt(prices[bore.seat]) + 1, 2 * search.reach[bore.seat] + _FIRST_STEP_NM)
            for bore, best in search.own_best.items()
            if (best.deviation_nm + search.reach[bore.seat] + 1) ** 2 < prices[bore.seat]
        }
        if not _reach_further(search, further, radius):
            return Priced(prices, exact_bound(model.program, cost, relaxed.multipliers).least)
    bests: dict[int, int] = {}  # each bore costs at least its own best
    for bore, best in search.own_best.items():
        bests[bore.seat] = min(best.deviation_nm**2, bests.get(bore.seat, best.deviation_nm**2))
    counts = {bore.seat: bore.count for bore in search.own_best}
    return Priced(bests, sum(counts[seat] * cost for seat, cost in bests.items()))


def affordable(search: Search, measure: Measure, radius: int, found: Priced) -> list[Pair]:
    """The pairs within `radius` that a plan can use which costs no more than the plan in hand."""
    spare = search.total(search.in_work(measure)) - found.least
    pairs = [*search.kept, *search.outside]
    for bore, best in search.own_best.items():
        reach = min(radius, isqrt(max(0, found.prices[bore.seat] + spare)))
        pairs.extend(search.kind.pairs(bore, *span(bore, best, -reach, reach)))
    return pairs


def _reach_further(search: Search, wanted: Mapping[int, int], window: int) -> bool:
    """Let seats reach so far beyond their bores' own bests, though not beyond the window; whether any now does."""
    some = False
    for bore, best in search.own_best.items():
        before = search.reach[bore.seat]
        if bore.seat in wanted and best.deviation_nm + before < window and wanted[bore.seat] > before:
            search.reach[bore.seat] = wanted[bore.seat]
            some = True
    return some
