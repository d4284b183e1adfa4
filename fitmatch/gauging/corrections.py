"""What is taken off a reading: the gauge's zero error, its ball, and the expansion to 20 degrees Celsius. All exact."""

from collections.abc import Mapping
from typing import Final

from fitmatch.intake.materials import MATERIALS
from fitmatch.measuring import Decimal, Gauge, Temperature

REFERENCE_C: Final = 20  # ISO 1:2022
GAUGE_STEEL: Final = MATERIALS["steel"]  # of a gauge whose own coefficient nobody told


def zero_errors(gauges: Mapping[str, Gauge]) -> dict[str, int]:
    """Each gauge's zero error in nm: reading on the standard - the standard's value, and on top of it the error of the
    gauge it was set with."""
    return {name: sum(gauges[link].own_zero_nm for link in chain(gauges, name)) for name in gauges}


def chain(gauges: Mapping[str, Gauge], name: str) -> list[str]:
    """A gauge, the one it was set with, the one that was set with, and so on."""
    links = [name]
    while (before := gauges[links[-1]].set_with) is not None:
        links.append(before)
    return links


def expansion_of(gauges: Mapping[str, Gauge], name: str | None) -> Decimal:
    """A gauge's coefficient: its own, else that of the gauge it was set with, whose scale it carries."""
    for link in chain(gauges, name) if name is not None else ():
        expansion = gauges[link].expansion
        if expansion is not None:
            return expansion
    return GAUGE_STEEL


def factor_to_20(temperature: Temperature, gauge: Decimal, part: Decimal) -> Decimal:
    """L20 / L = 1 + a_g (t_g - 20) - a_p (t_p - 20): a warm gauge reads short, a warm part is large."""
    grown_gauge = _times(gauge, _minus_reference(temperature.gauges))
    grown_part = _times(part, _minus_reference(temperature.parts))
    exponent = min(grown_gauge.exponent, grown_part.exponent, 0)
    digits = 10**-exponent + _scaled(grown_gauge, exponent) - _scaled(grown_part, exponent)
    return Decimal(digits, exponent)


def _minus_reference(number: Decimal) -> Decimal:
    exponent = min(number.exponent, 0)
    return Decimal(_scaled(number, exponent) - REFERENCE_C * 10**-exponent, exponent)


def _times(one: Decimal, other: Decimal) -> Decimal:
    return Decimal(one.digits * other.digits, one.exponent + other.exponent)


def _scaled(number: Decimal, exponent: int) -> int:
    """The digits of a number written with this exponent, which is not above its own."""
    scale: int = 10 ** (number.exponent - exponent)
    return number.digits * scale
