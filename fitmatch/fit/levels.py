"""The levels of "best" in their order, each proven before the next.

0 as many positions as possible inside their limits; 1 as many of the others as possible filled, the fewest and least
too tight first; 2 quality, by strategy; 3 ties: the largest total clearance, then the smallest total wall difference.
"""

from collections.abc import Callable, Iterable
from typing import NamedTuple

from fitmatch.fit.boxsets import BoxSets
from fitmatch.fit.candidates import Bore, Kind, Pair
from fitmatch.fit.search import Choice, Limit, Search, Source
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.parts import Job, Proof

STRATEGIES = ("target", "even", "keep-sets")
KEEP_SETS_SLACK_NM = 2_540  # 0.0001 in
MANY_PAIRS = 3_000  # fewer are solved before they could be narrowed (measured)

INSIDE = "positions_inside"
FILLED = "positions_filled"
BELOW = "positions_below"
SHORTFALL = "shortfall"
EXCESS = "excess"
WORST = "worst_deviation"
SQUARES = "sum_squared_deviation"
SPREAD = "spread"
BOXES = "boxes"
CLEARANCE = "total_clearance"
DIFFERENCE = "total_wall_difference"


class Proven(NamedTuple):
    """The best choice of pairs for one kind, and how far it is proven."""

    choice: Choice
    proof: Proof


def prove(
    job: Job, kind: Kind, strategy: str, slack_nm: int, stop: Stop, demand: Callable[[Kind], Limit | None] | None = None
) -> Proven | None:
    """Work through all levels; where time runs out the best choice so far comes back, unproven.

    A `demand` alters a kind and gives a limit that every plan must obey, or None where no plan can; the answer is then
    None as well.
    """
    search = _search(kind, stop, demand)
    if search is None:
        return None
    try:
        if not fill_all(search):
            _fill_most(search)
        if strategy == "target":
            _target(search, slack_nm)
        elif strategy == "even":
            _even(search, slack_nm)
        else:
            _keep_sets(job, search, slack_nm, demand)
    except Stopped as stopped:
        return Proven(search.choice, Proof(False, search.level, _bound(search, stopped.bound)))
    return Proven(search.choice, Proof())


def _search(kind: Kind, stop: Stop, demand: Callable[[Kind], Limit | None] | None) -> Search | None:
    search = Search(kind, stop)
    if demand is not None:
        limit = demand(kind)
        if limit is None:
            return None
        search.limits.append(limit)
    return search


def _bound(search: Search, bound: int | None) -> int | None:
    """What the level in work cannot be better than: as proven, else what is plain without any proof."""
    kind = search.kind
    if search.level == INSIDE:
        able = _able(b for b in kind.bores if kind.smallest_sum(b, b.inside_low, b.inside_high) is not None)
        return able if bound is None else min(able, -bound)
    if search.level == FILLED:
        able = _able(b for b in kind.bores if kind.smallest_sum(b, 0, b.sum_high) is not None)
        return able if bound is None else min(able, -bound)
    if search.level == CLEARANCE:
        return None if bound is None else -bound
    least = search.least_worst if search.level == WORST else 0
    return least if bound is None else max(least, bound)


def _able(bores: Iterable[Bore]) -> int:
    return sum(b.count for b in {b.seat: b for b in bores}.values())


# --- levels 0 and 1 ---


