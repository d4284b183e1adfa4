"""Which pairs of shells may go where: shells and positions that cannot be told apart become classes, and the pairs of
a bore are found by bisection in sorted walls, so that cost follows distinct readings, not boxes.

In: one kind of a `Job`. Out: `Bore` classes, `ShellClass`es and the admissible `Pair`s within a range of wall sums.
"""

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import NamedTuple

from fitmatch.parts import Job, Placement, Position, Shell, marks_agree, room, tightest_room


@dataclass(slots=True, eq=False)
class ShellClass:
    """Shells that are interchangeable in every rule and figure: same half, wall, marks and family.

    A locked shell is a class by itself, open to its own position only.
    """

    index: int
    half: str
    wall_nm: int
    marks: tuple[str, ...]
    family: str
    members: list[Shell] = field(default_factory=list)

    @property
    def count(self) -> int:
        return len(self.members)


@dataclass(slots=True, eq=False)
class Rack:
    """The classes that may go into one side of a bore, thinnest first."""

    classes: list[ShellClass]
    walls: list[int]


@dataclass(slots=True, eq=False)
class Bore:
    """Positions that are interchangeable: same room, target, limits and demands. A position with a lock stands alone.

    Wall sums from `inside_low` to `inside_high` give a clearance inside the limits; sums up to `sum_high` leave any
    clearance at all; a sum above `not_below` is below min.
    """

    index: int
    positions: list[Position]
    room_nm: int
    tightest_nm: int
    target_nm: int
    min_nm: int | None
    max_nm: int | None
    upper: Rack
    lower: Rack

    @property
    def count(self) -> int:
        return len(self.positions)

    @property
    def sum_high(self) -> int:
        return self.tightest_nm - 1

    @property
    def not_below(self) -> int:
        return self.sum_high if self.min_nm is None else min(self.tightest_nm - self.min_nm, self.sum_high)

    @property
    def inside_low(self) -> int:
        return 0 if self.max_nm is None else self.room_nm - self.max_nm

    @property
    def inside_high(self) -> int:
        return self.not_below

    @property
    def ideal(self) -> int:
        """The wall sum that hits the target."""
        return self.room_nm - self.target_nm


class Pair(NamedTuple):
    """An upper and a lower class in a bore, with every figure that a level of the proof adds up."""

    bore: Bore
    upper: ShellClass
    lower: ShellClass
    inside: int
    below: int
    shortfall_nm: int
    excess_nm: int
    deviation_nm: int
    clearance_nm: int
    difference_nm: int
    thick: int  # which side a thick_half rule counts as the thicker: 1 upper, -1 lower, 0 neither


