"""Lengths and names as they stand on a sheet: every length in both units, and no 6 that could be a 9."""

import re
from collections.abc import Callable
from typing import Final, NamedTuple

from fitmatch.lengths import exact
from fitmatch.records.parts import Shell, Size
from fitmatch.report.shared.scale import NOTHING, PLACES, on_paper, usual

_OTHER: Final = {"in": "mm", "mm": "in"}
_TURNED: Final = re.compile(r"([69])")


class Amount(NamedTuple):
    """A length in its own unit, the job's or a gauge's, and in the other one; with their units."""

    own: str
    other: str


class Run(NamedTuple):
    """A part of a name; `underlined`: a digit that would be another one upside down."""

    text: str
    underlined: bool


def amount(nm: int, unit: str) -> Amount:
    """A length in both units, with the usual decimals: more would only look exact."""
    return _both(unit, lambda one: usual(one, nm))


def exact_amount(nm: int, unit: str) -> Amount:
    """The same, to the last digit in its own unit."""
    return amount(nm, unit)._replace(own=f"{in_full(nm, unit)} {unit}")


def span(least_nm: int | None, most_nm: int | None, unit: str) -> Amount | None:
    """What must be read, in both units, each end rounded inward; None without either end."""
    if least_nm is None and most_nm is None:
        return None

    def told(one: str) -> str:
        least = "" if least_nm is None else usual(one, on_paper(least_nm, one, PLACES[one], 1))
        most = "" if most_nm is None else usual(one, on_paper(most_nm, one, PLACES[one], -1))
        return f"{least} to {most}" if least and most else f"at least {least}" if least else f"at most {most}"

    return _both(unit, told)


def _both(unit: str, told: Callable[[str], str]) -> Amount:
    other = _OTHER[unit]
    return Amount(f"{told(unit)} {unit}", f"{told(other)} {other}")


def in_full(nm: int | None, unit: str) -> str:
    """A length to its last digit, with the usual decimals at least."""
    if nm is None:
        return NOTHING
    whole, _, decimals = exact(nm, unit).partition(".")
    return f"{whole}.{decimals.ljust(PLACES[unit], '0')}"


def mean_of(size: Size | None, unit: str) -> str:
    """The mean of a size with the usual decimals."""
    return NOTHING if size is None else usual(unit, size.mean_nm)


def runs(name: str) -> tuple[Run, ...]:
    """A name with every 6 and every 9 set apart."""
    return tuple(Run(part, part in ("6", "9")) for part in _TURNED.split(name) if part)


def coating_of(shell: Shell, unit: str) -> str:
    """How thickly a shell is coated; empty where it is not."""
    return f"coated {in_full(shell.coating_nm, unit)} {unit}" if shell.coating_nm else ""
