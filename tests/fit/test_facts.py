"""The arithmetic of one bore. Facts of the trade: common practice, no source."""

from dataclasses import replace

import pytest
from made.jobs import JOURNAL, STEP, TARGET, WALL, make_job, make_position, make_shells
from oracles.rulebook import Rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Plan

ROOM = 2 * WALL + TARGET
FREE = Rules(wall_difference_nm=None)


def assembled(upper: int, lower: int, **position: object) -> Plan:
    """One position with the only two shells there are."""
    place = make_position("R1", ROOM, **position)
    return best_plan(make_job([place], make_shells("upper", [upper]) + make_shells("lower", [lower]), rules=FREE))


def bore(upper: int, lower: int, **position: object) -> Placement:
    (placement,) = assembled(upper, lower, **position).placements
    return placement


@pytest.mark.parametrize("thicker", [1, 1_000, STEP, 4 * STEP])
def test_a_thicker_wall_closes_the_clearance_by_as_much(thicker: int) -> None:
    """A thicker wall in one half closes the clearance by as much, in both halves by twice as much."""
    before = bore(WALL, WALL).clearance_nm
    assert before == TARGET
    assert bore(WALL + thicker, WALL).clearance_nm == before - thicker
    assert bore(WALL, WALL + thicker).clearance_nm == before - thicker
    assert bore(WALL + thicker, WALL + thicker).clearance_nm == before - 2 * thicker


@pytest.mark.parametrize("thicker", [1, 1_000, STEP, 4 * STEP])
def test_unequal_halves_move_the_axis_by_half_their_difference(thicker: int) -> None:
    """A thicker lower half lifts the axis towards the upper half by half the difference, and the other way round."""
    assert bore(WALL, WALL).twice_axis_shift_nm == 0
    for upper, lower, shift in ((WALL, WALL + thicker, thicker), (WALL + thicker, WALL, -thicker)):
        placement = bore(upper, lower)
        assert placement.twice_axis_shift_nm == shift
        assert placement.wall_difference_nm == thicker


def test_thick_with_thin_halves_the_step() -> None:
    """One half from the next size up closes the clearance by half of what two such halves would."""
    assert 2 * (TARGET - bore(WALL + STEP, WALL).clearance_nm) == TARGET - bore(WALL + STEP, WALL + STEP).clearance_nm


def test_deviation_is_clearance_less_target() -> None:
    """A clearance above the target is a deviation up; max is checked with the means, min with the extremes."""
    placement = bore(WALL - STEP, WALL, low=3, high=2, min_nm=TARGET, max_nm=TARGET + STEP - 1)
    assert placement.deviation_nm == STEP
    assert placement.clearance_tightest_nm == placement.clearance_nm - 5
    assert (placement.shortfall_nm, placement.excess_nm, placement.within_limits) == (0, 1, False)


def test_squares_hold_bias_and_variance() -> None:
    """The sum of squares is n times the squared mean deviation plus the variance about it."""
    positions = [make_position(f"R{i}", ROOM + off, min_nm=0, max_nm=2 * TARGET) for i, off in enumerate((0, 6, 30))]
    plan = best_plan(make_job(positions, make_shells("upper", [WALL] * 3) + make_shells("lower", [WALL] * 3)))
    n, bias, variance = 3, 12, (12**2 + 6**2 + 18**2) / 3
    assert plan.figures["rod"].sum_squared_deviation_nm2 == n * (bias**2 + variance)
    assert plan.figures["rod"].mean_clearance_nm == TARGET + bias


@pytest.mark.parametrize(
    "offs, mean", [((0, 1), TARGET), ((1, 2), TARGET + 2), ((0, 0, 1), TARGET), ((0, 1, 1), TARGET + 1)]
)
def test_the_mean_is_rounded_once_halves_to_even(offs: tuple[int, ...], mean: int) -> None:
    """The mean clearance is exact, then rounded to a whole nanometre, halves to even."""
    assert TARGET % 2 == 0
    positions = [make_position(f"R{i}", ROOM + off) for i, off in enumerate(offs)]
    shells = make_shells("upper", [WALL] * len(offs)) + make_shells("lower", [WALL] * len(offs))
    assert best_plan(make_job(positions, shells)).figures["rod"].mean_clearance_nm == mean


def test_what_needs_attention() -> None:
    """A plan with every bore inside its limits needs none; an empty, unmeasured or tight bore and a bare shell do."""
    assert not assembled(WALL, WALL, min_nm=0, max_nm=2 * TARGET).needs_attention
    assert assembled(WALL, WALL, min_nm=TARGET + 1, max_nm=2 * TARGET).needs_attention
    assert assembled(WALL, WALL, journal=None).needs_attention
    job = assembled(WALL, WALL).job
    assert best_plan(replace(job, shells=job.shells[:1])).needs_attention
    blank = replace(job.shells[0], name="blank", wall_nm=None, wall_to_metal_nm=None)
    assert best_plan(replace(job, shells=(*job.shells, blank))).needs_attention
    assert job.positions[0].journal.mean_nm == JOURNAL
