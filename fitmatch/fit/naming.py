"""From classes to the very shells: a deterministic rule that no figure of levels 0 to 3 depends on.

Both halves of a bore from one box where the chosen walls allow, then few boxes, then natural order of names.
"""

from collections import Counter
from collections.abc import Sequence

from fitmatch.fit.bores import Pair, ShellClass
from fitmatch.fit.candidates import Kind
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
    boxes: dict[int, tuple[str, str]] = {}
    # A bore whose halves lie together in few boxes comes first: one that has more to choose from would take them away.
    choices = [len(stock.boxes_with_both(pair.upper, pair.lower)) for _, pair in seats]
    for at in sorted(range(len(seats)), key=choices.__getitem__):
        pair = seats[at][1]
        together = stock.boxes_with_both(pair.upper, pair.lower)
        if together:
            box = stock.best(together)
            boxes[at] = stock.reserve(pair.upper, box), stock.reserve(pair.lower, box)
    for at, (_, pair) in enumerate(seats):
        if at not in boxes:
            upper = stock.reserve(pair.upper, stock.best(stock.boxes_with(pair.upper)))
            boxes[at] = upper, stock.reserve(pair.lower, stock.best(stock.boxes_with(pair.lower)))
    return [
        kind.place(position, stock.take(pair.upper, boxes[at][0]), stock.take(pair.lower, boxes[at][1]))
        for at, (position, pair) in enumerate(seats)
    ]


class _Stock:
    """The shells of each class by box. First a box is chosen for every half, then its shells are named in natural
    order."""

    def __init__(self, classes: dict[int, ShellClass]) -> None:
        self._shells: dict[int, dict[str, list[Shell]]] = {}
        for index, c in classes.items():
            by_box = self._shells.setdefault(index, {})
            for shell in sorted(c.members, key=lambda s: natural(s.name), reverse=True):
                by_box.setdefault(shell.box, []).append(shell)
        self._left = {index: Counter({b: len(s) for b, s in by_box.items()}) for index, by_box in self._shells.items()}
        self._drawn: set[str] = set()
        names = {box for by_box in self._shells.values() for box in by_box}
        self._order = {box: i for i, box in enumerate(sorted(names, key=natural))}

    def boxes_with_both(self, upper: ShellClass, lower: ShellClass) -> list[str]:
        mine, other = self._left[upper.index], self._left[lower.index]
        need = 2 if upper is lower else 1
        return [box for box, count in mine.items() if count >= need and other[box]]

    def boxes_with(self, c: ShellClass) -> list[str]:
        return [box for box, count in self._left[c.index].items() if count]

    def best(self, boxes: list[str]) -> str:
        """A box drawn from already, else the first in natural order."""
        return min(boxes, key=lambda box: (box not in self._drawn, self._order[box]))

    def reserve(self, c: ShellClass, box: str) -> str:
        self._drawn.add(box)
        self._left[c.index][box] -= 1
        return box

    def take(self, c: ShellClass, box: str) -> Shell:
        return self._shells[c.index][box].pop()
