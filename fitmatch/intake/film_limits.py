"""What a film can be worked out from: what must be given, between which bounds, and what contradicts what; of job.toml,
options and `fitmatch.film` alike."""

from collections.abc import Iterable, Iterator
from math import ceil
from numbers import Integral, Real
from typing import Final

from fitmatch.intake.common.quantities import ASSEMBLED_CLEARANCE, JOURNAL, CellError, Quantity
from fitmatch.intake.common.running import FIELDS, FIGURES, LENGTHS, fault_of, oil_table
from fitmatch.problems import MOST_PROBLEMS, InputError, Problem
from fitmatch.records.study.bearings import NARROWEST, WIDEST, Bearing, Running
from fitmatch.records.study.oils import MOST_MARGIN_K, Oil

_HEATED: Final = ("oil_40", "oil_100", "density", "density_slope", "heat_capacity", "inlet")
HOT: Final = ("housing_temperature", "journal_temperature")
OF_HEAT: Final = ("density_slope", "heat_capacity", "inlet", "oil_margin", "high_shear")
_UNUSED: Final = "changes nothing at a constant viscosity; leave it out, or give the oil in place of the viscosity"
SAID: Final = {
    "width": "the width of one land",
    "load": "the load in N that all lands carry together",
    "speed": "the speed in revolutions per minute",
    "viscosity": "a constant viscosity in mPa s, or oil_table, or oil_40 and oil_100",
    "oil_40": "the kinematic viscosity at 40 degrees Celsius in mm2/s",
    "oil_100": "the kinematic viscosity at 100 degrees Celsius in mm2/s",
    "density": "the oil's density at 15 degrees Celsius in kg/m3",
    "density_slope": "by how many kg/m3 the density falls per kelvin",
    "heat_capacity": "the oil's heat capacity in J/kgK",
    "inlet": "the temperature in degrees Celsius at which the oil comes in",
    "housing_temperature": "the temperature in degrees Celsius of the running housing",
    "journal_temperature": "the temperature in degrees Celsius of the running journal",
}


def missing(running: Running) -> list[str]:
    """The keys without which there is no film; of the oil none is assumed."""
    needed = ["width", "load", "speed"]
    if running.viscosity_mpa_s is None:
        some = any(getattr(running, FIELDS[key]) is not None for key in ("oil_40", "oil_100"))
        needed += _HEATED[2:] if running.table else _HEATED if some else ["viscosity"]
    if any(getattr(running, FIELDS[key]) is not None for key in HOT):
        needed += HOT
    return [key for key in needed if getattr(running, FIELDS[key]) is None]


def faults(running: Running, journal_nm: int) -> list[tuple[str, str]]:
    """The keys of what contradicts something else, and what is wrong."""
    oil = running.oil
    by_law = oil.oil_40_mm2_s is not None or oil.oil_100_mm2_s is not None
    found = []
    if (oil.viscosity_mpa_s is not None) + bool(oil.table) + by_law > 1:
        what = "viscosity, oil_table, and oil_40 with oil_100, more than one is given; keep one of them"
        return [("oil_table" if oil.table else "viscosity", f"of {what}")]
    if running.width_nm is not None and not NARROWEST <= running.width_nm / journal_nm <= WIDEST:
        wide = f"a land is {NARROWEST:g} to {WIDEST:g} times as wide as its journal is thick; check both"
        found.append(("width", wide))
    if running.feed_pressure_mpa and int(running.lands or 1) % 2:
        pairs = "or another even number where several grooves each feed two"
        found.append(("lands", f"a full groove feeds two lands: say lands = 2 with the width of one of them, {pairs}"))
    if not oil.heats:
        return found + [(key, _UNUSED) for key in OF_HEAT if getattr(running, FIELDS[key]) is not None]
    if oil.inlet_c is not None and not oil.reaches(oil.inlet_c):
        found.append(("inlet", _beyond(oil, oil.inlet_c)))
    if oil.table and oil.high_shear_mpa_s is not None:
        found.append(("high_shear", "oil_table has the viscosity as the bearing shears the oil; leave it out"))
    if oil.oil_40_mm2_s is None or oil.oil_100_mm2_s is None:
        return found
    if oil.oil_100_mm2_s >= oil.oil_40_mm2_s:
        found.append(("oil_100", "is not below oil_40; oil is thinner when it is hot"))
    elif oil.density_kg_m3 is not None and oil.density_slope_kg_m3_k is not None and oil.sheared > 1:
        found.append(
            ("high_shear", "is above what the two viscosities give at 150 degrees Celsius; shearing thins an oil")
        )
    return found


