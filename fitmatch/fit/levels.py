"""The levels of "best" in their order, each proven before the next.

0 (of several jobs the most complete, then) as many positions as possible inside their limits; 1 as many of the others
as possible filled, the fewest and least too tight first, then as near to the wished band as can be; 2 quality, by
strategy; 3 ties: the most housings that stay, the largest total clearance, then the smallest total wall difference.
"""

from collections import Counter
from collections.abc import Callable, Collection, Iterable
from typing import NamedTuple

from fitmatch.fit.bores import Bore, Pair
from fitmatch.fit.boxsets import BoxSets
from fitmatch.fit.candidates import Kind
from fitmatch.fit.search import Choice, Limit, Measure, Search
from fitmatch.fit.several import complete_jobs, most_complete, narrow_spreads, widest_spread
from fitmatch.fit.sliding import narrow_spread
from fitmatch.fit.sources import Best, Listed, Source
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.fit.terms import Terms
from fitmatch.fit.windows import affordable, fill_within, least_worst_within, priced
from fitmatch.parts import Proof

Turns = list[list[Terms]]
_Boxes = tuple[frozenset[str], ...]  # that each of the first jobs may draw on
Demanding = Callable[[Kind], list[Pair]]  # alters a kind, and says of which pairs one must be used

STRATEGIES = ("target", "even", "keep-sets")
KEEP_SETS_SLACK_NM = 2_540  # 0.0001 in
_ANY = 1 << 62  # a deviation that none exceeds

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


INSIDE_LIMITS: tuple[str, Measure] = (INSIDE, lambda p: -p.inside)
_FILLED: tuple[str, Measure] = (FILLED, lambda p: -p.filled)
# What is minimised of the pairs on level 1, once as many positions as possible are filled; and where a band is wished.
LEVEL_1: tuple[tuple[str, Measure], ...] = (
    (BELOW, lambda p: p.below),
    (SHORTFALL, lambda p: p.shortfall_nm),
    (EXCESS, lambda p: p.excess_nm),
)
WISH: tuple[tuple[str, Measure], ...] = (
    (BELOW_WANT, lambda p: int(p.want_shortfall_nm > 0)),
    (WANT_SHORTFALL, lambda p: p.want_shortfall_nm),
    (ABOVE_WANT, lambda p: int(p.want_excess_nm > 0)),
    (WANT_EXCESS, lambda p: p.want_excess_nm),
)


class NoPlan(Exception):
    """No plan meets the demand."""


class Proven(NamedTuple):
    """The best choice of pairs for one kind, and how far it is proven."""

    choice: Choice
    proof: Proof


def prove(
    kind: Kind, strategy: str, slack_nm: int, stop: Stop, turns: Turns, demand: Demanding | None = None
) -> Proven:
    """Work through all levels; where time runs out the best choice so far comes back, unproven.

    `turns`: jobs that are worked for together, those of the first turn before any other; ties are for all. Raises
    NoPlan where a `demand` cannot be met.
    """
    search = _search(kind, stop, demand)
    try:
        if strategy == "keep-sets":
            _keep_sets(search, slack_nm, turns, demand)
            return Proven(search.choice, Proof())
        for work in turns:
            if len(turns) > 1:
                search.take(work)
            if not _fill_all(search):
                _fill_most(search)
            if strategy == "target":
                _target(search, slack_nm)
            else:
                _even(search, slack_nm)
        if len(turns) > 1:
            search.take(kind.terms)
        _ties(search)
    except Stopped as stopped:
        return Proven(search.choice, Proof(False, search.level, _bound(search, stopped.bound)))
    return Proven(search.choice, Proof())


def _search(kind: Kind, stop: Stop, demand: Demanding | None) -> Search:
    """A search among the plans that meet the demand."""
    search = Search(kind, stop)
    if demand is not None:
        demanded = demand(kind)
        if not demanded:
            raise NoPlan
        # In the fields from the start: jobs whose turn comes earlier must leave room for it.
        search.demanded, search.fields = demanded, [demanded]
        seat = demanded[0].bore.seat
        search.limits = [Limit(lambda p: int(p.bore.seat == seat), None, 1)]
    return search


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
        if fill_at_best(search, within, wished=True):
            return True
        if not fill_at_best(search, within, wished=False):
            return False
        search.fields, search.narrowed = [search.within(_ANY if within is None else within)], False
        _wish(search)
        return True
    return fill_at_best(search, within, wished=False)


