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
from fitmatch.problems import FaultInFitmatch


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
    choices = [len(stock.boxes_with(_both(pair))) for _, pair in seats]
    for at in sorted(range(len(seats)), key=choices.__getitem__):
        pair = seats[at][1]
        box = stock.best(_both(pair))
        if box is not None:
            boxes[at] = stock.reserve(pair.upper.index, box), stock.reserve(pair.lower.index, box)
    for at, (_, pair) in enumerate(seats):
        if at not in boxes:
            boxes[at] = stock.reserve_any(pair.upper.index), stock.reserve_any(pair.lower.index)
    return [
        kind.place(position, stock.take(pair.upper.index, boxes[at][0]), stock.take(pair.lower.index, boxes[at][1]))
        for at, (position, pair) in enumerate(seats)
    ]


_Wanted = tuple[tuple[int, int], ...]  # so many shells of each of these classes, from one box


def _both(pair: Pair) -> _Wanted:
    if pair.upper is pair.lower:
        return ((pair.upper.index, 2),)
    return (pair.upper.index, 1), (pair.lower.index, 1)


class _Stock:
    """The shells of each class by box. First a box is chosen for every half, then its shells are named in natural
    order."""

    def __init__(self, classes: dict[int, ShellClass]) -> None:
        self._shells: dict[int, dict[str, list[Shell]]] = {}
        names = sorted({shell.box for c in classes.values() for shell in c.members}, key=natural)
        for index, c in classes.items():
            by_box: dict[str, list[Shell]] = {}
            for shell in c.members:
                by_box.setdefault(shell.box, []).append(shell)
            self._shells[index] = {name: by_box[name] for name in names if name in by_box}
        self._left = {index: Counter({b: len(s) for b, s in by_box.items()}) for index, by_box in self._shells.items()}
        self._drawn: set[str] = set()
        self._open: dict[_Wanted, list[str]] = {}
        self._in_order: set[tuple[int, str]] = set()

    def boxes_with(self, wanted: _Wanted) -> list[str]:
        """The boxes that held all this when it was first asked for, in natural order; some of them may not any more."""
        if wanted not in self._open:
            self._open[wanted] = [box for box in self._left[wanted[0][0]] if self._holds(box, wanted)]
        return self._open[wanted]

    def best(self, wanted: _Wanted) -> str | None:
        """Of the boxes that hold all this one drawn from already, else the first in natural order."""
        boxes = self.boxes_with(wanted)
        holding: list[str] = []
        found, seen = None, 0
        for seen, box in enumerate(boxes, 1):  # noqa: B007 - how many were looked at
            if self._holds(box, wanted):
                holding.append(box)
                if box in self._drawn:
                    found = box
                    break
        boxes[:seen] = holding  # shells only become fewer: what lacks any now need not be looked at again
        return found or (holding[0] if holding else None)

    def reserve(self, index: int, box: str) -> str:
        self._drawn.add(box)
        self._left[index][box] -= 1
        return box

    def reserve_any(self, index: int) -> str:
        box = self.best(((index, 1),))
        if box is None:
            raise FaultInFitmatch("a plan uses more shells than there are")
        return self.reserve(index, box)

    def take(self, index: int, box: str) -> Shell:
        shells = self._shells[index][box]
        if (index, box) not in self._in_order:
            shells.sort(key=lambda s: natural(s.name), reverse=True)
            self._in_order.add((index, box))
        return shells.pop()

    def _holds(self, box: str, wanted: _Wanted) -> bool:
        return all(self._left[index][box] >= count for index, count in wanted)
