"""Published cases of numerical accuracy and of the GUM, run through the functions that sizes and uncertainties use."""

import random
from collections.abc import Sequence
from fractions import Fraction
from math import sqrt
from typing import Any

import GTC  # type: ignore[import-untyped]
import numpy as np
import pytest
import uncertainties
from bench import Bench, gauge, repeats, room, settings

from fitmatch.gauging.sizes.places import mean_of_means, sum_of_squares
from fitmatch.gauging.uncertainty.combining import Term, combine
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.gauging.uncertainty.student import t_quantile
from fitmatch.records.measuring import Gauge, Reading

# NIST Statistical Reference Datasets, univariate summary statistics. Data and certified mean and standard deviation are
# stated from memory. Values are in units of the last digit, as readings are.
STRD = {
    "NumAcc1": ([10_000_001, 10_000_003, 10_000_002], 10_000_002, 1),
    "NumAcc2": ([12, *[11, 13] * 500], 12, 1),
    "NumAcc3": ([10_000_002, *[10_000_001, 10_000_003] * 500], 10_000_002, 1),
    "NumAcc4": ([100_000_002, *[100_000_001, 100_000_003] * 500], 100_000_002, 1),
}


@pytest.mark.parametrize("name", STRD)
def test_nist_strd(name: str) -> None:
    """Mean and standard deviation are exact however small the scatter is beside the value."""
    values, mean, deviation = STRD[name]
    above, below = mean_of_means([[v] for v in values])
    assert above == mean * below
    squares, n = sum_of_squares(values)
    assert squares == deviation**2 * n * (n - 1)


# JCGM 100:2008, H.1, as the documents and tests of the GTC project repeat it. Lengths in nm.
LS, U_LS = 50_000_623, 25.0
H1 = [
    Term("standard", U_LS, 18),
    Term("observations", 5.8, 24),
    Term("random, comparator", 3.9, 5),
    Term("systematic, comparator", 6.7, 8),
    Term("difference of expansion", LS * 0.1 * 1e-6 / sqrt(3), 50),
    Term("difference of temperature", LS * 11.5e-6 * 0.05 / sqrt(3), 2),
]


def test_gum_h1() -> None:
    """u_c = 32 nm and nu_eff = 16 as printed; GTC's own tests have 31.6637674 and 16.7521475, for a length of 50 mm."""
    found = combine(H1)
    assert found is not None
    assert found.standard_nm == pytest.approx(31.6637674, abs=2e-4)
    assert round(found.standard_nm) == 32
    assert found.degrees_of_freedom == 16
    doubt = sum(t.standard_nm**4 / t.degrees_of_freedom for t in H1 if t.degrees_of_freedom)
    assert found.standard_nm**4 / doubt == pytest.approx(16.7521475, abs=5e-4)


def test_gum_h1_expanded_and_the_rounding_trap() -> None:
    """U99 is printed as 93 nm; at full precision it is 92.5, which would round to 92: only within 1 nm may it agree."""
    found = combine(H1)
    assert found is not None
    assert t_quantile(16, 0.995) == pytest.approx(2.92, abs=0.005)
    expanded = t_quantile(found.degrees_of_freedom, 0.995) * found.standard_nm
    assert expanded == pytest.approx(93, abs=1)
    assert expanded == pytest.approx(92.48, abs=0.01)


def test_gum_h1_against_uncertainties() -> None:
    """The model of H.1 written out for the uncertainties package has the same standard uncertainty."""
    u = uncertainties.ufloat
    ls, alpha, theta = u(LS, U_LS), u(11.5e-6, 2e-6 / sqrt(3)), u(-0.1, 0.41)
    d = u(215, 5.8) + u(0, 3.9) + u(0, 6.7)
    length = ls + d - ls * (u(0, 1e-6 / sqrt(3)) * theta + alpha * u(0, 0.05 / sqrt(3)))
    found = combine(H1)
    assert found is not None
    assert length.nominal_value == pytest.approx(50_000_838)
    assert length.std_dev == pytest.approx(found.standard_nm, rel=1e-6)


