"""Uncertainty of a clearance by the GUM: what is pooled, what is shared, what cancels, and what may be judged."""

from fractions import Fraction
from math import sqrt
from typing import Any

import pytest
from bench import UM, Bench, gauge, repeats, room, settings

from fitmatch.gauging.uncertainty.error_model import ErrorModel, Term, Uncertainty, combine
from fitmatch.gauging.uncertainty.judging import chance_inside, guarded_limits, joint_chance, largest_guard, verdict
from fitmatch.gauging.uncertainty.student import t_below, t_quantile

JOURNAL, BORE, WALL = 50_000_000, 54_045_000, 2_000_000


def bench(
    gauges: dict[str, dict[str, Any]], *, count: int = 1, fit: dict[str, Any] | None = None, **more: Any
) -> Bench:
    """A position measured with the gauges mic, bore and ball, `count` repeats everywhere that all agree."""
    named = {name: gauge(name, **keys) for name, keys in gauges.items()}
    made = settings(gauges=named, **{k: v for k, v in more.items() if k != "further"})
    by = {name: name if name in named else None for name in ("mic", "bore", "ball")}
    return Bench(
        made,
        repeats([JOURNAL] * count, by["mic"]),
        repeats([BORE] * count, by["bore"]),
        repeats([WALL] * count, by["ball"]),
        repeats([WALL] * count, by["ball"]),
        fit=fit,
        further=more.get("further", ()),
    )


def found(made: Bench) -> Uncertainty:
    uncertainty = ErrorModel(made.job).combined(made.position, made.upper.measured_as, made.lower.measured_as)
    assert uncertainty is not None
    return uncertainty


def term(made: Bench, name: str) -> Term | None:
    return next((t for t in found(made).terms if t.name == name), None)


def stated(**more: Any) -> dict[str, dict[str, Any]]:
    """Three gauges whose scatter is stated as nothing, so that only what is asked about counts."""
    gauges: dict[str, dict[str, Any]] = {name: {"repeatability_nm": 0} for name in ("mic", "bore", "ball")}
    for name, keys in more.items():
        gauges[name] |= keys
    return gauges


def test_scatter_is_pooled_from_all_repeats_of_a_gauge() -> None:
    """s^2 = sum (n - 1) s^2 / sum (n - 1) over places of every item; it is one term with those degrees of freedom."""
    further = [("wall", repeats([WALL, WALL + 3 * UM], "ball")), ("wall", repeats([WALL, WALL, WALL + 3 * UM], "ball"))]
    made = bench(stated(), further=further)
    pooled = made.job.measuring.pooled["ball"]
    assert pooled.degrees_of_freedom == 3
    assert pooled.variance_nm2 == pytest.approx((4.5 + 6.0) * UM**2 / 3)
    scatter = term(made, "scatter of ball")
    assert scatter is not None and scatter.degrees_of_freedom == 3
    assert scatter.standard_nm == pytest.approx(sqrt(2 * pooled.variance_nm2))


def test_two_walls_by_one_gauge_keep_its_degrees_of_freedom() -> None:
    """Two walls by one gauge whose s has 4 degrees of freedom give 4 and not 8, when nothing else counts."""
    further = [("wall", repeats([WALL, WALL + UM, WALL, WALL + 2 * UM, WALL], "ball"))]
    result = found(bench(stated(), further=further))
    assert result.degrees_of_freedom == 4
    assert result.expanded_nm == pytest.approx(t_quantile(4) * result.standard_nm)


@pytest.mark.parametrize("freedom", range(1, 60))
def test_one_term_has_its_own_degrees_of_freedom(freedom: int) -> None:
    """Cutting to a whole number does not lose one by a rounding error of floating point."""
    for u in (0.1, 1 / 3, 250.0, 12_345.678):
        result = combine([Term("s", u, freedom)])
        assert result is not None and result.degrees_of_freedom == freedom


def test_welch_satterthwaite_is_cut_down() -> None:
    """Two equal terms of 5 and 6 degrees of freedom have 4 / (1/5 + 1/6) = 10.9, cut to 10; certain terms add to it."""
    result = combine([Term("a", 1.0, 5), Term("b", 1.0, 6)])
    more = combine([Term("a", 1.0, 5), Term("b", 1.0, 6), Term("c", 1.0)])
    assert result is not None and result.degrees_of_freedom == 10
    assert more is not None and more.degrees_of_freedom == 24


