"""One question, asked of many variants of the jobs that decide a kind together: could this position be filled inside
its limits with no other position of the kind worse off on levels 0 and 1 than in the answer?

A position is worse off if it was filled and is empty, or misses its min, its max, or an end of its wanted band by more
than it did, whatever it gains at another. Positions that were empty may stay so.
"""

from bisect import bisect_left
from collections.abc import Iterable, Iterator, Mapping, Sequence
from itertools import chain, islice
from operator import attrgetter, le

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Pair
from fitmatch.fit.model.groups import Decided, kind_for, movable
from fitmatch.fit.model.order import LEVEL_1, WISH, Filled
from fitmatch.fit.model.pairs import Bounds, Choice, Limit
from fitmatch.fit.model.variants import apart, with_plenty, without
from fitmatch.fit.proof.search import Search
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.job import Jobs
from fitmatch.records.keys import PositionKey
from fitmatch.records.pools import IN_ORDER
from fitmatch.rules.in_force import row_rules
from fitmatch.rules.positions.drawing import walls_drawn

_MOST_PAIRS = 40_000  # a question over more pairs is not asked
_MOST_WORK = 75_000  # for all questions about one answer, in pairs: one to two seconds (measured)
_IN_ROWS = 2  # a pair costs this many times as much if bores in a row constrain each other
_EACH_QUESTION = 50  # what a question costs apart from its pairs, and ...
_EACH_BORE, _EACH_SHELL = 0.2, 0.1  # ... to look through the bores, to sort the shells into classes, ...
_EACH_APART = 0.01  # ... to separate one from each of the others
_WIDTHS = False, True  # at first the others only get walls like those they have
_EFFORTS = (0.01, 0.01, 0.1, 0.1)  # efforts of the solver for one question; most are decided without it
_EACH_EFFORT = 50_000  # pairs that cost as much as 1 of it
_PLENTY = 2  # halves of one class for every position, if supply is unlimited


class TooMuch(Exception):
    """The question is too large just to explain something, or the budget is spent."""


class Budget:
    """The work that may go into the questions about one answer. It is counted in steps and not in seconds, so that the
    same answer gets the same reasons on any machine. Half of it is open from the start, the rest from `open_rest`."""

    def __init__(self) -> None:
        self._left = _MOST_WORK / 2

    def open_rest(self) -> None:
        self._left += _MOST_WORK / 2

    @property
    def spent(self) -> bool:
        return self._left <= 0

    def spend(self, work: float) -> None:
        """Raises TooMuch if not so much is left; then nothing more is asked."""
        if self._left < work:
            self._left = 0
            raise TooMuch
        self._left -= work

    def efforts(self) -> Iterator[float]:
        """Efforts of the solver, each paid for before it is made."""
        for effort in _EFFORTS:
            self.spend(effort * _EACH_EFFORT)
            yield effort


def place_of(bore: Bore) -> PositionKey:
    """For the first of its positions; a separated bore has no other."""
    return bore.positions[0].key