def test_gum_h1_against_gtc() -> None:
    """The same model in GTC has the same standard uncertainty and, cut to a whole number, degrees of freedom."""
    real = GTC.ureal
    ls, alpha, theta = real(LS, U_LS, 18), real(11.5e-6, 2e-6 / sqrt(3)), real(-0.1, 0.41)
    d = real(215, 5.8, 24) + real(0, 3.9, 5) + real(0, 6.7, 8)
    length = ls + d - ls * (real(0, 1e-6 / sqrt(3), 50) * theta + alpha * real(0, 0.05 / sqrt(3), 2))
    found = combine(H1)
    assert found is not None
    assert GTC.uncertainty(length) == pytest.approx(found.standard_nm, rel=1e-6)
    assert int(GTC.dof(length)) == found.degrees_of_freedom


# --- our own model, by an independent implementation -----------------------------------------------------------------


def warm_bench(rng: random.Random, *, set_with: bool) -> Bench:
    """A warm bench with a bit of everything: repeats, places, standards, limits and coefficients."""

    def some(name: str, **more: Any) -> Gauge:
        zero = rng.randint(-3_000, 3_000)
        return gauge(
            name,
            repeatability_nm=rng.randint(300, 900),
            repeatability_from=rng.randint(5, 40),
            limit_nm=rng.randint(0, 1_500),
            own_zero_nm=zero,
            standard_reads_nm=(zero + 25_000_000,) * rng.randint(1, 4),
            standard_limit_nm=rng.randint(0, 600),
            **more,
        )

    gauges = {"mic": some("mic"), "bore": some("bore", set_with="mic" if set_with else None), "ball": some("ball")}
    diameters = [
        [Reading(nm, station, 0.0, by) for station in (1, 2)] for nm, by in ((50_002_000, "mic"), (54_055_000, "bore"))
    ]
    walls = [repeats([2_000_000 + rng.randint(0, 3_000)], "ball") for _ in range(2)]
    materials = {"main": {"journal": Fraction(115, 10**7), "housing_bore": Fraction(231, 10**7)}}
    made = settings(gauges=gauges, temperature=room(29, Fraction(2)), materials=materials)
    return Bench(made, *diameters, *walls)


def by_gtc(made: Bench) -> Any:
    """The same clearance written out for GTC, formula by formula, which finds the sensitivities by itself.

    Scatter of one gauge is one ensemble: errors that are independent, with degrees of freedom in common.
    """
    measuring = made.job.measuring
    assert measuring.temperature is not None

    def rectangle(half_width: float) -> Any:
        return GTC.ureal(0, half_width / sqrt(3))

    def within(value: float) -> Any:
        return value + rectangle(value * 0.1)

    own, settings_of = {}, {}
    count = {"mic": 2, "bore": 2, "ball": 2}
    for name, g in measuring.gauges.items():
        scatter = ErrorModel(made.job).scatter[name]
        n = len(g.standard_reads_nm)
        deviations = [scatter.standard_nm] * count[name] + [scatter.standard_nm / sqrt(n)]
        *own[name], setting = GTC.multiple_ureal([0.0] * len(deviations), deviations, scatter.degrees_of_freedom)
        settings_of[name] = setting + rectangle(g.standard_limit_nm or 0) + g.own_zero_nm
    left = {name: rectangle(g.limit_nm or 0) for name, g in measuring.gauges.items()}  # each at its own size
    if measuring.gauges["bore"].set_with:
        settings_of["bore"] = settings_of["bore"] + settings_of["mic"]
        left["bore"] = left["bore"] + rectangle(measuring.gauges["mic"].limit_nm or 0)  # its screw at this size
    settings_of = {name: setting + left[name] for name, setting in settings_of.items()}
    warm = float(measuring.temperature.parts - 20) + rectangle(2.0)
    of_mic = within(11.5e-6)
    of_bore = of_mic if measuring.gauges["bore"].set_with else within(11.5e-6)

    def size(readings: Sequence[Reading], by: str, factor: Any) -> Any:
        each = [(r.nm + error - settings_of[by]) * factor for r, error in zip(readings, own[by], strict=True)]
        return sum(each) / len(each)

    journal = size(made.journal.readings, "mic", 1 + of_mic * warm - within(11.5e-6) * warm)
    bore = size(made.bore.readings, "bore", 1 + of_bore * warm - within(23.1e-6) * warm)
    walls = [
        shell.measured.readings[0].nm + error - settings_of["ball"]
        for shell, error in zip((made.upper, made.lower), own["ball"], strict=True)
        if shell.measured is not None
    ]
    return bore - journal - walls[0] - walls[1]


