"""How a report writes a length: the unit, the decimals, and the small step that deviations are spoken of in."""

from collections.abc import Iterable
from typing import Final, NamedTuple

from fitmatch.lengths import NM_PER_UNIT, fixed, round_half_even

NOTHING: Final = "-"  # for a length that is not there

# By unit: decimals, the grid they resolve, the step of deviations, and its decimals for an axis shift.
_DECIMALS: Final = {"in": 5, "mm": 4}
_GRID_NM: Final = {"in": 254, "mm": 100}
_STEP: Final = {"in": "tenths", "mm": "um"}
_AXIS_DECIMALS: Final = {"in": 2, "mm": 1}  # half of a wall difference: half of 0.5 tenths, half of 1 um


class Scale(NamedTuple):
    """Lengths in `unit` with `decimals`; deviations in tenths (0.0001 in) or um."""

    unit: str
    decimals: int

    @property
    def step(self) -> str:
        return _STEP[self.unit]

    def length(self, nm: int | None, *, sign: bool = False) -> str:
        return NOTHING if nm is None else fixed(nm, self.unit, self.decimals, sign=sign)

    def with_unit(self, nm: int) -> str:
        return f"{self.length(nm)} {self.unit}"

    def rounded(self, nm: int | None) -> str:
        """A figure that was averaged: decimals beyond the usual ones would say nothing."""
        return NOTHING if nm is None else fixed(nm, self.unit, _DECIMALS[self.unit])

    def steps(self, nm: int | None, *, sign: bool = False) -> str:
        return NOTHING if nm is None else fixed(nm, self.step, 1, sign=sign)

    def amount(self, nm: int) -> str:
        """Steps with as many decimals as it takes not to read as nothing."""
        places = 1
        while 0 < nm * 10**places < NM_PER_UNIT[self.step]:
            places += 1
        return fixed(nm, self.step, places)

    def two_digits(self, nm: float) -> str:
        """Steps of an expected figure to two significant digits; more would only look exact."""
        return f"{float(f'{nm / NM_PER_UNIT[self.step]:.2g}'):g}"

    def axis(self, twice_nm: int | None) -> str:
        return (
            NOTHING
            if twice_nm is None
            else fixed(round_half_even(twice_nm, 2), self.step, _AXIS_DECIMALS[self.unit], sign=True)
        )


def scale_for(unit: str, lengths_nm: Iterable[int]) -> Scale:
    """Five decimals of an inch or four of a millimetre; one more where a length does not lie on that grid, so that a
    sum written out still adds up."""
    off_grid = any(nm % _GRID_NM[unit] for nm in lengths_nm)
    return Scale(unit, _DECIMALS[unit] + off_grid)
