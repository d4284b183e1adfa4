"""A position with two shells in it, and the figures that placements give."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from fitmatch.lengths import round_half_even
from fitmatch.records.parts import Position, Shell, excess_of, room, shortfall_of, tightest_room


class Margin(NamedTuple):
    """How far a guard draws in min and max."""

    low_nm: int = 0
    high_nm: int = 0


NO_MARGIN: Final = Margin()


@dataclass(frozen=True, slots=True)
class Placement:
    """A position with the two shells chosen for it; every figure follows from these by arithmetic.

    `margin` is that of a guard for this pair.
    """

    position: Position
    upper: Shell
    lower: Shell
    limits_at: str = "tightest"
    margin: Margin = NO_MARGIN

    @property
    def limit_low_nm(self) -> int | None:
        """What the tightest clearance is compared with."""
        return None if self.position.min_nm is None else self.position.min_nm + self.margin.low_nm

    @property
    def limit_high_nm(self) -> int | None:
        """What the mean clearance is compared with."""
        return None if self.position.max_nm is None else self.position.max_nm - self.margin.high_nm

    @property
    def wall_sum_nm(self) -> int:
        assert self.upper.wall_nm is not None and self.lower.wall_nm is not None
        return self.upper.wall_nm + self.lower.wall_nm

    @property
    def walls_touched_nm(self) -> int:
        """Both walls as whatever lies between them and the journal meets them: oil, a bore gauge, a strip."""
        return self.upper.touched_nm + self.lower.touched_nm

    @property
    def uncounted_nm(self) -> int:
        """The coating of both shells that does not count as wall: limits and clearance are to the metal then."""
        return self.walls_touched_nm - self.wall_sum_nm

    @property
    def clearance_nm(self) -> int:
        """From the mean sizes."""
        return room(self.position) - self.wall_sum_nm

    @property
    def clearance_tightest_nm(self) -> int:
        """From the largest place of the journal and the smallest of the bore, unless limits are judged at the means."""
        return tightest_room(self.position, self.limits_at) - self.wall_sum_nm

    @property
    def clearance_to_metal_nm(self) -> int:
        """As if neither shell had a coating."""
        return room(self.position) - self.upper.metal_nm - self.lower.metal_nm

    @property
    def clearance_over_coating_nm(self) -> int:
        """With all of both coatings, whether they count as wall or not."""
        return room(self.position) - self.walls_touched_nm

    @property
    def deviation_nm(self) -> int:
        assert self.position.target_nm is not None
        return self.clearance_nm - self.position.target_nm

    @property
    def shortfall_nm(self) -> int:
        """How far the tightest clearance is below the lower limit; 0 if it is not."""
        return shortfall_of(self.limit_low_nm, self.clearance_tightest_nm)

    @property
    def excess_nm(self) -> int:
        """How far the mean clearance is above the upper limit; 0 if it is not."""
        return excess_of(self.limit_high_nm, self.clearance_nm)

    @property
    def within_limits(self) -> bool:
        return not self.shortfall_nm and not self.excess_nm

    @property
    def want_shortfall_nm(self) -> int:
        """How far the mean clearance is below the wanted band; 0 if it is not, or there is no band."""
        return shortfall_of(self.position.want_min_nm, self.clearance_nm)

    @property
    def want_excess_nm(self) -> int:
        """How far the mean clearance is above the wanted band."""
        return excess_of(self.position.want_max_nm, self.clearance_nm)

    @property
    def wall_difference_nm(self) -> int:
        return abs(self.twice_axis_shift_nm)

    @property
    def twice_axis_shift_nm(self) -> int:
        """Twice the shift of the bearing's axis towards the upper half: doubled, it stays a whole number."""
        assert self.upper.wall_nm is not None and self.lower.wall_nm is not None
        return self.lower.wall_nm - self.upper.wall_nm

    @property
    def locked(self) -> bool:
        """Locked in both halves: such a position counts in no figure of quality."""
        return self.position.upper is not None and self.position.lower is not None

    @property
    def counted(self) -> bool:
        return self.within_limits and not self.locked

    @property
    def filled(self) -> bool:
        return True

    @property
    def preferred(self) -> int:
        """How many of its shells are preferred."""
        return self.upper.preferred + self.lower.preferred

    @property
    def stays(self) -> bool:
        """Whether the housing is the row's own."""
        return self.position.housing is None


class KindFigures(NamedTuple):
    """How good one plan is for one kind. Worst, sum, spread and mean are over the `counted` positions: those inside
    their limits and not locked in both halves; None where there are none."""

    filled: int
    below: int
    shortfall_nm: int
    above: int
    excess_nm: int
    counted: int
    worst_deviation_nm: int | None
    sum_squared_deviation_nm2: int | None
    spread_nm: int | None
    mean_clearance_nm: int | None
    boxes: int
    below_want: int | None = None  # this and the next three are over all filled positions; None without a wanted band
    want_shortfall_nm: int | None = None
    above_want: int | None = None
    want_excess_nm: int | None = None


def figures_of(placements: Sequence[Placement]) -> KindFigures:
    """The figures of one kind's placements, as `KindFigures` defines them."""
    shortfalls, excesses = [p.shortfall_nm for p in placements], [p.excess_nm for p in placements]
    counted = [p for p in placements if p.counted]
    deviations = [p.deviation_nm for p in counted]
    wished = [p for p in placements if p.position.wishes]
    too_tight, too_loose = [p.want_shortfall_nm for p in wished], [p.want_excess_nm for p in wished]
    return KindFigures(
        filled=len(placements),
        below=sum(nm > 0 for nm in shortfalls),
        shortfall_nm=sum(shortfalls),
        above=sum(nm > 0 for nm in excesses),
        excess_nm=sum(excesses),
        counted=len(counted),
        worst_deviation_nm=max(map(abs, deviations), default=None),
        sum_squared_deviation_nm2=sum(d * d for d in deviations) if counted else None,
        spread_nm=max(deviations) - min(deviations) if counted else None,
        mean_clearance_nm=round_half_even(sum(p.clearance_nm for p in counted), len(counted)) if counted else None,
        boxes=len({box for p in placements for box in (p.upper.box, p.lower.box)}),
        below_want=sum(nm > 0 for nm in too_tight) if wished else None,
        want_shortfall_nm=sum(too_tight) if wished else None,
        above_want=sum(nm > 0 for nm in too_loose) if wished else None,
        want_excess_nm=sum(too_loose) if wished else None,
    )


def figures_of_several(placements: Sequence[Sequence[Placement]]) -> KindFigures:
    """The figures of one kind's placements in several jobs, job by job, with the largest of their spreads."""
    spreads = [figures_of(some).spread_nm for some in placements]
    together = figures_of([p for some in placements for p in some])
    return together._replace(spread_nm=max((s for s in spreads if s is not None), default=None))
