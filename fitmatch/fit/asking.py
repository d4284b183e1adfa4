"""One question, asked of many variants of a job: could this position be filled inside its limits with no other position
of its kind worse off on levels 0 and 1 than in the answer?

Worse off is a position that was inside its limits and is not, one that was filled and is empty, or one that was outside
and is farther outside. Positions that were empty may stay so.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from fitmatch.fit.candidates import Kind, Pair, Rack
from fitmatch.fit.demands import Demand
from fitmatch.fit.search import Choice, Limit, Measure, Search
from fitmatch.fit.stopping import Stop
from fitmatch.parts import Job, Placement, Position

_MOST_PAIRS = 40_000  # a question over more is not asked
_MOST_QUESTIONS = 800  # of one kind
_PLENTY = 2  # halves of one class for every position, where there are as many as one likes


class TooMuch(Exception):
    """The question is too large to be asked just to explain something, or too many were asked."""


class Asker:
    """Asks about one kind of a job; `placements` are what the answer gives it."""

    def __init__(self, job: Job, kind: str, placements: Sequence[Placement], stop: Stop) -> None:
        self.job = job
        self.kind = kind
        self._stop = stop
        self._placed = {p.position.name: p for p in placements}
        inside = {p.position.name for p in placements if p.within_limits}
        self._alone = [p.name for p in job.positions if p.kind == kind and p.name not in inside]
        self._kinds: dict[object, Kind] = {}
        self._left = _MOST_QUESTIONS

    def can(
        self, job: Job, position: Position, key: object, *, plenty: Iterable[str] = (), free: Iterable[str] = ()
    ) -> bool:
        """Whether it could be, in this variant of the job, which is told from others by `key`. `plenty`: sides with as
        many halves of each wall as one likes; `free`: which of `min` and `max` do not bind the position."""
        plenty, free = tuple(sorted(plenty)), set(free)
        kind = self.prepared(job, (key, plenty), plenty)
        fixed = [p for p in kind.fixed if p.position.name == position.name]
        if fixed:  # locked in both halves: nothing to choose for it
            short, over = fixed[0].shortfall_nm and "min" not in free, fixed[0].excess_nm and "max" not in free
            return not short and not over
        return self.plan(kind, position, self.pairs(kind, position, free)) is not None

    def least(self, position: Position, free: str, measure: Measure) -> int | None:
        """The least `measure` that the position's pair can have once this limit of it is let go; None where that does
        not help."""
        kind = self.prepared(self.job, ((), ()))
        fixed = [p for p in kind.fixed if p.position.name == position.name]
        if fixed:
            by, other = fixed[0].excess_nm, fixed[0].shortfall_nm
            by, other = (by, other) if free == "max" else (other, by)
            return None if other else by
        pairs = self.pairs(kind, position, {free})
        values = sorted({measure(p) for p in pairs})
        low, high, middle = 0, len(values) - 1, 0  # the very least is likely to do
        if self.plan(kind, position, pairs) is None:
            return None
        while low < high:
            if self.plan(kind, position, [p for p in pairs if measure(p) <= values[middle]]) is not None:
                high = middle
            else:
                low = middle + 1
            middle = (low + high) // 2
        return values[low]

    def plan(self, kind: Kind, position: Position, pairs: Sequence[Pair], *limits: Limit) -> Choice | None:
        """A plan that fills the position from these pairs, among which may be some of other positions, and makes no
        other worse off."""
        if not any(p.bore.positions[0].name == position.name for p in pairs):
            return None
        for every in (False, True):  # first let the others have walls like those they have
            field = [*pairs, *self._of_others(kind, position, every=every)]
            self._left -= 1
            if self._left < 0 or len(field) > _MOST_PAIRS:
                raise TooMuch
            search = Search(kind, self._stop)
            search.limits += limits
            search.require_full(len(self.seats(kind, position)))
            found = search.feasible(field)
            if found is not None:
                return found
        return None

    def pairs(self, kind: Kind, position: Position, free: Iterable[str] = ()) -> list[Pair]:
        """The pairs that bring the position inside its limits, as far as these are not let go."""
        found: list[Pair] = []
        for bore in kind.bores:
            if bore.positions[0].name == position.name:
                low = 0 if "max" in free else bore.inside_low
                found += kind.pairs(bore, low, bore.sum_high if "min" in free else bore.inside_high)
        return found

    def seats(self, kind: Kind, position: Position) -> set[int]:
        """The seats that must be filled: the position's own and those that are filled in the answer."""
        names = {position.name} | self._placed.keys()
        return {bore.seat for bore in kind.bores if bore.positions[0].name in names}

    def prepared(self, job: Job, key: object, plenty: Iterable[str] = ()) -> Kind:
        """The kind with every position that fails in the answer standing by itself; kept for the next question."""
        if key not in self._kinds:
            kind = Kind(job, self.kind)
            for name in self._alone:
                Demand(name).alter(kind)
            for side in plenty:
                _make_plenty(kind, side)
            self._kinds[key] = kind
        return self._kinds[key]

    def _of_others(self, kind: Kind, position: Position, *, every: bool) -> Iterator[Pair]:
        for bore in kind.bores:
            name = bore.positions[0].name
            if name == position.name or name not in self._placed:
                continue
            if name in self._alone:
                worst = _badness(self._placed[name])
                yield from (p for p in kind.pairs(bore, 0, bore.sum_high) if _badness_of(p) <= worst)
            elif every:
                yield from kind.pairs(bore, bore.inside_low, bore.inside_high)
            else:
                for deviation in {self._placed[p.name].deviation_nm for p in bore.positions}:
                    yield from kind.within(bore, deviation, deviation)


def _badness(p: Placement) -> tuple[int, int, int]:
    return int(p.shortfall_nm > 0), p.shortfall_nm, p.excess_nm


def _badness_of(p: Pair) -> tuple[int, int, int]:
    return p.below, p.shortfall_nm, p.excess_nm


def _make_plenty(kind: Kind, side: str) -> None:
    """As many halves of this side as one likes, of the walls there are: classes of their own, so that a shell of either
    half stays single on the other side."""
    made: dict[int, Rack] = {}
    positions = sum(bore.count for bore in {b.seat: b for b in kind.bores}.values())
    for bore in kind.bores:
        rack: Rack = getattr(bore, side)
        if id(rack) not in made:
            classes = []
            for c in rack.classes:
                many = c.members[:1] * (_PLENTY * positions)
                classes.append(replace(c, index=len(kind.classes), members=many))
                kind.classes.append(classes[-1])
            made[id(rack)] = Rack(classes, list(rack.walls))
        setattr(bore, side, made[id(rack)])
