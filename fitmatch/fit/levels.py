"""The levels of "best" in their order, each proven before the next.

0 (of several jobs the most complete, then) as many positions as possible inside their limits; 1 as many of the others
as possible filled, the fewest and least too tight first, then as near to the wished band as can be; 2 quality, by
strategy; 3 ties: the most housings that stay, the largest total clearance, then the smallest total wall difference.
"""

from collections.abc import Iterable
from typing import NamedTuple

from fitmatch.fit.bores import Bore, Pair
from fitmatch.fit.boxsets import BoxSets
from fitmatch.fit.candidates import Kind
from fitmatch.fit.search import Choice, Measure, Search
from fitmatch.fit.several import complete_jobs, most_complete, narrow_spreads, widest_spread
from fitmatch.fit.sources import Best, Source, span
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.fit.terms import Terms
from fitmatch.parts import Proof

Turns = list[list[Terms]]

STRATEGIES = ("target", "even", "keep-sets")
KEEP_SETS_SLACK_NM = 2_540  # 0.0001 in
_ANY = 1 << 62  # a deviation that none exceeds
MANY_PAIRS = 3_000  # fewer are solved before they could be narrowed (measured)

COMPLETE = "engines_complete"
INSIDE = "positions_inside"
FILLED = "positions_filled"
BELOW = "positions_below"
SHORTFALL = "shortfall"
EXCESS = "excess"
BELOW_WANT = "positions_below_want"
WANT_SHORTFALL = "want_shortfall"
ABOVE_WANT = "positions_above_want"
WANT_EXCESS = "want_excess"
WORST = "worst_deviation"
SQUARES = "sum_squared_deviation"
SPREAD = "spread"
BOXES = "boxes"
STAYING = "housings_staying"
CLEARANCE = "total_clearance"
DIFFERENCE = "total_wall_difference"


_INSIDE: tuple[str, Measure] = (INSIDE, lambda p: -p.inside)
# What is minimised of the pairs on level 1, once as many positions as possible are filled; and where a band is wished.
_LEVEL_1: tuple[tuple[str, Measure], ...] = (
    (BELOW, lambda p: p.below),
    (SHORTFALL, lambda p: p.shortfall_nm),
    (EXCESS, lambda p: p.excess_nm),
)
_WISH: tuple[tuple[str, Measure], ...] = (
    (BELOW_WANT, lambda p: int(p.want_shortfall_nm > 0)),
    (WANT_SHORTFALL, lambda p: p.want_shortfall_nm),
    (ABOVE_WANT, lambda p: int(p.want_excess_nm > 0)),
    (WANT_EXCESS, lambda p: p.want_excess_nm),
)


class Proven(NamedTuple):
    """The best choice of pairs for one kind, and how far it is proven."""

    choice: Choice
    proof: Proof


def prove(kind: Kind, strategy: str, slack_nm: int, stop: Stop, turns: Turns) -> Proven:
    """Work through all levels; where time runs out the best choice so far comes back, unproven.

    `turns`: jobs that are worked for together, those of the first turn before any other; ties are for all.
    """
    search = Search(kind, stop)
    try:
        for work in turns:
            if len(turns) > 1:
                search.take(work)
            if not _fill_all(search):
                _fill_most(search)
            if strategy == "target":
                _target(search, slack_nm)
            elif strategy == "even":
                _even(search, slack_nm)
            else:
                _keep_sets(search, slack_nm)
        if len(turns) > 1:
            search.take(kind.terms)
        if strategy != "keep-sets":
            _ties(search)
    except Stopped as stopped:
        return Proven(search.choice, Proof(False, search.level, _bound(search, stopped.bound)))
    return Proven(search.choice, Proof())


def _bound(search: Search, bound: int | None) -> int | None:
    """What the level in work cannot be better than: as proven, else what is plain without any proof."""
    kind = search.kind
    if search.level == INSIDE:
        able = _able(b for b in search.bores if kind.smallest_sum(b, b.inside_low, b.inside_high) is not None)
        return able if bound is None else min(able, -bound)
    if search.level == FILLED:
        able = _able(b for b in search.bores if kind.smallest_sum(b, 0, b.sum_high) is not None)
        return able if bound is None else min(able, -bound)
    if search.level in (COMPLETE, STAYING, CLEARANCE):
        return None if bound is None else -bound
    least = search.least_worst if search.level == WORST else 0
    return least if bound is None else max(least, bound)


