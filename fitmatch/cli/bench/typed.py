"""A reading as it was typed or sent: its number and unit, and how it is shown and written down."""

import re
from typing import Final, NamedTuple

from fitmatch.lengths import fixed

_NUMBER: Final = re.compile(r"([+-]?)\s*([0-9]*[.,]?[0-9]*(?:[eE][+-]?[0-9]+)?)\s*([^\W\d_]*)")
_PLACES: Final = {"in": 0, "thou": 3, "tenths": 4, "mm": 0, "um": 3, "µm": 3, "μm": 3}  # more in inches or in mm
_INCHES: Final = ("in", "thou", "tenths")
_MOST_INCH_PLACES: Final = 8  # about a nanometre
_MOST_METRIC_PLACES: Final = 6


class Typed(NamedTuple):
    """`number` has a decimal point; `unit` is empty if none was typed."""

    number: str
    unit: str

    def with_unit(self, unit: str) -> str:
        """As text with its unit."""
        return f"{self.number} {self.unit or unit}"

    def cell(self, unit: str, cell_unit: str, *, decimal_comma: bool) -> str:
        """As a cell of a column in `cell_unit`; what was typed is in `unit` unless it has its own."""
        number = self.number.replace(".", ",") if decimal_comma else self.number
        meant = self.unit or unit
        return number if meant == cell_unit else f"{number} {meant}"

    def told(self, nm: int, unit: str, job_unit: str) -> str:
        """`1.8162 in = 46.1315 mm`: the length in the job's unit, then in the other one, the one that was typed as fine
        as it was typed. Millimetres with as many places as inches, and inches with two more than millimetres, lose
        nothing."""
        mantissa, _, power = self.number.casefold().partition("e")
        meant = self.unit or unit
        typed = max(0, len(mantissa.partition(".")[2]) - int(power or 0) + _PLACES[meant])
        inches = min(typed if meant in _INCHES else typed + 2, _MOST_INCH_PLACES)
        both = {"in": fixed(nm, "in", inches), "mm": fixed(nm, "mm", min(typed, _MOST_METRIC_PLACES))}
        other = "mm" if job_unit == "in" else "in"
        return f"{both[job_unit]} {job_unit} = {both[other]} {other}"


def as_typed(text: str) -> Typed | None:
    """A text as number and unit; None if it is not that. Whether the unit is known is not checked."""
    match = _NUMBER.fullmatch(text.strip())
    if match is None or not any(c.isdecimal() for c in match.group(2)):
        return None
    sign, number, unit = match.groups()
    return Typed(("-" if sign == "-" else "") + number.replace(",", "."), unit.lower())
