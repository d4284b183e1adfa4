"""`fitmatch.range`: worst case, root sum square, shares, coatings and steps, from limits and from jobs."""

from math import sqrt
from pathlib import Path

import pytest

import fitmatch
from fitmatch.problems import NotPossible
from fitmatch.records.parts import Band
from fitmatch.records.study.stacks import Stack
from fitmatch.study.drawings.ranges import Row

SAMPLES = Path(__file__).parents[2] / "samples"
UM = 1_000
# 60 H6, 55.95 h5 and walls of 8 um: widths 19, 13, 8 and 8 um.
BORE = Band(60_000 * UM, 60_019 * UM)
JOURNAL = Band(55_937 * UM, 55_950 * UM)
WALL = Band(2_000 * UM, 2_008 * UM)
PLAIN = Stack("rod", BORE, JOURNAL, WALL)


def only(stack: Stack, shape: str = "uniform", shared: float = 0.0) -> Row:
    (row,) = fitmatch.range([stack], shape=shape, shared=shared).rows
    return row


def test_the_stack_of_four_tolerances() -> None:
    """Widths of 19, 13, 8 and 8 um are 48 um in the worst case and 25.65 um as the root of the sum of squares."""
    row = only(PLAIN)
    assert (row.worst.min_nm, row.worst.max_nm) == (34 * UM, 82 * UM)
    assert row.root_sum_square.max_nm - row.root_sum_square.min_nm == pytest.approx(25.65 * UM, abs=5)
    assert row.mean_nm == 58 * UM
    assert row.standard_nm == pytest.approx(UM * sqrt((19**2 + 13**2 + 2 * 8**2) / 12))
    assert row.chance is None


def test_shares_are_of_the_variance() -> None:
    """Shares are squares of widths by their sum; what the walls have in common makes theirs larger."""
    squares = {"journal": 13**2, "housing_bore": 19**2, "walls": 2 * 8**2}
    assert only(PLAIN).shares == pytest.approx({name: s / 658 for name, s in squares.items()})
    together = only(PLAIN, shared=1.0).shares
    assert together is not None and together["walls"] == pytest.approx(4 * 8**2 / (13**2 + 19**2 + 4 * 8**2))


@pytest.mark.parametrize("shared", [0.0, 0.3, 1.0])
@pytest.mark.parametrize("shape", ["uniform", "triangular", "normal"])
def test_what_walls_have_in_common_raises_the_spread(shape: str, shared: float) -> None:
    """Variance of the two walls is 2 (1 + shared) of one's; the distribution has the standard deviation it states."""
    import numpy

    row = only(PLAIN, shape, shared)
    reach = row.total.half_width
    at = numpy.linspace(-reach, reach, 20_001)
    density = row.total.densities(at)
    step = at[1] - at[0]
    assert density.sum() * step == pytest.approx(1, abs=1e-4)
    assert sqrt((density * at * at).sum() * step) == pytest.approx(row.standard_nm, rel=1e-3)
    wall = only(PLAIN._replace(housing_bore=Band(1, 1), journal=Band(0, 0)), shape).standard_nm
    alone = only(PLAIN, shape).standard_nm
    assert row.standard_nm**2 == pytest.approx(alone**2 + shared * wall**2)


def test_with_one_wall_in_common_both_are_alike() -> None:
    """With all variance in common the walls count as one part of twice the width; the worst case stays."""
    row = only(
        PLAIN._replace(housing_bore=Band(60_000 * UM, 60_000 * UM), journal=Band(55_950 * UM, 55_950 * UM)), shared=1.0
    )
    assert row.total.chance(-4 * UM, 4 * UM).inside == pytest.approx(0.5)
    assert (row.worst.min_nm, row.worst.max_nm) == (34 * UM, 50 * UM)


def test_a_step_shifts_by_half_of_it_and_by_all() -> None:
    """A step is diametral: one half takes half of it off the clearance, both all of it; shape and shares stay."""
    rows = fitmatch.range([PLAIN._replace(step_nm=25 * UM, min_nm=20 * UM, max_nm=70 * UM)]).rows
    assert [row.thicker for row in rows] == [0, 1, 2]
    assert [row.mean_nm for row in rows] == [58 * UM, 45.5 * UM, 33 * UM]
    assert [row.worst.min_nm for row in rows] == [34 * UM, 21.5 * UM, 9 * UM]
    assert len({row.standard_nm for row in rows}) == 1
    none, one, both = (row.chance for row in rows)
    assert none and one and both and none.above > 0.0 == one.above == one.below == both.above < both.below


def test_coatings_take_twice_their_thickness() -> None:
    """A row without and one with the coating: two thicknesses less, and its own share where it varies."""
    bare, coated = fitmatch.range([PLAIN._replace(coating=Band(5 * UM, 7 * UM))]).rows
    assert (bare.coated, coated.coated) == (False, True)
    assert (coated.worst.min_nm, coated.worst.max_nm) == (34 * UM - 14 * UM, 82 * UM - 10 * UM)
    assert bare.shares is not None and "coating" not in bare.shares
    assert coated.shares is not None and coated.shares["coating"] == pytest.approx(8 / (658 + 8))


def test_limits_that_are_one_size_leave_nothing_to_share() -> None:
    """Where nothing varies there are no shares, and the clearance is inside exactly where it is between the limits."""
    still = Stack(
        "rod", Band(BORE.low_nm, BORE.low_nm), Band(JOURNAL.high_nm, JOURNAL.high_nm), Band(2_000 * UM, 2_000 * UM)
    )
    row = only(still._replace(min_nm=50 * UM, max_nm=50 * UM))
    assert row.shares is None and row.standard_nm == 0
    assert row.chance is not None and row.chance.inside == 1


def test_a_job_has_a_row_for_each_kind() -> None:
    """`range(job)` takes limits from [drawing] and min and max from [fit]; a frame has one row per row."""
    job = fitmatch.read_job(SAMPLES / "generator-five")
    found = fitmatch.range(job)
    assert [row.stack.name for row in found.rows] == ["rod", "main"]
    frame = found.to_frame("in")
    assert list(frame["name"]) == ["rod", "main"]
    assert frame["worst_min"][1] == pytest.approx(0.0004) and 0 < frame["chance"][1] < 1


def test_a_job_without_drawing_limits_is_refused() -> None:
    """Without all three limits of any kind there is no answer, and the reason is data."""
    from dataclasses import replace

    job = replace(fitmatch.read_job(SAMPLES / "generator-five"), drawing={"rod": {"wall": WALL}})
    with pytest.raises(NotPossible) as refused:
        fitmatch.range(job)
    assert refused.value.why.code == "no-drawing"


@pytest.mark.parametrize(("shape", "shared"), [("round", 0.0), ("normal", 1.1), ("normal", float("nan"))])
def test_wrong_settings_are_refused(shape: str, shared: float) -> None:
    """A shape that there is not, or a part outside 0 to 1, is an error and not a guess."""
    with pytest.raises(ValueError, match="shape is one of"):
        fitmatch.range([PLAIN], shape=shape, shared=shared)


def test_importing_all_names_hides_no_built_in() -> None:
    """`from fitmatch import *` leaves the built-in `range` alone."""
    names: dict[str, object] = {}
    exec("from fitmatch import *", names)
    assert "range" not in names and names["Stack"] is Stack