def _able(bores: Iterable[Bore]) -> int:
    return sum(b.count for b in {b.seat: b for b in bores}.values())


# --- levels 0 and 1 ---


def _fill_all(search: Search, within: int | None = None) -> bool:
    """Try to give every bore its best at once: inside its limits where any pair is, else its own least bad pair.

    No plan can do better on levels 0 and 1, so a plan found among few pairs proves both. Where a band is wished, each
    bore's best wish is tried first; if not all can have that, the wish is proven over the pairs inside the limits.
    Windows of |deviation| start at the largest of each bore's own best and widen; `within` names the only one to try.
    """
    if any(bore.wishes for bore in search.bores):
        if _fill_at_best(search, within, wished=True):
            return True
        if not _fill_at_best(search, within, wished=False):
            return False
        search.fields, search.narrowed = [search.within(_ANY if within is None else within)], False
        _wish(search)
        return True
    return _fill_at_best(search, within, wished=False)


def _fill_at_best(search: Search, within: int | None, *, wished: bool) -> bool:
    kind = search.kind
    search.level = INSIDE
    own_best = _own_bests(search, wished=wished)
    widest = 0
    for bore, best in own_best.items():
        ends = kind.smallest_sum(bore, best.low, best.high), kind.largest_sum(bore, best.low, best.high)
        widest = max(widest, *(abs(s - bore.ideal) for s in ends if s is not None))
    able = {bore.seat for bore in own_best}
    outside = _least_bad(kind, [bore for bore in search.bores if bore.seat not in able], wished=wished)
    able |= {p.bore.seat for p in outside}
    outside += [p for p in kind.vacancies if p.bore.terms in search.work and p.bore.seat not in able]
    bests: dict[int, int] = {}
    for bore, best in own_best.items():
        bests[bore.seat] = min(best.deviation_nm, bests.get(bore.seat, best.deviation_nm))

    search.own_best, search.outside = own_best, outside
    search.least_worst = window = max(bests.values(), default=0)
    if within is not None:
        if window > within:
            return False
        window = widest = within
    while not _fill_within(search, window):
        if window >= widest:
            search.must_fill = False
            return False
        search.least_worst = window + 1
        window = min(2 * window + 1_000, widest)
    return True


def _own_bests(search: Search, *, wished: bool) -> dict[Bore, Best]:
    """The bores that have a pair inside their limits, each with its best; with `wished`, also as near to the wished
    band as any pair of its seat comes."""
    found: dict[Bore, Best] = {}
    misses: dict[Bore, tuple[int, int, int, int]] = {}
    kind = search.kind
    for bore in search.bores:
        if not bore.counts:
            continue
        low, high, misses[bore] = bore.inside_low, bore.inside_high, (0, 0, 0, 0)
        if wished:
            low, high, misses[bore] = _nearest_to_wish(kind, bore)
        over = kind.smallest_sum(bore, max(bore.ideal, low), high)
        under = kind.largest_sum(bore, low, min(bore.ideal, high))
        near = [abs(s - bore.ideal) for s in (over, under) if s is not None]
        if near:
            found[bore] = Best(min(near), low, high)
    least: dict[int, tuple[int, int, int, int]] = {}
    for bore in found:
        least[bore.seat] = min(misses[bore], least.get(bore.seat, misses[bore]))
    return {bore: best for bore, best in found.items() if misses[bore] == least[bore.seat]}


def _nearest_to_wish(kind: Kind, bore: Bore) -> tuple[int, int, tuple[int, int, int, int]]:
    """The wall sums inside the limits that come nearest to the wished band, from and to, and by how much they miss it:
    counted below, shortfall, counted above, excess. Too loose is nearer than too tight."""
    if kind.smallest_sum(bore, bore.wanted_low, bore.wanted_high) is not None:
        return bore.wanted_low, bore.wanted_high, (0, 0, 0, 0)
    loose = kind.largest_sum(bore, bore.inside_low, min(bore.wanted_low - 1, bore.inside_high))
    if loose is not None:
        return loose, loose, (0, 0, 1, bore.wanted_low - loose)
    tight = kind.smallest_sum(bore, max(bore.wanted_high + 1, bore.inside_low), bore.inside_high)
    if tight is not None:
        return tight, tight, (1, tight - bore.wanted_high, 0, 0)
    return 1, 0, (0, 0, 0, 0)


