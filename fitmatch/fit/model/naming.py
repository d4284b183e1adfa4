"""From classes to the actual shells: a deterministic rule that no figure of levels 0 to 3 depends on.

Both halves of a bore from one box where the chosen walls allow, then few boxes, then natural order of names.
"""

from collections.abc import Sequence
from heapq import heappop, heappush

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair, ShellClass
from fitmatch.names import natural
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.answers.placements import Placement
from fitmatch.records.parts import Position, Shell


def name_shells(kind: Kind, seats: Sequence[tuple[Position, Pair]]) -> list[Placement]:
    """Give every position with its chosen pair two shells; the positions are those of `kind`."""
    order = {position.key: i for i, position in enumerate(kind.positions)}
    seats = sorted(seats, key=lambda seat: order[seat[0].key])

    stock = _Stock({c.index: c for _, p in seats for c in (p.upper, p.lower)})
    boxes: dict[int, tuple[int, int]] = {}
    # A bore whose halves are found together in few boxes comes first: one with more choice would take them away.
    choices = [stock.choices(_both(pair)) for _, pair in seats]
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


_Wanted = tuple[tuple[int, int], ...]  # how many shells of each of these classes, from one box


def _both(pair: Pair) -> _Wanted:
    if pair.upper is pair.lower:
        return ((pair.upper.index, 2),)
    return (pair.upper.index, 1), (pair.lower.index, 1)


class _Open:
    """Where to look for what is wanted: a box already drawn from, lowest number first, otherwise the last of those not
    yet drawn from."""

    def __init__(self, boxes: list[int]) -> None:
        self.boxes = boxes
        self.untouched = boxes[::-1]
        self.drawn: list[int] = []  # a heap
        self.looked_at = 0  # how many of the boxes drawn from have been checked for it


class _Stock:
    """The shells of each class by box; boxes are numbered in natural order. First a box is chosen for every half, then
    its shells are named in natural order."""

    def __init__(self, classes: dict[int, ShellClass]) -> None:
        names = {shell.box for c in classes.values() for shell in c.members}
        number = {name: i for i, name in enumerate(sorted(names, key=natural))}
        self._shells: dict[tuple[int, int], list[Shell]] = {}
        for index, c in classes.items():
            for shell in c.members:
                self._shells.setdefault((index, number[shell.box]), []).append(shell)
        self._left = {where: len(shells) for where, shells in self._shells.items()}
        self._boxes: dict[int, list[int]] = {}
        for index, box in sorted(self._left):
            self._boxes.setdefault(index, []).append(box)
        self._drawn: dict[int, int] = {}  # by when they came
        self._in_turn: list[int] = []  # the same in that order
        self._open: dict[_Wanted, _Open] = {}
        self._in_order: set[tuple[int, int]] = set()

    def choices(self, wanted: _Wanted) -> int:
        """How many boxes have all this, counted before anything is drawn."""
        return len(self._opened(wanted).untouched)

    def best(self, wanted: _Wanted) -> int | None:
        """Of the boxes that have all this, one already drawn from, otherwise the first."""
        found = self._opened(wanted)
        new = self._in_turn[found.looked_at :]
        if len(found.boxes) < len(new):  # of very many boxes few hold what is wanted
            new = [box for box in found.boxes if self._drawn.get(box, -1) >= found.looked_at]
        for box in new:
            if self._holds(box, wanted):
                heappush(found.drawn, box)
        found.looked_at = len(self._in_turn)
        while found.drawn:
            if self._holds(found.drawn[0], wanted):
                return found.drawn[0]
            heappop(found.drawn)
        while found.untouched and found.untouched[-1] in self._drawn:
            found.untouched.pop()
        return found.untouched[-1] if found.untouched else None

    def reserve(self, index: int, box: int) -> int:
        if box not in self._drawn:
            self._drawn[box] = len(self._in_turn)
            self._in_turn.append(box)
        self._left[index, box] -= 1
        return box

    def reserve_any(self, index: int) -> int:
        box = self.best(((index, 1),))
        if box is None:
            raise FaultInFitmatch("a plan uses more shells than there are")
        return self.reserve(index, box)

    def take(self, index: int, box: int) -> Shell:
        where = index, box
        if where not in self._in_order:
            self._shells[where].sort(key=lambda s: natural(s.name), reverse=True)
            self._in_order.add(where)
        return self._shells[where].pop()

    def _opened(self, wanted: _Wanted) -> _Open:
        if wanted not in self._open:
            self._open[wanted] = _Open([box for box in self._boxes[wanted[0][0]] if self._holds(box, wanted)])
        return self._open[wanted]

    def _holds(self, box: int, wanted: _Wanted) -> bool:
        return all(self._left.get((index, box), 0) >= count for index, count in wanted)
