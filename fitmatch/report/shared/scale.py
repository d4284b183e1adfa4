"""How a report writes a length: the unit, enough decimals to distinguish it, and the small step of deviations."""

from collections.abc import Iterable
from typing import Final, NamedTuple

from fitmatch.lengths import NM_PER_UNIT, decimal, exact, fixed, round_half_even, two_digits

NOTHING: Final = "-"  # for a missing length

UNITS: Final = {"in": "inches", "mm": "millimetres"}
# By unit: decimals, the step of deviations, and its decimals for an axis shift.
PLACES: Final = {"in": 5, "mm": 4}
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
        """A figure that was averaged: decimals beyond the usual ones would mean nothing."""
        return NOTHING if nm is None else usual(self.unit, nm)

    def steps(self, nm: int | None, *, sign: bool = False) -> str:
        return NOTHING if nm is None else fixed(nm, self.step, 1, sign=sign)

    def amount(self, nm: int) -> str:
        """Steps with enough decimals not to look like zero."""
        return fixed(nm, self.step, _enough(1, nm, self.step))

    def squares(self, nm2: int | None) -> str:
        """A sum of squares in steps squared."""
        return NOTHING if nm2 is None else decimal(nm2, NM_PER_UNIT[self.step] ** 2, 1)

    def two_digits(self, nm: float) -> str:
        """Steps of an expected figure."""
        return two_digits(nm, self.step)

    def axis(self, twice_nm: int | None) -> str:
        return (
            NOTHING
            if twice_nm is None
            else fixed(round_half_even(twice_nm, 2), self.step, _AXIS_DECIMALS[self.unit], sign=True)
        )


def usual(unit: str, nm: int, fewer: int = 0) -> str:
    """A length with the usual decimals, or so many fewer."""
    return fixed(nm, unit, PLACES[unit] - fewer)


def scale_for(unit: str, lengths_nm: Iterable[int]) -> Scale:
    """Five decimals of an inch or four of a millimetre; one more if a length is not on that grid, so that a sum written
    out still adds up."""
    off_grid = any(nm * 10 ** PLACES[unit] % NM_PER_UNIT[unit] for nm in lengths_nm)
    return Scale(unit, PLACES[unit] + off_grid)


def decimals(unit: str, lengths: Iterable[int], gap: int = 0) -> int:
    """As many as these lengths need to differ by `gap`, and one more if they are off the usual grid."""
    return _enough(scale_for(unit, lengths).decimals, gap, unit)


def telling(unit: str, nm: int, bounds: Iterable[int | None], least: int) -> int:
    """So many decimals at least, and as many more as it takes for a length to look as far from each bound as it is: on
    the same side, and equal to none that it is not equal to."""
    known, places = [one for one in bounds if one is not None], least

    def side(one: int, other: int) -> int:
        return (one > other) - (one < other)

    def looks_otherwise() -> bool:
        at = on_paper(nm, unit, places, 0)
        return any(
            one != nm and (side(at, one) != side(nm, one) or at == on_paper(one, unit, places, 0)) for one in known
        )

    while looks_otherwise():
        places += 1
    return places


def sizes(unit: str, lengths: list[int], gap: int = 0) -> list[str]:
    """Lengths with as many decimals as they need."""
    places = decimals(unit, lengths, gap)
    return [f"{fixed(nm, unit, places)} {unit}" for nm in lengths]


def steps(unit: str, nm: int) -> str:
    """A small length in tenths or um, with enough decimals not to look like zero."""
    step = _STEP[unit]
    least = 1 if nm * 10 % NM_PER_UNIT[step] == 0 else 2
    digits = fixed(nm, step, _enough(least, nm, step)).rstrip("0").rstrip(".")
    return "1 tenth" if step == "tenths" and digits == "1" else f"{digits} {step}"


def with_range(nm: int, low_nm: int, high_nm: int, unit: str) -> str:
    """A length and the lengths from low to high that do as well, the ends rounded towards each other."""
    lengths = nm, low_nm, high_nm
    places = decimals(unit, lengths)
    at, low, high = (on_paper(one, unit, places, way) for one, way in zip(lengths, (0, 1, -1), strict=True))
    if low <= at <= high:
        text, least, most = (fixed(one, unit, places) for one in (at, low, high))
    else:
        text, least, most = (exact(one, unit) for one in lengths)
    will_do = "" if low_nm == high_nm else f" ({least} to {most} will do)"
    return f"{text} {unit}{will_do}"


def on_paper(nm: int, unit: str, places: int, way: int) -> int:
    """What is read if this length is written back with so many decimals: rounded up (1), down (-1) or to the nearest
    (0). A limit that falls short by a rounding does not work."""
    per, power = NM_PER_UNIT[unit], 10**places
    digits = round_half_even(nm * power, per) if not way else way * -(-way * nm * power // per)
    return round_half_even(digits * per, power)


def _enough(places: int, nm: int, unit: str) -> int:
    """At least so many decimals, and enough that a length does not look like zero."""
    while 0 < nm * 10**places < NM_PER_UNIT[unit]:
        places += 1
    return places
