"""All journals of a kind ground to one size: the widest run of sizes at which every position lies inside its limits
with the shells there are.

Whether one size will do is a question of feasibility. Between two sizes nothing changes unless a pair of shells enters
or leaves the limits of some position, so the sizes are walked from the smallest up: a plan that is found will do up to
the size at which its first pair leaves, and where there is none the next size to try is where another pair enters.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Sequence
from operator import le
from typing import Final, NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore, Pair
from fitmatch.fit.model.groups import kind_for
from fitmatch.fit.model.pairs import Bounds, Choice
from fitmatch.fit.proof.search import Search
from fitmatch.fit.solver.stopping import Stopped
from fitmatch.fit.why.questions import badness
from fitmatch.records.answers.placements import Placement
from fitmatch.records.parts import Position
from fitmatch.study.advice.advised import GRIND, Advice, Run, Sizes
from fitmatch.study.advice.at_the_bench import machined
from fitmatch.study.advice.changes import with_ground
from fitmatch.study.advice.metal import too_loose, too_tight
from fitmatch.study.advice.solving import Trial

_MOST_SIZES: Final = 2_000  # more are not tried
_MOST_SUMS: Final = 400_000  # of walls, for all bores


class Ground(NamedTuple):
    """What grinding the journals of one job's kind can give. `complete`: all sizes were looked at."""

    run: Run | None
    complete: bool


def by_grinding(trial: Trial, position: Position, ground: Ground) -> Iterator[Advice]:
    """To the widest run of sizes, its middle solved; where there is none, to the next undersize, whose shells decide
    the final size once they are measured."""
    rows, place = _rows(trial, position), position.key
    named = {"kind": position.kind, "positions": tuple(p.name for p in rows)}
    if ground.run is None:
        if ground.complete and (too_tight(trial, trial.jobs, place) or too_loose(trial, trial.jobs, place)):
            yield Advice(GRIND, {**named, "undersize": "next"})
        return
    middle = (ground.run.lowest_nm + ground.run.highest_nm) // 2
    reached = trial.reached(with_ground(trial.jobs, {p.key for p in rows}, middle), place)
    if reached is not None:
        journals, sizes = (p.journal for p in rows), Sizes(*ground.run, middle)
        to = machined(trial.job_of(place), position.kind, "journal", journals, sizes)
        yield Advice(GRIND, {**named, "journal_nm": middle}, ground.run, reached=reached, machined=to)


def widest_run(trial: Trial, position: Position) -> Ground:
    """For the journals of the position's job and kind, none of them larger than the smallest is now. Positions of other
    jobs that share the shells are to be no worse off."""
    rows = _rows(trial, position)
    if any(p.missing or p.max_nm is None for p in rows):
        return Ground(None, complete=True)  # without a max no size is too small
    top = min(p.journal.smallest_nm for p in rows if p.journal is not None)
    walk = _Walk(trial, rows, top)
    try:
        run = walk.widest()
    except Stopped:
        return Ground(None, complete=False)
    return Ground(run, complete=not walk.gave_up)


def _rows(trial: Trial, position: Position) -> list[Position]:
    return [p for p in trial.job_of(position.key).positions if p.kind == position.kind]


class _Sums(NamedTuple):
    """The wall sums that a seat, or a bore locked in both halves, may have, in order, and those that are inside its
    limits with the largest journal."""

    walls: list[int]
    low: int
    high: int

    def inside(self, at: int) -> bool:
        """Whether one is inside with a journal `at` from the largest; smaller journals take thicker shells."""
        found = bisect_left(self.walls, self.low - at)
        return found < len(self.walls) and self.walls[found] <= self.high - at


