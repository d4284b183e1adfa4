"""The quantities that say how a bearing runs: their keys, units and plausible bounds."""

from collections.abc import Sequence
from itertools import pairwise
from typing import Final, NamedTuple

from fitmatch.intake.common.quantities import CellError, Quantity
from fitmatch.lengths import LengthError, parse_number
from fitmatch.records.study.bearings import Running
from fitmatch.records.study.oils import LEAST_MM2_S, MOST_MARGIN_K
from fitmatch.wording import shorten

_THINNEST: Final = 0.5
OIL_TABLE: Final = "40: 90, 100: 9.4"
WIDTH: Final = Quantity("the width of a land", 1_000_000, 1_000_000_000, "1 mm to 1 m", above_zero=True)
SLOPE: Final = Quantity("a slope of the gap over the width", 0, 1_000_000, "0 to 1 mm")
LENGTHS: Final = {"width": WIDTH, "slope": SLOPE}


class Figure(NamedTuple):
    """A plain number in one unit, and the bounds that it can have, both included but for a low end of zero."""

    unit: str
    low: float
    high: float
    zero: bool = False

    @property
    def bounds(self) -> str:
        low = "more than 0, up to" if self.low == 0 and not self.zero else f"{self.low:g} to"
        return f"{low} {self.high:g} {self.unit}"

    def holds(self, value: float) -> bool:
        return self.low <= value <= self.high and (value != 0 or self.zero or self.low < 0)


FIGURES: Final = {
    "lands": Figure("lands", 1, 8),
    "load": Figure("N", 0, 1e8),
    "speed": Figure("rpm", 0, 1e6),
    "viscosity": Figure("mPa s", 0.1, 1e5),
    "oil_40": Figure("mm2/s", LEAST_MM2_S, 1e5),
    "oil_100": Figure("mm2/s", LEAST_MM2_S, 1e4),
    "high_shear": Figure("mPa s", 0.1, 1e3),
    "density": Figure("kg/m3", 500, 2_000),
    "density_slope": Figure("kg/m3K", 0, 2, zero=True),
    "heat_capacity": Figure("J/kgK", 500, 5_000),
    "inlet": Figure("degrees Celsius", -50, 250, zero=True),
    "oil_margin": Figure("K", 0, MOST_MARGIN_K, zero=True),
    "feed_pressure": Figure("MPa", 0, 20, zero=True),
    "housing_temperature": Figure("degrees Celsius", -50, 300, zero=True),
    "journal_temperature": Figure("degrees Celsius", -50, 300, zero=True),
}
FIELDS: Final = {key: next(name for name in Running._fields if name.startswith(key)) for key in (*LENGTHS, *FIGURES)}


def figure_of(key: str, text: str) -> float:
    """A figure from its text; raises CellError."""
    try:
        value = float(parse_number(text))
    except LengthError as error:
        raise CellError("not-a-number", str(error)) from None
    wrong = fault_of(key, value, shorten(text))
    if wrong is not None:
        raise CellError("implausible-number", wrong)
    return value


def fault_of(key: str, value: float, shown: str) -> str | None:
    """What is wrong with a figure, which was given as `shown`; None if nothing is."""
    figure = FIGURES[key]
    if key == "density_slope" and value < 0:
        what = "oil becomes lighter as it warms: write how much its density falls per kelvin, without a minus sign"
        return f"`{shown}` is negative; {what}"
    if figure.low == 0 and not figure.zero and value <= 0:
        return f"`{shown}` is not more than 0; write {figure.bounds}"
    if not figure.holds(value):
        return f"`{shown}` is outside {figure.bounds}; check figure and unit"
    if key == "lands" and value != int(value):
        return f"`{shown}` is not a whole number; write {figure.bounds}"
    return None


def oil_point(text: str) -> tuple[float, float]:
    """One line of a table of viscosities, `TEMPERATURE: VISCOSITY`; raises CellError."""
    temperature, colon, viscosity = text.partition(":")
    if not colon:
        raise CellError("not-a-number", f"`{shorten(text)}` is not C: MPAS; write it like {OIL_TABLE}")
    return figure_of("inlet", temperature), figure_of("viscosity", viscosity)


def oil_table(points: Sequence[tuple[float, float]]) -> tuple[tuple[float, float], ...]:
    """The table of these; raises CellError unless it has two or more, hotter and thinner each."""
    if not _are_table(points):
        if _are_table(sorted(points)):
            raise CellError("implausible-number", f"write its points coolest first: {OIL_TABLE}")
        raise CellError("implausible-number", f"two points or more, each hotter and thinner, are a table: {OIL_TABLE}")
    if points[-1][1] < _THINNEST:
        why = f"`{points[-1][1]:g}` is thinner than the law between the points holds; write at least {_THINNEST} mPa s"
        raise CellError("implausible-number", why)
    return tuple(points)


def _are_table(points: Sequence[tuple[float, float]]) -> bool:
    return len(points) >= 2 and all(a < c and b > d for (a, b), (c, d) in pairwise(points))