class Kind:
    """One kind of one job, sorted into classes, with the rules that bind its pairs."""

    def __init__(self, job: Job, kind: str, boxes: frozenset[str] | None = None) -> None:
        """`boxes`: draw on these alone; None: on all."""
        self.name = kind
        self._rules = job.rules
        self._side = job.rules.thick_half.get(kind)
        self._family = job.fits[kind].family
        self._bore_marks = [job.shell_columns.index(column) for column in job.rules.same_in_bore]
        self._racks: dict[tuple[str, tuple[str, ...]], Rack] = {}

        by_key = {shell.key: shell for shell in job.shells}
        locks = {lock for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
        self.classes: list[ShellClass] = []
        self._locked: dict[tuple[str, str], ShellClass] = {}
        known: dict[tuple[object, ...], ShellClass] = {}
        self._shells = [s for s in job.shells if s.kind == kind and s.wall_nm is not None and s.hold is None]
        if boxes is not None:
            self._shells = [s for s in self._shells if s.box in boxes]
        for shell in self._shells:
            if shell.key in locks:
                self._locked[shell.key] = self._new_class(shell)
                continue
            signature = (shell.half, shell.wall_nm, shell.marks, shell.family)
            if signature not in known:
                known[signature] = self._new_class(shell)
            else:
                known[signature].members.append(shell)
        self._free = list(known.values())

        self.bores: list[Bore] = []
        self.fixed: list[Placement] = []  # locked in both halves: nothing to choose
        alike: dict[tuple[object, ...], Bore] = {}
        # Measured, and the bore not refused; in file order.
        self.positions = [p for p in job.positions if p.kind == kind and ready(p, by_key) and not bore_refused(job, p)]
        for position in self.positions:
            if position.upper is not None and position.lower is not None:
                placement = Placement(position, by_key[position.upper], by_key[position.lower], job.rules.limits_at)
                if placement.clearance_tightest_nm > 0:
                    self.fixed.append(placement)
                continue
            what = (
                room(position),
                tightest_room(position, job.rules.limits_at),
                position.target_nm,
                position.min_nm,
                position.max_nm,
                position.wants_upper,
                position.wants_lower,
                position.upper,
                position.lower,
            )
            if what not in alike:
                alike[what] = self._new_bore(position, job.rules.limits_at)
            else:
                alike[what].positions.append(position)

    @property
    def one_thick_side(self) -> bool:
        """Whether the thicker halves must all go to one side, whichever it is."""
        return self._side == "same"

    def pairs(self, bore: Bore, low: int, high: int) -> Iterator[Pair]:
        """Every admissible pair whose wall sum lies from `low` to `high` and leaves some clearance."""
        for upper, lower in self._partners(bore, low, high):
            yield self._pair(bore, upper, lower)

    def count_within(self, bore: Bore, radius: int) -> int:
        """How many pairs `within` would go through."""
        low, high = max(bore.inside_low, bore.ideal - radius), min(bore.inside_high, bore.ideal + radius)
        return sum(stop - start for _, start, stop in self._spans(bore, low, high))

    def within(self, bore: Bore, low: int, high: int) -> Iterator[Pair]:
        """The admissible pairs inside the limits with a deviation from low to high."""
        return self.pairs(bore, max(bore.inside_low, bore.ideal - high), min(bore.inside_high, bore.ideal - low))

    def deviations(self, bore: Bore) -> set[int]:
        """Every deviation that an admissible pair inside the limits gives."""
        return {bore.ideal - u.wall_nm - v.wall_nm for u, v in self._partners(bore, bore.inside_low, bore.inside_high)}

    def _partners(self, bore: Bore, low: int, high: int) -> Iterator[tuple[ShellClass, ShellClass]]:
        for upper, start, stop in self._spans(bore, low, high):
            for lower in bore.lower.classes[start:stop]:
                if self.may_share(upper, lower):
                    yield upper, lower

    def _spans(self, bore: Bore, low: int, high: int) -> Iterator[tuple[ShellClass, int, int]]:
        """For each upper the run of lowers that keeps wall difference, side and sum within bounds."""
        high = min(high, bore.sum_high)
        walls = bore.lower.walls
        for upper in bore.upper.classes:
            nearest, farthest = self.partner_walls(upper.wall_nm)
            start = bisect_left(walls, max(low - upper.wall_nm, nearest))
            stop = bisect_right(walls, min(high - upper.wall_nm, farthest))
            if start < stop:
                yield upper, start, stop

    def largest_sum(self, bore: Bore, low: int, high: int) -> int | None:
        """The largest wall sum of an admissible pair from `low` to `high`; None if there is none."""
        walls, lowers = bore.lower.walls, bore.lower.classes
        best: int | None = None
        for upper in bore.upper.classes:
            nearest, farthest = self.partner_walls(upper.wall_nm)
            least = max(low - upper.wall_nm if best is None else best + 1 - upper.wall_nm, nearest)
            index = bisect_right(walls, min(high - upper.wall_nm, farthest)) - 1
            while index >= 0 and walls[index] >= least:
                if self.may_share(upper, lowers[index]):
                    best = upper.wall_nm + walls[index]
                    break
                index -= 1
        return best

    def smallest_sum(self, bore: Bore, low: int, high: int) -> int | None:
        """The smallest wall sum of an admissible pair from `low` to `high`; None if there is none."""
        walls, lowers = bore.lower.walls, bore.lower.classes
        best: int | None = None
        for upper in bore.upper.classes:
            nearest, farthest = self.partner_walls(upper.wall_nm)
            most = min(high - upper.wall_nm if best is None else best - 1 - upper.wall_nm, farthest)
            index = bisect_left(walls, max(low - upper.wall_nm, nearest))
            while index < len(walls) and walls[index] <= most:
                if self.may_share(upper, lowers[index]):
                    best = upper.wall_nm + walls[index]
                    break
                index += 1
        return best

    def free_shells(self) -> list[Shell]:
        """Shells that any matching position may have, in file order."""
        return [shell for shell in self._shells if shell.key not in self._locked]

    def partner_walls(self, wall: int) -> tuple[int, int]:
        """The walls a lower half may have beside an upper half of this wall."""
        low, high = 0, 1 << 62
        if self._rules.wall_difference_nm is not None:
            low, high = wall - self._rules.wall_difference_nm, wall + self._rules.wall_difference_nm
        if self._side == "lower":
            low = max(low, wall - self._rules.thick_half_from_nm)
        elif self._side == "upper":
            high = min(high, wall + self._rules.thick_half_from_nm)
        return low, high

    def may_share(self, upper: ShellClass, lower: ShellClass) -> bool:
        if upper is lower and upper.count < 2:
            return False
        return all(marks_agree(upper.marks[i], lower.marks[i]) for i in self._bore_marks)

    def thick(self, upper: ShellClass, lower: ShellClass) -> int:
        """Which half counts as the thicker: 1 the upper, -1 the lower, 0 neither."""
        difference = upper.wall_nm - lower.wall_nm
        if abs(difference) <= self._rules.thick_half_from_nm:
            return 0
        return 1 if difference > 0 else -1

    def _pair(self, bore: Bore, upper: ShellClass, lower: ShellClass) -> Pair:
        walls = upper.wall_nm + lower.wall_nm
        clearance = bore.room_nm - walls
        shortfall = 0 if bore.min_nm is None else max(0, bore.min_nm - (bore.tightest_nm - walls))
        excess = 0 if bore.max_nm is None else max(0, clearance - bore.max_nm)
        return Pair(
            bore=bore,
            upper=upper,
            lower=lower,
            inside=int(not shortfall and not excess),
            below=int(shortfall > 0),
            shortfall_nm=shortfall,
            excess_nm=excess,
            deviation_nm=clearance - bore.target_nm,
            clearance_nm=clearance,
            difference_nm=abs(upper.wall_nm - lower.wall_nm),
            thick=self.thick(upper, lower),
        )

    def _new_class(self, shell: Shell) -> ShellClass:
        assert shell.wall_nm is not None
        new = ShellClass(len(self.classes), shell.half, shell.wall_nm, shell.marks, shell.family, [shell])
        self.classes.append(new)
        return new

    def _new_bore(self, position: Position, limits_at: str) -> Bore:
        assert position.target_nm is not None
        new = Bore(
            index=len(self.bores),
            positions=[position],
            room_nm=room(position),
            tightest_nm=tightest_room(position, limits_at),
            target_nm=position.target_nm,
            min_nm=position.min_nm,
            max_nm=position.max_nm,
            upper=self._rack("upper", position.wants_upper, position.upper),
            lower=self._rack("lower", position.wants_lower, position.lower),
        )
        self.bores.append(new)
        return new

    def _rack(self, side: str, wants: tuple[str, ...], lock: tuple[str, str] | None) -> Rack:
        if lock is not None:
            locked = [self._locked[lock]] if lock in self._locked else []
            return Rack(locked, [c.wall_nm for c in locked])
        if (side, wants) not in self._racks:
            classes = [
                c
                for c in self._free
                if c.half in (side, "either")
                and all(map(marks_agree, wants, c.marks))
                and (self._family is None or c.family in self._family)
            ]
            classes.sort(key=lambda c: (c.wall_nm, c.index))
            self._racks[side, wants] = Rack(classes, [c.wall_nm for c in classes])
        return self._racks[side, wants]


def ready(position: Position, by_key: dict[tuple[str, str], Shell]) -> bool:
    """Whether everything the position needs has been measured, locked shells included."""
    locks = (lock for lock in (position.upper, position.lower) if lock is not None)
    return not position.missing and all(by_key[lock].wall_nm is not None for lock in locks)


def bore_refused(job: Job, position: Position) -> bool:
    """Whether the housing bore lies outside its drawing band and nobody has accepted that.

    Thicker shells would mend the sum and lose the crush.
    """
    band = job.drawing.get(position.kind, {}).get("housing_bore")
    assert position.housing_bore is not None
    return band is not None and position.accept is None and position.housing_bore.mean_nm not in band
