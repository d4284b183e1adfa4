"""The errors that many readings share: what settings left, limits, temperature, expansion, a learned seating."""

from collections.abc import Iterator, Mapping
from fractions import Fraction
from math import sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.sizes.corrections import REFERENCE_C, chain
from fitmatch.gauging.uncertainty.scatter import Scatter
from fitmatch.records.job import Job
from fitmatch.records.measuring import FEATURES, Gauge, Temperature

_ROOT_3: Final = sqrt(3.0)
_EXPANSION_KNOWN_TO: Final = 0.1  # of a coefficient, where its limit is not stated: our own assumption
CRANK: Final = "expansion of the crank"


class Common(NamedTuple):
    """One error that many readings share, the same in each. Its unit is the nanometre, for a temperature the
    kelvin, for an expansion the limit of the coefficient.

    `half_width` is that of a rectangular distribution; None: the distribution is normal. `degrees_of_freedom` are those
    of `standard`, None: taken as known exactly; 0: not known at all. `gauge`: the standard deviation is a fraction of
    that gauge's scatter, and so is known no better or worse than that very figure.
    """

    standard: float
    half_width: float | None = None
    degrees_of_freedom: int | None = None
    gauge: str | None = None


def common_errors(job: Job, scatter: Mapping[str, Scatter]) -> dict[str, Common]:
    """Every error that readings of a job share, by name."""
    return dict(_common_errors(job, scatter))


def _common_errors(job: Job, scatter: Mapping[str, Scatter]) -> Iterator[tuple[str, Common]]:
    measuring = job.measuring
    for name, gauge in measuring.gauges.items():
        if gauge.limit_nm:
            for feature in FEATURES:
                yield limit_of(name, feature), _rectangle(gauge.limit_nm)
        if gauge.standard_limit_nm:
            yield standard_limit_of(name), _rectangle(gauge.standard_limit_nm)
        if setting := _setting(gauge, scatter.get(name)):
            yield setting_of(name), setting
    if measuring.temperature is not None:
        yield from _of_heat(job, measuring.temperature)
    for kind, fit in job.fits.items():
        if fit.seating_u_nm is not None:
            freedom = None if fit.seating_readings is None else fit.seating_readings - 1
            yield seating_of(kind), Common(float(fit.seating_u_nm), degrees_of_freedom=freedom)


def _setting(gauge: Gauge, scatter: Scatter | None) -> Common | None:
    """What setting a gauge left: the mean of its readings on the standard, or one such reading where none is
    written."""
    step = float(gauge.resolution_nm or 0)
    u = 0.0 if scatter is None else scatter.standard_nm / sqrt(len(gauge.standard_reads_nm) or 1)
    if scatter is not None and u * u > step * step / 12.0:
        return Common(u, None, scatter.degrees_of_freedom, gauge.name)
    return _rectangle(step / 2.0) if step else None


def _of_heat(job: Job, temperature: Temperature) -> Iterator[tuple[str, Common]]:
    """Temperatures, and coefficients of expansion in units of their limits: none matters at 20 degrees."""
    gauges = job.measuring.gauges
    if temperature.limit is not None:
        for name in dict.fromkeys(heat_of(temperature, what) for what in ("gauges", "parts")):
            yield name, _rectangle(float(temperature.limit))
    if temperature.parts != REFERENCE_C:
        for name in (CRANK, *map(housings_of, job.kinds)):
            yield name, _rectangle(1.0)
    if temperature.gauges != REFERENCE_C:
        for name in dict.fromkeys(scale_of(gauges, gauge) for gauge in gauges):
            yield expansion_error_of(name), _rectangle(1.0)


def _rectangle(half_width: float) -> Common:
    return Common(half_width / _ROOT_3, half_width)


def known_to(coefficient: Fraction, limit: Fraction | None) -> float:
    """The limit of a coefficient of expansion, as it was stated or as it is assumed."""
    return _EXPANSION_KNOWN_TO * float(coefficient) if limit is None else float(limit)


def scale_of(gauges: Mapping[str, Gauge], name: str) -> str:
    """The gauge whose expansion this one has: the first of its chain with a coefficient of its own, else the last."""
    links = chain(gauges, name)
    return next((link for link in links if gauges[link].expansion is not None), links[-1])


# --- names -----------------------------------------------------------------------------------------------------------


def limit_of(gauge: str, feature: str) -> str:
    """What remains after zeroing, such as the error of a screw: one error at each of the sizes that a kind has, as what
    is left at the size of the journals is not what is left at that of the bores."""
    return f"error limit of {gauge} at {feature.replace('_', ' ')} size"


def standard_limit_of(gauge: str) -> str:
    """What the gauge was set on."""
    return f"error limit of the standard of {gauge}"


def setting_of(gauge: str) -> str:
    """The error of its zero."""
    return f"setting of {gauge}"


def heat_of(temperature: Temperature, what: str) -> str:
    """The temperature of gauges or parts; one room has one for both."""
    return "temperature" if temperature.one_room else f"temperature of {what}"


def expansion_error_of(gauge: str) -> str:
    """The coefficient of a gauge and of all that share it."""
    return f"expansion of {gauge}"


def housings_of(kind: str) -> str:
    """The coefficient of the housings of a kind."""
    return f"expansion of the housings of {kind}"


def seating_of(kind: str) -> str:
    """A seating learned from assembled checks."""
    return f"seating of {kind}"