def fill_at_best(search: Search, within: int | None, *, wished: bool) -> bool:
    """`_fill_all` with or without the wish."""
    known = len(search.limits)
    done = _fill_at_best(search, within, wished=wished)
    if not done:
        del search.limits[known:]
        search.must_fill = False
    return done


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

    search.own_best, search.outside, search.reach = own_best, outside, Counter()
    if not _enough_shells([*own_best, *(p.bore for p in outside if p.filled)]):
        return False
    if not wished:
        _part_the_outside(search)
    search.least_worst = window = max(bests.values(), default=0)
    if within is not None:
        if window > within:
            return False
        window = widest = within
    while not fill_within(search, window):
        if window >= widest:
            return False
        search.least_worst = window + 1
        window = min(2 * window + 1_000, widest)
    return True


def _part_the_outside(search: Search) -> None:
    """Where seats without any pair inside their limits want the same shells, prove what they can have at best between
    them, whatever the others take: the others are inside their limits and add nothing to level 1."""
    seats = {p.bore.seat for p in search.outside}
    bores = [bore for bore in search.bores if bore.seat in seats]
    if _able(bores) < 2 or any(bore.house is not None for bore in bores):
        return
    alone = Search(search.kind, search.stop)
    alone.work, alone.level = search.work, search.level
    alone.fields = [search.outside]
    alone.require_full()
    if alone.feasible(search.outside) is not None:
        return
    everything = [p for bore in bores for p in search.kind.pairs(bore, 0, bore.sum_high)]
    alone.fields = [everything]
    alone.require_full()
    found = alone.feasible(everything)
    if found is not None:
        alone.choice = found
        for level, measure in LEVEL_1:
            alone.minimise(level, measure)
        (search.outside,) = alone.fields
        search.limits += alone.limits


def _enough_shells(bores: Collection[Bore]) -> bool:
    """Whether there are as many halves of each side as the seats of these bores ask for, whatever their walls."""
    seats = _able(bores)
    classes = {c.index: c for bore in bores for rack in (bore.upper, bore.lower) for c in rack.classes}
    halves = Counter[str]()
    for c in classes.values():
        halves[c.half] += c.count
    short = seats - halves["upper"], seats - halves["lower"]
    return max(*short, max(short[0], 0) + max(short[1], 0)) <= halves["either"]


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
    figures: tuple[tuple[str, Measure], ...] = (INSIDE_LIMITS, *LEVEL_1, *(WISH if wished else ()))

    def badness(pair: Pair) -> tuple[int, ...]:
        return tuple(measure(pair) for _, measure in figures)

    return [p for pairs in found.values() for p in pairs if badness(p) == min(map(badness, pairs))]


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
    if search.demanded:
        found = search.feasible(search.fields[0])
        if found is None:
            raise NoPlan
        search.choice = found
    if len(search.work) > 1:
        most_complete(search, COMPLETE)
    search.minimise(*INSIDE_LIMITS)
    search.minimise(*_FILLED)
    for level, measure in LEVEL_1:
        search.minimise(level, measure)
    if any(bore.wishes for bore in search.bores):
        _wish(search)
    if sum(n * p.filled for p, n in search.choice.items() if p.bore.terms in search.work) == _able(search.bores):
        search.require_full()


def _wish(search: Search) -> None:
    """Level 1 ends with the wished band: the fewest below, the least shortfall, the fewest above, the least excess."""
    for level, measure in WISH:
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
    if search.narrowed:
        return least_worst_within(search, WORST)
    return search.narrow_worst(WORST, search.least_worst)


def _least_squares(search: Search, radius: int) -> None:
    if search.narrowed:
        # A good plan among few pairs tells which others could be part of a better one.
        found = priced(search, square, radius) if search.all_at_once else None
        search.minimise(SQUARES, square)
        search.limits.pop()
        search.fields = [search.within(radius) if found is None else affordable(search, square, radius, found)]
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
    if len(search.kind.terms) > 1:
        search.fields = [search.within(_ANY)]
        narrow_spreads(search, SPREAD, slack_nm)
    else:
        narrow_spread(search, SPREAD, [Source(search.kind, search.outside, search.own_best)], slack_nm)
    search.narrow_worst(WORST)
    search.minimise(SQUARES, square)
    if slack_nm:
        _narrow_spread(search)