def _least_bad(kind: Kind, bores: list[Bore], *, wished: bool) -> list[Pair]:
    """The pairs that are each seat's least bad choice, where none lies inside its limits."""
    found: dict[int, list[Pair]] = {}
    for bore in bores:
        walls = kind.largest_sum(bore, 0, bore.not_below)
        if walls is None:
            walls = kind.smallest_sum(bore, bore.not_below + 1, bore.sum_high)
        if walls is not None:
            found.setdefault(bore.seat, []).extend(kind.pairs(bore, walls, walls))
    # What is locked in both halves may be inside its limits and is among these, as it is not bound to any window.
    figures: tuple[tuple[str, Measure], ...] = (_INSIDE, *_LEVEL_1, *(_WISH if wished else ()))

    def badness(pair: Pair) -> tuple[int, ...]:
        return tuple(measure(pair) for _, measure in figures)

    return [p for pairs in found.values() for p in pairs if badness(p) == min(map(badness, pairs))]


def _fill_within(search: Search, window: int) -> bool:
    """Whether a plan fills every bore within this window. Where the window holds very many pairs, those nearest to each
    bore's own best are tried first, and only bores that are in each other's way reach farther: one that is far off must
    not make the others expensive."""
    bests = search.own_best.items()
    many = sum(search.kind.count(bore, *span(bore, best, -window, window)) for bore, best in bests) > MANY_PAIRS
    reach_of = dict.fromkeys(search.own_best, 0 if many else window)
    while True:
        search.fields = [search.within(window, reach_of)]
        search.narrowed = any(reach < window for reach in reach_of.values())
        search.require_full()
        found = search.feasible(search.fields[0])
        if found is not None:
            search.choice = found
            search.all_at_once = True
            return True
        crowded = search.crowded
        closer = [
            bore for bore, reach in reach_of.items() if reach < window and (crowded is None or bore.seat in crowded)
        ]
        if not closer:
            return False
        for bore in closer:
            reach_of[bore] = min(2 * reach_of[bore] + 50, window)


def _fill_most(search: Search) -> None:
    """The long way, over all pairs: shells are too few, or positions want the same ones."""
    kind = search.kind
    everything: list[Pair] = []
    for bore in search.bores:
        search.stop.seconds_left()
        everything.extend(kind.pairs(bore, 0, bore.sum_high))
    everything.extend(p for p in kind.vacancies if p.bore.terms in search.work)
    search.least_worst = 0
    search.own_best, search.narrowed = _own_bests(search, wished=False), False
    search.outside = [p for p in everything if not p.counted]
    search.fields = [[*search.kept, *everything]]
    if len(search.work) > 1:
        most_complete(search, COMPLETE)
    search.minimise(*_INSIDE)
    search.minimise(FILLED, lambda p: -p.filled)
    for level, measure in _LEVEL_1:
        search.minimise(level, measure)
    if any(bore.wishes for bore in search.bores):
        _wish(search)
    if sum(n * p.filled for p, n in search.choice.items() if p.bore.terms in search.work) == _able(search.bores):
        search.require_full()


def _wish(search: Search) -> None:
    """Level 1 ends with the wished band: the fewest below, the least shortfall, the fewest above, the least excess."""
    for level, measure in _WISH:
        search.minimise(level, measure)


# --- levels 2 and 3 ---


def _target(search: Search, slack_nm: int) -> None:
    """Smallest worst |deviation|, sum of squares, spread. The first may be given up by `slack_nm` for the later ones
    and is then made as small as it can be with those kept."""
    worst = _least_worst(search)
    if slack_nm:
        search.narrowed = True  # the fields hold what lies within `worst`; a larger window is open now
    _least_squares(search, worst + slack_nm)
    _narrow_spread(search)
    if slack_nm:
        search.narrow_worst(WORST, search.least_worst)


def _least_worst(search: Search) -> int:
    worst = search.narrow_worst(WORST, search.least_worst)
    while search.narrowed and worst > search.least_worst:
        # What was proven holds among the pairs at hand only: windows in between are filled anew.
        kept, middle = search.fields, (search.least_worst + worst) // 2
        try:
            found = _fill_within(search, middle)
        except Stopped:
            raise Stopped(search.least_worst) from None
        if found:
            worst = search.narrow_worst(WORST, search.least_worst)
        else:
            search.fields, search.least_worst = kept, middle + 1
            search.narrowed = True
    return worst


