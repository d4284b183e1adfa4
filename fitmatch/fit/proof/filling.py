"""Levels 0 and 1: as many positions as possible inside their limits, then the others filled as the least bad choice.

Usually every bore can have its best at once, and a plan found among few pairs proves that; if shells are short, or
wanted twice, all pairs are listed and one figure is minimised after the other.
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Pair
from fitmatch.fit.model.order import ENGINES, FILLED, INSIDE, LEVEL_1, WISH, order_of
from fitmatch.fit.proof.field.pair_sources import Best
from fitmatch.fit.proof.search import Search
from fitmatch.fit.proof.several_jobs import most_complete
from fitmatch.fit.proof.windows import ANY, NONE, Windows, own_bests, widest_deviation

Long = Callable[[int], object]
_Miss = tuple[int, int]  # for a wanted band: 1 if it is too tight, and by how much
_NO_MISS = (0, 0)


class NoPlan(Exception):
    """No plan meets the demand."""


def places_of(bores: Iterable[Bore]) -> int:
    """How many positions these bores represent."""
    return sum(b.count for b in {b.seat: b for b in bores}.values())


def fill(search: Search, long: Long | None = None) -> Windows:
    """Prove levels 0 and 1 of the jobs being solved; before what takes `long` that is called with the window."""
    windows = fill_all(search, long=long)
    if windows is not None:
        return windows
    if long is not None:
        long(NONE)
    return fill_most(search)


def fill_all(search: Search, within: int | None = None, long: Long | None = None) -> Windows | None:
    """Try to give every bore its best at once: inside its limits if any pair is, otherwise its own least bad pair.

    No plan can do better on levels 0 and 1, so a plan found among few pairs proves both. If there is a wanted band,
    each bore is first tried as near to it as it can come; if not all can have that, the figures of the band are proven
    over the pairs inside the limits. Windows of |deviation| start at the largest of the bores' own bests and widen;
    `within` names the only one to try.
    """
    if not any(bore.wishes for bore in search.bores):
        return fill_at_best(search, within, wished=False, long=long)
    windows = fill_at_best(search, within, wished=True, long=long)
    if windows is None:
        windows = fill_at_best(search, within, wished=False, long=long)
        if windows is not None:
            windows.open(ANY if within is None else within)
            for figure in WISH:
                search.minimise(figure)
    return windows


def fill_at_best(search: Search, within: int | None, *, wished: bool, long: Long | None = None) -> Windows | None:
    """`fill_all` with or without the wanted band."""
    search.figure = INSIDE
    kind, before = search.kind, search.bounds
    own_best = bests_of(search, wished=wished)
    able = {bore.seat for bore in own_best}
    outside = _least_bad(kind, [bore for bore in search.bores if bore.seat not in able], wished=wished)
    able |= {p.bore.seat for p in outside}
    outside += [p for p in kind.vacancies if p.bore.terms in search.work and p.bore.seat not in able]
    if not _enough_shells([*own_best, *(p.bore for p in outside if p.filled)]):
        return None
    window = max(own_bests(own_best).values(), default=0)
    search.least_worst = window
    widest = widest_deviation(kind, own_best)
    if within is not None:
        if window > within:
            return None
        window = widest = within
    if not wished:
        outside = _part_the_outside(search, outside)
    windows = Windows(search, own_best, outside)
    while True:
        if long is not None and windows.holds_many(window):
            long(window)
        if windows.fill(window):
            return windows
        if window >= widest:
            search.bounds = before
            return None
        search.least_worst = window + 1
        window = windows.wider(window, widest)


def _part_the_outside(search: Search, outside: list[Pair]) -> list[Pair]:
    """If seats without any pair inside their limits want the same shells, prove the best they can have between them,
    whatever the others take: the others are inside their limits and add nothing to level 1."""
    seats = {p.bore.seat for p in outside}
    bores = [bore for bore in search.bores if bore.seat in seats]
    if places_of(bores) < 2 or any(bore.house is not None for bore in bores):
        return outside
    alone = Search(search.kind, search.stop)
    alone.take(search.work)
    alone.figure = INSIDE
    if alone.feasible(outside, alone.filling(outside)) is not None:
        return outside
    everything = [p for bore in bores for p in search.stop.asking(search.kind.pairs(bore, 0, bore.sum_high))]
    alone.fields, alone.bounds = [everything], alone.filling(everything)
    found = alone.feasible(everything)
    if found is None:
        return outside
    alone.choice = found
    for figure in LEVEL_1:
        alone.minimise(figure)
    search.bounds = search.bounds.and_limits(*alone.bounds.limits)
    return alone.fields[0]


def _enough_shells(bores: Collection[Bore]) -> bool:
    """Whether there are as many halves of each side as the seats of these bores need, whatever their walls."""
    seats = places_of(bores)
    racks = {id(rack): rack for bore in bores for rack in (bore.upper, bore.lower)}  # most bores share theirs
    classes = {c.index: c for rack in racks.values() for c in rack.classes}
    halves = Counter[str]()
    for c in classes.values():
        halves[c.half] += c.count
    short = seats - halves["upper"], seats - halves["lower"]
    return max(*short, max(short[0], 0) + max(short[1], 0)) <= halves["either"]


def bests_of(search: Search, *, wished: bool) -> dict[Bore, Best]:
    """The bores that have a pair inside their limits, each with its best; with `wished`, also as near to the wanted
    band as any pair of its seat comes."""
    kind = search.kind
    found: dict[Bore, tuple[Best, _Miss]] = {}
    least: dict[int, _Miss] = {}
    for bore in search.stop.asking(search.bores, 1):
        if not bore.counts:
            continue
        low, high, miss = _nearest_to_wish(kind, bore) if wished else (bore.inside_low, bore.inside_high, _NO_MISS)
        over = kind.smallest_sum(bore, max(bore.ideal, low), high)
        under = kind.largest_sum(bore, low, min(bore.ideal, high))
        near = [abs(s - bore.ideal) for s in (over, under) if s is not None]
        if near:
            found[bore] = Best(min(near), low, high), miss
            least[bore.seat] = min(miss, least.get(bore.seat, miss))
    return {bore: best for bore, (best, miss) in found.items() if miss == least[bore.seat]}


def _nearest_to_wish(kind: Kind, bore: Bore) -> tuple[int, int, _Miss]:
    """The least and greatest wall sum inside the limits that come nearest to the wanted band, and by how much they miss
    it. Too loose is nearer than too tight."""
    if kind.smallest_sum(bore, bore.wanted_low, bore.wanted_high) is not None:
        return bore.wanted_low, bore.wanted_high, _NO_MISS
    loose = kind.largest_sum(bore, bore.inside_low, min(bore.wanted_low - 1, bore.inside_high))
    if loose is not None:
        return loose, loose, (0, bore.wanted_low - loose)
    tight = kind.smallest_sum(bore, max(bore.wanted_high + 1, bore.inside_low), bore.inside_high)
    if tight is not None:
        return tight, tight, (1, tight - bore.wanted_high)
    return 1, 0, _NO_MISS


def _least_bad(kind: Kind, bores: list[Bore], *, wished: bool) -> list[Pair]:
    """The pairs that are each seat's least bad choice, if none is inside its limits."""
    found: dict[int, list[Pair]] = {}
    for bore in bores:
        walls = kind.largest_sum(bore, 0, bore.not_below)
        if walls is None:
            walls = kind.smallest_sum(bore, bore.not_below + 1, bore.sum_high)
        if walls is not None:
            found.setdefault(bore.seat, []).extend(kind.pairs(bore, walls, walls))
    # A position locked in both halves may be inside its limits and is among these, as it is not limited to any window.
    figures = (INSIDE, *LEVEL_1, *(WISH if wished else ()))

    def badness(pair: Pair) -> tuple[int, ...]:
        return tuple(figure.measure(pair) for figure in figures)

    return [p for pairs in found.values() for p in pairs if badness(p) == min(map(badness, pairs))]


