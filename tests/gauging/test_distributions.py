"""Student's t, the normal distribution and the ratio of variances, and the chances that guard bands give."""

import math

import pytest
from scipy import stats

from fitmatch.gauging.uncertainty.student import normal_below, normal_quantile, t_below, t_quantile
from fitmatch.gauging.uncertainty.variance_ratio import ratio_below

# D. C. Montgomery, Introduction to Statistical Quality Control, Appendix "percentage points of the t distribution", and
# JCGM 100:2008, Table G.2, for 95 % (from memory; each is checked against scipy as well).
T_975 = {1: 12.71, 2: 4.30, 3: 3.18, 4: 2.78, 5: 2.57, 8: 2.31, 10: 2.23, 20: 2.09, 50: 2.01, 100: 1.984}


@pytest.mark.parametrize("freedom", [*range(1, 40), 99, 100, 199, 200, 201, 202, 1_000, 10**5, 10**7])
def test_t_agrees_with_another_implementation(freedom: int) -> None:
    """Distribution function and 97.5 % point are those of scipy, on both sides of where the method changes."""
    for t in (-8.0, -3.0, -1.0, -0.1, 0.0, 0.5, 2.0, 4.0, 30.0):
        assert t_below(t, freedom) == pytest.approx(stats.t.cdf(t, freedom), abs=1e-13)
    assert t_quantile(freedom) == pytest.approx(stats.t.ppf(0.975, freedom), rel=1e-12)
    assert t_quantile(freedom, 0.995) == pytest.approx(stats.t.ppf(0.995, freedom), rel=1e-12)


@pytest.mark.parametrize(("freedom", "value"), T_975.items())
def test_t_values_of_the_tables(freedom: int, value: float) -> None:
    """Printed 97.5 % points are met to their last digit."""
    assert t_quantile(freedom) == pytest.approx(value, abs=0.0051 if value < 100 else 0.05)


def test_infinite_degrees_of_freedom_are_the_normal_distribution() -> None:
    """None means infinitely many; the normal quantile inverts its distribution function."""
    assert t_quantile(None) == pytest.approx(1.959963984540054, abs=1e-14)
    assert t_below(1.0, None) == normal_below(1.0) == pytest.approx(0.8413447460685429, abs=1e-15)
    for p in (1e-9, 0.01, 0.3, 0.5, 0.9, 1 - 1e-9):
        assert normal_below(normal_quantile(p)) == pytest.approx(p, rel=1e-9)


@pytest.mark.parametrize("freedom", [1, 2, 3, 7, 29, 100, 99_999])
@pytest.mark.parametrize("other", [1, 2, 29, 63, 500, 999_999])
def test_the_ratio_of_variances_agrees_with_another_implementation(freedom: int, other: int) -> None:
    """The distribution function of F is that of scipy, far out and where it changes most."""
    for ratio in (0.0, 1e-3, 0.1, 0.5, 1.0, 1.1, 2.0, 4.18, 10.0, 1e4):
        assert ratio_below(ratio, freedom, other) == pytest.approx(stats.f.cdf(ratio, freedom, other), abs=1e-8)


def test_f_values_of_the_tables() -> None:
    """Printed 95 % points of F (Montgomery, Introduction to Statistical Quality Control, appendix, from memory; checked
    against scipy as well) are where 95 % are below."""
    for freedom, other, value in ((1, 29, 4.18), (2, 29, 3.33), (3, 29, 2.93), (5, 10, 3.33), (10, 10, 2.98)):
        assert stats.f.ppf(0.95, freedom, other) == pytest.approx(value, abs=0.006)
        assert ratio_below(value, freedom, other) == pytest.approx(0.95, abs=1e-3)


# Conformance probability at the acceptance limit for a guard band r U with U = 2 u, one-sided normal (JCGM 106:2012;
# ILAC-G8:09/2019, 4.2; the figures worked out independently).
@pytest.mark.parametrize(
    ("r", "chance"), [(0, 0.5), (0.5, 0.84134), (0.8224, 0.95), (0.83, 0.95154), (1, 0.97725), (1.5, 0.99865)]
)
def test_guard_bands(r: float, chance: float) -> None:
    """A guard of r times U leaves the published chance of conforming at the guarded limit."""
    assert normal_below(2 * r) == pytest.approx(chance, abs=6e-6)


def test_a_guard_of_084_is_95_percent_whatever_the_degrees_of_freedom_beyond_a_few() -> None:
    """0.84 U with U = t u gives at least 95 % one-sided for infinite, 30 and 4 degrees of freedom."""
    for freedom in (None, 30, 4):
        assert t_below(0.84 * t_quantile(freedom), freedom) >= 0.95


def test_jcgm_106_examples() -> None:
    """One-sided: limit -5.40, value -5.47, u 0.05 gives 0.9192 (JCGM 106:2012, from memory, worked out again).

    Two-sided: limits 0.030 and 0.060, value 0.0585, u 0.001 give 0.933193 (worked out independently).
    """
    assert normal_below((-5.40 + 5.47) / 0.05) == pytest.approx(0.9192, abs=5e-5)
    two_sided = normal_below((0.060 - 0.0585) / 0.001) - normal_below((0.030 - 0.0585) / 0.001)
    assert two_sided == pytest.approx(0.933193, abs=5e-7)
    assert math.isclose(normal_below(0), 0.5)
