"""The tables of job.toml about measuring: gauges, what they measured, temperature, materials, limits of form, and where
readings are taken at the bench."""

from collections.abc import Collection, Mapping, Sequence
from fractions import Fraction
from functools import partial
from typing import Final

from fitmatch.gauging.sizes.materials import MATERIALS
from fitmatch.intake.common import advice
from fitmatch.intake.common.quantities import BALL, GAUGE_ERROR, LIMIT, RESOLUTION, STANDARD, angle_of, station_of
from fitmatch.intake.job_toml.key_rows import Path
from fitmatch.intake.job_toml.values import Values
from fitmatch.lengths import LengthError, round_half_even, unit_factor, with_unit
from fitmatch.names import nearest
from fitmatch.records.measuring import (
    DIAMETERS,
    FEATURES,
    Gauge,
    Measuring,
    Place,
    Temperature,
)
from fitmatch.wording import shorten

_LARGEST_ZERO_NM: Final = 200_000
_MOST_READINGS: Final = 1_000_000
_LONGEST_CIRCLE: Final = 6  # names shown of a circle
_COEFFICIENTS: Final = (0, Fraction("1e-4"), "0 to 1e-4 per kelvin; write it like 11.5e-6")
_BENCH: Final = (-20, 60, "-20 to 60 degrees Celsius")
_OFF: Final = (0, 20, "0 to 20 kelvin")


def read_measuring(values: Values, kinds: Collection[str]) -> Measuring:
    """All of these tables."""
    gauges = _gauges(values)
    materials = _materials(values, kinds)
    return Measuring(
        gauges=gauges,
        measured=values.by_kind(
            ("measured",),
            kinds,
            lambda kind: values.each(kind, lambda path: _gauge_name(values, path, gauges)),
        ),
        temperature=_temperature(values),
        materials={kind: _features(found, "{}") for kind, found in materials.items()},
        material_limits={kind: _features(found, "{}_limit") for kind, found in materials.items()},
        form_limits=values.by_kind(
            ("form",), kinds, lambda kind: values.each(kind, lambda path: values.length(path, LIMIT))
        ),
        bench=values.by_kind(("bench",), kinds, lambda path: _bench(values, path)),
    )


def _gauges(values: Values) -> dict[str, Gauge]:
    """The gauges by name; one with a fault is included, as its name is known."""
    names = values.kinds(("gauge",), None)
    gauges = {name: _gauge(values, name, names) for name in names}
    _refuse_circles(values, gauges)
    return gauges


def _temperature(values: Values) -> Temperature | None:
    """What job.toml says about temperature; None if it says nothing."""
    path = ("temperature",)
    values.refuse_unknown(path)
    if "temperature" not in values.document:
        return None
    room, gauges, parts = (values.number_within((*path, key), _BENCH) for key in ("room", "gauges", "parts"))
    limit = values.number_within((*path, "limit"), _OFF)
    written = values.table(path)
    if "room" in written and ("gauges" in written or "parts" in written):
        values.report(
            "two-temperatures", ("is given as well as gauges or parts; keep room, or the other two"), *path, "room"
        )
    elif "room" not in written and not ("gauges" in written and "parts" in written):
        values.report("no-temperature", "is missing; write room, or gauges and parts, in degrees Celsius", *path)
    if room is not None:
        return Temperature(room, room, True, limit)
    return Temperature(gauges, parts, False, limit) if gauges is not None and parts is not None else None


def _materials(values: Values, kinds: Collection[str]) -> dict[str, dict[str, Fraction]]:
    """Coefficients of expansion and their limits by kind and key. If a temperature is given every kind needs both
    coefficients: corrected on one side only, a clearance would be worse than uncorrected."""
    found = values.by_kind(("material",), kinds, lambda kind: values.each(kind, lambda path: _material(values, path)))
    if "temperature" in values.document:
        for kind in kinds:
            for feature in DIAMETERS:
                if feature not in values.table(("material", kind)) and feature not in values.misplaced:
                    text = 'is missing, and [temperature] needs it; write a material, such as "steel"'
                    values.report("no-material", text, "material", kind, feature)
    return found


def _features(found: Mapping[str, Fraction], key: str) -> dict[str, Fraction]:
    """What a kind's table says of each feature under a key made from its name."""
    return {feature: found[name] for feature in DIAMETERS if (name := key.format(feature)) in found}


def _bench(values: Values, path: Path) -> dict[str, tuple[Place, ...]]:
    """Where the features of a kind are read at the bench: every angle at the first station, then at the next."""
    values.refuse_unknown(path)
    bench: dict[str, tuple[Place, ...]] = {}
    example = "write a list of stations, such as [1, 2]"
    for feature in FEATURES:
        stations = values.items((*path, f"{feature}_stations"), station_of, example, numbers=True, filled=True)
        angles = _angles(values, (*path, f"{feature}_angles"), feature)
        bench[feature] = tuple(Place(station, angle) for station in stations or (None,) for angle in angles)
    return bench


