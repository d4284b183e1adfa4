"""Which pairs of shells may go where: interchangeable shells and positions become classes, and the pairs of a bore are
found by bisection in sorted walls, so that cost depends on distinct readings, not on boxes.

In: one kind of a `Job`, or of several that share their shells. Out: `Bore` classes, `ShellClass`es and the admissible
`Pair`s within a range of wall sums.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator, Mapping, Sequence
from copy import copy
from dataclasses import replace
from itertools import zip_longest
from operator import attrgetter
from typing import TypedDict, Unpack

from fitmatch.fit.classes.classes import Bore, Pair, Rack, ShellClass, rack_of
from fitmatch.fit.classes.demands import Terms
from fitmatch.records.answers.placements import NO_MARGIN, Margin, Placement
from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey, ShellKey
from fitmatch.records.parts import SIDES, Position, Shell, excess_of, room, shortfall_of, tightest_room
from fitmatch.rules.positions.drawing import bore_refused

# What a position demands of its clearance and of its shells.
asks_for = attrgetter("target_nm", "min_nm", "max_nm", "want_min_nm", "want_max_nm", "wants_upper", "wants_lower")


class _Parts(TypedDict, total=False):
    classes: list[ShellClass]
    bores: list[Bore]
    seats: list[Bore]
    vacancies: list[Pair]


class Kind:
    """One kind of one job, or of several that share their shells, sorted into classes."""

    def __init__(
        self, jobs: Sequence[Job], kind: str, boxes: Sequence[frozenset[str] | None] = (), *, by_box: bool = False
    ) -> None:
        """`jobs` have the same shells; `boxes`: what each of the first jobs may draw on; None: all; `by_box`: shells of
        different boxes are kept apart."""
        self.name = kind
        self._open_boxes = tuple(boxes)
        self._take(jobs)
        self._guarded = any(terms.guards.on for terms in self.terms)
        self._racks: dict[tuple[object, ...], Rack] = {}

        shells = self.jobs[0].shells
        self._by_key = {shell.key: shell for shell in shells}
        locks = {lock for job in jobs for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
        locks = locks.union(*(job.reserved for job in jobs))
        self.classes: list[ShellClass] = []
        self._locked: dict[ShellKey, ShellClass] = {}
        known: dict[tuple[object, ...], ShellClass] = {}
        self._shells = [s for s in shells if s.kind == kind and s.wall_nm is not None and s.hold is None]
        for shell in self._shells:
            if shell.key in locks:
                self._locked[shell.key] = self._new_class(shell)
                continue
            open_to = tuple(self.may_draw(terms, shell) for terms in self.terms) if self._boxes else ()
            box = shell.box if by_box else None
            signature = (
                shell.half,
                shell.wall_nm,
                shell.marks,
                shell.family,
                self._way(shell),
                open_to,
                box,
                shell.preferred,
            )
            if signature not in known:
                known[signature] = self._new_class(shell)
            else:
                known[signature].members.append(shell)
        self._free = sorted(known.values(), key=lambda c: (c.wall_nm, c.index))
        self._sort_positions()

    def _take(self, jobs: Sequence[Job]) -> None:
        self.jobs = tuple(jobs)
        self.terms = [Terms(job, self.name) for job in jobs]
        boxes = zip(self.terms, self._open_boxes, strict=False)
        self._boxes = {terms: some for terms, some in boxes if some is not None}
        self._terms_of = {p.key: t for t in self.terms for p in t.job.positions if p.kind == self.name}

    def _sort_positions(self) -> None:
        self.bores: list[Bore] = []  # the positions for which pairs are sought
        self.seats: list[Bore] = []  # one for each seat, with all its shells and the widest of its limits
        self.incomplete: set[Terms] = set()  # some position cannot be inside its limits, whatever is chosen
        self.fixed: list[Placement] = []  # locked in both halves: nothing to choose
        self.locked_in: list[tuple[Terms, Shell]] = []  # shells that are in, whatever is chosen
        self.always_a_plan = True  # if only one that leaves every bore empty
        # Measured, and the bore not refused; in file order, job by job.
        self.positions: list[Position] = []
        self.vacancies: list[Pair] = []  # if housings may move: a seat that stays empty, with each of them
        for terms in self.terms:
            self._sort_in(terms)

    def with_targets(self, targets: Mapping[PositionKey, int]) -> "Kind":
        """The same with other targets, by the names of job and position; the shells stay in their classes."""
        new = copy(self)
        jobs = []
        for job in self.jobs:
            aimed = (replace(p, target_nm=targets.get(p.key, p.target_nm)) for p in job.positions)
            jobs.append(replace(job, positions=tuple(aimed)))
        new._take(jobs)
        new._sort_positions()
        return new

    def _sort_in(self, terms: Terms) -> None:
        """Sort the positions of one job into bores and seats."""
        free: list[Position] = []
        for position in terms.job.positions:
            if position.kind != self.name:
                continue
            if not ready(position, self._by_key) or bore_refused(terms.job, position):
                self.incomplete.add(terms)
                continue
            self.positions.append(position)
            if position.upper is None or position.lower is None:
                free.append(position)
            else:
                placement = terms.place(position, self._by_key[position.upper], self._by_key[position.lower])
                cleared = placement.clearance_tightest_nm > 0
                if cleared:
                    self.fixed.append(placement)
                    self.locked_in += [(terms, placement.upper), (terms, placement.lower)]
                if not (cleared and placement.within_limits):
                    self.incomplete.add(terms)
        fixed = [p for p in self.fixed if self.terms_of(p.position) is terms]
        alike: dict[tuple[object, ...], Bore] = {}
        for position in free:
            self._add(position, terms, terms.shifts.allowed(position, fixed), alike)

    def _add(
        self, position: Position, terms: Terms, shifts: tuple[int, int], alike: dict[tuple[object, ...], Bore]
    ) -> None:
        """Put a position with those it is like, or in a seat of its own."""
        upper, lower = (self._rack(side, position, terms) for side in SIDES)
        margins = self._margins(position, upper, lower, terms)
        what = (
            terms,
            room(position),
            tightest_room(position, terms.limits_at),
            asks_for(position),
            position.upper,
            position.lower,
            tuple(margins.values()),
            position.key if terms.shifts.on else None,  # its place in the row matters
        )
        if what not in alike:
            bore = Bore(len(self.bores), len(self.seats), terms, [position], position, upper, lower, shifts)
            alike[what] = self._add_bores(bore)
            self.seats.append(alike[what])
        else:
            alike[what].positions.append(position)

    def from_boxes(self, boxes: Sequence[frozenset[str] | None]) -> "Kind":
        """The same positions, if each of the first jobs draws on these boxes only; None: on all it could."""
        both = zip_longest(boxes, self._open_boxes)
        return type(self)(self.jobs, self.name, [b if a is None else a if b is None else a & b for a, b in both])

    def altered(self, **parts: Unpack[_Parts]) -> "Kind":
        """The same with other classes, bores, seats or vacancies, if given."""
        new = copy(self)
        vars(new).update(parts)
        return new

    def may_draw(self, terms: Terms, shell: Shell) -> bool:
        """Whether the box of this shell is open to this job."""
        return terms not in self._boxes or shell.box in self._boxes[terms]

    def terms_of(self, position: Position) -> Terms:
        """The terms of the job that this position belongs to."""
        return self._terms_of[position.key]

    def place(self, position: Position, upper: Shell, lower: Shell) -> Placement:
        """These two shells in this position, judged by its job's own terms."""
        return self.terms_of(position).place(position, upper, lower)

    def pairs(self, bore: Bore, low: int, high: int) -> Iterator[Pair]:
        """Every admissible pair with a wall sum from `low` to `high` that leaves some clearance."""
        for upper, lower in self._partners(bore, low, high):
            yield self.pair(bore, upper, lower)

    def count(self, bore: Bore, low: int, high: int) -> int:
        """How many pairs `pairs` would yield."""
        return sum(stop - start for _, start, stop in self._spans(bore, low, min(high, bore.sum_high)))

    def deviations(self, bore: Bore, low: int, high: int) -> Iterator[int]:
        """The deviation of every admissible pair with a wall sum from `low` to `high`."""
        return (bore.ideal - u.wall_nm - v.wall_nm for u, v in self._partners(bore, low, high))

    def _partners(self, bore: Bore, low: int, high: int) -> Iterator[tuple[ShellClass, ShellClass]]:
        for upper, start, stop in self._spans(bore, low, min(high, bore.sum_high)):
            for lower in bore.lower.classes[start:stop]:
                if may_share(bore, upper, lower):
                    yield upper, lower

    def _spans(self, bore: Bore, low: int, high: int, step: int = 1) -> Iterator[tuple[ShellClass, int, int]]:
        """For each upper, the thinnest first or, by `step` -1, last, the run of lowers that keeps wall difference, side
        and sum within bounds."""
        walls, uppers = bore.lower.walls, bore.upper.walls
        if not walls:
            return
        least, most = bore.differences
        first = bisect_left(uppers, max(low - walls[-1], -((most - low) // 2)))
        last = bisect_right(uppers, min(high - walls[0], (high - least) // 2))
        for upper in bore.upper.classes[first:last][::step]:
            wall = upper.wall_nm
            thinnest, thickest = max(low - wall, wall + least), min(high - wall, wall + most)
            start = bisect_left(walls, thinnest)
            if start < len(walls) and walls[start] <= thickest:
                yield upper, start, bisect_right(walls, thickest, start)

    def largest_sum(self, bore: Bore, low: int, high: int) -> int | None:
        """The largest wall sum of an admissible pair from `low` to `high`; None if there is none."""
        return self._outermost_sum(bore, low, high, -1)

    def smallest_sum(self, bore: Bore, low: int, high: int) -> int | None:
        """The smallest wall sum of an admissible pair from `low` to `high`; None if there is none."""
        return self._outermost_sum(bore, low, high, 1)

    def _outermost_sum(self, bore: Bore, low: int, high: int, step: int) -> int | None:
        """The first sum found going up with `step` 1, down with -1."""
        best: int | None = None
        end, edge = (low, 0) if step > 0 else (high, -1)
        for upper, start, stop in self._spans(bore, low, high, step):
            # No sum goes beyond the end, and no other upper goes beyond what it makes with the outermost lower.
            if best is not None and (best == end or (upper.wall_nm + bore.lower.walls[edge] - best) * step >= 0):
                break
            for index in range(start, stop)[::step]:
                walls = upper.wall_nm + bore.lower.walls[index]
                if best is not None and walls * step >= best * step:
                    break
                if may_share(bore, upper, bore.lower.classes[index]):
                    best = walls
                    break
        return best

    def free_shells(self) -> list[Shell]:
        """Shells that any matching position may have, in file order."""
        return [shell for shell in self._shells if shell.key not in self._locked]

    def pair(self, bore: Bore, upper: ShellClass, lower: ShellClass) -> Pair:
        """These two classes in this bore, whether they may share it or not."""
        walls = upper.wall_nm + lower.wall_nm
        clearance = bore.room_nm - walls
        shortfall = shortfall_of(bore.min_nm, bore.tightest_nm - walls)
        excess = excess_of(bore.max_nm, clearance)
        return Pair(
            bore=bore,
            upper=upper,
            lower=lower,
            within_limits=int(not shortfall and not excess),
            shortfall_nm=shortfall,
            excess_nm=excess,
            deviation_nm=clearance - bore.target_nm,
            clearance_nm=clearance,
            wall_difference_nm=abs(upper.wall_nm - lower.wall_nm),
            want_shortfall_nm=shortfall_of(bore.fitted.want_min_nm, clearance),
            want_excess_nm=excess_of(bore.fitted.want_max_nm, clearance),
            thick=bore.terms.thick(upper.wall_nm, lower.wall_nm) if bore.counts else 0,
            filled=1,
            counted=int(bore.counts and not shortfall and not excess),
            stays=bore.stays,
            preferred=upper.preferred + lower.preferred,
        )

    def _new_class(self, shell: Shell) -> ShellClass:
        assert shell.wall_nm is not None
        new = ShellClass(
            len(self.classes), shell.half, shell.wall_nm, shell.marks, shell.family, [shell], shell.preferred
        )
        self.classes.append(new)
        return new

    def _way(self, shell: Shell) -> object:
        """How the shell was measured, as far as a margin depends on it."""
        return shell.measured_as if self._guarded else None

    def _margins(
        self, position: Position, upper: Rack, lower: Rack, terms: Terms
    ) -> dict[tuple[object, object], Margin]:
        """The margin for each way in which two halves of this position may have been measured."""
        if not terms.guards.on:
            return {(None, None): NO_MARGIN}
        ways = [list({self._way(c.members[0]): c.members[0] for c in r.classes}.values()) for r in (upper, lower)]
        return {(self._way(u), self._way(v)): terms.guards.margin(position, u, v) for u in ways[0] for v in ways[1]}

    def _add_bores(self, bore: Bore) -> Bore:
        """The bores of a seat, one for each margin of a guard. The bore returned has all shells and the widest
        limits."""
        margins = self._margins(bore.fitted, bore.upper, bore.lower, bore.terms)
        widest = Margin(*map(min, zip(*margins.values(), strict=True))) if margins else NO_MARGIN
        whole = bore if widest == bore.margin else replace(bore, margin=widest)
        if len(set(margins.values())) <= 1:
            self.bores.append(whole)
        else:
            for (way_up, way_low), margin in margins.items():
                up, low = self._of_way(bore.upper, way_up), self._of_way(bore.lower, way_low)
                self.bores.append(replace(bore, index=len(self.bores), margin=margin, upper=up, lower=low))
        return whole

    def _of_way(self, rack: Rack, way: object) -> Rack:
        return rack_of([c for c in rack.classes if self._way(c.members[0]) == way])

    def _rack(self, side: str, position: Position, terms: Terms) -> Rack:
        """The classes that may go into this side of the position: its locked shell, otherwise those that its rules
        allow."""
        lock: ShellKey | None = getattr(position, side)
        if lock is not None:
            locked = [self._locked[lock]] if lock in self._locked else []
            alone = position.upper is None or position.lower is None  # a whole pair is in, whatever boxes are open
            return rack_of([c for c in locked if not alone or self.may_draw(terms, c.members[0])])
        key = (side, terms.asks(position, side), terms if terms in self._boxes else None)
        if key not in self._racks:
            classes = [
                c
                for c in self._free
                if c.half in (side, "either") and self.may_draw(terms, c.members[0]) and terms.takes(position, side, c)
            ]
            self._racks[key] = rack_of(classes)
        return self._racks[key]


def may_share(bore: Bore, upper: ShellClass, lower: ShellClass) -> bool:
    """Whether an upper and a lower of these classes may share this bore, apart from what their walls say."""
    if upper is lower and upper.count < 2:
        return False
    return not bore.counts or bore.terms.share(upper, lower)


def ready(position: Position, by_key: dict[ShellKey, Shell]) -> bool:
    """Whether everything the position needs has been measured, locked shells included."""
    locks = (lock for lock in (position.upper, position.lower) if lock is not None)
    return not position.missing and all(by_key[lock].wall_nm is not None for lock in locks)
