"""`film`: the steady oil film of bearings at their clearances, with its friction, flow and heat.

Power goes into the oil that flows: dT = power / (density heat capacity (side flow + feed flow)), and the whole film has
the viscosity of the inlet temperature plus half of dT. With a full groove under pressure the feed adds
pi p r c^3 (1 + 1.5 e^2) / (3 viscosity l') for two lands, l' the width of one; half of it for each land.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from math import log, pi, sqrt
from typing import Final, NamedTuple

from fitmatch.problems import ExtraMissing
from fitmatch.records.study.bearings import Bearing
from fitmatch.study.film.equilibrium import Films
from fitmatch.study.film.reynolds import LARGEST, Film

_BEYOND_K: Final = 30.0  # so far above what a margin can reach an oil's viscosity falls no further: not shown
_LAMINAR: Final = 41.3  # ISO 7902: laminar while density U c / viscosity is up to this times sqrt(r / c)


class Row(NamedTuple):
    """The film of one bearing. `cautions`: `turbulent`; `dry-edge`, a slope that leaves no film at the tighter end, or
    one nearer to the wall than the grid resolves; `outside-law`, an oil thinner than its law holds for; or, without
    figures, `no-clearance`; `too-light` or `too-heavy`, a load under which the eccentricity is not one that the grid
    resolves; `beyond-oil`, a temperature at which nothing is known of the oil: it alone is given."""

    bearing: Bearing
    viscosity_pa_s: float | None = None
    sommerfeld: float | None = None
    eccentricity_ratio: float | None = None
    min_film_thickness_um: float | None = None
    edge_film_thickness_um: float | None = None  # at the tighter end of a gap that slopes: above zero or there is none
    attitude_angle_deg: float | None = None
    friction_coefficient: float | None = None
    friction_power_w: float | None = None
    side_flow_mm3_s: float | None = None
    feed_flow_mm3_s: float | None = None
    peak_pressure_mpa: float | None = None
    temperature_rise_k: float | None = None
    effective_temperature_c: float | None = None  # by the oil's law drawn out as far as it takes
    density_kg_m3: float | None = None
    reynolds_ratio: float | None = None  # Reynolds number by its laminar limit; None without a density
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class FilmTable:
    """A row for each bearing, in the order given."""

    rows: tuple[Row, ...]

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        return any(row.cautions for row in self.rows)


def check_extra() -> None:
    """Raise ExtraMissing where SciPy is not installed; does not load it."""
    from importlib.util import find_spec

    if find_spec("scipy") is None:
        raise ExtraMissing("films", "SciPy", "film")


def film(bearings: Iterable[Bearing]) -> FilmTable:
    """The steady film of each bearing. Bearings of one width and diameter share what was solved for them."""
    known: dict[float, Films] = {}
    rows = []
    for bearing in bearings:
        ratio = bearing.width_nm / bearing.journal_nm
        rows.append(_row(bearing, known.setdefault(ratio, Films(ratio))))
    return FilmTable(tuple(rows))


def _row(bearing: Bearing, films: Films) -> Row:
    if bearing.clearance_nm <= 0:
        return Row(bearing, cautions=("no-clearance",))
    running = _Running(bearing)
    found = films.balanced(running.excess)
    if not isinstance(found, Film):
        return Row(bearing, cautions=(found,))
    oil = bearing.oil
    effective = running.effective_c(found) if oil.heats else None
    if effective is not None and not oil.reaches(effective):
        return Row(bearing, effective_temperature_c=effective, cautions=("beyond-oil",))
    viscosity = running.needed(found) if oil.viscosity_mpa_s is None else oil.viscosity_mpa_s / 1_000
    density = oil.density_kg_m3 if effective is None else oil.density(effective)
    reynolds = None if density is None else running.reynolds_ratio(viscosity, density)
    thinnest = running.gap_m * (1 - found.eccentricity) * 1e6
    edge = thinnest - bearing.slope_nm / 2_000
    wrong = {
        "turbulent": reynolds is not None and reynolds > 1,
        "dry-edge": edge < running.gap_m * 1e6 * (1 - LARGEST) and bearing.slope_nm > 0,
        "outside-law": effective is not None and oil.below_law(effective),
    }
    return Row(
        bearing,
        viscosity_pa_s=viscosity,
        sommerfeld=found.sommerfeld,
        eccentricity_ratio=found.eccentricity,
        min_film_thickness_um=thinnest,
        edge_film_thickness_um=edge,
        attitude_angle_deg=found.attitude_deg,
        friction_coefficient=found.friction * running.gap_m / running.radius_m,
        friction_power_w=running.power(found),
        side_flow_mm3_s=running.side_flow(found) * 1e9,
        feed_flow_mm3_s=running.feed_flow(found) * 1e9,
        peak_pressure_mpa=running.pressure_pa / found.peak_ratio * 1e-6,
        temperature_rise_k=running.rise(found) if oil.heats else None,
        effective_temperature_c=effective,
        density_kg_m3=density,
        reynolds_ratio=reynolds,
        cautions=tuple(code for code, is_so in wrong.items() if is_so),
    )


class _Running:
    """One bearing in SI units; flows and power of all lands together."""

    def __init__(self, bearing: Bearing) -> None:
        self._bearing = bearing
        self.radius_m = bearing.journal_nm * 0.5e-9
        self.gap_m = bearing.clearance_nm * 0.5e-9
        self._width_m = bearing.width_nm * 1e-9
        self._turns_s = bearing.speed_rpm / 60
        self._surface_m_s = 2 * pi * self.radius_m * self._turns_s
        self.pressure_pa = bearing.load_n / (bearing.lands * self._width_m * 2 * self.radius_m)

    def needed(self, film: Film) -> float:
        """The viscosity in Pa s with which this film carries the load."""
        return film.sommerfeld * self.pressure_pa * (self.gap_m / self.radius_m) ** 2 / self._turns_s

    def excess(self, film: Film) -> float:
        """The logarithm of the viscosity needed by the one there is, which falls as the eccentricity rises: less is
        needed then, and the oil stays cooler."""
        oil = self._bearing.oil
        if oil.viscosity_mpa_s is not None:
            there = oil.viscosity_mpa_s * 1e-3
        else:
            there = oil.viscosity_pa_s(min(self.effective_c(film), oil.drawn_to_c + _BEYOND_K))
        return log(self.needed(film) / there)

    def effective_c(self, film: Film) -> float:
        """The temperature that the whole film is taken to have."""
        assert self._bearing.oil.inlet_c is not None
        return self._bearing.oil.inlet_c + self.rise(film) / 2

    def power(self, film: Film) -> float:
        """Friction in W."""
        return film.friction * self.gap_m / self.radius_m * self._bearing.load_n * self._surface_m_s

    def side_flow(self, film: Film) -> float:
        """In m3/s."""
        each = film.side_flow * self.radius_m * self.gap_m * self._turns_s * self._width_m
        return each * self._bearing.lands

    def feed_flow(self, film: Film) -> float:
        """What the pressure in a full groove presses through, in m3/s."""
        pressure = (self._bearing.feed_pressure_mpa or 0.0) * 1e6
        around = pi * pressure * self.radius_m * self.gap_m**3 * (1 + 1.5 * film.eccentricity**2)
        return around / (3 * self.needed(film) * self._width_m) * self._bearing.lands / 2

    def rise(self, film: Film) -> float:
        """By how much the oil is warmer when it leaves, in K; its density is that at the temperature halfway."""
        oil = self._bearing.oil
        assert oil.inlet_c is not None and oil.heat_capacity_j_kg_k is not None
        assert oil.density_slope_kg_m3_k is not None
        flow = self.side_flow(film) + self.feed_flow(film)
        heat = self.power(film) / (oil.heat_capacity_j_kg_k * flow)  # density times rise
        # (inlet density - slope rise / 2) rise = heat; where oil has no such temperature, the hottest it has.
        inlet = oil.density(oil.inlet_c)
        root = sqrt(max(inlet**2 - 2 * oil.density_slope_kg_m3_k * heat, 0.0))
        return 2 * heat / (inlet + root)

    def reynolds_ratio(self, viscosity_pa_s: float, density_kg_m3: float) -> float:
        """The Reynolds number by the largest at which the flow is laminar."""
        number = density_kg_m3 * self._surface_m_s * self.gap_m / viscosity_pa_s
        return number / (_LAMINAR * sqrt(self.radius_m / self.gap_m))
