"""How things are measured: readings and where they were taken, gauges, temperature, and the form they show.

Immutable records; lengths are whole nanometres, coefficients and temperatures exact fractions. Most are named
tuples: a job may have a million readings, and every run loads this module.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.records.keys import ShellKey

DIAMETERS: Final = ("journal", "housing_bore")
FEATURES: Final = (*DIAMETERS, "wall")
LARGEST_STATION: Final = 999
_TURN: Final = {"journal": 180, "housing_bore": 180, "wall": 360}


def turned(feature: str, angle: float) -> float:
    """An angle reduced by half turns for a diameter, by whole turns for a wall: a diameter at 190 is the one at 10."""
    return angle % _TURN[feature]


class Reading(NamedTuple):
    """One reading as the gauge gave it. `station` counts from the front; `angle` is in degrees from the crown axis.
    `confirmed`: why it is kept although it looks doubtful. `column`: the one of the file that it is in. `typed`: what
    stands there, if its unit is not the job's."""

    nm: int
    station: int | None = None
    angle: float | None = None
    gauge: str | None = None
    confirmed: str = ""
    column: str = ""
    typed: str = ""


class Place(NamedTuple):
    """Where a reading is to be taken; no `station`: anywhere along the axis. `angle` as in a reading."""

    station: int | None = None
    angle: float = 0.0


class LoggedReading(NamedTuple):
    """One complete row of the long file of readings. `shell` is the box and name of the shell that `item` refers to."""

    item: str
    feature: str
    reading: Reading
    by: str = ""
    time: str = ""
    row: int = 0
    shell: ShellKey | None = None


class AssembledReading(NamedTuple):
    """One row of assembled.csv: what was read with the shells in and the fasteners tightened, as the gauge gave it.

    `feature` is "clearance", where the gauge was zeroed on the journal's micrometer, or "bore". `upper` and
    `lower` are box and name of the shells that were fitted. `typed`: what stands in the file for each reading, with its
    unit.
    """

    position: str
    upper: ShellKey
    lower: ShellKey
    feature: str
    readings_nm: tuple[int, ...]
    method: str  # gauge or strip
    gauge: str | None = None
    by: str = ""
    date: str = ""
    row: int = 0
    housing: str | None = None  # the row whose housing the saved plan moved here
    typed: tuple[str, ...] = ()


class Doubt(NamedTuple):
    """A reading that is likely a mistake. `row` counts as an editor counts lines; `item` is a position or BOX/NAME;
    `reading_nm` is the raw reading; `what` looks wrong with it. `signatures` name the mistakes that explain it, the
    best first, then others that the numbers alone cannot rule out, three at most."""

    file: str
    row: int
    item: str
    feature: str
    reading_nm: int
    what: Fact
    signatures: tuple[str, ...]
    column: str = ""  # that the reading stands in
    typed: str = ""  # what stands there, if its unit is not the job's


class Series(NamedTuple):
    """Readings of one gauge at one place: how many repeats, and the weight of their mean in the size. `alike` says how
    many places of the size are alike in this."""

    gauge: str | None
    repeats: int
    share: float
    alike: int = 1


class MeasuredAs(NamedTuple):
    """All that the uncertainty of a size depends on, apart from the values read. Sizes share these objects, and equal
    ones are interchangeable; `zero_nm` and `ball_nm` are what was taken off the mean of the raw readings.

    `tightest` are the series of the place that leaves the least clearance, of `places` in all; empty for a wall, and
    where all is one place.
    """

    series: tuple[Series, ...]
    zero_nm: int = 0
    ball_nm: int = 0
    places: int = 1
    tightest: tuple[Series, ...] = ()

    @property
    def gauges(self) -> tuple[str, ...]:
        """The named gauges, each once."""
        return tuple(dict.fromkeys(s.gauge for s in self.series if s.gauge is not None))


class Gauge(NamedTuple):
    """One `[gauge.NAME]`; None means not given."""

    name: str
    unit: str | None = None
    resolution_nm: int | None = None
    limit_nm: int | None = None
    repeatability_nm: int | None = None
    own_zero_nm: int = 0  # mean reading on its standard - the standard's value
    ball_nm: int = 0
    set_with: str | None = None
    expansion: Fraction | None = None  # per kelvin
    repeatability_from: int | None = None  # how many readings that figure came from
    repeatability_rounded: bool = False  # whether it was read on the gauge, and so contains its rounding
    standard_reads_nm: tuple[int, ...] = ()  # repeats on its standard
    standard_limit_nm: int | None = None  # +/- of the standard
    expansion_limit: Fraction | None = None  # +/- per kelvin


class Temperature(NamedTuple):
    """Degrees Celsius of gauges and parts; `one_room` if a single figure was given for both."""

    gauges: Fraction
    parts: Fraction
    one_room: bool
    limit: Fraction | None = None  # +/- kelvin


class Pooled(NamedTuple):
    """The scatter shown by repeats with one gauge: a variance in nm squared and its degrees of freedom."""

    variance_nm2: float
    degrees_of_freedom: int


class Form(NamedTuple):
    """What the readings of one item say about its form; None means not measured, which is not 0.

    `taper_nm`: first station - last station. `barrel_nm`: middle station - the ends' mean; above zero is barrel, below
    is hour-glass. `out_of_round_nm`: the largest difference of two angles within a station. `larger`, for a housing
    bore: where its larger diameter is, "across the joint" or "along the crown axis".
    """

    taper_nm: int | None = None
    barrel_nm: int | None = None
    out_of_round_nm: int | None = None
    larger: str | None = None


@dataclass(frozen=True, slots=True)
class Measuring:
    """Everything about gauges and form in a job; the default is a job that says nothing about them."""

    gauges: Mapping[str, Gauge] = field(default_factory=dict)
    measured: Mapping[str, Mapping[str, str]] = field(default_factory=dict)  # kind -> feature -> gauge
    bench: Mapping[str, Mapping[str, tuple[Place, ...]]] = field(default_factory=dict)  # kind -> feature
    pooled: Mapping[str, Pooled] = field(default_factory=dict)  # gauge -> scatter of its repeats
    temperature: Temperature | None = None
    materials: Mapping[str, Mapping[str, Fraction]] = field(default_factory=dict)  # kind -> feature -> per kelvin
    material_limits: Mapping[str, Mapping[str, Fraction]] = field(default_factory=dict)  # the same, +/-
    form_limits: Mapping[str, Mapping[str, int]] = field(default_factory=dict)  # kind -> journal_taper, … -> nm
    form_told: frozenset[str] = frozenset()  # features about whose form some reading says something
    positions_file: str = ""
    log_file: str = ""
    log: tuple[LoggedReading, ...] = ()  # the long file, in file order
    assembled_file: str = ""
    assembled: tuple[AssembledReading, ...] = ()  # in file order; only if requested
