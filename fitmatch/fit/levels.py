"""The levels of "best" in their order, each proven before the next.

0 (of several jobs the most complete, then) as many positions as possible inside their limits; 1 as many of the others
as possible filled, the fewest and least too tight first, then as near to the wished band as can be; 2 quality, by
strategy; 3 ties: the most housings that stay, the largest total clearance, then the smallest total wall difference.
"""

from collections.abc import Callable
from typing import NamedTuple

from fitmatch.fit.bores import Pair
from fitmatch.fit.boxsets import BoxSets
from fitmatch.fit.candidates import Kind
from fitmatch.fit.filling import ANY, NoPlan, fill_all, fill_most, levels_0_and_1, places_of
from fitmatch.fit.measures import (
    BOXES,
    CLEARANCE,
    COMPLETE,
    DIFFERENCE,
    FILLED,
    INSIDE,
    SPREAD,
    SQUARES,
    STAYING,
    WORST,
    square,
)
from fitmatch.fit.search import Choice, Limit, Search
from fitmatch.fit.several import narrow_spreads, widest_spread
from fitmatch.fit.sliding import narrow_spread
from fitmatch.fit.sources import Listed, Source
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.fit.terms import Terms
from fitmatch.fit.windows import affordable, least_worst_within, priced
from fitmatch.plans import Proof

Turns = list[list[Terms]]
_Boxes = tuple[frozenset[str], ...]  # that each of the first jobs may draw on
Demanding = Callable[[Kind], list[Pair]]  # alters a kind, and says of which pairs one must be used

STRATEGIES = ("target", "even", "keep-sets")
KEEP_SETS_SLACK_NM = 2_540  # 0.0001 in


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
            if not fill_all(search):
                fill_most(search)
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
        able = places_of(b for b in search.bores if kind.smallest_sum(b, b.inside_low, b.inside_high) is not None)
        return able if bound is None else min(able, -bound)
    if search.level == FILLED:
        able = places_of(b for b in search.bores if kind.smallest_sum(b, 0, b.sum_high) is not None)
        return able if bound is None else min(able, -bound)
    if search.level in (COMPLETE, STAYING, CLEARANCE):
        return None if bound is None else -bound
    if search.level == BOXES:
        return 0  # the bound is that of another search, for certain boxes
    least = search.least_worst if search.level == WORST else 0
    return least if bound is None else max(least, bound)


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
        search.fields = [search.within(ANY)]
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
        if turn:
            search.level = BOXES
        starts = [search] if turn == 0 else [_at_turn(search, boxes, sizes, turn, demand) for boxes in equals]
        for here in starts:
            if not fill_all(here):
                fill_most(here)
        wanted = min(map(levels_0_and_1, starts))
        likely = [(here, boxes) for here, boxes in zip(starts, equals, strict=True) if levels_0_and_1(here) == wanted]
        most = min(_least_worst(here) for here, _ in likely) + slack_nm
        search.choice, search.level = likely[0][0].choice, BOXES
        try:
            equals = _fewest_boxes(search, likely, most, sizes, turn, demand)
        except Stopped:
            raise Stopped from None  # its bound is of certain boxes alone


def _fewest_boxes(
    search: Search,
    likely: list[tuple[Search, _Boxes]],
    most: int,
    sizes: list[int],
    turn: int,
    demand: Demanding | None,
) -> list[_Boxes]:
    """The sets of boxes that are best for the jobs of this turn, each behind those of the turns before."""
    wanted = levels_0_and_1(likely[0][0])
    equals: list[_Boxes] = []
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
                if turn + 1 == len(sizes):
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
    return equals


def _at_turn(search: Search, boxes: _Boxes, sizes: list[int], turn: int, demand: Demanding | None) -> Search:
    """A search in which the first jobs draw on these boxes alone, with the turns before this one proven and kept."""
    here = _search(search.kind.from_boxes(boxes), search.stop, demand)
    begin = 0
    for i, size in enumerate(sizes[: turn + 1]):
        if len(sizes) > 1:
            here.take(here.kind.terms[begin : begin + size])
        begin += size
        if i < turn:
            if not fill_all(here):
                fill_most(here)
            _target(here, 0)
    return here


def _reaches(search: Search, wanted: tuple[int, ...], most: int, at_once: bool) -> bool:
    """Whether the boxes of this search give these levels 0 and 1 with a worst |deviation| of `most` at most."""
    if not fill_all(search, most):
        if at_once:  # and these boxes must fill all at once too
            return False
        fill_most(search)
    return levels_0_and_1(search) == wanted and _least_worst(search) <= most


def _ties(search: Search) -> None:
    if any(bore.house is not None for bore in search.bores):
        search.minimise(STAYING, lambda p: -p.stays)
    search.minimise(CLEARANCE, lambda p: -p.clearance_nm)
    search.minimise(DIFFERENCE, lambda p: p.difference_nm)


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
