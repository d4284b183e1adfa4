"""Sums of parts between limits: against closed forms, published values and simulation."""

from math import comb, erf, factorial, sqrt

import numpy
import pytest

from fitmatch.study.drawings import sums
from fitmatch.study.drawings.shapes import SHAPES
from fitmatch.study.drawings.sums import ALLOWED, Sum


def irwin_hall(parts: int, at: float) -> float:
    """The chance that the sum of so many uniform parts of half width 1 is below a value (Irwin, Hall 1927, memory)."""
    x = (at + parts) / 2
    return sum((-1) ** k * comb(parts, k) * max(x - k, 0) ** parts for k in range(parts + 1)) / factorial(parts)


@pytest.mark.parametrize("parts", [1, 2, 3, 4, 6])
@pytest.mark.parametrize(("low", "high"), [(-0.9, 0.77), (-0.003, 1.9), (0.5, 0.5), (-7, 0.1)])
def test_uniform_parts_add_up_as_their_closed_form(parts: int, low: float, high: float) -> None:
    """Below, inside and above of a sum of equal uniform parts are those of the closed form, within what is allowed."""
    found = Sum("uniform", (1.0,) * parts).chance(low, high)
    below, above = irwin_hall(parts, low), 1 - irwin_hall(parts, high)
    assert (found.below, found.above) == (pytest.approx(below, abs=ALLOWED), pytest.approx(above, abs=ALLOWED))
    assert found.inside == pytest.approx(1 - below - above, abs=ALLOWED)


@pytest.mark.parametrize("low", [-1.3, -0.4, 0.0, 0.9])
def test_two_uniforms_of_other_widths_are_a_trapezium(low: float) -> None:
    """The sum of half widths 1 and 0.4 has a flat top of 1.2 and straight sides: its integral is exact."""
    sides, top = 0.8, 0.5  # width of a side, height of the top

    def below(at: float) -> float:
        if at > 0:
            return 1 - below(-at)
        into = min(max(at + 1.4, 0.0), sides)
        return into**2 * top / (2 * sides) + max(at + 0.6, 0.0) * top

    assert Sum("uniform", (0.4, 1.0)).chance(low, None).below == pytest.approx(below(low), abs=ALLOWED)


@pytest.mark.parametrize("shape", SHAPES)
def test_halving_the_grid_shows_the_error(shape: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """The change from the last halving is below what is allowed, and a far finer grid changes no more than that."""
    found = Sum(shape, (9.5, 6.5, 4.0, 4.0, 0.01)).chance(-15.0, 14.2)
    monkeypatch.setattr(sums, "_FEWEST", 8_192)
    finest = Sum(shape, (9.5, 6.5, 4.0, 4.0, 0.01)).chance(-15.0, 14.2)
    assert finest.change < found.change < ALLOWED
    assert found[:3] == pytest.approx(finest[:3], abs=found.change)


@pytest.mark.parametrize("shape", SHAPES)
def test_shapes_agree_with_numerical_integrals(shape: str) -> None:
    """Each shape's density integrates to one, to its variance, and once and twice to what it says."""
    one = SHAPES[shape]
    x = numpy.linspace(-1, 1, 40_001)
    step = x[1] - x[0]

    def integral(values: "numpy.ndarray[tuple[int], numpy.dtype[numpy.float64]]") -> float:
        return float((values.sum() - (values[0] + values[-1]) / 2) * step)

    assert integral(one.density(x)) == pytest.approx(1, abs=1e-8)
    assert integral(one.density(x) * x * x) == pytest.approx(one.variance, abs=1e-8)
    for at in (1, 9_000, 20_000, 33_333, 40_000):
        assert integral(one.density(x[: at + 1])) == pytest.approx(float(one.below(x)[at]), abs=1e-6)
        assert integral(one.below(x[: at + 1])) == pytest.approx(float(one.twice(x)[at]), abs=1e-6)


def test_a_single_normal_part_is_cut_and_scaled_up() -> None:
    """Its limits are three standard deviations from the middle; nothing lies beyond them, and what is left is one."""
    kept = erf(3 / sqrt(2))
    found = Sum("normal", (3.0,)).chance(-1.0, 2.0)
    assert found.inside == pytest.approx((erf(1 / sqrt(2)) + erf(2 / sqrt(2))) / 2 / kept, abs=1e-12)
    assert Sum("normal", (3.0,)).chance(-3.0, 3.0)[:3] == pytest.approx((0, 1, 0), abs=1e-12)


@pytest.mark.parametrize("shape", SHAPES)
def test_sums_agree_with_simulation(shape: str) -> None:
    """A million draws of four unequal parts lie inside limits as often as computed, within five standard errors."""
    rng = numpy.random.default_rng(15)
    widths = (9.5, 6.5, 4.0, 4.0)
    total = numpy.zeros(1_000_000)
    for width in widths:
        if shape == "uniform":
            total += rng.uniform(-width, width, total.size)
        elif shape == "triangular":
            total += rng.triangular(-width, 0, width, total.size)
        else:
            drawn = rng.normal(0, width / 3, 2 * total.size)
            total += drawn[abs(drawn) <= width][: total.size]
    found = Sum(shape, widths).chance(-6.0, 3.5)
    drawn_inside = float(((total >= -6) & (total <= 3.5)).mean())
    assert found.inside == pytest.approx(drawn_inside, abs=5 * sqrt(0.25 / total.size))


@pytest.mark.parametrize(
    ("shape", "deviations", "interval", "near"),
    [
        # JCGM 101:2008, 9.2.3: four rectangular distributions of standard deviation 1, solved exactly.
        ("uniform", (1, 1, 1, 1), 2 * sqrt(3) * (2 - 0.6**0.25), 1e-4),
        # JCGM 101:2008, 9.2.4: three of 1 and one of 10; published 17.0 (from memory, and simulated).
        ("uniform", (1, 1, 1, 10), 17.0, 0.05),
        # 9.2.2 has four normal ones, 3.92; these are cut at three standard deviations, which takes 1.3 % off.
        ("normal", (1, 1, 1, 1), 3.92 * sqrt(SHAPES["normal"].variance * 9), 0.01),
    ],
)
def test_additive_examples_of_jcgm_101(shape: str, deviations: tuple[int, ...], interval: float, near: float) -> None:
    """The 95 % intervals of the additive examples are the published ones."""
    half = {"uniform": sqrt(3), "normal": 3.0}[shape]
    assert Sum(shape, tuple(half * s for s in deviations)).half_interval(0.95) == pytest.approx(interval, abs=near)


def test_where_nothing_varies_limits_belong_to_the_inside() -> None:
    """A sum of parts without width is one value: inside if it is on a limit or between them, else wholly outside."""
    still = Sum("uniform", (0.0, 0.0))
    assert still.chance(0.0, 0.0)[:3] == (0, 1, 0)
    assert still.chance(0.1, None)[:3] == (1, 0, 0)
    assert still.chance(None, -0.1)[:3] == (0, 0, 1)
    assert still.half_interval(0.95) == 0