def fill_all(search: Search, within: int | None = None) -> bool:
    """Try to give every bore its best at once: inside its limits where any pair is, else its own least bad pair.

    No plan can do better on levels 0 and 1, so a plan found among few pairs proves both. Windows of |deviation| start
    at the largest of each bore's own best and widen; `within` names the only one to try.
    """
    kind = search.kind
    search.level = INSIDE
    own_best: dict[Bore, int] = {}
    widest = 0
    for bore in kind.bores:
        over = kind.smallest_sum(bore, max(bore.ideal, bore.inside_low), bore.inside_high)
        under = kind.largest_sum(bore, bore.inside_low, min(bore.ideal, bore.inside_high))
        near = [abs(s - bore.ideal) for s in (over, under) if s is not None]
        if near:
            own_best[bore] = min(near)
            first = kind.smallest_sum(bore, bore.inside_low, bore.inside_high)
            last = kind.largest_sum(bore, bore.inside_low, bore.inside_high)
            widest = max(widest, *(abs(s - bore.ideal) for s in (first, last) if s is not None))
    able = {bore.seat for bore in own_best}
    outside = _least_bad(kind, [bore for bore in kind.bores if bore.seat not in able])
    bests: dict[int, int] = {}
    for bore, best in own_best.items():
        bests[bore.seat] = min(best, bests.get(bore.seat, best))

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


def _least_bad(kind: Kind, bores: list[Bore]) -> list[Pair]:
    """The pairs that are each seat's least bad choice, where none lies inside its limits."""
    found: dict[int, list[Pair]] = {}
    for bore in bores:
        walls = kind.largest_sum(bore, 0, bore.not_below)
        if walls is None:
            walls = kind.smallest_sum(bore, bore.not_below + 1, bore.sum_high)
        if walls is not None:
            found.setdefault(bore.seat, []).extend(kind.pairs(bore, walls, walls))
    return [p for pairs in found.values() for p in pairs if _badness(p) == min(map(_badness, pairs))]


def _badness(pair: Pair) -> tuple[int, int, int]:
    return pair.below, pair.shortfall_nm, pair.excess_nm


def _fill_within(search: Search, window: int) -> bool:
    """Whether a plan fills every bore within this window. Where the window holds very many pairs, those nearest to each
    bore's own best are tried first: one bore that is far off must not make the others expensive."""
    narrow = window
    if sum(search.kind.count_within(bore, window) for bore in search.own_best) > MANY_PAIRS:
        narrow = 0
    while True:
        search.fields = [search.within(window, narrow)]
        search.narrowed = narrow < window
        search.require_full()
        found = search.feasible(search.fields[0])
        if found is not None:
            search.choice = found
            search.all_at_once = True
        if found is not None or narrow >= window:
            return found is not None
        narrow = min(2 * narrow + 50, window)


def _fill_most(search: Search) -> None:
    """The long way, over all pairs: shells are too few, or positions want the same ones."""
    kind = search.kind
    everything: list[Pair] = []
    for bore in kind.bores:
        search.stop.seconds_left()
        everything.extend(kind.pairs(bore, 0, bore.sum_high))
    search.least_worst = 0
    search.own_best, search.narrowed = {}, False
    for p in everything:
        if p.inside:
            search.own_best[p.bore] = min(search.own_best.get(p.bore, abs(p.deviation_nm)), abs(p.deviation_nm))
    search.outside = [p for p in everything if not p.inside]
    search.fields = [everything]
    search.minimise(INSIDE, lambda p: -p.inside)
    search.minimise(FILLED, lambda _: -1)
    search.minimise(BELOW, lambda p: p.below)
    search.minimise(SHORTFALL, lambda p: p.shortfall_nm)
    search.minimise(EXCESS, lambda p: p.excess_nm)
    if sum(search.choice.values()) == _able(kind.bores):
        search.require_full()


# --- levels 2 and 3 ---


def _target(search: Search, slack_nm: int) -> None:
    """Smallest worst |deviation|, sum of squares, spread. The first may be given up by `slack_nm` for the later ones
    and is then made as small as it can be with those kept."""
    worst = _least_worst(search)
    if slack_nm:
        search.narrowed = True  # the fields hold what lies within `worst`; a larger window is open now
    _least_squares(search, worst + slack_nm)
    search.narrow_spread(SPREAD)
    if slack_nm:
        search.narrow_worst(WORST, search.least_worst)
    _ties(search)


