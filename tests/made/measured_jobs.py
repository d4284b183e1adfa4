"""Jobs whose gauges scatter: rods of which every size was read once."""

from collections.abc import Sequence
from dataclasses import replace

from made.jobs import TARGET, WALL, make_job, make_position, make_shell, measured_by

from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, Measuring, Pooled

UM = 1_000
GAUGES = ("mic", "bore", "ball")


def measuring(scatter: int | None, *, limit: int | None = None, freedom: int | None = None) -> Measuring:
    """Gauges for journals, bores and walls that all scatter alike; `limit` is that of the gauge for walls."""
    stated = scatter if freedom is None else None
    gauges = {g: Gauge(g, repeatability_nm=stated, limit_nm=limit if g == "ball" else None) for g in GAUGES}
    pooled = {} if freedom is None or scatter is None else {g: Pooled(float(scatter**2), freedom) for g in GAUGES}
    return Measuring(gauges=gauges, pooled=pooled)


def job_of(deviations: Sequence[int], how: Measuring, *, locked: bool = False) -> Job:
    """Rods whose own two shells, in file order, give these deviations."""
    shells = []
    positions = []
    for i, deviation in enumerate(deviations, 1):
        pair = [make_shell(f"{half[0]}{i}", half, WALL, measured_as=measured_by("ball")) for half in ("upper", "lower")]
        shells += pair
        plain = make_position(f"R{i}", 2 * WALL + TARGET + deviation)
        assert plain.journal is not None and plain.housing_bore is not None
        positions.append(
            replace(
                plain,
                journal=replace(plain.journal, measured_as=measured_by("mic")),
                housing_bore=replace(plain.housing_bore, measured_as=measured_by("bore")),
                upper=pair[0].key if locked else None,
                lower=pair[1].key if locked else None,
            )
        )
    return make_job(positions, shells, measuring=how, unit="mm")


def as_listed(job: Job) -> list[Placement]:
    """Each position with its own two shells."""
    return [Placement(p, *job.shells[2 * i : 2 * i + 2]) for i, p in enumerate(job.positions)]
