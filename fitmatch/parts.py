"""What a job is made of: frozen records, every length in whole nanometres.

Words: a *position* is one rod or main with its journal and housing; a *shell* is one half bearing; the *wall* is the
wall thickness at the crown; the *clearance* is diametral. *upper* is the block side of a main and the beam side of a
rod, *lower* the cap side of both.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Final

from fitmatch.measuring import MeasuredAs, Measuring, Reading

SIDES: Final = ("upper", "lower")
HALVES: Final = ("upper", "lower", "either")
DEFAULT_WALL_DIFFERENCE_NM: Final = 15_240  # 0.6 thou
DEFAULT_THICK_HALF_FROM_NM: Final = 5_080  # 0.2 thou
ANY: Final = "any"


# --- what is given ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Size:
    """A measured diameter: the mean of its places, and the extremes of its readings, all corrected.

    `raw_mean_nm` is the mean before correction; None where the job tells nothing of gauges or temperature.
    """

    mean_nm: int
    smallest_nm: int
    largest_nm: int
    readings: int = 1
    measured_as: MeasuredAs | None = None  # None: nothing is known of how
    raw_mean_nm: int | None = None

    @property
    def temperature_nm(self) -> int:
        """What the correction to 20 degrees Celsius added; 0 where there is none. By this definition the figures shown
        add up to the nanometre, though each of them was rounded by itself."""
        if self.raw_mean_nm is None:
            return 0
        off = self.measured_as.zero_nm + self.measured_as.ball_nm if self.measured_as else 0
        return self.mean_nm - self.raw_mean_nm + off


@dataclass(frozen=True, slots=True)
class Shell:
    """One half bearing. `marks` are its cells in `Job.shell_columns`, in that order, trimmed and lower-cased."""

    name: str
    box: str
    kind: str
    half: str  # upper, lower or either
    wall_nm: int | None  # the wall that counts in a clearance; None: not yet measured
    marks: tuple[str, ...] = ()
    family: str = ""
    grade: str | None = None
    hold: str | None = None
    coating_nm: int = 0  # on the running face; 0: uncoated
    wall_to_metal_nm: int | None = None  # the wall without its coating
    file: str = ""
    row: int = 0
    measured_as: MeasuredAs | None = None  # None: nothing is known of how
    readings: tuple[Reading, ...] = ()  # of the wall, as the gauge gave them
    measured_nm: int | None = None  # what they give once corrected, the coating neither added nor taken off

    @property
    def key(self) -> tuple[str, str]:
        """Box and name, which together tell this shell from every other."""
        return self.box, self.name


@dataclass(frozen=True, slots=True)
class Position:
    """One rod or main. `wants_upper` and `wants_lower` are the cells its halves must match, in the order of
    `Job.matched_columns`, trimmed and lower-cased.

    `target_nm`, `min_nm` and `max_nm` are final: the row's own, else the kind's. `upper` and `lower` name locked
    shells.
    """

    name: str
    kind: str
    journal: Size | None
    housing_bore: Size | None
    target_nm: int | None  # None only where target_ratio waits for a journal
    min_nm: int | None = None
    max_nm: int | None = None
    want_min_nm: int | None = None  # the narrower band one would like, already clipped to min and max
    want_max_nm: int | None = None
    seating_nm: int = 0
    upper: tuple[str, str] | None = None
    lower: tuple[str, str] | None = None
    wants_upper: tuple[str, ...] = ()
    wants_lower: tuple[str, ...] = ()
    accept: str | None = None
    pin: int | None = None
    row: int = 0
    undersize: str = ""  # the user's own label of what the journal was ground to
    aims_at_middle: bool = False  # its target is the middle of min and max because nobody wrote one
    within: tuple[str, ...] = ()  # cells in which a housing and its journal must agree, trimmed and lower-cased
    housing: str | None = None  # the row whose housing stands here, if it was moved
    offset_nm: int | None = None  # of the housing's axis off the line of the others; positive towards the block
    job: str = ""  # the name of its job; empty for one alone

    @property
    def key(self) -> tuple[str, str]:
        """Job and name, which together tell this position from every other, whichever housing it has."""
        return self.job, self.name

    @property
    def wishes(self) -> bool:
        """Whether a band is wished for here."""
        return self.want_min_nm is not None or self.want_max_nm is not None

    @property
    def missing(self) -> tuple[str, ...]:
        """The features that have no reading yet."""
        return tuple(
            feature
            for feature, size in (("journal", self.journal), ("housing_bore", self.housing_bore))
            if size is None
        )


@dataclass(frozen=True, slots=True)
class Band:
    """A drawing's limits; both ends belong to it."""

    low_nm: int
    high_nm: int

    def __contains__(self, nm: int) -> bool:
        return self.low_nm <= nm <= self.high_nm