@pytest.mark.parametrize("set_with", [False, True])
def test_a_whole_bench_against_gtc(set_with: bool) -> None:
    """Standard uncertainty and degrees of freedom of the clearance are GTC's, and the clearance itself is too."""
    for seed in range(10):
        made = warm_bench(random.Random(f"gtc {seed}"), set_with=set_with)
        found = ErrorModel(made.job).combined(made.position, made.upper.measured_as, made.lower.measured_as)
        wanted = by_gtc(made)
        assert found is not None
        assert made.clearance_nm == pytest.approx(GTC.value(wanted), abs=2)
        assert found.standard_nm == pytest.approx(GTC.uncertainty(wanted), rel=1e-3)
        assert found.degrees_of_freedom == pytest.approx(GTC.dof(wanted), abs=1.01, rel=5e-3)


def test_jcgm_101_four_normal_terms_by_the_formula() -> None:
    """JCGM 101:2008, 9.2.2 (from memory, worked out again): four terms of 1 have u = 2 and 95 % within +-3.92, by
    `combine`, the path that every clearance takes."""
    found = combine([Term(str(k), 1.0) for k in range(4)])
    assert found is not None
    assert found.standard_nm == pytest.approx(2.0)
    assert found.degrees_of_freedom is None
    assert found.expanded_nm == pytest.approx(3.92, abs=0.005)


def test_jcgm_101_four_rectangular_terms_by_simulation() -> None:
    """JCGM 101:2008, 9.2.3 (from memory; exactly 2 sqrt(3) (2 - 0.6^(1/4)) = 3.8794): drawn as `ErrorModel` describes
    its rectangular errors, four of standard deviation 1 are within +-3.88; the formula's +-3.92 is a little wide."""
    rng = np.random.default_rng(101)
    sums = rng.uniform(-sqrt(3), sqrt(3), (4, 1_000_000)).sum(axis=0)
    assert 2 * sqrt(3) * (2 - 0.6**0.25) == pytest.approx(3.8794, abs=5e-5)
    assert np.quantile(abs(sums), 0.95) == pytest.approx(3.8794, abs=0.01)


def test_jcgm_101_a_dominant_rectangle_is_covered_generously() -> None:
    """JCGM 101:2008, 9.2.4 (from memory, worked out again): with one rectangle ten times the others the formula gives
    +-19.9 where the simulation gives +-17.0."""
    found = combine([Term("a", 10.0), *(Term(str(k), 1.0) for k in range(3))])
    assert found is not None
    assert found.expanded_nm == pytest.approx(19.9, abs=0.05)
    rng = np.random.default_rng(102)
    sums = rng.uniform(-sqrt(3), sqrt(3), (3, 1_000_000)).sum(axis=0) + 10 * rng.uniform(-sqrt(3), sqrt(3), 1_000_000)
    assert np.quantile(abs(sums), 0.95) == pytest.approx(17.0, abs=0.1)


def test_stack_of_independent_and_shared_errors() -> None:
    """u of bore 1.0, journal 0.8 and walls 0.5 um each is 1.463 um (own arithmetic); an error e shared by both walls
    adds (2e)^2 and not 2 e^2."""
    parts = [Term(str(k), u) for k, u in enumerate((1000.0, 800.0, 500.0, 500.0))]
    found, shared = combine(parts), combine([*parts, Term("e", 2 * 300.0)])
    assert found is not None and shared is not None
    assert found.standard_nm == pytest.approx(1463, abs=0.5)
    assert shared.standard_nm**2 - found.standard_nm**2 == pytest.approx(4 * 300.0**2)
