"""Texts to lengths that are plausible for what they measure: bounds from the trade, and hints when the unit looks
wrong."""

from dataclasses import dataclass, field
from functools import lru_cache
from typing import Final, NamedTuple

from fitmatch.intake.common import advice
from fitmatch.lengths import LengthError, parse_length, parse_number, with_unit
from fitmatch.records.measuring import DIAMETERS, LARGEST_STATION, turned
from fitmatch.wording import listed, shorten

_MOST_KNOWN: Final = 200_000  # more texts than gauges can show
_LONGEST_COUNT: Final = 9  # digits
_LARGEST_ANGLE: Final = 360


class CellError(Exception):
    """Text that cannot be accepted; `code` as in the catalogue, the message says what is wrong and what to do."""

    def __init__(self, code: str, text: str) -> None:
        super().__init__(text)
        self.code = code


class Quantity(NamedTuple):
    """Something measured or wanted, and the lengths it can have, both ends included."""

    name: str
    low_nm: int
    high_nm: int
    bounds: str
    above_zero: bool = False

    def holds(self, nm: int) -> bool:
        return self.low_nm <= nm <= self.high_nm


JOURNAL: Final = Quantity("a journal", 5_000_000, 2_000_000_000, "5 mm to 2 m", above_zero=True)
HOUSING_BORE: Final = Quantity("a housing bore", 5_000_000, 2_000_000_000, "5 mm to 2 m", above_zero=True)
ASSEMBLED_BORE: Final = Quantity("an assembled bore", 5_000_000, 2_000_000_000, "5 mm to 2 m", above_zero=True)
ASSEMBLED_CLEARANCE: Final = Quantity("a clearance", 1, 2_000_000, "more than 0, up to 2 mm", above_zero=True)
WALL: Final = Quantity("a wall", 200_000, 25_000_000, "0.2 to 25 mm", above_zero=True)
TARGET: Final = Quantity("a target clearance", 1, 2_000_000, "more than 0, up to 2 mm", above_zero=True)
LIMIT: Final = Quantity("a limit", 0, 2_000_000, "0 to 2 mm")
SLACK: Final = Quantity("a slack", 0, 2_000_000, "0 to 2 mm")
SEATING: Final = Quantity("a seating", -200_000, 200_000, "-0.2 to 0.2 mm")
OFFSET: Final = Quantity("an offset", -2_000_000, 2_000_000, "-2 to 2 mm")
COATING: Final = Quantity("a coating", 0, 12_500_000, "0 to less than half the wall")
RESOLUTION: Final = Quantity("a resolution", 1, 100_000, "more than 0, up to 0.1 mm", above_zero=True)
GAUGE_ERROR: Final = Quantity("an error of a gauge", 0, 200_000, "0 to 0.2 mm")
STANDARD: Final = Quantity("a setting standard", -200_000, 2_000_000_000, "0 to 2 m")
BALL: Final = Quantity("a ball", 0, 25_000_000, "0 to 25 mm")
MEASURED: Final = {"journal": JOURNAL, "housing_bore": HOUSING_BORE, "wall": WALL}  # by feature
# By the columns of positions.csv that contain them.
QUANTITIES: Final = {
    **{feature: MEASURED[feature] for feature in DIAMETERS},
    "target": TARGET,
    "min": LIMIT,
    "max": LIMIT,
    "seating": SEATING,
    "offset": OFFSET,
}


def count_of(text: str, most: int, what: str) -> int:
    """A whole number from 1 to `most`; raises CellError. `what`: what it is and how it is counted, for the message."""
    if text.isascii() and text.isdecimal() and len(text) <= _LONGEST_COUNT and 1 <= int(text) <= most:
        return int(text)
    raise CellError("not-a-whole-number", f"`{shorten(text)}` is not a {what} from the front: 1, 2, 3 and so on")


@lru_cache(1 << 12)
def station_of(text: str) -> int:
    """A station along the axis; raises CellError."""
    return count_of(text, LARGEST_STATION, "station; count them")