def _least_worst(search: Search) -> int:
    worst = search.narrow_worst(WORST, search.least_worst)
    if search.narrowed and worst > search.least_worst:
        search.fields, search.narrowed = [search.within(worst)], False
        worst = search.narrow_worst(WORST, search.least_worst)
    return worst


def _least_squares(search: Search, radius: int) -> None:
    if search.narrowed:
        # A good plan among few pairs tells which others could be part of a better one.
        total = search.minimise(SQUARES, square)
        search.limits.pop()
        search.fields = [search.affordable(radius, total) if search.all_at_once else search.within(radius)]
        search.narrowed = False
    search.minimise(SQUARES, square)


def _even(search: Search, slack_nm: int) -> None:
    """Smallest spread, worst |deviation|, sum of squares; `slack_nm` as in `_target`."""
    # A plan of small spread to start from: the best by deviation. It proves nothing about the spread.
    try:
        search.narrow_worst(SPREAD, search.least_worst)
        search.minimise(SPREAD, square)
    except Stopped:
        raise Stopped from None
    search.limits.pop()
    search.narrow_spread_everywhere(SPREAD, Source(search.kind, search.outside, list(search.own_best)), slack_nm)
    search.narrow_worst(WORST)
    search.minimise(SQUARES, square)
    if slack_nm:
        search.narrow_spread(SPREAD)
    _ties(search)


def _keep_sets(job: Job, search: Search, slack_nm: int, demand: Callable[[Kind], Limit | None] | None) -> None:
    """Fewest boxes drawn from with the same levels 0 and 1 and a worst |deviation| within the slack, then as `target`
    among plans that draw on no more boxes."""
    worst = _least_worst(search)
    search.level = BOXES
    wanted, most = _levels_0_and_1(search.choice), worst + slack_nm
    sets = BoxSets(search.kind, sum(search.choice.values()), search.stop)
    best: tuple[int, ...] | None = None
    boxes = sets.fewest_untried()
    fewest = None
    while boxes is not None and (fewest is None or len(boxes) <= fewest):
        here = _search(Kind(job, search.kind.name, boxes), search.stop, demand)
        if here is not None and _reaches(here, wanted, most, search.all_at_once):
            if fewest is None:
                fewest = len(boxes)
                search.choice = here.choice
                search.level = WORST
            _target(here, 0)
            figures = _figures(here.choice)
            most = min(most, figures[0])
            if best is None or figures < best:
                best, search.choice = figures, here.choice
        sets.rule_out(boxes)
        boxes = sets.fewest_untried()


def _reaches(search: Search, wanted: tuple[int, ...], most: int, at_once: bool) -> bool:
    """Whether the boxes of this search give these levels 0 and 1 with a worst |deviation| of `most` at most."""
    if not fill_all(search, most):
        if at_once:  # and these boxes must fill all at once too
            return False
        _fill_most(search)
    return _levels_0_and_1(search.choice) == wanted and _least_worst(search) <= most


def _ties(search: Search) -> None:
    search.minimise(CLEARANCE, lambda p: -p.clearance_nm)
    search.minimise(DIFFERENCE, lambda p: p.difference_nm)


def square(pair: Pair) -> int:
    return pair.deviation_nm**2 if pair.inside else 0


def _levels_0_and_1(choice: Choice) -> tuple[int, ...]:
    used = choice.items()
    return (
        sum(n * p.inside for p, n in used),
        sum(n for _, n in used),
        sum(n * p.below for p, n in used),
        sum(n * p.shortfall_nm for p, n in used),
        sum(n * p.excess_nm for p, n in used),
    )


def _figures(choice: Choice) -> tuple[int, ...]:
    """Level 2 as `target` and the ties, smaller being better."""
    used = choice.items()
    deviations = [p.deviation_nm for p in choice if p.inside]
    return (
        max(map(abs, deviations), default=0),
        sum(n * square(p) for p, n in used),
        max(deviations, default=0) - min(deviations, default=0),
        -sum(n * p.clearance_nm for p, n in used),
        sum(n * p.difference_nm for p, n in used),
    )