def test_stated_repeatability_counts_where_repeats_do_not_tell() -> None:
    """It is taken as known; repeats take its place."""
    alone = found(bench(stated(ball={"repeatability_nm": 500})))
    assert alone.standard_nm == pytest.approx(500 * sqrt(2)) and alone.degrees_of_freedom is None
    told = found(bench(stated(ball={"repeatability_nm": 500}), further=[("wall", repeats([0, 2_000], "ball"))]))
    assert told.standard_nm == pytest.approx(2_000) and told.degrees_of_freedom == 1


def test_the_larger_of_scatter_and_resolution_counts() -> None:
    """Never both: a resolution of 1 um is 0.289 um a reading."""
    coarse = found(bench(stated(mic={"repeatability_nm": 200, "resolution_nm": UM})))
    fine = found(bench(stated(mic={"repeatability_nm": 400, "resolution_nm": UM})))
    assert coarse.standard_nm == pytest.approx(UM / sqrt(12))
    assert fine.standard_nm == pytest.approx(400)


def test_repeats_average_down_to_the_resolution_and_no_further() -> None:
    """Four repeats of 400 nm give 200, but a resolution of 1 um stops at 289; several places go on averaging."""
    sharp = stated(mic={"repeatability_nm": 400})
    assert found(bench(sharp, count=4)).standard_nm == pytest.approx(200)
    coarse = stated(mic={"repeatability_nm": 400, "resolution_nm": UM})
    assert found(bench(coarse, count=4)).standard_nm == pytest.approx(UM / sqrt(12))
    named = {name: gauge(name, **keys) for name, keys in coarse.items()}
    places = [r for station in (1, 2, 3) for r in repeats([JOURNAL] * 4, "mic", station)]
    made = Bench(
        settings(gauges=named),
        places,
        repeats([BORE], "bore"),
        repeats([WALL], "ball"),
        repeats([WALL], "ball"),
    )
    assert found(made).standard_nm == pytest.approx(UM / sqrt(12) / sqrt(3))


def test_a_limit_is_one_error_of_the_gauge() -> None:
    """Rectangular, the same in every reading: two walls count 2e, however many readings there are."""
    for count in (1, 5):
        limit = term(bench(stated(ball={"limit_nm": 600}), count=count), "error limit of ball")
        assert limit is not None and limit.standard_nm == pytest.approx(2 * 600 / sqrt(3))


def test_the_limit_of_the_micrometer_that_set_the_bore_gauge_cancels() -> None:
    """Its summed sensitivity is 0; with a bore gauge set otherwise it is that of the journal."""
    keys = {"mic": {"limit_nm": 900}, "bore": {"set_with": "mic", "limit_nm": 300}}
    result = found(bench(stated(**keys)))
    assert [t.name for t in result.terms] == ["error limit of bore"]
    assert result.standard_nm == pytest.approx(300 / sqrt(3))
    assert found(bench(stated(mic={"limit_nm": 900}))).standard_nm == pytest.approx(900 / sqrt(3))


def test_one_gauge_for_all_four_readings() -> None:
    """A micrometer that measures journal, bore and walls has - 1 + 1 - 2 = -2 of its error in the clearance."""
    named = {"g": gauge("g", repeatability_nm=0, limit_nm=100)}
    size = [repeats([nm], "g") for nm in (JOURNAL, BORE, WALL, WALL)]
    made = Bench(settings(gauges=named), *size)
    how = made.upper.measured_as
    assert ErrorModel(made.job).sensitivities(made.position, how, how) == {"error limit of g": -2.0}


def test_seating_u_stands_for_the_gauges_shared_errors() -> None:
    """A seating learned from assembled checks has taken them in: its own uncertainty replaces their limits."""
    gauges = stated(mic={"limit_nm": 900}, ball={"limit_nm": 900, "repeatability_nm": 300})
    result = found(bench(gauges, fit={"seating_u_nm": 400}))
    assert {t.name for t in result.terms} == {"scatter of ball", "seating of main"}
    assert result.standard_nm == pytest.approx(sqrt(2 * 300**2 + 400**2))


