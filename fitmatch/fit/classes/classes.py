"""What no rule or figure distinguishes: classes of shells and of positions, and the pairs that may go together."""

from dataclasses import dataclass, field
from typing import NamedTuple

from fitmatch.fit.classes.demands import Terms
from fitmatch.records.answers.placements import NO_MARGIN, Margin
from fitmatch.records.job import ENDLESS
from fitmatch.records.parts import Position, Shell, room, tightest_room


@dataclass(slots=True, eq=False)
class ShellClass:
    """Shells that are interchangeable in every rule and figure: same half, wall, marks and family.

    A locked shell is a class by itself, open to its own position only. In a kind sorted by box all are from one box.
    """

    index: int
    half: str
    wall_nm: int
    marks: tuple[str, ...]
    family: str
    members: list[Shell] = field(default_factory=list)
    preferred: bool = False

    @property
    def count(self) -> int:
        return len(self.members)

    @property
    def box(self) -> str:
        """The box they all come from, in a kind sorted by box."""
        return self.members[0].box


@dataclass(slots=True, eq=False)
class Rack:
    """The classes that may go into one side of a bore, thinnest first."""

    classes: list[ShellClass]
    walls: list[int]


def rack_of(classes: list[ShellClass]) -> Rack:
    return Rack(classes, [c.wall_nm for c in classes])


@dataclass(slots=True, eq=False)
class House:
    """Housings that are interchangeable, by the rows they are in."""

    members: list[Position]

    @property
    def count(self) -> int:
        return len(self.members)


@dataclass(eq=False)
class Bore:
    """Positions that are interchangeable: same room, target, limits and demands. A position with a lock is alone in its
    class.

    The limits are those compared with, including a guard. If a guard differs from pair to pair, because shells were
    measured in different ways, the same positions appear as several bores of one `seat`, each with its own shells.

    Wall sums from `inside_low` to `inside_high` give a clearance inside the limits; sums up to `sum_high` leave some
    clearance; a sum above `not_below` is below min; sums from `wanted_low` to `wanted_high` are in the wanted band as
    well as inside the limits.
    """

    index: int
    seat: int
    terms: Terms
    positions: list[Position]
    fitted: Position  # one of them with the housing of this bore: gives sizes and limits
    upper: Rack
    lower: Rack
    shifts: tuple[int, int]  # the range that bores locked in both halves leave for twice its axis shift
    house: House | None = None  # the housing of this bore, if housings may move
    margin: Margin = NO_MARGIN  # of a guard

    def __post_init__(self) -> None:
        fitted = self.fitted
        assert fitted.target_nm is not None
        self.room_nm = room(fitted)
        self.tightest_nm = tightest_room(fitted, self.terms.limits_at)
        self.target_nm = fitted.target_nm
        self.min_nm = None if fitted.min_nm is None else fitted.min_nm + self.margin.low_nm
        self.max_nm = None if fitted.max_nm is None else fitted.max_nm - self.margin.high_nm
        own = self.house is None or any(p.key == self.positions[0].key for p in self.house.members)
        self.stays = int(own)  # 1 where the housing is the seat's own
        first = self.positions[0]
        # Whether it counts in quality and obeys the rules about two walls: one locked in both halves does neither.
        self.counts = first.upper is None or first.lower is None

    @property
    def count(self) -> int:
        return len(self.positions)

    @property
    def differences(self) -> tuple[int, int]:
        """The least and the most by which the lower wall may exceed the upper one."""
        if not self.counts:
            return -ENDLESS, ENDLESS
        (low, high), (down, up) = self.terms.differences, self.shifts
        return max(low, down), min(high, up)

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
    def wanted_low(self) -> int:
        most = self.fitted.want_max_nm
        return self.inside_low if most is None else max(self.inside_low, self.room_nm - most)

    @property
    def wanted_high(self) -> int:
        least = self.fitted.want_min_nm
        return self.inside_high if least is None else min(self.inside_high, self.room_nm - least)

    @property
    def wishes(self) -> bool:
        """Whether a wanted band is given here."""
        return self.fitted.wishes

    @property
    def ideal(self) -> int:
        """The wall sum that hits the target."""
        return self.room_nm - self.target_nm


class Pair(NamedTuple):
    """An upper and a lower class in a bore, with every figure that a level of the proof adds up."""

    bore: Bore
    upper: ShellClass
    lower: ShellClass
    within_limits: int
    shortfall_nm: int
    excess_nm: int
    deviation_nm: int
    clearance_nm: int
    wall_difference_nm: int
    want_shortfall_nm: int
    want_excess_nm: int
    thick: int  # which side a thick_half rule counts as the thicker: 1 upper, -1 lower, 0 neither
    filled: int  # 0: the seat stays empty, and the housing alone is chosen
    counted: int  # 1 where it counts in quality
    stays: int  # 1 where the housing is the seat's own
    preferred: int = 0  # of its two shells
