"""Housings that are loose parts and may go to another journal: which may go where, as further bores of each seat.

With the housing goes its bore and how that was read, its seating and its accept; journal, target, limits, locks and
pin stay. Every measured position of a movable kind gets one measured housing, so that an empty one has its housing too.
"""

from dataclasses import dataclass

from fitmatch.fit.bores import Bore, Pair, Rack, ShellClass
from fitmatch.fit.candidates import Kind, asks_for, bore_refused, ready
from fitmatch.fit.model import Choice
from fitmatch.fit.shifts import ANYWHERE
from fitmatch.fit.terms import Terms
from fitmatch.housings import may_move, rehoused
from fitmatch.parts import Position

_NO_SHELL = ShellClass(-1, "", 0, (), "")
_EMPTY_RACK = Rack([], [])


@dataclass(slots=True, eq=False)
class House:
    """Housings that are interchangeable, by the rows they stand in."""

    index: int
    members: list[Position]

    @property
    def count(self) -> int:
        return len(self.members)


class MovingKind(Kind):
    """A kind whose housings may move, in the jobs that allow it."""

    def _sort_in(self, terms: Terms) -> None:
        if self.name not in terms.job.rules.movable:
            super()._sort_in(terms)
            return
        positions = []
        for position in terms.job.positions:
            if position.kind == self.name:
                if ready(position, self._by_key):
                    positions.append(position)
                if not ready(position, self._by_key) or bore_refused(terms.job, position):  # on every journal
                    self.incomplete.add(terms)
        first = len(self.positions)
        self.positions += positions
        houses: dict[tuple[object, ...], House] = {}
        seats: dict[tuple[object, ...], list[Position]] = {}
        own: dict[int, House] = {}
        for index, position in enumerate(positions, first):
            what = (position.housing_bore, position.seating_nm, position.accept is None, position.within)
            own[id(position)] = houses.setdefault(what, House(index, []))
            own[id(position)].members.append(position)
            locked = position.upper is not None or position.lower is not None
            journal = (
                position.journal,
                asks_for(position),
                id(position) if locked or terms.shifts.on else None,
            )
            seats.setdefault((what, journal), []).append(position)
        for alike in seats.values():
            self._add_seat(alike, own[id(alike[0])], list(houses.values()), terms)

    def _add_seat(self, positions: list[Position], own: House, houses: list[House], terms: Terms) -> None:
        """A seat with a bore for each housing that may stand there, its own first."""
        journal, seat = positions[0], len(self.seats)
        upper = self._rack("upper", journal.wants_upper, journal.upper, terms)
        lower = self._rack("lower", journal.wants_lower, journal.lower, terms)
        for house in sorted(houses, key=lambda h: h is not own):
            if house is not own and not may_move(journal, house.members[0]):
                continue
            fitted = rehoused(journal, house.members[0])
            racks = (_EMPTY_RACK, _EMPTY_RACK) if bore_refused(terms.job, fitted) else (upper, lower)
            margins = self._margins(fitted, *racks, terms)
            bore = self._make_bores(seat, fitted, positions, *racks, terms, margins, ANYWHERE, house)
            if house is own:
                self.seats.append(bore)
            bore_is_sure = not bore.counts and any(True for _ in self.pairs(bore, 0, bore.sum_high))
            if not bore_is_sure:  # what is locked in both halves is in, if any clearance is left
                self.vacancies.append(_vacancy(bore))


def settle(kind: Kind, choice: Choice) -> tuple[list[tuple[Position, Pair]], dict[int, Position]]:
    """Give every chosen pair a position, and every position of a movable kind (by its id) its housing.

    Housings that can stay do; the rest go in file order.
    """
    seats: list[tuple[Position, Pair]] = []
    chosen: dict[int, list[Pair]] = {}
    for pair, times in choice.items():
        chosen.setdefault(pair.bore.seat, []).extend([pair] * times)
    for bore in kind.seats:
        pairs = chosen.get(bore.seat, [])
        pairs.sort(key=lambda p: (-p.filled, -p.stays, p.bore.index, p.upper.wall_nm, p.upper.index, p.lower.index))
        seats += zip(bore.positions, pairs, strict=False)
    housings: dict[int, Position] = {}
    left: dict[int, list[Position]] = {}
    for _, pair in seats:
        if pair.bore.house is not None:
            left.setdefault(pair.bore.house.index, list(pair.bore.house.members))
    for position, pair in seats:
        if pair.bore.house is not None and pair.stays:
            housings[id(position)] = position
            left[pair.bore.house.index] = [p for p in left[pair.bore.house.index] if p is not position]
    order = {id(position): i for i, position in enumerate(kind.positions)}
    for position, pair in sorted(seats, key=lambda seat: order[id(seat[0])]):
        if pair.bore.house is not None and not pair.stays:
            housings[id(position)] = left[pair.bore.house.index].pop(0)
    return [(position, pair) for position, pair in seats if pair.filled], housings


def _vacancy(bore: Bore) -> Pair:
    """The seat stays empty and has this housing."""
    return Pair(bore, _NO_SHELL, _NO_SHELL, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, bore.stays)
