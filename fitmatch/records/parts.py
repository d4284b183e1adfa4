"""What a job is made of: frozen records, every length in whole nanometres.

Words: a *position* is one rod or main with its journal and housing; a *shell* is one half bearing; the *wall* is the
wall thickness at the crown; the *clearance* is diametral. *upper* is the block side of a main and the beam side of a
rod, *lower* the cap side of both.
"""

from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final

from fitmatch.records.keys import PositionKey, ShellKey
from fitmatch.records.measuring import DIAMETERS, Form, MeasuredAs, Reading

SIDES: Final = ("upper", "lower")
HALVES: Final = ("upper", "lower", "either")
ANY: Final = "any"
KEPT_FOR: Final = "set-aside job"  # a column of several jobs that share a shelf: the one a shell is set aside for
ON_SHELF: Final = "the shelf"  # in place of the file that a shell is in


# --- what is given ---------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Size:
    """A diameter or a wall as it was measured, corrected: the mean of its places, and the smallest and the largest of
    them, each the mean of its repeats.

    For a coated shell this is the wall as measured, coated or bare. Raw mean - zero error - ball + temperature =
    mean, to the nanometre.
    """

    mean_nm: int
    smallest_nm: int
    largest_nm: int
    readings: tuple[Reading, ...] = ()  # the readings that make the size, as the gauge gave them
    measured_as: MeasuredAs | None = None  # None: nothing is known about how it was measured
    temperature_nm: int = 0  # what the correction to 20 degrees Celsius added
    aside: tuple[Reading, ...] = ()  # those away from the crown axis, which only show form
    form: Form | None = None  # None: no reading shows it

    @property
    def zero_nm(self) -> int:
        """The zero error that was subtracted."""
        return self.measured_as.zero_nm if self.measured_as else 0

    @property
    def ball_nm(self) -> int:
        """The ball diameter that was subtracted."""
        return self.measured_as.ball_nm if self.measured_as else 0

    @property
    def raw_mean_nm(self) -> int:
        """The mean before correction."""
        return self.mean_nm + self.zero_nm + self.ball_nm - self.temperature_nm

    @property
    def gauges(self) -> tuple[str, ...]:
        """The named gauges, each once."""
        return self.measured_as.gauges if self.measured_as else ()


@dataclass(frozen=True, slots=True)
class Shell:
    """One half bearing. `marks` are its cells in `Job.shell_columns`, in that order, trimmed and in lower case."""

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
    measured: Size | None = None  # the wall as it was measured; shared between equal shells, as there may be a million
    step: str = ""  # undersize and step printed on it, as typed
    part: str = ""  # the part number printed on it, as typed
    preferred: bool = False  # to be used rather than others, as far as that costs little enough

    @property
    def measured_as(self) -> MeasuredAs | None:
        """How the wall was measured; None: nothing is known about it."""
        return self.measured.measured_as if self.measured else None

    @property
    def metal_nm(self) -> int:
        """The wall without a coating."""
        metal = self.wall_nm if self.wall_to_metal_nm is None else self.wall_to_metal_nm
        assert metal is not None
        return metal

    @property
    def touched_nm(self) -> int:
        """The wall as a bore gauge or a strip meets it: over its coating, whether that counts as wall or not."""
        return self.metal_nm + self.coating_nm

    @property
    def key(self) -> ShellKey:
        """Box and name, which together identify the shell."""
        return self.box, self.name

    @property
    def is_shelved(self) -> bool:
        """Whether it is on the shelf and in no file of the job."""
        return self.file == ON_SHELF

    @property
    def label(self) -> str:
        """Grade, step and whether it is coated: shells of one box and half with one label ought to have equal walls."""
        if not (self.grade or self.step or self.coating_nm):
            return ""  # most have none, and there may be a million
        return " ".join(filter(None, (self.grade, self.step, "coated" if self.coating_nm else "")))


