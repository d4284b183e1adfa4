"""The smallest spread of one job: windows that slide over the deviations, each a small feasibility program.

A plan whose smallest deviation is `start` has at least the spread of the window from there that has a pair for enough
positions. Once that width is no smaller than the spread of the best plan known, nothing is left to try. Neighbouring
starts are tried together, with a window that contains all of theirs: what it lacks they lack. A window that contains a
plan already known is not tried, it is parted.
"""

from collections.abc import Iterator, Sequence
from itertools import groupby

from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.order import SPREAD
from fitmatch.fit.model.pairs import Choice
from fitmatch.fit.proof.field.pair_sources import Source
from fitmatch.fit.proof.search import Search

MANY_PAIRS = 3_000  # a window of more is tried for a single start (measured)


class _Starts:
    """Smallest deviations that a plan of this source may have, in order, each with the least width that any such plan
    has as far as is proven; and where plans of this source are known."""

    def __init__(self, search: Search, source: Source, wanted: int) -> None:
        self.source = source
        self.least = dict(sorted(source.least_widths(wanted)))
        self._search = search
        self._known: list[tuple[int, int]] = []  # the smallest and the largest deviation of each plan
        ends = _ends(search.choice)
        if source.count(*ends) <= MANY_PAIRS and search.choice.keys() <= set(source.pairs(*ends)):
            self._known.append(ends)

    def below(self, spread: int) -> list[int]:
        return [start for start, width in self.least.items() if width < spread]

    def runs(self, width: int) -> list[list[int]]:
        """The starts of plans that may have this spread, neighbours together."""
        runs = groupby(self.least, key=lambda start: self.least[start] <= width)
        return [list(run) for possible, run in runs if possible]

    def known(self, block: Sequence[int], width: int) -> bool:
        """Whether there is known to be a plan in the window of these starts."""
        return any(block[0] <= low and high <= block[-1] + width for low, high in self._known)

    def few(self, block: Sequence[int], width: int) -> bool:
        """Whether their window has so few pairs that it is worth trying as a whole."""
        return len(block) == 1 or self.source.count(block[0], block[-1] + width) <= MANY_PAIRS

    def plan(self, block: Sequence[int], width: int) -> Choice | None:
        """A plan in the window of these starts, or the proof that there is none."""
        end = block[-1] + width
        found = self._search.feasible(self.source.pairs(block[0], end))
        if found is not None:
            self._known.append(_ends(found))
        else:
            self.least.update((start, max(self.least[start], end - start + 1)) for start in block)
        return found


def narrow_spread(search: Search, sources: Sequence[Source], slack: int = 0) -> int:
    """Prove the smallest spread over all that the sources can give, and keep it, widened by `slack`."""
    search.figure = SPREAD
    if not any(p.counted for p in search.choice):
        return 0
    wanted = sum(times for p, times in search.choice.items() if p.counted)
    starts = [_Starts(search, source, wanted) for source in sources]
    best = _spread(search.choice)
    for one in starts:
        best = _best_of(search, one, best)
    search.fields = [pairs for one in starts for pairs in _windows(one, best + slack)]
    return search.proved(best)


def _best_of(search: Search, starts: _Starts, best: int) -> int:
    """The smallest spread of a plan from these starts, or `best` if none is smaller."""
    open_starts = starts.below(best)
    if open_starts:
        # Usually there is a plan in the narrowest of all.
        narrowest = min(open_starts, key=starts.least.__getitem__)
        found = starts.plan([narrowest], starts.least[narrowest])
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
        if starts.few(block, best - 1) and not starts.known(block, best - 1):
            found = starts.plan(block, best - 1)
            if found is None:
                continue
            if _spread(found) < best:
                search.choice = found
                best = _spread(found)
                todo.append(block)
                continue
        todo += filter(None, _halves(block))
    return best


def _windows(starts: _Starts, width: int) -> Iterator[list[Pair]]:
    """The windows of this width that contain a plan."""
    todo = starts.runs(width)
    alone = sum(map(len, todo)) <= 1
    while todo:
        block = todo.pop()
        known = alone or starts.known(block, width)
        if not known and starts.few(block, width) and starts.plan(block, width) is None:
            continue
        if len(block) == 1:
            yield starts.source.pairs(block[0], block[0] + width)
        else:
            todo += _halves(block)


def _halves(block: list[int]) -> list[list[int]]:
    middle = len(block) // 2
    return [block[middle:], block[:middle]]


def _ends(choice: Choice) -> tuple[int, int]:
    deviations = [p.deviation_nm for p in choice if p.counted]
    return min(deviations), max(deviations)


def _spread(choice: Choice) -> int:
    low, high = _ends(choice)
    return high - low