def _least_squares(search: Search, radius: int) -> None:
    if search.narrowed:
        # A good plan among few pairs tells which others could be part of a better one.
        total = search.minimise(SQUARES, _square)
        search.limits.pop()
        search.fields = [search.affordable(radius, total) if search.all_at_once else search.within(radius)]
        search.narrowed = False
    search.minimise(SQUARES, _square)


def _even(search: Search, slack_nm: int) -> None:
    """Smallest spread, worst |deviation|, sum of squares; `slack_nm` as in `_target`."""
    # A plan of small spread to start from: the best by deviation. It proves nothing about the spread.
    try:
        search.narrow_worst(SPREAD, search.least_worst)
        search.minimise(SPREAD, _square)
    except Stopped:
        raise Stopped from None
    search.limits.pop()
    if len(search.kind.terms) > 1:
        search.fields = [search.within(_ANY)]
        narrow_spreads(search, SPREAD, slack_nm)
    else:
        search.narrow_spread_everywhere(SPREAD, Source(search.kind, search.outside, search.own_best), slack_nm)
    search.narrow_worst(WORST)
    search.minimise(SQUARES, _square)
    if slack_nm:
        _narrow_spread(search)


def _narrow_spread(search: Search) -> None:
    # Sliding windows are for one job alone, and they are many programs, each of them hard where bores are bound to one
    # another: there the spread is a row of one program, which mostly finds that nothing is left to gain.
    bound = search.kind.terms[0].shifts.on or any(bore.house is not None for bore in search.bores)
    if len(search.kind.terms) > 1 or (bound and len(search.fields) == 1):
        narrow_spreads(search, SPREAD)
    else:
        search.narrow_spread(SPREAD)


def _keep_sets(search: Search, slack_nm: int) -> None:
    """Fewest boxes drawn from with the same levels 0 and 1 and a worst |deviation| within the slack, then as `target`
    with its ties among plans that draw on no more boxes."""
    worst = _least_worst(search)
    search.level = BOXES
    wanted, most = _levels_0_and_1(search), worst + slack_nm
    sets = BoxSets(search.kind, sum(n * p.filled for p, n in search.choice.items()), search.stop)
    best: tuple[int, ...] | None = None
    boxes = sets.fewest_untried()
    fewest = None
    while boxes is not None and (fewest is None or len(boxes) <= fewest):
        here = Search(search.kind.from_boxes(boxes), search.stop)
        if _reaches(here, wanted, most, search.all_at_once):
            if fewest is None:
                fewest = len(boxes)
                search.choice = here.choice
                search.level = WORST
            _target(here, 0)
            _ties(here)
            figures = _figures(here.choice)
            most = min(most, figures[0])
            if best is None or figures < best:
                best, search.choice = figures, here.choice
        sets.rule_out(boxes)
        boxes = sets.fewest_untried()


def _reaches(search: Search, wanted: tuple[int, ...], most: int, at_once: bool) -> bool:
    """Whether the boxes of this search give these levels 0 and 1 with a worst |deviation| of `most` at most."""
    if not _fill_all(search, most):
        if at_once:  # and these boxes must fill all at once too
            return False
        _fill_most(search)
    return _levels_0_and_1(search) == wanted and _least_worst(search) <= most


def _ties(search: Search) -> None:
    if any(bore.house is not None for bore in search.bores):
        search.minimise(STAYING, lambda p: -p.stays)
    search.minimise(CLEARANCE, lambda p: -p.clearance_nm)
    search.minimise(DIFFERENCE, lambda p: p.difference_nm)


def _square(pair: Pair) -> int:
    return pair.deviation_nm**2 if pair.counted else 0


def _levels_0_and_1(search: Search) -> tuple[int, ...]:
    used = search.choice.items()
    return (
        complete_jobs(search),
        sum(n * p.inside for p, n in used),
        sum(n * p.filled for p, n in used),
        *(sum(n * measure(p) for p, n in used) for _, measure in (*_LEVEL_1, *_WISH)),
    )


def _figures(choice: Choice) -> tuple[int, ...]:
    """Level 2 as `target` and the ties, smaller being better."""
    used = choice.items()
    return (
        max((abs(p.deviation_nm) for p in choice if p.counted), default=0),
        sum(n * _square(p) for p, n in used),
        widest_spread(p for p in choice if p.counted),
        -sum(n * p.stays for p, n in used),
        -sum(n * p.clearance_nm for p, n in used),
        sum(n * p.difference_nm for p, n in used),
    )