def _beyond(oil: Oil, inlet_c: float) -> str:
    """What is wrong with oil that comes in where its viscosity is not known, and what would let it."""
    low, high = oil.ends_c
    needed = ceil(oil.outside_k(inlet_c))
    told = (
        f"`{inlet_c:g}` degrees Celsius is more than {oil.margin_k:g} K (oil_margin) outside {low:g} to {high:g}, "
        "where the oil's viscosity is given; check the temperature, or write viscosities nearer to it in oil_table"
    )
    if needed > MOST_MARGIN_K:
        return told
    return f"{told}; with oil_margin (--oil-margin) at {needed} or more its law is drawn out that far"


def check_bearings(bearings: Iterable[Bearing]) -> None:
    """Raise InputError, which names the arguments, for what no film is worked out of, with every mistake."""
    problems = [
        Problem("no-film", text, f"bearings[{at}]", None, name, (at,))
        for at, bearing in enumerate(bearings)
        for name, text in _wrong(bearing)
    ]
    if problems:
        raise InputError(problems[:MOST_PROBLEMS], number=len(problems))


def _wrong(bearing: Bearing) -> list[tuple[str, str]]:
    """The arguments of a bearing and of its oil that are wrong, and what is."""
    running = _as_given(bearing)
    found = [(_argument(key), f"is missing; {SAID[key]}") for key in missing(running)]
    found += _out_of_bounds(bearing, running)
    if not found:  # the rest compares figures that must be sound by themselves
        found = [(_argument(key), text) for key, text in faults(running, bearing.journal_nm)]
    return found


def _as_given(bearing: Bearing) -> Running:
    """The bearing as job.toml would say it; a margin has no effect on a constant viscosity."""
    oil = bearing.oil
    named = {**oil._asdict(), **bearing._asdict(), "table": oil.table or None}
    given = Running(**{name: named[name] for name in Running._fields if name in named})
    return given._replace(oil_margin_k=oil.margin_k if oil.heats else None)


def _argument(key: str) -> str:
    """The argument of `Bearing`, or of its `Oil`, that says what a key of job.toml says."""
    if key in ("oil_table", "oil_margin"):
        return {"oil_table": "oil.table", "oil_margin": "oil.margin_k"}[key]
    return FIELDS[key] if FIELDS[key] in Bearing._fields else f"oil.{FIELDS[key]}"


def _out_of_bounds(bearing: Bearing, running: Running) -> Iterator[tuple[str, str]]:
    lengths = [("journal_nm", JOURNAL, bearing.journal_nm)]
    lengths += [(FIELDS[key], quantity, getattr(running, FIELDS[key])) for key, quantity in LENGTHS.items()]
    for name, quantity, nm in lengths:
        if not isinstance(nm, Integral) or not quantity.holds(int(nm)):
            yield name, _of_length(quantity, nm)
    # Of a position it is what its shells leave: none when hot, or far outside its limits, which the report says.
    clearance, most = bearing.clearance_nm, ASSEMBLED_CLEARANCE.high_nm
    if not isinstance(clearance, Integral) or (bearing.position is None and clearance > most):
        yield "clearance_nm", _of_length(ASSEMBLED_CLEARANCE, clearance)
    for key in FIGURES:
        value = getattr(running, FIELDS[key])
        wrong = None if value is None else _of_figure(key, value)
        if wrong is not None:
            yield _argument(key), wrong
    points = running.table or ()
    wrongs = [wrong for point in points for wrong in map(_of_figure, ("inlet", "viscosity"), point) if wrong]
    if points and not wrongs:
        try:
            oil_table(points)
        except CellError as error:
            wrongs = [str(error)]
    yield from (("oil.table", wrong) for wrong in wrongs)


def _of_length(quantity: Quantity, nm: object) -> str:
    return f"`{nm}` is no such length; {quantity.name} is {quantity.bounds}, in whole nanometres"


def _of_figure(key: str, value: object) -> str | None:
    return fault_of(key, float(value), f"{value}") if isinstance(value, Real) else f"`{value}` is not a number"
