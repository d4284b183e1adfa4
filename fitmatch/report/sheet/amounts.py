"""Lengths and names as they stand on a sheet: every length in both units, and no 6 that could be a 9."""

import re
from collections.abc import Callable, Collection, Iterable, Sequence
from itertools import groupby
from typing import Final, NamedTuple

from fitmatch.lengths import exact, fixed
from fitmatch.records.measuring import Gauge
from fitmatch.records.parts import Position, Shell, Size
from fitmatch.report.shared.layout import NO_BREAK
from fitmatch.report.shared.scale import NOTHING, PLACES, on_paper, telling, usual

_OTHER: Final = {"in": "mm", "mm": "in"}
_TURNED: Final = re.compile(r"([69])")
_DECIMALS: Final = re.compile(r"[+-]?[0-9]*[.,]([0-9]+)\s*[^\W\d_]*")  # of a length as it was typed
_UNIT: Final = re.compile(r"[^\W\d_]+$")


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


def in_both(nm: int, unit: str) -> str:
    """The same in one text."""
    own, other = amount(nm, unit)
    return f"{own} ({other})"


def setting(nm: int, unit: str, step_nm: int | None) -> Amount:
    """What a gauge is set to, in both units: in its own with the decimals of its step, if that is known."""
    own = usual(unit, nm) if not step_nm else fixed(nm, unit, max(places(one, unit) for one in (nm, step_nm)))
    return amount(nm, unit)._replace(own=f"{own} {unit}")


def judged(nm: int, unit: str, position: Position, further: Iterable[int | None] = ()) -> str:
    """A clearance with the usual decimals, or as many more as it takes to look inside or outside its limits as it
    is."""
    bounds = (position.min_nm, position.max_nm, *further)
    return fixed(nm, unit, telling(unit, nm, bounds, PLACES[unit]))


def as_read(readings: Sequence[tuple[int, str]], unit: str, step_nm: int | None, step_unit: str) -> str:
    """Readings as they were read, each a length and what was typed if its unit is not `unit`: with the decimals that
    were typed, or those of the gauge's step, which is in `step_unit`."""
    units = [found.group().lower() if (found := _UNIT.search(typed)) else unit for _, typed in readings]
    told = []
    for one, group in groupby(zip(units, readings, strict=True), key=lambda pair: pair[0]):
        some = [reading for _, reading in group]
        known = [max(places(nm, one) if not (m := _DECIMALS.fullmatch(t)) else len(m[1]) for nm, t in some)]
        known += [places(step_nm, one)] if step_nm and one == step_unit else []
        told.append(" ".join(fixed(nm, one, max(known)) for nm, _ in some) + f" {one}")
    return " ".join(told)


def unit_read(readings_nm: Collection[int], unit: str, gauge: Gauge | None) -> str:
    """The unit that readings were most likely read in, where that was not kept: the gauge's, unless they are on none of
    its steps and shorter in the other one."""
    own = (gauge and gauge.unit) or unit
    step = gauge and gauge.resolution_nm
    if all(not nm % step if step else places(nm, own) <= PLACES[own] for nm in readings_nm):
        return own
    return min((own, other_unit(own)), key=lambda one: max(places(nm, one) for nm in readings_nm))


def places(nm: int, unit: str) -> int:
    """The decimals of a length to its last digit."""
    return len(exact(nm, unit).partition(".")[2])


def span(least_nm: int | None, most_nm: int | None, unit: str) -> Amount | None:
    """What must be read, in both units, each end rounded inward; None without either end. A unit stays on the line of
    its figure."""
    if least_nm is None and most_nm is None:
        return None

    def told(one: str) -> str:
        least = "" if least_nm is None else usual(one, on_paper(least_nm, one, PLACES[one], 1))
        most = "" if most_nm is None else usual(one, on_paper(most_nm, one, PLACES[one], -1))
        return f"{least} to {most}" if least and most else f"at least {least}" if least else f"at most {most}"

    own, other = _both(unit, told)
    return Amount(*(NO_BREAK.join(text.rsplit(" ", 1)) for text in (own, other)))


def other_unit(unit: str) -> str:
    """Millimetres for inches, and inches for millimetres."""
    return _OTHER[unit]


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
    """How thickly a shell is coated, and whether its wall is without that; empty where it is not."""
    if not shell.coating_nm:
        return ""
    aside = shell.wall_nm is not None and shell.wall_nm != shell.touched_nm
    return f"coated {in_both(shell.coating_nm, unit)}{', not in the wall' if aside else ''}"
