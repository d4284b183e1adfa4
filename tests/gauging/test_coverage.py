"""Does the 95 % interval hold the truth as often as it says? Thousands of benches with known truth."""

import random

import pytest
from bench import Bench, gauge, settings

from fitmatch.gauging.uncertainty.error_model import ErrorModel, Uncertainty
from fitmatch.records.measuring import Gauge, Reading

so_many = pytest.mark.parametrize("jobs", [1_000, pytest.param(4_000, marks=pytest.mark.deep)])
NAMES = ("mic", "bore", "ball")


class Truth:
    """True sizes and true errors of gauges; readings are drawn from them and rounded as the gauge's scale is."""

    def __init__(self, rng: random.Random, gauges: dict[str, Gauge], scatter: dict[str, float]) -> None:
        self._rng = rng
        self._gauges = gauges
        self._scatter = scatter
        self._error = {n: rng.uniform(-(g.limit_nm or 0), g.limit_nm or 0) for n, g in gauges.items()}
        self._error["bore"] += self._error["mic"] if gauges["bore"].set_with else 0.0
        self.sizes = {"journal": rng.uniform(49.9e6, 50.1e6), "upper": rng.uniform(1.9e6, 2.1e6)}
        self.sizes["lower"] = self.sizes["upper"] + rng.uniform(-1e4, 1e4)
        walls = self.sizes["upper"] + self.sizes["lower"]
        self.clearance = rng.uniform(3e4, 6e4)
        self.sizes["bore"] = self.sizes["journal"] + walls + self.clearance

    def read(self, what: str, by: str, places: int, repeats: int) -> list[Reading]:
        step = self._gauges[by].resolution_nm or 1
        readings = []
        for station in range(1, places + 1):
            for _ in range(repeats):
                value = self.sizes[what] + self._error[by] + self._rng.gauss(0, self._scatter[by])
                readings.append(Reading(round(value / step) * step, station, 0.0, by))
        return readings


def one_job(
    rng: random.Random, scatter_over_step: tuple[float, float], limits: tuple[float, float]
) -> tuple[float, Uncertainty]:
    """How far one job's clearance is off the truth, and its uncertainty; scatter and limits are drawn in units of the
    resolution."""
    step = 1_000
    scatter = {n: step * rng.uniform(*scatter_over_step) for n in NAMES}
    gauges = {n: gauge(n, resolution_nm=step, limit_nm=round(step * rng.uniform(*limits))) for n in NAMES}
    gauges["bore"] = gauges["bore"]._replace(set_with=rng.choice(["mic", None]))
    truth = Truth(rng, gauges, scatter)
    places, repeats = rng.randint(1, 3), rng.randint(2, 3)
    made = Bench(
        settings(gauges=gauges),
        truth.read("journal", "mic", places, repeats),
        truth.read("bore", "bore", places, repeats),
        truth.read("upper", "ball", 1, repeats),
        truth.read("lower", "ball", 1, repeats),
        further=[
            ("journal", truth.read("journal", "mic", 3, 2)),
            ("housing_bore", truth.read("bore", "bore", 3, 2)),
            ("wall", truth.read("upper", "ball", 3, 2)),
        ],
    )
    found = ErrorModel(made.job).combined(made.position, made.upper.measured_as, made.lower.measured_as)
    assert found is not None and not found.lower_bound
    return abs(made.clearance_nm - truth.clearance), found


def a_rectangle_dominates(found: Uncertainty) -> bool:
    return any(t.name.startswith("error limit") and t.standard_nm**2 > found.standard_nm**2 / 2 for t in found.terms)


def share_covered(
    seed: int,
    scatter_over_step: tuple[float, float],
    limits: tuple[float, float],
    *,
    plain: bool,
    jobs: int,
    widened: float = 1.0,
) -> float:
    """Over the jobs in which no rectangle dominates (`plain`), or over all others."""
    rng = random.Random(seed)
    hits = count = 0
    while count < jobs:
        error, found = one_job(rng, scatter_over_step, limits)
        if a_rectangle_dominates(found) is not plain:
            hits += error <= widened * found.expanded_nm
            count += 1
    return hits / jobs


@so_many
def test_coverage_where_no_rectangle_dominates_and_scatter_shows(jobs: int) -> None:
    """93 to 97 % where no single rectangular source has more than half of u^2 and scatter is at least half the
    resolution."""
    assert 0.93 <= share_covered(41, (0.5, 2.0), (0.0, 1.2), plain=True, jobs=jobs) <= 0.97


@so_many
@pytest.mark.parametrize(
    ("seed", "scatter", "limits", "plain"),
    [
        (42, (0.5, 1.5), (2.0, 5.0), False),  # a rectangle dominates
        (43, (0.05, 0.5), (0.0, 0.6), True),  # scatter hides behind the resolution
    ],
)
def test_coverage_elsewhere(
    seed: int, scatter: tuple[float, float], limits: tuple[float, float], plain: bool, jobs: int
) -> None:
    """At least 93 % where one gauge's limit dominates, and where readings scatter less than half the resolution."""
    assert share_covered(seed, scatter, limits, plain=plain, jobs=jobs) >= 0.93


@so_many
@pytest.mark.parametrize(("widened", "low", "high"), [(0.8, 0.0, 0.93), (1.25, 0.97, 1.0)])
def test_the_check_is_not_blind(widened: float, low: float, high: float, jobs: int) -> None:
    """Intervals a fifth too narrow, or a quarter too wide, would be caught."""
    assert low < share_covered(44, (0.5, 2.0), (0.0, 1.2), plain=True, jobs=jobs, widened=widened) < high
