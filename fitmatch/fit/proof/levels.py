"""The proof: the figures of `order` one after the other, each kept while the next is proven.

How a figure adds up decides how it is proven. One certificate may settle several at once: a plan in which every bore
has its best on levels 0 and 1 proves both, and gives a bound on the worst deviation.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import replace
from itertools import islice, repeat
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.order import (
    BOXES,
    FILLED,
    INSIDE,
    LEVELS_0_AND_1,
    QUALITY,
    SQUARES,
    WORST,
    Adds,
    Figure,
    order_of,
)
from fitmatch.fit.model.pairs import FREE, Choice, Limit, Work
from fitmatch.fit.proof.box_sets import BoxSets
from fitmatch.fit.proof.field.pair_sources import Listed
from fitmatch.fit.proof.filling import Long, NoPlan, fill, fill_all, fill_most, places_of
from fitmatch.fit.proof.search import Search
from fitmatch.fit.proof.several_jobs import narrow_spreads
from fitmatch.fit.proof.smallest_spread import narrow_spread
from fitmatch.fit.proof.windows import ANY, Windows
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.records.answers.plans import Proof

Turns = Sequence[Work]
_Boxes = tuple[frozenset[str], ...]  # that each of the first jobs may draw on
Demanding = Callable[[Kind], tuple[Kind, list[Pair]]]  # alters a kind, and says from which pairs one must be used


class Proven(NamedTuple):
    """The best choice of pairs for one kind, with what is demanded kept separate in it, and how far it is proven."""

    kind: Kind
    choice: Choice
    proof: Proof


def prove(
    kind: Kind,
    strategy: str,
    slack_nm: int,
    stop: Stop,
    turns: Turns,
    demand: Demanding | None = None,
    *,
    ties: bool = True,
    start: Choice | None = None,
    long: Long | None = None,
) -> Proven:
    """Work through all figures, with `ties` those of level 3 too; if time runs out the best choice so far is returned,
    unproven.

    `turns`: jobs that are solved together, those of the first turn before any other; ties are for all. Raises NoPlan if
    a `demand` cannot be met. `start`: a plan that is known; not used in turns. `long` is called with the
    window of |deviation| before what takes long.
    """
    way = _Way(stop, turns, slack_nm, demand, ties, long)
    search = way.search(kind)
    search.start = start if len(turns) == 1 else None
    try:
        if strategy == "keep-sets":
            way.keep_sets(search)
            return Proven(search.kind, search.choice, Proof())
        for work in turns:
            search.take(work)
            _prove_quality(fill(search, long), order_of(strategy, slack_nm).quality, slack_nm)
        if ties:
            if len(turns) > 1:
                search.take(kind.terms)
            _ties(search)
    except Stopped as stopped:
        name = search.figure.name if search.figure else None
        return Proven(search.kind, search.choice, Proof(False, name, _bound(search, stopped.bound)))
    return Proven(search.kind, search.choice, Proof())


def _bound(search: Search, bound: int | None) -> int | None:
    """What the figure being proven cannot be better than: as proven so far, otherwise what is obvious without proof."""
    kind, figure = search.kind, search.figure
    if figure is BOXES:
        return 0  # the bound is from another search, for certain boxes
    if figure is not None and figure.more:
        known = [] if bound is None else [-bound]
        if figure in (INSIDE, FILLED):
            ends = (lambda b: (b.inside_low, b.inside_high)) if figure is INSIDE else (lambda b: (0, b.sum_high))
            known.append(places_of(b for b in search.bores if kind.smallest_sum(b, *ends(b)) is not None))
        return min(known, default=None)
    least = search.least_worst if figure is WORST else 0
    return least if bound is None else max(least, bound)


# --- levels 2 and 3 ---


def _prove_quality(windows: Windows, figures: Sequence[Figure], slack_nm: int = 0) -> None:
    """Each figure by the method that suits how it adds up. The first may be worse by the slack to improve the later
    ones."""
    radius = ANY
    for at, figure in enumerate(figures):
        slack = slack_nm if at == 0 else 0
        if figure.adds is Adds.WORST:
            radius = windows.least_worst() + slack
            if slack:
                windows.narrowed = True  # the slack allows larger windows than the field covers
        elif figure is SQUARES:
            windows.least_squares(radius)
        elif figure.adds is Adds.SUM:
            if windows.narrowed:
                windows.open(radius)
            windows.search.minimise(figure)
        else:
            _narrow_spread(windows, figure, slack, first=at == 0)


def _narrow_spread(windows: Windows, figure: Figure, slack: int, *, first: bool) -> None:
    search = windows.search
    if first:
        # A plan of small spread to start from: the best by deviation. It proves nothing about the spread.
        try:
            search.narrow_worst(figure)
            search.minimise(replace(SQUARES, name=figure.name), keep=False)
        except Stopped:
            raise Stopped from None
    if len(search.kind.terms) > 1:  # sliding windows are for a single job
        if first:
            windows.open(ANY)
        narrow_spreads(search, slack)
    else:
        narrow_spread(
            search, [windows.source()] if first else [Listed(field, search.stop) for field in search.fields], slack
        )


def _ties(search: Search) -> tuple[int, ...]:
    return tuple(map(search.minimise, order_of("target", 0, search.bores).ties))


# --- keep-sets ---


class _Way(NamedTuple):
    """What all searches of one proof have in common."""

    stop: Stop
    turns: Turns
    slack_nm: int
    demand: Demanding | None
    ties: bool
    long: Long | None

    def search(self, kind: Kind) -> Search:
        """A search among the plans that meet the demand."""
        if self.demand is None:
            return Search(kind, self.stop)
        kind, demanded = self.demand(kind)
        if not demanded:
            raise NoPlan
        seat = demanded[0].bore.seat
        met = Limit(lambda p: int(p.bore.seat == seat), None, 1)
        return Search(kind, self.stop, FREE.and_limits(met), demanded=demanded)

    def keep_sets(self, search: Search) -> None:
        """Fewest boxes drawn from with the same levels 0 and 1 and a worst |deviation| within the slack, then as
        `target` among plans that draw on no more boxes, turn by turn; ties last.

        Sets of boxes that are equally good for the jobs of one turn are all kept for the next.
        """
        equals: list[_Boxes] = [()]  # for the jobs of earlier turns
        search.take(self.turns[0])
        for turn in range(len(self.turns)):
            if turn:
                search.figure = BOXES
            starts = [search] if turn == 0 else [self._at_turn(search, boxes, turn) for boxes in equals]
            filled = list(zip(map(fill, starts, repeat(self.long)), equals, strict=True))
            wanted = min(map(_values, starts, repeat(LEVELS_0_AND_1)))
            likely = [one for one in filled if _values(one[0].search, LEVELS_0_AND_1) == wanted]
            least = min(windows.least_worst() for windows, _ in likely)
            search.choice = likely[0][0].search.choice
            search.figure = BOXES
            try:
                equals = self._fewest_boxes(search, likely, least, turn)
            except Stopped:
                raise Stopped from None  # its bound holds for certain boxes only

    def _fewest_boxes(
        self, search: Search, likely: list[tuple[Windows, _Boxes]], least: int, turn: int
    ) -> list[_Boxes]:
        """The sets of boxes that are best for the jobs of this turn, each after those of earlier turns; no boxes give
        a smaller worst |deviation| than `least`."""
        wanted = _values(likely[0][0].search, LEVELS_0_AND_1)
        equals: list[_Boxes] = []
        fewest, best = None, None
        for windows, before in likely:
            start = windows.search
            sets = BoxSets(start.kind, start.work, -start.value(FILLED), search.stop)
            boxes = sets.fewest_untried()
            while boxes is not None and (fewest is None or len(boxes) <= fewest):
                now = (*before, *[boxes] * len(self.turns[turn]))
                try:
                    here = self._at_turn(search, now, turn)
                    enough = _reaching(here, wanted, least, self.slack_nm, windows.all_at_once)
                except NoPlan:
                    enough = None
                if enough is not None:
                    if fewest is None or len(boxes) < fewest:
                        fewest, best = len(boxes), None
                        search.choice = here.choice
                        search.figure = WORST
                    _prove_quality(enough, QUALITY["target"])
                    figures = _values(here, QUALITY["target"])
                    if self.ties and turn + 1 == len(self.turns):
                        if turn:
                            here.take(here.kind.terms)
                        figures += _ties(here)
                    if best is None or figures < best:
                        best, equals = figures, []
                        search.choice = here.choice
                    if figures == best:
                        equals.append(now)
                sets.rule_out(boxes)
                boxes = sets.fewest_untried()
        return equals

    def _at_turn(self, search: Search, boxes: _Boxes, turn: int) -> Search:
        """A search in which the first jobs draw on these boxes only, with what was proven for earlier turns kept."""
        here = self.search(search.kind.from_boxes(boxes))
        terms = iter(here.kind.terms)
        for i, work in enumerate(self.turns[: turn + 1]):
            here.take(list(islice(terms, len(work))))
            if i < turn:
                _prove_quality(fill(here), QUALITY["target"])
        return here


def _reaching(search: Search, wanted: tuple[int, ...], least: int, slack: int, at_once: bool) -> Windows | None:
    """What is left if the boxes of this search give these levels 0 and 1 with a worst |deviation| that is within the
    slack of the least with all boxes; None if they do not."""
    windows = fill_all(search, least + slack)
    if windows is None:
        if at_once:  # and these boxes must also fill all at once
            return None
        windows = fill_most(search)
    if _values(search, LEVELS_0_AND_1) != wanted:
        return None
    search.least_worst = max(search.least_worst, least)
    return windows if windows.least_worst() <= least + slack else None


def _values(search: Search, figures: Iterable[Figure]) -> tuple[int, ...]:
    """For the current plan and the jobs being solved; smaller is better."""
    return tuple(map(search.value, figures))