@lru_cache(1 << 12)
def angle_of(text: str, feature: str, *, decimal_comma: bool = False) -> float:
    """Degrees from the crown axis, reduced by whole turns; raises CellError."""
    todo = "write degrees from the crown axis"
    try:
        angle = parse_number(text, decimal_comma=decimal_comma)
    except LengthError:
        why = f"`{shorten(text)}` is not an angle; {todo} as a plain number, such as 22.5"
        raise CellError("not-a-number", why) from None
    if not -_LARGEST_ANGLE <= angle <= _LARGEST_ANGLE:
        raise CellError("implausible-number", f"`{shorten(text)}` is outside -360 to 360; {todo}")
    return turned(feature, float(angle))


def is_blank(value: object) -> bool:
    """Whether a figure is still to be filled in, as `fitmatch new` leaves it."""
    return isinstance(value, str) and value.strip() in ("...", "\u2026")


@dataclass(slots=True)
class LengthReader:
    """Reads the lengths of one quantity, plain numbers being in `unit`.

    `known` holds the texts already read and found plausible: cells repeat a lot, and a look-up costs next to nothing.
    `unit` is None if the job names none: then only the notation is checked.
    """

    quantity: Quantity
    unit: str | None
    inch_job: bool
    decimal_comma: bool = False
    known: dict[str, int] = field(default_factory=dict)
    finer: bool = False  # whether the last text was finer than a nanometre

    def read(self, text: str, *, brief: bool = False) -> int:
        """Whole nanometres; raises CellError, whose text need say nothing if `brief`."""
        try:
            nm, whole = parse_length(
                text, self.unit or "mm", inch_job=self.inch_job or self.unit is None, decimal_comma=self.decimal_comma
            )
        except LengthError as error:
            raise CellError("not-a-length", "") if brief else self._unreadable(text, str(error)) from None
        if self.unit is not None and not self.quantity.holds(nm):
            raise CellError("implausible-length", "") if brief else self._implausible(text, nm, whole=whole)
        self.finer = not whole
        if whole and len(self.known) < _MOST_KNOWN:
            self.known[text] = nm
        return nm

    def _unreadable(self, text: str, why: str) -> CellError:
        if not text.strip():
            return CellError("empty-cell", why)
        if is_blank(text):
            todo = "write the engine maker's figure" if self.quantity in (TARGET, LIMIT) else "write the figure"
            return CellError("empty-cell", f"is still to be filled in; {todo}")
        return CellError("not-a-length", advice.for_number(text, why, inch_job=self.inch_job))

    def _implausible(self, text: str, nm: int, *, whole: bool) -> CellError:
        name, bounds = self.quantity.name, self.quantity.bounds
        if nm == 0 and self.quantity.above_zero and not whole:
            return CellError("not-positive", f"`{shorten(text)}` is less than half a nanometre; {name} is {bounds}")
        if nm <= 0 and self.quantity.above_zero:
            return CellError("not-positive", f"`{shorten(text)}` is not more than zero; {name} is {bounds}")
        if nm < 0 <= self.quantity.low_nm:
            return CellError("implausible-length", f"`{shorten(text)}` is below zero; {name} is {bounds}")
        shown = f"`{shorten(text)}` is {_metric(nm)}, and {name} is {bounds}"
        meant = self._slipped_units(text)
        if meant:
            return CellError("implausible-length", f"{shown}; if another unit was meant, write {listed(meant, 'or')}")
        return CellError("implausible-length", f"{shown}; check the digits and the unit")

    def _slipped_units(self, text: str) -> list[str]:
        """The same digits with the units that would make them plausible."""
        # What was read as a length is still a number without its unit, and no unit contains a digit, point or comma.
        digits = text[: 1 + max(map(text.rfind, "0123456789.,"))].strip()
        meant = []
        for unit in ("in", "mm", "um", "thou"):
            nm, _ = parse_length(digits, unit, inch_job=self.inch_job, decimal_comma=self.decimal_comma)
            if nm and self.quantity.holds(nm):
                meant.append(f"`{shorten(digits)} {unit}`")
        return meant


def _metric(nm: int) -> str:
    """A length for a message, in the metric unit that suits its size."""
    if abs(nm) >= 10**13:
        return "more than ten kilometres"
    return with_unit(nm, "mm" if abs(nm) >= 1_000_000 else "um")