class Asker:
    """Asks about one kind of an answer."""

    def __init__(self, one: Decided, stop: Stop, budget: Budget) -> None:
        self.jobs = one.jobs
        self.kind = one.kind
        self.in_order = len(one.jobs) > 1 and one.plan.priority == IN_ORDER
        self._stop = stop
        self._placed = one.by_place()
        self._badness = {place: badness(p) for place, p in self._placed.items()}
        well = {place for place, bad in self._badness.items() if not any(bad)}
        self._first = _first_like(one, self._badness)
        bad = [p.key for p in one.positions() if p.key not in well]
        self._alone = [place for place in bad if place in self._placed or self.first_like(place) == place]
        self._absent = set(bad) - set(self._alone)
        self._kinds: dict[object, Kind] = {}
        self._budget = budget
        in_rows = any(row_rules(job, one.kind) for job in one.jobs)
        self._each_pair = _IN_ROWS if in_rows else 1

    @property
    def exhausted(self) -> bool:
        """Whether nothing more can be asked."""
        return self._budget.spent or self._stop.requested

    def first_like(self, place: PositionKey) -> PositionKey:
        """The first position that is identical to this one: what fits one fits the other, and both fail alike."""
        return self._first.get(place, place)

    def can(
        self,
        jobs: Jobs,
        place: PositionKey,
        key: object,
        *,
        plenty: Iterable[str] = (),
        free: Iterable[str] = (),
        drawn: bool = False,
    ) -> bool:
        """Whether it could be, in this variant of the jobs, identified by `key`. `plenty`: sides with unlimited halves
        of each wall; `free`: which of `min` and `max` do not apply to the position; `drawn`: whether every shell it
        takes, unless locked, must be inside the maker's drawing limits."""
        plenty, free = tuple(sorted(plenty)), set(free)
        kind = self.prepared(jobs, (key, plenty), plenty)
        fixed = self._fixed(kind, place)
        if fixed is not None and any(nm for limit, nm in fixed.items() if limit not in free):
            return False
        pairs = self.pairs(kind, place, free)
        # A bore that was refused constrains others in its row once it is filled.
        return self.plan(kind, place, list(filter(self.is_drawn, pairs)) if drawn else pairs) is not None

    def least(self, place: PositionKey, free: str, *, alone: bool) -> int | None:
        """The least by which the position can miss this limit, `min` or `max`, once it is dropped. If dropping it does
        not help, as shells are short as well: None, or the least by which any pair allowed in it misses the limit if
        that `alone` would keep the position out."""
        kind = self.prepared(self.jobs, ((), ()))
        fixed = self._fixed(kind, place)
        if fixed is not None:
            by = fixed.pop(free)
            return None if any(fixed.values()) else by
        pairs = self.pairs(kind, place, {free})
        misses = attrgetter("excess_nm" if free == "max" else "shortfall_nm")
        values: list[int] = sorted(set(map(misses, pairs)))
        if self.plan(kind, place, pairs) is None:
            return values[0] if alone and values and values[0] > 0 else None

        def does(most: int) -> bool:
            return self.plan(kind, place, [p for p in pairs if misses(p) <= most]) is not None

        if len(values) == 1 or does(values[0]):  # the least of all is likely to do
            return values[0]
        return values[bisect_left(values, True, 1, len(values) - 1, key=does)]

    def plan(
        self, kind: Kind, place: PositionKey, pairs: Sequence[Pair], *limits: Limit, widths: Sequence[bool] = _WIDTHS
    ) -> Choice | None:
        """A plan that fills the position from these pairs, which may include pairs of other positions, and makes no
        other worse off. `widths`: whether the others may have all their pairs, one try after the other."""
        if self._fixed(kind, place) is None and not any(place_of(p.bore) == place for p in pairs):
            return None
        empty = list(self._empty(kind, place))
        seats = self.seats(kind, place) | {p.bore.seat for p in empty}
        if not seats:
            return Choice()
        for every in widths:
            field = list(islice(chain(pairs, self._of_others(kind, place, every=every), empty), _MOST_PAIRS + 1))
            self._budget.spend(_EACH_QUESTION + _EACH_BORE * len(kind.bores) + self._each_pair * len(field))
            if len(field) > _MOST_PAIRS:
                raise TooMuch
            bounds = Bounds(limits, full=frozenset(seats))
            found = Search(kind, self._stop, bounds, efforts=self._budget.efforts).feasible(field)
            if found is not None:
                return found
        return None

    def pairs(self, kind: Kind, place: PositionKey, free: Iterable[str] = ()) -> list[Pair]:
        """The pairs that bring the position inside its limits, as far as these have not been dropped."""
        found: list[Pair] = []
        for bore in kind.bores:
            if place_of(bore) == place:
                low = 0 if "max" in free else bore.inside_low
                found += kind.pairs(bore, low, bore.sum_high if "min" in free else bore.inside_high)
        return found

    def seats(self, kind: Kind, place: PositionKey) -> set[int]:
        """The seats that must be filled: the position's own and those that are filled in the answer."""
        places = {place} | self._placed.keys()
        return {bore.seat for bore in kind.seats if place_of(bore) in places}

    def no_worse(self, pair: Pair) -> bool:
        """Whether the position of this pair is no worse off with it than in the answer."""
        bad = self._badness.get(place_of(pair.bore))
        return bad is None or all(map(le, badness(pair), bad))

    def is_drawn(self, pair: Pair) -> bool:
        """Whether the walls of this pair are inside the maker's drawing limits, apart from locked ones."""
        position = pair.bore.positions[0]
        least, most = walls_drawn(pair.bore.terms.job, position.kind)
        halves = ((position.upper, pair.upper), (position.lower, pair.lower))
        return all(lock is not None or least <= half.wall_nm <= most for lock, half in halves)

    def prepared(self, jobs: Jobs, key: object, plenty: Iterable[str] = ()) -> Kind:
        """The kind with every position that is not inside its limits in the answer by itself; of identical empty ones,
        the first. Kept for other questions."""
        if key not in self._kinds:
            rows = sum(len(job.positions) for job in jobs)
            each = _EACH_BORE + _EACH_APART * len(self._alone)
            self._budget.spend(_EACH_SHELL * len(jobs[0].shells) + each * rows)
            kind = without(kind_for(jobs, self.kind), self._absent)
            for place in self._alone:
                kind, _ = apart(kind, place, may_be_empty=place not in self._placed)
            for side in plenty:
                kind = with_plenty(kind, side, _PLENTY)
            self._kinds[key] = kind
        return self._kinds[key]

    def _fixed(self, kind: Kind, place: PositionKey) -> dict[str, int] | None:
        """By how much the position misses its limits, if there is nothing to choose for it because it is locked in both
        halves."""
        found = (p for p in kind.fixed if p.position.key == place)
        return next(({"min": p.shortfall_nm, "max": p.excess_nm} for p in found), None)

    def _of_others(self, kind: Kind, place: PositionKey, *, every: bool) -> Iterator[Pair]:
        for bore in kind.bores:
            other = place_of(bore)
            if other == place or other not in self._placed:
                continue
            if other in self._alone:
                placed = self._placed[other]
                low = bore.inside_low - placed.excess_nm
                high = min(bore.not_below + placed.shortfall_nm, bore.sum_high)
                yield from filter(self.no_worse, kind.pairs(bore, low, high))
            elif every:
                yield from kind.pairs(bore, bore.wanted_low, bore.wanted_high)
            else:
                for deviation in {self._placed[p.key].deviation_nm for p in bore.positions}:
                    walls = bore.ideal - deviation
                    if bore.wanted_low <= walls <= bore.wanted_high:
                        yield from kind.pairs(bore, walls, walls)

    def _empty(self, kind: Kind, place: PositionKey) -> Iterator[Pair]:
        """What gives positions that are empty in the answer their housing, if housings may move: they stay empty,
        except for shells locked in both halves, which are in wherever they leave a clearance."""
        for vacancy in kind.vacancies:
            if place_of(vacancy.bore) != place and place_of(vacancy.bore) not in self._placed:
                yield vacancy
        for bore in kind.bores:
            other = place_of(bore)
            if bore.house is not None and not bore.counts and other != place and other not in self._placed:
                yield from kind.pairs(bore, 0, bore.sum_high)


def badness(p: Filled) -> tuple[int, ...]:
    """What levels 0 and 1 say of a filled position; all 0 if it could not be better."""
    return tuple(figure.measure(p) for figure in (*LEVEL_1, *WISH))


def _first_like(one: Decided, how_bad: Mapping[PositionKey, tuple[int, ...]]) -> dict[PositionKey, PositionKey]:
    """For positions that are equal in seat and in how well they are filled, the first of them."""
    if movable(one.jobs, one.kind):
        return {}  # each has a housing of its own
    firsts: dict[object, PositionKey] = {}
    seats = kind_for(one.jobs, one.kind).seats
    alike = ((p.key, (bore.seat, how_bad.get(p.key))) for bore in seats for p in bore.positions)
    return {place: firsts.setdefault(what, place) for place, what in alike}