def fill_most(search: Search) -> Windows:
    """The long way, over all pairs: there are too few shells, or positions want the same ones. It begins with the plan
    that is known, if there is one. Raises NoPlan if there is none at all, or the demand cannot be met."""
    kind = search.kind
    everything: list[Pair] = []
    for bore in search.bores:
        everything.extend(search.stop.asking(kind.pairs(bore, 0, bore.sum_high)))
    everything.extend(p for p in kind.vacancies if p.bore.terms in search.work)
    search.fields, search.least_worst = [[*search.kept, *everything]], 0
    if search.start is not None:
        search.choice = search.start
    elif search.demanded or not kind.always_a_plan:
        found = search.feasible(search.fields[0])
        if found is None:
            raise NoPlan
        search.choice = found
    order = order_of("target", 0, search.bores, several=len(search.work) > 1)
    for figure in (*order.fit, *order.rest):
        if figure is ENGINES:
            most_complete(search)
        elif figure is not FILLED or any(p.filled != p.within_limits for field in search.fields for p in field):
            search.minimise(figure)  # where all pairs are inside their limits, as many are filled as are inside
    if -search.value(FILLED) == places_of(search.bores):
        search.bounds = search.filling(p for field in search.fields for p in field)
    return Windows(search, bests_of(search, wished=False), [p for p in everything if not p.counted])
