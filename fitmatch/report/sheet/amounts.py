"""Lengths and names as they stand on a sheet: every length in both units, and no 6 that could be a 9."""

import re
from typing import Final, NamedTuple

from fitmatch.lengths import exact, fixed
from fitmatch.records.parts import Shell, Size
from fitmatch.report.shared.scale import NOTHING, PLACES

_OTHER: Final = {"in": "mm", "mm": "in"}
_TURNED: Final = re.compile(r"([69])")


class Amount(NamedTuple):
    """A length in the job's unit, to its last digit, and in the other unit, rounded; with their units."""

    own: str
    other: str


class Run(NamedTuple):
    """A part of a name; `underlined`: a digit that would be another one upside down."""

    text: str
    underlined: bool


def amount(nm: int, unit: str) -> Amount:
    """A length in both units."""
    other = _OTHER[unit]
    return Amount(f"{in_full(nm, unit)} {unit}", f"{fixed(nm, other, PLACES[other])} {other}")


def in_full(nm: int | None, unit: str) -> str:
    """A length to its last digit, with the usual decimals at least."""
    if nm is None:
        return NOTHING
    whole, _, decimals = exact(nm, unit).partition(".")
    return f"{whole}.{decimals.ljust(PLACES[unit], '0')}"


def mean_in_full(size: Size | None, unit: str) -> str:
    """The mean of a size in the same way."""
    return NOTHING if size is None else in_full(size.mean_nm, unit)


def runs(name: str) -> tuple[Run, ...]:
    """A name with every 6 and every 9 set apart."""
    return tuple(Run(part, part in ("6", "9")) for part in _TURNED.split(name) if part)


def coating_of(shell: Shell, unit: str) -> str:
    """How thickly a shell is coated; empty where it is not."""
    return f"coated {in_full(shell.coating_nm, unit)} {unit}" if shell.coating_nm else ""
