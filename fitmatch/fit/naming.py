"""From classes to the very shells: a deterministic rule that no figure of levels 0 to 3 depends on.

Both halves of a bore from one box where the chosen walls allow, then few boxes, then natural order of names.
"""

from collections import Counter
from collections.abc import Sequence

from fitmatch.fit.candidates import Kind, Pair, ShellClass
from fitmatch.fit.search import Choice
from fitmatch.naturalorder import natural
from fitmatch.parts import Placement, Position, Shell


def seats_of(kind: Kind, choice: Choice) -> list[tuple[Position, Pair]]:
    """Give every chosen pair a position."""
    bores: dict[int, list[Pair]] = {}
    for pair in sorted(choice, key=lambda p: (p.bore.seat, p.upper.wall_nm, p.upper.index, p.lower.index)):
        bores.setdefault(pair.bore.seat, []).extend([pair] * choice[pair])
    return [seat for pairs in bores.values() for seat in zip(pairs[0].bore.positions, pairs, strict=False)]


def name_shells(kind: Kind, seats: Sequence[tuple[Position, Pair]]) -> list[Placement]:
    """Give every position with its chosen pair two shells; the positions are those of `kind`."""
    order = {id(position): i for i, position in enumerate(kind.positions)}
    seats = sorted(seats, key=lambda seat: order[id(seat[0])])

    stock = _Stock({c.index: c for _, p in seats for c in (p.upper, p.lower)})
    placed: dict[int, Placement] = {}
    single: list[int] = []
    for at, (position, pair) in enumerate(seats):
        box = stock.box_with_both(pair.upper, pair.lower)
        if box is None:
            single.append(at)
        else:
            placed[at] = kind.place(position, stock.take(pair.upper, box), stock.take(pair.lower, box))
    for at in single:
        position, pair = seats[at]
        upper = stock.take(pair.upper, stock.box_with(pair.upper))
        placed[at] = kind.place(position, upper, stock.take(pair.lower, stock.box_with(pair.lower)))
    return [placed[at] for at in range(len(seats))]


class _Stock:
    """The shells of each class by box, in natural order of names."""

    def __init__(self, classes: dict[int, ShellClass]) -> None:
        self._shells: dict[int, dict[str, list[Shell]]] = {}
        for index, c in classes.items():
            by_box = self._shells.setdefault(index, {})
            for shell in sorted(c.members, key=lambda s: natural(s.name), reverse=True):
                by_box.setdefault(shell.box, []).append(shell)
        self._drawn: Counter[str] = Counter()
        names = {box for by_box in self._shells.values() for box in by_box}
        self._order = {box: i for i, box in enumerate(sorted(names, key=natural))}

    def box_with_both(self, upper: ShellClass, lower: ShellClass) -> str | None:
        mine, other = self._shells[upper.index], self._shells[lower.index]
        need = 2 if upper is lower else 1
        return self._best([box for box, shells in mine.items() if len(shells) >= need and other.get(box)])

    def box_with(self, c: ShellClass) -> str:
        box = self._best([box for box, shells in self._shells[c.index].items() if shells])
        assert box is not None
        return box

    def take(self, c: ShellClass, box: str) -> Shell:
        self._drawn[box] += 1
        return self._shells[c.index][box].pop()

    def _best(self, boxes: list[str]) -> str | None:
        """A box drawn from already, else the first in natural order."""
        return min(boxes, key=lambda box: (self._drawn[box] == 0, self._order[box]), default=None)