class _Walk:
    """Sizes of one common journal, each written as its distance `at` from the largest: 0 or below."""

    def __init__(self, trial: Trial, rows: Sequence[Position], top: int) -> None:
        self._trial = trial
        self._places = {p.key for p in rows}
        self._top = top
        self.gave_up = False

    def widest(self) -> Run | None:
        """None if no size will do; of equally wide runs the one of larger sizes."""
        seats = self._seats()
        if not seats:
            return None
        enters = sorted({sums.low - walls for some in seats for sums in some for walls in sums.walls})
        at: int | None = max(min(sums.low - sums.walls[-1] for sums in some) for some in seats)
        begun, best, tried = None, None, 0
        while at is not None and at <= 0:
            end = None
            if all(any(sums.inside(at) for sums in some) for some in seats):
                tried += 1
                if tried > _MOST_SIZES:
                    self.gave_up = True
                    return None
                end = self._lasts(at)
            if end is None:
                begun, after = None, bisect_right(enters, at)
                at = enters[after] if after < len(enters) else None
                continue
            begun, end = at if begun is None else begun, min(end, 0)
            if best is None or end - begun >= best[1] - best[0]:
                best = begun, end
            at = end + 1
        return None if best is None else Run(self._top + best[0], self._top + best[1])

    def _kind(self, at: int) -> Kind | None:
        jobs = with_ground(self._trial.jobs, self._places, self._top + at)
        return None if jobs is None else kind_for(jobs, self._trial.kind)

    def _seats(self) -> list[list[_Sums]]:
        """For each seat its bores; none if some position could never be inside."""
        kind = self._kind(0)
        if kind is None or not self._places <= {p.key for p in kind.positions}:
            return []
        seats: dict[object, list[_Sums]] = {}
        number = 0
        for bore in kind.bores:
            if bore.positions[0].key in self._places:
                number += len(bore.upper.walls) * len(bore.lower.walls)
                if number > _MOST_SUMS:
                    self.gave_up = True
                    return []
                walls = sorted({u + v for u in bore.upper.walls for v in bore.lower.walls})
                if walls:
                    seats.setdefault(bore.seat, []).append(_Sums(walls, bore.inside_low, bore.inside_high))
        shells = {s.key: s for s in kind.jobs[0].shells}
        for p in kind.positions:
            if p.key in self._places and p.upper is not None and p.lower is not None:
                placed = kind.place(p, shells[p.upper], shells[p.lower])
                seats[p.key] = [self._locked(placed)]
        whole = {b.seat for b in kind.seats if b.positions[0].key in self._places} <= seats.keys()
        return list(seats.values()) if whole else []

    def _locked(self, placed: Placement) -> _Sums:
        assert placed.limit_high_nm is not None
        walls = placed.wall_sum_nm
        low = walls + placed.clearance_nm - placed.limit_high_nm
        return _Sums([walls], low, walls + placed.clearance_tightest_nm - max(1, placed.limit_low_nm or 0))

    def _lasts(self, at: int) -> int | None:
        """The largest size that a plan for this one will do for; None if there is no plan."""
        kind = self._kind(at)
        if kind is None:
            return None
        fixed = [p for p in kind.fixed if p.position.key in self._places]
        choosing = {p.key for b in kind.seats for p in b.positions}
        if not self._places <= choosing | {p.position.key for p in fixed} or not all(p.within_limits for p in fixed):
            return None
        field = [pair for bore in kind.bores for pair in self._pairs(kind, bore)]
        field += [v for v in kind.vacancies if v.bore.positions[0].key not in self._must]
        full = frozenset(b.seat for b in kind.seats if b.positions[0].key in self._must)
        choice: Choice | None = Search(kind, self._trial.stop, Bounds(full=full)).feasible(field) if full else Choice()
        if choice is None:
            return None
        mine = [p for p in choice if p.filled and p.bore.positions[0].key in self._places]
        spare = [p.bore.inside_high - p.upper.wall_nm - p.lower.wall_nm for p in mine]
        spare += [p.clearance_tightest_nm - max(1, p.limit_low_nm or 0) for p in fixed]
        return at + min(spare)

    @property
    def _must(self) -> set[object]:
        """The positions to be filled: those ground, and those of other jobs that are filled in the answer."""
        return {*self._places, *self._trial.placed}

    def _pairs(self, kind: Kind, bore: Bore) -> Iterator[Pair]:
        place = bore.positions[0].key
        if place in self._places:
            yield from kind.pairs(bore, bore.inside_low, bore.inside_high)
        elif place in self._trial.placed:
            bad = max(badness(self._trial.placed[p.key]) for p in bore.positions if p.key in self._trial.placed)
            yield from (p for p in kind.pairs(bore, 0, bore.sum_high) if all(map(le, badness(p), bad)))