@dataclass(frozen=True, slots=True)
class Fit:
    """One `[fit.KIND]` table: what every position of the kind has unless its row says otherwise."""

    kind: str
    target_nm: int | None = None
    target_ratio: str | None = None
    min_nm: int | None = None
    max_nm: int | None = None
    seating_nm: int = 0
    family: tuple[str, ...] | None = None  # lower-cased; None: every family fits
    seating_u_nm: int | None = None  # standard uncertainty of the seating
    want_min_nm: int | None = None  # the narrower band one would like, as written
    want_max_nm: int | None = None


@dataclass(frozen=True, slots=True)
class Rules:
    """The `[rules]` of a job; what is None or empty is off."""

    wall_difference_nm: int | None = DEFAULT_WALL_DIFFERENCE_NM
    thick_half: Mapping[str, str] = field(default_factory=dict)  # kind -> upper, lower or same
    thick_half_from_nm: int = DEFAULT_THICK_HALF_FROM_NM
    same_in_bore: tuple[str, ...] = ()
    neighbour_step_nm: Mapping[str, int] = field(default_factory=dict)  # kind -> most from one row to the next
    line_nm: Mapping[str, int] = field(default_factory=dict)  # kind -> most that offset + axis shift may differ
    movable: tuple[str, ...] = ()  # kinds whose housings may go to another journal
    movable_within: tuple[str, ...] = ()  # columns in which a housing and its new journal must agree
    limits_at: str = "tightest"  # or "mean"
    guard: float = 0.0  # limits tightened on each side by this multiple of the expanded uncertainty
    guard_row: int | None = field(default=None, compare=False)  # where job.toml says so


@dataclass(frozen=True, slots=True)
class Job:
    """A whole job as read: positions in file order, shells in file order, every cell valid."""

    folder: Path
    title: str
    unit: str
    fits: Mapping[str, Fit]
    positions: tuple[Position, ...]
    shells: tuple[Shell, ...]
    rules: Rules = field(default_factory=Rules)
    drawing: Mapping[str, Mapping[str, Band]] = field(default_factory=dict)  # kind -> journal, housing_bore, wall
    matched_columns: tuple[str, ...] = ()
    shell_columns: tuple[str, ...] = ()  # matched columns, then same_in_bore columns not among them
    coating_counts: bool = True
    digest: str = ""
    warnings: tuple[str, ...] = ()
    measuring: Measuring = field(default_factory=Measuring)
    # Of one among several jobs that share their shells; `shells` are then those of all.
    name: str = ""
    reserved: frozenset[tuple[str, str]] = frozenset()  # shells locked in another of the jobs
    own_shells: tuple[Shell, ...] | None = None  # as its own files tell of them, by which its readings are doubted

    @property
    def jobs(self) -> "tuple[Job, ...]":
        """Itself: a job alone is a pool of one."""
        return (self,)

    @property
    def kinds(self) -> tuple[str, ...]:
        """Kinds that have a position, in file order."""
        return tuple(dict.fromkeys(p.kind for p in self.positions))


def marks_agree(one: str, other: str) -> bool:
    """Whether two lower-cased cells agree: `any` with everything, blank with blank only."""
    return one == other or ANY in (one, other)


# --- what is answered ------------------------------------------------------------------------------------------------


def room(position: Position) -> int:
    """What walls and clearance share: housing bore - journal + seating, from the mean sizes."""
    assert position.housing_bore is not None and position.journal is not None
    return position.housing_bore.mean_nm - position.journal.mean_nm + position.seating_nm


def tightest_room(position: Position, limits_at: str) -> int:
    """The room left by the smallest crown-axis bore reading and the largest journal reading."""
    if limits_at == "mean":
        return room(position)
    assert position.housing_bore is not None and position.journal is not None
    return position.housing_bore.smallest_nm - position.journal.largest_nm + position.seating_nm


def shortfall_of(least_nm: int | None, clearance_nm: int) -> int:
    """How far a clearance lies below a bound; 0 if it does not, or there is none."""
    return 0 if least_nm is None else max(0, least_nm - clearance_nm)


def excess_of(most_nm: int | None, clearance_nm: int) -> int:
    """How far a clearance lies above a bound; 0 if it does not, or there is none."""
    return 0 if most_nm is None else max(0, clearance_nm - most_nm)
