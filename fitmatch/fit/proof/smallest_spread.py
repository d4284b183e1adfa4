"""The smallest spread of one job: windows that slide over the deviations, each a small feasibility program.

A plan whose smallest deviation is `start` has at least the spread of the window from there that has a pair for enough
positions. Once that width is no smaller than the spread of the best plan known, nothing is left to try. Neighbouring
starts are tried together, with a window that contains all of theirs: what it lacks they lack.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.order import SPREAD
from fitmatch.fit.model.pairs import Choice
from fitmatch.fit.proof.pair_sources import Source
from fitmatch.fit.proof.search import Search

MANY_PAIRS = 3_000  # a window of more is tried for a single start (measured)


class _Starts(NamedTuple):
    """Smallest deviations that a plan of this source may have, in order, each with its least width."""

    source: Source
    least: dict[int, int]

    def below(self, spread: int) -> list[int]:
        return [start for start, width in self.least.items() if width < spread]


def narrow_spread(search: Search, sources: Sequence[Source], slack: int = 0) -> int:
    """Prove the smallest spread over all that the sources can give, and keep it, widened by `slack`."""
    search.figure = SPREAD
    if not any(p.counted for p in search.choice):
        return 0
    wanted = sum(times for p, times in search.choice.items() if p.counted)
    starts = [_Starts(source, dict(sorted(source.least_widths(wanted)))) for source in sources]
    best = _spread(search.choice)
    for one in starts:
        best = _best_of(search, one, best)
    search.fields = [pairs for one in starts for pairs in _windows(search, one, best + slack)]
    return search.proved(best)


def _best_of(search: Search, starts: _Starts, best: int) -> int:
    """The smallest spread of a plan from these starts, or `best` if none is smaller."""
    open_starts = starts.below(best)
    if open_starts:
        # Usually there is a plan in the narrowest of all.
        narrowest = min(open_starts, key=starts.least.__getitem__)
        found = search.feasible(starts.source.pairs(narrowest, narrowest + starts.least[narrowest]))
        if found is not None:
            search.choice = found
            best = _spread(found)
    todo = [some for some in [starts.below(best)] if some]
    while todo:
        # The narrowest first: a plan of small spread rules out most others.
        likely = min(range(len(todo)), key=lambda i: min(starts.least[start] for start in todo[i]))
        block = [start for start in todo.pop(likely) if starts.least[start] < best]
        if not block:
            continue
        found = None
        if len(block) == 1 or starts.source.count(block[0], block[-1] + best - 1) <= MANY_PAIRS:
            found = search.feasible(starts.source.pairs(block[0], block[-1] + best - 1))
            if found is None:
                continue
            if _spread(found) < best:
                search.choice = found
                best = _spread(found)
                todo.append(block)
                continue
        todo += filter(None, _halves(block))
    return best


def _windows(search: Search, starts: _Starts, width: int) -> Iterator[list[Pair]]:
    """The windows of this width that contain a plan."""
    todo = [starts.below(width + 1)]
    alone = len(todo[0]) <= 1
    while todo:
        block = todo.pop()
        if not block:
            continue
        if len(block) == 1 or starts.source.count(block[0], block[-1] + width) <= MANY_PAIRS:
            pairs = starts.source.pairs(block[0], block[-1] + width)
            if not alone and search.feasible(pairs) is None:
                continue
            if len(block) == 1:
                yield pairs
                continue
        todo += _halves(block)


def _halves(block: list[int]) -> list[list[int]]:
    middle = len(block) // 2
    return [block[middle:], block[:middle]]


def _spread(choice: Choice) -> int:
    deviations = [p.deviation_nm for p in choice if p.counted]
    return max(deviations) - min(deviations)
