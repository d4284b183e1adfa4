"""Housings that are loose parts and may go to another journal: which may go where, as further bores of each seat.

The housing takes along its bore and how that was read, its seating and its `accept`; journal, target, limits, locks and
pin stay. Every measured position of a movable kind gets one measured housing, even if it stays empty.
"""

from operator import attrgetter

from fitmatch.fit.classes.axis_rows import ANYWHERE
from fitmatch.fit.classes.candidates import Kind, asks_for, ready
from fitmatch.fit.classes.classes import Bore, House, Pair, Rack, ShellClass
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.pairs import Choice
from fitmatch.records.housings import may_move, rehoused
from fitmatch.records.keys import PositionKey
from fitmatch.records.parts import SIDES, Position
from fitmatch.rules.positions.drawing import bore_refused
from fitmatch.rules.positions.movable import is_movable

_NO_SHELL = ShellClass(-1, "", 0, (), "")
_EMPTY_RACK = Rack([], [])
# All that counts about a size: different readings or form do not make a different housing.
_counting = attrgetter("mean_nm", "smallest_nm", "largest_nm", "measured_as")


class MovingKind(Kind):
    """A kind whose housings may move, in the jobs that allow it."""

    def _sort_in(self, terms: Terms) -> None:
        if not is_movable(terms.job, self.name):
            super()._sort_in(terms)
            return
        mine = [p for p in terms.job.positions if p.kind == self.name]
        positions = [p for p in mine if ready(p, self._by_key)]
        if len(positions) < len(mine) or any(bore_refused(terms.job, p) for p in positions):  # on every journal
            self.incomplete.add(terms)
        self.positions += positions
        houses: dict[tuple[object, ...], House] = {}
        seats: dict[tuple[object, ...], list[Position]] = {}
        own: dict[PositionKey, House] = {}
        for position in positions:
            what = (_counting(position.housing_bore), position.seating_nm, position.accept is None, position.within)
            own[position.key] = houses.setdefault(what, House([]))
            own[position.key].members.append(position)
            locked = position.upper is not None or position.lower is not None
            journal = (
                _counting(position.journal),
                asks_for(position),
                position.key if locked or terms.shifts.on else None,
            )
            seats.setdefault((what, journal), []).append(position)
        for alike in seats.values():
            self._add_seat(alike, own[alike[0].key], list(houses.values()), terms)

    def _add_seat(self, positions: list[Position], own: House, houses: list[House], terms: Terms) -> None:
        """A seat with a bore for each housing that may go there, its own first."""
        journal, seat = positions[0], len(self.seats)
        upper, lower = (self._rack(side, journal, terms) for side in SIDES)
        filling: list[Bore] = []  # in which what is locked in both halves is in, as it leaves a clearance
        empty: list[Pair] = []
        for house in sorted(houses, key=lambda h: h is not own):
            if house is not own and not may_move(journal, house.members[0]):
                continue
            fitted = rehoused(journal, house.members[0])
            racks = (_EMPTY_RACK, _EMPTY_RACK) if bore_refused(terms.job, fitted) else (upper, lower)
            bore = Bore(len(self.bores), seat, terms, positions, fitted, *racks, ANYWHERE, house)
            bore = self._add_bores(bore)
            if house is own:
                self.seats.append(bore)
            # a position locked in both halves is filled, if any clearance is left
            if not bore.counts and any(True for _ in self.pairs(bore, 0, bore.sum_high)):
                filling.append(bore)
            else:
                nothing = 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0  # in every figure
                empty.append(Pair(bore, _NO_SHELL, _NO_SHELL, *nothing, bore.stays))
        self.vacancies += empty
        if filling:
            self._lock_in(terms, filling, sure=not empty)

    def _lock_in(self, terms: Terms, filling: list[Bore], *, sure: bool) -> None:
        """Shells locked in both halves are in in these bores; `sure`: in whatever housing stands there."""
        shells = [rack.classes[0].members[0] for rack in (filling[0].upper, filling[0].lower)]
        if sure:
            self.locked_in += [(terms, shell) for shell in shells]
        elif not all(self.may_draw(terms, shell) for shell in shells):  # no housing that would draw on a closed box
            self.bores = [bore for bore in self.bores if bore not in filling]
            self.always_a_plan = False


def settle(kind: Kind, choice: Choice) -> tuple[list[tuple[Position, Pair]], dict[PositionKey, Position]]:
    """Give every chosen pair a position, and every position of a movable kind (by its key) its housing.

    Housings that can stay do; the rest go in file order.
    """
    moving = isinstance(kind, MovingKind)

    def rank(pair: Pair) -> tuple[int, ...]:
        stays = (-pair.filled, -pair.stays, pair.bore.index) if moving else ()
        return pair.bore.seat, *stays, pair.upper.wall_nm, pair.upper.index, pair.lower.index

    chosen: dict[int, list[Pair]] = {}
    for pair in sorted(choice, key=rank):
        chosen.setdefault(pair.bore.seat, []).extend([pair] * choice[pair])
    seats = [seat for pairs in chosen.values() for seat in zip(pairs[0].bore.positions, pairs, strict=False)]
    housed = [(position, pair, pair.bore.house) for position, pair in seats if pair.bore.house is not None]
    housings = {position.key: position for position, pair, _ in housed if pair.stays}
    left = {house: [p for p in house.members if p.key not in housings] for _, _, house in housed}
    order = {position.key: i for i, position in enumerate(kind.positions)}
    for position, pair, house in sorted(housed, key=lambda seat: order[seat[0].key]):
        if not pair.stays:
            housings[position.key] = left[house].pop(0)
    return [(position, pair) for position, pair in seats if pair.filled], housings
