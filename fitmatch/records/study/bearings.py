"""Bearings as they run: what the study of the oil film is given."""

from typing import Final, NamedTuple

from fitmatch.records.study.oils import MARGIN_K, Oil

# Width / diameter for which films are worked out.
NARROWEST: Final = 0.02
WIDEST: Final = 5.0


class Bearing(NamedTuple):
    """One bearing as it runs. `width_nm` is that of one land, `load_n` what all lands carry together."""

    clearance_nm: int  # diametral
    journal_nm: int
    width_nm: int
    load_n: float
    speed_rpm: float
    oil: Oil
    lands: int = 1
    feed_pressure_mpa: float | None = None  # in a full groove; other feeds are not counted
    position: str | None = None
    # Or an estimate when it runs: its housing "held" by steel caps or "free"; "hot" where both are the same.
    state: str = "cold"
    slope_nm: int = 0  # by how much the gap, half of the clearance, differs from one end of a land to the other
    kind: str | None = None
    within_limits: bool | None = None  # of clearance, as it is cold; None: not of a plan


class Running(NamedTuple):
    """How the bearings of a kind run, as `[film.KIND]` or options say it; None is not given. Fields are named as the
    keys are, with their unit behind, and as those of `Oil` and `Bearing`."""

    width_nm: int | None = None  # of one land
    lands: int | None = None
    load_n: float | None = None  # of all lands together
    speed_rpm: float | None = None
    viscosity_mpa_s: float | None = None  # constant; else the two of the oil
    table: tuple[tuple[float, float], ...] | None = None  # viscosities by temperature: C and mPa s
    oil_40_mm2_s: float | None = None
    oil_100_mm2_s: float | None = None
    high_shear_mpa_s: float | None = None  # of a multigrade, at 150 degrees Celsius
    density_kg_m3: float | None = None  # at 15 degrees Celsius
    density_slope_kg_m3_k: float | None = None
    heat_capacity_j_kg_k: float | None = None
    inlet_c: float | None = None
    oil_margin_k: float | None = None
    feed_pressure_mpa: float | None = None
    slope_nm: int | None = None  # by how much the gap differs from one end of a land to the other
    housing_temperature_c: float | None = None  # when it runs
    journal_temperature_c: float | None = None

    @property
    def oil(self) -> Oil:
        named = {name: value for name, value in self._asdict().items() if name in Oil._fields and value is not None}
        return Oil(**named, margin_k=MARGIN_K if self.oil_margin_k is None else self.oil_margin_k)

    def bearing(
        self,
        clearance_nm: int,
        journal_nm: int,
        position: str | None = None,
        kind: str | None = None,
        *,
        state: str = "cold",
        within_limits: bool | None = None,
    ) -> Bearing:
        """A bearing that runs so; width, load and speed must be given."""
        assert self.width_nm is not None and self.load_n is not None and self.speed_rpm is not None
        return Bearing(
            clearance_nm=clearance_nm,
            journal_nm=journal_nm,
            width_nm=self.width_nm,
            load_n=self.load_n,
            speed_rpm=self.speed_rpm,
            oil=self.oil,
            lands=int(self.lands or 1),
            feed_pressure_mpa=self.feed_pressure_mpa,
            position=position,
            state=state,
            slope_nm=self.slope_nm or 0,
            kind=kind,
            within_limits=within_limits,
        )
