"""The oil: its viscosity, density and heat capacity, all given by whoever asks; nothing is assumed in silence.

Kinematic viscosity between and around two known ones is that of ASTM D341 (Walther):
log10 log10 (v + 0.7) = A - B log10 T, with v in mm2/s above about 2 and T in kelvin.
"""

from math import log10
from typing import Final, NamedTuple

ZERO_C: Final = 273.15
LOWER_C: Final = 40.0  # the temperatures of the two viscosities
UPPER_C: Final = 100.0
SHEARED_C: Final = 150.0  # of the viscosity at high shear
MARGIN_K: Final = 20.0
MOST_MARGIN_K: Final = 60.0
DENSITY_C: Final = 15.0
LEAST_MM2_S: Final = 2.0  # below it the law does not hold
_PLUS: Final = 0.7


class Oil(NamedTuple):
    """Either a constant viscosity, or two kinematic ones or a table, with what turns power into heat.

    `high_shear_mpa_s`: of a multigrade at 150 degrees Celsius, where a bearing shears it: viscosity is scaled to it at
    every temperature. `density_slope_kg_m3_k`: what the density loses per kelvin above 15 degrees Celsius.
    """

    viscosity_mpa_s: float | None = None
    oil_40_mm2_s: float | None = None
    oil_100_mm2_s: float | None = None
    density_kg_m3: float | None = None  # at 15 degrees Celsius
    density_slope_kg_m3_k: float | None = None
    heat_capacity_j_kg_k: float | None = None
    inlet_c: float | None = None
    high_shear_mpa_s: float | None = None
    margin_k: float = MARGIN_K  # beyond the viscosities given the line is drawn out no further than this
    table: tuple[tuple[float, float], ...] = ()  # or viscosities by temperature: C and mPa s, as the bearing shears it

    @property
    def heats(self) -> bool:
        """Whether its viscosity depends on temperature."""
        return self.viscosity_mpa_s is None

    @property
    def unsheared(self) -> bool:
        """Whether it would be too thick, were it a multigrade."""
        return self.oil_40_mm2_s is not None and self.high_shear_mpa_s is None

    def reaches(self, temperature_c: float) -> bool:
        """Whether its viscosities say anything at this temperature."""
        return self.outside_k(temperature_c) <= self.margin_k

    def below_law(self, temperature_c: float) -> bool:
        """Whether it is thinner there than its law holds for; between the points of a table it is as they say."""
        if not self.table:
            return self.kinematic(temperature_c) < LEAST_MM2_S
        here = self.viscosity_pa_s(temperature_c) * 1e6 / self.density(temperature_c)
        return here < LEAST_MM2_S and temperature_c > self.ends_c[1]

    @property
    def drawn_to_c(self) -> float:
        """The highest temperature to which a margin can draw its law out; nothing is told of what is hotter."""
        return self.ends_c[1] + MOST_MARGIN_K

    def outside_k(self, temperature_c: float) -> float:
        """How far this temperature is outside those at which its viscosity is given; 0 between them."""
        lowest, highest = self.ends_c
        return max(lowest - temperature_c, temperature_c - highest, 0.0)

    @property
    def ends_c(self) -> tuple[float, float]:
        """The lowest and the highest temperature at which its viscosity is given."""
        return (self.table[0][0], self.table[-1][0]) if self.table else (LOWER_C, UPPER_C)

    def density(self, temperature_c: float) -> float:
        """In kg/m3."""
        assert self.density_kg_m3 is not None and self.density_slope_kg_m3_k is not None
        return self.density_kg_m3 - self.density_slope_kg_m3_k * (temperature_c - DENSITY_C)

    def kinematic(self, temperature_c: float) -> float:
        """In mm2/s."""
        assert self.oil_40_mm2_s is not None and self.oil_100_mm2_s is not None
        return walther((LOWER_C, self.oil_40_mm2_s), (UPPER_C, self.oil_100_mm2_s), temperature_c)

    def viscosity_pa_s(self, temperature_c: float) -> float:
        """Dynamic viscosity; of a table, between the two neighbours by the same law."""
        if self.table:
            at = next((i for i, (top, _) in enumerate(self.table[1:-1], 1) if temperature_c < top), len(self.table) - 1)
            return walther(self.table[at - 1], self.table[at], temperature_c) * 1e-3
        return self.kinematic(temperature_c) * 1e-6 * self.density(temperature_c) * self.sheared

    @property
    def sheared(self) -> float:
        """What is left of the viscosity where it is sheared; 1 where nothing is known of that."""
        if self.high_shear_mpa_s is None:
            return 1.0
        return self.high_shear_mpa_s / (self.kinematic(SHEARED_C) * 1e-3 * self.density(SHEARED_C))


def walther(one: tuple[float, float], other: tuple[float, float], temperature_c: float) -> float:
    """Kinematic viscosity at a temperature, from two (degrees Celsius, mm2/s)."""
    (x1, y1), (x2, y2) = (_straight(*pair) for pair in (one, other))
    slope = (y2 - y1) / (x2 - x1)
    twice: float = 10 ** (10 ** (y1 + slope * (log10(temperature_c + ZERO_C) - x1)))
    return twice - _PLUS


def _straight(temperature_c: float, viscosity: float) -> tuple[float, float]:
    """Both in the scales in which the law is a straight line."""
    return log10(temperature_c + ZERO_C), log10(log10(viscosity + _PLUS))