def _angles(values: Values, path: Path, feature: str) -> Sequence[float]:
    """Degrees; 0 must be among those of a bore or a wall, as only readings there count in a size."""
    example = "write a list of degrees from the crown axis, such as [0, 90]"
    angles = values.items(path, partial(angle_of, feature=feature), example, numbers=True, filled=True) or (0.0,)
    if feature != "journal" and 0.0 not in angles:
        values.report("implausible-number", "has no 0, the crown axis, where the size is read; add it", *path)
    return angles


def _gauge(values: Values, name: str, names: Collection[str]) -> Gauge:
    path = ("gauge", name)
    values.refuse_unknown(path)
    unit = _unit(values, name)
    resolution = values.length((*path, "resolution"), RESOLUTION, unit)
    limit = values.length((*path, "limit"), GAUGE_ERROR, unit)
    repeatability = values.length((*path, "repeatability"), GAUGE_ERROR, unit)
    ball = values.length((*path, "ball"), BALL, unit)
    reads = values.lengths((*path, "standard_reads"), STANDARD, unit)
    what = "number of readings that show a scatter"
    return Gauge(
        name=name,
        unit=unit,
        resolution_nm=resolution,
        limit_nm=limit,
        repeatability_nm=repeatability,
        own_zero_nm=_zero(values, name, unit, reads),
        ball_nm=ball or 0,
        set_with=_gauge_name(values, (*path, "set_with"), names),
        expansion=values.number_within((*path, "expansion"), _COEFFICIENTS),
        repeatability_from=values.count((*path, "repeatability_from"), _MOST_READINGS, what, least=2),
        repeatability_rounded=values.flag((*path, "repeatability_rounded"), default=False),
        standard_reads_nm=reads,
        standard_limit_nm=values.length((*path, "standard_limit"), GAUGE_ERROR, unit),
        expansion_limit=values.number_within((*path, "expansion_limit"), _COEFFICIENTS),
    )


def _unit(values: Values, name: str) -> str | None:
    path = ("gauge", name, "unit")
    text = values.text(path, 'write it in quotes, such as "mm"')
    if text is None:
        return None
    try:
        unit_factor(text, inch_job=values.unit != "mm")
    except LengthError as error:
        values.report("unknown-value", str(error), *path)
        return None
    return text.lower()


def _zero(values: Values, name: str, unit: str | None, reads: Sequence[int]) -> int:
    """Mean reading on the standard - the standard's value; 0 if nothing is given."""
    path = ("gauge", name)
    standard = values.length((*path, "standard"), STANDARD, unit)
    written = values.table(path)
    for key, other in (("standard", "standard_reads"), ("standard_reads", "standard")):
        if key in written and other not in written:
            values.report(
                "half-a-zero", (f"is given without {other}; a zero error needs both, so write that too"), *path, key
            )
    if standard is None or not reads:
        return 0
    zero = round_half_even(sum(reads), len(reads)) - standard
    if abs(zero) > _LARGEST_ZERO_NM and values.unit is not None:
        text = f"is {with_unit(zero, values.unit)} off the standard, and a zero error is -0.2 to 0.2 mm"
        values.report("implausible-length", f"{text}; check both figures", *path, "standard_reads")
        return 0
    return zero


def _gauge_name(values: Values, path: Path, gauges: Collection[str]) -> str | None:
    name = values.text(path, 'name a gauge, such as "mic-1"')
    if name is None or name in gauges:
        return name
    if values.misplaced.isdisjoint(values.table(("gauge",))):  # otherwise a gauge without its name was noted
        values.report("unknown-gauge", advice.for_unknown_gauge(name, gauges), *path)
    return None


def _refuse_circles(values: Values, gauges: dict[str, Gauge]) -> None:
    """Gauges that were set with one another in a circle inherit nothing: each circle is noted once and broken."""
    for name in gauges:
        chain, before = {name: None}, gauges[name].set_with  # a dict: in file order, and quick to look up
        while before is not None and before not in chain:
            chain[before] = None
            before = gauges[before].set_with
        if before == name:
            links = [*chain, name] if len(chain) < _LONGEST_CIRCLE else [*list(chain)[:_LONGEST_CIRCLE], "and so on"]
            circle = " with ".join(links)
            values.report(
                "gauge-circle", (f"goes round in a circle ({circle}); correct one of them"), "gauge", name, "set_with"
            )
            gauges[name] = gauges[name]._replace(set_with=None)


def _material(values: Values, path: Path) -> Fraction | None:
    value = values.table(path[:-1]).get(path[-1])
    if path[-1] not in DIAMETERS or not isinstance(value, str) or values.is_number(value):
        return values.number_within(path, _COEFFICIENTS)
    name = value.strip().casefold()
    if name in MATERIALS:
        return MATERIALS[name]
    text = f"`{shorten(value)}` is not a material in the table; the nearest is `{nearest(name, MATERIALS)}`"
    values.report("unknown-value", f"{text}; write that, or a coefficient such as 11.5e-6", *path)
    return None