def _narrow_spread(search: Search) -> None:
    if len(search.kind.terms) > 1:  # sliding windows are for one job alone
        narrow_spreads(search, SPREAD)
    else:
        narrow_spread(search, SPREAD, [Listed(field) for field in search.fields])


def _keep_sets(search: Search, slack_nm: int, turns: Turns, demand: Demanding | None) -> None:
    """Fewest boxes drawn from with the same levels 0 and 1 and a worst |deviation| within the slack, then as `target`
    among plans that draw on no more boxes, turn by turn; ties at last.

    Sets of boxes that are equally good for the jobs of one turn are all kept for the next.
    """
    sizes = [len(work) for work in turns]
    equals: list[_Boxes] = [()]  # for the jobs of the turns before
    if len(turns) > 1:
        search.take(turns[0])
    for turn in range(len(turns)):
        starts = [search] if turn == 0 else [_at_turn(search, boxes, sizes, turn, demand) for boxes in equals]
        for here in starts:
            if not _fill_all(here):
                _fill_most(here)
        wanted = min(map(_levels_0_and_1, starts))
        likely = [(here, boxes) for here, boxes in zip(starts, equals, strict=True) if _levels_0_and_1(here) == wanted]
        most = min(_least_worst(here) for here, _ in likely) + slack_nm
        search.choice, search.level = likely[0][0].choice, BOXES
        fewest, best = None, None
        for start, before in likely:
            filled = sum(n * p.filled for p, n in start.choice.items() if p.bore.terms in start.work)
            sets = BoxSets(start.kind, start.work, filled, search.stop)
            boxes = sets.fewest_untried()
            while boxes is not None and (fewest is None or len(boxes) <= fewest):
                now = (*before, *[boxes] * sizes[turn])
                try:
                    here = _at_turn(search, now, sizes, turn, demand)
                    enough = _reaches(here, wanted, most, start.all_at_once)
                except NoPlan:
                    enough = False
                if enough:
                    if fewest is None or len(boxes) < fewest:
                        fewest, best = len(boxes), None
                        search.choice, search.level = here.choice, WORST
                    _target(here, 0)
                    figures = _figures(here)
                    if turn + 1 == len(turns):
                        if turn:
                            here.take(here.kind.terms)
                        _ties(here)
                        figures += _tied(here.choice)
                    if best is None or figures < best:
                        best, equals, search.choice = figures, [], here.choice
                    if figures == best:
                        equals.append(now)
                sets.rule_out(boxes)
                boxes = sets.fewest_untried()


def _at_turn(search: Search, boxes: _Boxes, sizes: list[int], turn: int, demand: Demanding | None) -> Search:
    """A search in which the first jobs draw on these boxes alone, with the turns before this one proven and kept."""
    here = _search(search.kind.from_boxes(boxes), search.stop, demand)
    begin = 0
    for i, size in enumerate(sizes[: turn + 1]):
        if len(sizes) > 1:
            here.take(here.kind.terms[begin : begin + size])
        begin += size
        if i < turn:
            if not _fill_all(here):
                _fill_most(here)
            _target(here, 0)
    return here


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


def square(pair: Pair) -> int:
    return pair.deviation_nm**2 if pair.counted else 0


def _levels_0_and_1(search: Search) -> tuple[int, ...]:
    """Smaller is better."""
    used = search.choice.items()
    return (
        -complete_jobs(search.kind, search.choice),
        *(sum(n * measure(p) for p, n in used) for _, measure in (INSIDE_LIMITS, _FILLED, *LEVEL_1, *WISH)),
    )


def _figures(search: Search) -> tuple[int, ...]:
    """Level 2 as `target` of the jobs in work; smaller is better."""
    judged = [(p, n) for p, n in search.choice.items() if search.judged(p)]
    return (
        max((abs(p.deviation_nm) for p, _ in judged), default=0),
        sum(n * square(p) for p, n in judged),
        widest_spread(p for p, _ in judged),
    )


def _tied(choice: Choice) -> tuple[int, ...]:
    """The ties in their order; smaller is better."""
    used = choice.items()
    return (
        -sum(n * p.stays for p, n in used),
        -sum(n * p.clearance_nm for p, n in used),
        sum(n * p.difference_nm for p, n in used),
    )
