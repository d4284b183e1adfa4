"""How far single readings of a gauge scatter: its stated repeatability and its repeats, together where they agree."""

from math import sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.sizes.places import sum_of_squares
from fitmatch.records.measuring import Gauge, Measuring, Pooled

_USUAL_READINGS: Final = 30  # that a stated repeatability came from, unless given
_LEVEL: Final = 0.95


class Scatter(NamedTuple):
    """How far single readings of one gauge scatter, their rounding included."""

    standard_nm: float
    degrees_of_freedom: int


def scatter_of(measuring: Measuring, name: str) -> Scatter | None:
    """The scatter of a gauge; None if nothing tells it. Repeats that all agree say nothing without a resolution."""
    gauge, repeats, stated = measuring.gauges[name], repeats_of(measuring, name), _stated(measuring.gauges[name])
    if repeats is None:
        return None if stated is None else _scatter(stated)
    if stated is None:
        return _scatter(repeats) if repeats.variance_nm2 or gauge.resolution_nm else None
    return _scatter(repeats if _exceeds(repeats, stated) else _pooled(repeats, stated))


def beyond_stated(measuring: Measuring, name: str) -> Pooled | None:
    """The repeats of a gauge, where they scatter more than its stated repeatability can explain."""
    repeats, stated = repeats_of(measuring, name), _stated(measuring.gauges[name])
    return repeats if repeats is not None and stated is not None and _exceeds(repeats, stated) else None


def repeats_of(measuring: Measuring, name: str) -> Pooled | None:
    """All that repeats tell of a gauge's scatter: those of parts, and those on its standard."""
    reads, of_parts = measuring.gauges[name].standard_reads_nm, measuring.pooled.get(name)
    if len(reads) < 2:
        return of_parts
    above, below = sum_of_squares(reads)
    freedom = len(reads) - 1
    on_standard = Pooled(above / below / freedom, freedom)
    return on_standard if of_parts is None else _pooled(of_parts, on_standard)


def _stated(gauge: Gauge) -> Pooled | None:
    """The stated repeatability, with the rounding that every reading has and the figure may lack."""
    if gauge.repeatability_nm is None:
        return None
    rounding = 0 if gauge.repeatability_rounded else gauge.resolution_nm or 0
    freedom = (gauge.repeatability_from or _USUAL_READINGS) - 1
    return Pooled(gauge.repeatability_nm**2 + rounding**2 / 12.0, freedom)


def _exceeds(repeats: Pooled, stated: Pooled) -> bool:
    """Whether the repeats' variance is above the stated one by more than chance explains, by the F test."""
    if repeats.variance_nm2 <= stated.variance_nm2:
        return False
    if not stated.variance_nm2:
        return True
    from fitmatch.gauging.uncertainty.variance_ratio import ratio_below  # few jobs get here

    ratio = repeats.variance_nm2 / stated.variance_nm2
    return ratio_below(ratio, repeats.degrees_of_freedom, stated.degrees_of_freedom) > _LEVEL


def _pooled(one: Pooled, other: Pooled) -> Pooled:
    freedom = one.degrees_of_freedom + other.degrees_of_freedom
    squares = one.variance_nm2 * one.degrees_of_freedom + other.variance_nm2 * other.degrees_of_freedom
    return Pooled(squares / freedom, freedom)


def _scatter(found: Pooled) -> Scatter:
    return Scatter(sqrt(found.variance_nm2), found.degrees_of_freedom)
