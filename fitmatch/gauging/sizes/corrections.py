"""What a reading is corrected for: the gauge's zero error, its ball, and expansion, to 20 degrees Celsius. All
exact."""

from collections.abc import Mapping
from fractions import Fraction
from typing import Final

from fitmatch.gauging.sizes.materials import MATERIALS
from fitmatch.records.measuring import Gauge, Measuring

REFERENCE_C: Final = 20  # ISO 1:2022
GAUGE_STEEL: Final = MATERIALS["steel"]  # for a gauge whose coefficient is not given


def zero_errors(gauges: Mapping[str, Gauge]) -> dict[str, int]:
    """Each gauge's zero error in nm: reading on the standard - the standard's value, plus the error of the gauge it was
    set with."""
    return {name: sum(gauges[link].own_zero_nm for link in chain(gauges, name)) for name in gauges}


def chain(gauges: Mapping[str, Gauge], name: str) -> list[str]:
    """A gauge, the one it was set with, the one that one was set with, and so on."""
    links = [name]
    while (before := gauges[links[-1]].set_with) is not None:
        links.append(before)
    return links


def expansion_of(gauges: Mapping[str, Gauge], name: str | None) -> Fraction:
    """A gauge's coefficient: its own, otherwise that of the gauge it was set with, whose scale it takes over."""
    for link in chain(gauges, name) if name is not None else ():
        expansion = gauges[link].expansion
        if expansion is not None:
            return expansion
    return GAUGE_STEEL


def factor_to_20(measuring: Measuring, kind: str, feature: str, gauge: str | None) -> Fraction:
    """L20 / L = 1 + a_g (t_g - 20) - a_p (t_p - 20): a warm gauge reads small, a warm part is large. 1 if no
    temperature or no material is given, as for walls."""
    temperature, part = measuring.temperature, measuring.materials.get(kind, {}).get(feature)
    if temperature is None or part is None:
        return Fraction(1)
    grown_gauge = expansion_of(measuring.gauges, gauge) * (temperature.gauges - REFERENCE_C)
    return 1 + grown_gauge - part * (temperature.parts - REFERENCE_C)


def reading_of(nm: int, measuring: Measuring, kind: str, feature: str, gauge: str | None) -> Fraction:
    """What a gauge shows of a size, at the temperatures of the job: the corrections turned round."""
    return nm / factor_to_20(measuring, kind, feature, gauge) + offs(measuring.gauges)[gauge]


def offs(gauges: Mapping[str, Gauge]) -> dict[str | None, int]:
    """What the zero error and the ball of each gauge add to its readings; nothing if no gauge is named."""
    return {None: 0, **{name: zero + gauges[name].ball_nm for name, zero in zero_errors(gauges).items()}}