@dataclass(frozen=True, slots=True)
class Position:
    """One rod or main. `wants_upper` and `wants_lower` are the cells its halves must match, in the order of
    `Job.matched_columns`, trimmed and in lower case.

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
    want_min_nm: int | None = None  # the narrower band that is wanted, already clipped to min and max
    want_max_nm: int | None = None
    seating_nm: int = 0
    upper: ShellKey | None = None
    lower: ShellKey | None = None
    wants_upper: tuple[str, ...] = ()
    wants_lower: tuple[str, ...] = ()
    accept: str | None = None
    pin: int | None = None
    row: int = 0
    undersize: str = ""  # the user's own label for what the journal was ground to
    aims_at_middle: bool = False  # its target is the middle of min and max because none was given
    within: tuple[str, ...] = ()  # cells in which a housing and its journal must agree, trimmed and in lower case
    housing: str | None = None  # the row whose housing is here, if it was moved
    offset_nm: int | None = None  # how far the housing's axis is off the line of the others; positive towards the block
    job: str = ""  # the name of its job; empty for one alone
    note: str = ""  # the user's own words about it

    @property
    def key(self) -> PositionKey:
        """Job and name, which together identify the position, whichever housing it has."""
        return self.job, self.name

    unsized: Form | None = None  # for a housing bore without a size, as no reading of it is near the crown axis

    @property
    def wishes(self) -> bool:
        """Whether a wanted band is given here."""
        return self.want_min_nm is not None or self.want_max_nm is not None

    @property
    def missing(self) -> tuple[str, ...]:
        """The features that have no reading yet."""
        return tuple(feature for feature in DIAMETERS if getattr(self, feature) is None)

    def form(self, feature: str) -> Form | None:
        """What the readings of the journal or housing bore show about its form; None if nothing."""
        size: Size | None = getattr(self, feature)
        if size is not None:
            return size.form
        return self.unsized if feature == "housing_bore" else None


@dataclass(frozen=True, slots=True)
class Band:
    """A drawing's limits, both ends included; `iso_286`: the class that they were written as."""

    low_nm: int
    high_nm: int
    iso_286: str = field(default="", compare=False)

    def __contains__(self, nm: int) -> bool:
        return self.low_nm <= nm <= self.high_nm


@dataclass(frozen=True, slots=True)
class Fit:
    """One `[fit.KIND]` table: what every position of the kind has unless its row says otherwise."""

    kind: str
    target_nm: int | None = None
    target_ratio: Fraction | None = None
    min_nm: int | None = None
    max_nm: int | None = None
    seating_nm: int = 0
    family: tuple[str, ...] | None = None  # in lower case; None: every family fits
    seating_u_nm: int | None = None  # standard uncertainty of the seating
    seating_readings: int | None = None  # how many readings that came from; None: taken as known exactly
    want_min_nm: int | None = None  # the narrower band that is wanted, as written
    want_max_nm: int | None = None
    limits_from: str | None = None  # where min and max come from, in the user's own words


def marks_agree(one: str, other: str) -> bool:
    """Whether two cells in lower case agree: `any` with everything, blank only with blank."""
    return one == other or ANY in (one, other)


# --- what is answered ------------------------------------------------------------------------------------------------


def room(position: Position) -> int:
    """The room for walls and clearance: housing bore - journal + seating, from the mean sizes."""
    assert position.housing_bore is not None and position.journal is not None
    return position.housing_bore.mean_nm - position.journal.mean_nm + position.seating_nm


def tightest_room(position: Position, limits_at: str) -> int:
    """The room left by the smallest crown-axis place of the bore and the largest place of the journal."""
    if limits_at == "mean":
        return room(position)
    assert position.housing_bore is not None and position.journal is not None
    return position.housing_bore.smallest_nm - position.journal.largest_nm + position.seating_nm


def shortfall_of(least_nm: int | None, clearance_nm: int) -> int:
    """How far a clearance is below a bound; 0 if it is not, or there is no bound."""
    return 0 if least_nm is None else max(0, least_nm - clearance_nm)


def excess_of(most_nm: int | None, clearance_nm: int) -> int:
    """How far a clearance is above a bound; 0 if it is not, or there is no bound."""
    return 0 if most_nm is None else max(0, clearance_nm - most_nm)