@pytest.mark.parametrize("readings", [2, 3, 8])
def test_a_seating_from_few_readings_has_few_degrees_of_freedom(readings: int) -> None:
    """seating_u has seating_readings - 1 of them, alone and beside the scatter of a gauge by Welch and Satterthwaite,
    and U is the wider for it; without seating_readings it is as good as known."""
    fit = {"seating_u_nm": 400, "seating_readings": readings}
    alone = found(bench(stated(), fit=fit))
    assert alone.degrees_of_freedom == readings - 1
    assert alone.expanded_nm == pytest.approx(t_quantile(readings - 1) * 400) and alone.expanded_nm > 1.97 * 400
    further = [("wall", repeats([WALL, WALL + 3 * UM, WALL, WALL, WALL + UM], "ball"))]
    both = found(bench(stated(), fit=fit, further=further))
    s2 = bench(stated(), further=further).job.measuring.pooled["ball"].variance_nm2
    nu = (2 * s2 + 400**2) ** 2 / ((2 * s2) ** 2 / 4 + 400**4 / (readings - 1))
    assert both.degrees_of_freedom == int(nu)
    known = found(bench(stated(), fit={"seating_u_nm": 400}))
    assert known.degrees_of_freedom is None and known.expanded_nm < alone.expanded_nm


def test_one_reading_tells_nothing_of_a_seatings_uncertainty() -> None:
    """With seating_readings = 1 the uncertainty is a lower bound, which says why, and nothing is judged by it."""
    single = found(bench(stated(), fit={"seating_u_nm": 400, "seating_readings": 1}))
    assert single.lower_bound and "seating of main" in single.unknown[0]


@pytest.mark.parametrize("one_room", [True, False])
def test_the_limit_of_a_temperature(one_room: bool) -> None:
    """One room is one error for gauges and parts of journal and bore; given separately, there are two."""
    heat = room(20, Fraction(2))._replace(one_room=one_room)
    materials = {"main": {"journal": Fraction(115, 10**7), "housing_bore": Fraction(231, 10**7)}}
    result = found(bench(stated(), temperature=heat, materials=materials))
    if one_room:
        expected = BORE * (11.5e-6 - 23.1e-6) * 2 / sqrt(3)
        assert result.standard_nm == pytest.approx(abs(expected))
    else:
        of_gauges = (BORE - JOURNAL) * 11.5e-6 * 2 / sqrt(3)
        of_parts = (BORE * 23.1e-6 - JOURNAL * 11.5e-6) * 2 / sqrt(3)
        assert result.standard_nm == pytest.approx(sqrt(of_gauges**2 + of_parts**2))


def test_an_unknown_scatter_makes_a_lower_bound() -> None:
    """What is known counts, what is not is named, and nothing is judged by it."""
    gauges = stated(ball={"limit_nm": 900})
    del gauges["mic"]["repeatability_nm"], gauges["bore"]
    made = bench(gauges)
    result = found(made)
    assert result.lower_bound and result.unknown == ("the scatter of mic", "what measured the housing bore")
    assert result.standard_nm == pytest.approx(2 * 900 / sqrt(3))
    assert chance_inside(made.with_limits(0, 10**9), result) is None


def test_repeats_that_all_agree_tell_the_scatter_only_beside_a_resolution() -> None:
    """Without one, a scatter of nothing would claim a gauge without error."""
    fine = {name: {"resolution_nm": UM} for name in ("mic", "bore", "ball")}
    result = found(bench(fine, count=3))
    assert not result.lower_bound and result.standard_nm == pytest.approx(sqrt(4 / 12) * UM)
    blind = bench({name: {} for name in ("mic", "bore", "ball")}, count=3)
    model = ErrorModel(blind.job)
    assert model.combined(blind.position, blind.upper.measured_as, blind.lower.measured_as) is None


def test_a_job_without_gauges_has_no_uncertainty() -> None:
    """Nothing given, nothing claimed."""
    made = bench({})
    assert made.upper.measured_as is None
    assert ErrorModel(made.job).combined(made.position, None, None) is None


