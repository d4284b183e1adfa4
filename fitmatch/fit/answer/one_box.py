"""Whether the shells of a single box would do as well as those of several: a box that need not be broken into."""

from collections import Counter
from collections.abc import Iterator, Sequence
from contextlib import suppress
from typing import Final

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.groups import placed, shares_placed
from fitmatch.fit.model.order import LEVELS_0_AND_1, value
from fitmatch.fit.proof.filling import fill_all
from fitmatch.fit.proof.search import Search
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.names import natural
from fitmatch.records.answers.placements import Placement

_MOST_SHELLS: Final = 2_000  # of more a lot is made of, not an engine


def one_box(kind: Kind, found: tuple[Kind, Sequence[Placement]], stop: Stop) -> Iterator[str]:
    """The boxes each of which alone fills all positions inside their limits with a worst |deviation| no larger than the
    plan `found` has, and no worse on levels 0 and 1. None where that plan draws on one box only, or leaves a position
    out."""
    placements = found[1]
    drawn = {shell.box for p in placements for shell in (p.upper, p.lower)}
    whole = len(placements) == len(kind.positions) and all(p.within_limits for p in placements)
    if not whole or len(drawn) < 2 or sum(len(c.members) for c in kind.classes) > _MOST_SHELLS:
        return
    most = max((abs(p.deviation_nm) for p in placements if p.counted), default=None)
    if most is None:
        return
    wanted = _levels(*found)
    for box in _large_enough(kind):
        with suppress(Stopped):
            search = Search(kind.from_boxes([frozenset((box,))] * len(kind.jobs)), stop)
            search.take(search.kind.terms)
            if fill_all(search, most) is not None and _levels(*placed(search.kind, search.choice)) <= wanted:
                yield box


def _levels(kind: Kind, placements: Sequence[Placement]) -> list[int]:
    shares = shares_placed(kind, placements)
    return [value(figure, shares) for figure in LEVELS_0_AND_1]


def _large_enough(kind: Kind) -> list[str]:
    """The boxes with enough halves for all positions, in natural order; all of the shells that are locked in pairs are
    among theirs."""
    positions = len(kind.positions)
    held = Counter((s.box, s.half) for c in kind.classes for s in c.members)
    fixed = Counter((s.box, side) for p in kind.fixed for side, s in (("upper", p.upper), ("lower", p.lower)))
    locked = {box for box, _ in fixed}

    def enough(box: str) -> bool:
        upper, lower, either = (held[box, half] + fixed[box, half] for half in ("upper", "lower", "either"))
        short = max(0, positions - upper) + max(0, positions - lower)
        return locked <= {box} and short <= either

    return sorted(filter(enough, {box for box, _ in held}), key=natural)