def uncertain(u: float, freedom: int | None = None) -> Uncertainty:
    result = combine([Term("s", u, freedom)])
    assert result is not None
    return result


def test_chance_and_verdict() -> None:
    """The chance that the tightest is at least min and the mean at most max, with Student's t."""
    made = bench(stated())
    for freedom in (None, 5):
        u = uncertain(1_000, freedom)
        low, high = made.clearance_nm - 2_000, made.clearance_nm + 1_000
        expected = t_below(1.0, freedom) - t_below(-2.0, freedom)
        assert chance_inside(made.with_limits(low, high), u) == pytest.approx(expected)
        assert chance_inside(made.with_limits(low, None), u) == pytest.approx(t_below(2.0, freedom))
        assert chance_inside(made.with_limits(None, high), u) == pytest.approx(t_below(1.0, freedom))
    assert chance_inside(made.with_limits(None, None), uncertain(1_000)) is None
    assert [verdict(c) for c in (1.0, 0.95, 0.9499, 0.5, 0.0501, 0.05, 0.0, None)] == [
        *("inside", "inside", "doubtful", "doubtful", "doubtful", "outside", "outside", None)
    ]


def test_the_chance_is_held_against_the_tightest_and_the_mean() -> None:
    """Repeated readings that differ bring min nearer than max."""
    named = {n: gauge(n, repeatability_nm=1_000) for n in ("mic", "bore", "ball")}
    made = Bench(
        settings(gauges=named),
        [*repeats([JOURNAL - 500], "mic", 1), *repeats([JOURNAL + 500], "mic", 2)],
        repeats([BORE], "bore"),
        repeats([WALL], "ball"),
        repeats([WALL], "ball"),
    )
    clearance = made.clearance_nm
    chance = chance_inside(made.with_limits(clearance - 500, None), uncertain(1_000))
    assert chance == pytest.approx(0.5)
    assert chance_inside(made.with_limits(None, clearance), uncertain(1_000)) == pytest.approx(0.5)


def test_guarded_limits_are_rounded_inward() -> None:
    """min + g U and max - g U, up and down to whole nanometres, and the largest guard that leaves a band."""
    made = bench(stated()).with_limits(20_000, 40_000).position
    u = uncertain(1_000.4)
    band = 0.5 * t_quantile(None) * 1_000.4
    low, high = guarded_limits(made, 0.5, u)
    assert low is not None and high is not None
    assert 0 <= low - 20_000 - band < 1 and 0 <= 40_000 - band - high < 1
    assert guarded_limits(made, 0.0, u) == (20_000, 40_000)
    largest = largest_guard(made, 3_000, u)
    assert largest is not None
    for guard, leaves in ((largest, True), (largest + 0.02, False)):
        low, high = guarded_limits(made, guard, u)
        assert low is not None and high is not None and (low + 3_000 <= high) is leaves


def test_joint_chance() -> None:
    """One clearance has its own chance; independent ones multiply; ones with a shared error hold together."""
    alone = bench(stated(ball={"repeatability_nm": 1_000}))
    low = alone.clearance_nm - 2_000
    placement = alone.with_limits(low, None)
    single = chance_inside(placement, found(alone))
    assert single is not None
    assert joint_chance(ErrorModel(alone.job), [placement]) == single
    assert joint_chance(ErrorModel(alone.job), [placement] * 3) == pytest.approx(single**3, abs=0.005)
    shared = bench(stated(ball={"limit_nm": 1_500}))
    placement = shared.with_limits(shared.clearance_nm - 2_000, None)
    single = chance_inside(placement, found(shared))
    assert joint_chance(ErrorModel(shared.job), [placement] * 3) == pytest.approx(single, abs=0.005)
    mixed = bench(stated(ball={"limit_nm": 600, "repeatability_nm": 700}, bore={"limit_nm": 500}))
    placement = mixed.with_limits(mixed.clearance_nm - 1_500, mixed.clearance_nm + 2_500)
    single = chance_inside(placement, found(mixed))
    joint = joint_chance(ErrorModel(mixed.job), [placement] * 4)
    assert single is not None and joint is not None and single**4 < joint < single
    assert joint_chance(ErrorModel(mixed.job), [placement, mixed.with_limits(None, None)]) is None
