"""Uncertainty of a clearance by the GUM: what is pooled, what is shared, what cancels, and what may be judged."""

from dataclasses import replace
from fractions import Fraction
from math import sqrt
from typing import Any

import pytest
from bench import UM, Bench, gauge, repeats, room, settings
from scipy import stats

from fitmatch.gauging.uncertainty.combining import Term, Uncertainty, combine
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.gauging.uncertainty.judging import chance_inside, joint_chance, largest_guard, margin_of, verdict
from fitmatch.gauging.uncertainty.scatter import beyond_stated
from fitmatch.gauging.uncertainty.student import t_below, t_quantile
from fitmatch.records.measuring import Pooled, Temperature
from fitmatch.rules.positions.limits_at import LimitsAt

JOURNAL, BORE, WALL = 50_000_000, 54_045_000, 2_000_000
STEEL, ALUMINIUM = Fraction(115, 10**7), Fraction(231, 10**7)


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


def test_stated_repeatability_has_the_degrees_of_freedom_it_came_from() -> None:
    """Known from so many readings less one, 29 where nothing is said; two walls and the setting of their gauge, which
    counts twice, have u^2 = 2 s^2 + (2 s)^2."""
    for count, freedom in ((None, 29), (12, 11)):
        alone = found(bench(stated(ball={"repeatability_nm": 500, "repeatability_from": count})))
        assert alone.standard_nm == pytest.approx(500 * sqrt(6)) and alone.degrees_of_freedom == freedom


def test_rounding_is_added_once_to_a_stated_repeatability() -> None:
    """s^2 = s0^2 + r^2/12, unless the figure was read on the gauge and so contains it."""
    for rounded, expected in ((False, sqrt(400**2 + UM**2 / 12)), (True, 400)):
        keys = {"repeatability_nm": 400, "resolution_nm": UM, "repeatability_rounded": rounded}
        assert ErrorModel(bench(stated(mic=keys)).job).scatter["mic"].standard_nm == pytest.approx(expected)


def test_repeats_and_the_stated_figure_are_pooled() -> None:
    """By their degrees of freedom, as long as the repeats scatter no more than chance explains."""
    further = [("wall", repeats([WALL, WALL + UM, WALL + UM, WALL], "ball"))]  # s^2 = 1/3 um^2 from 3
    made = bench(stated(ball={"repeatability_nm": 500, "repeatability_from": 9}), further=further)
    scatter = ErrorModel(made.job).scatter["ball"]
    assert scatter.degrees_of_freedom == 11
    assert scatter.standard_nm**2 == pytest.approx((8 * 500**2 + UM**2) / 11)
    assert beyond_stated(made.job.measuring, "ball") is None


@pytest.mark.parametrize("freedom", [1, 3, 8])
def test_repeats_beyond_f_at_95_percent_count_alone(freedom: int) -> None:
    """Just below that ratio of variances stated figure and repeats are pooled, just above it the repeats count
    alone."""
    ratio = stats.f.ppf(0.95, freedom, 29)
    for factor in (0.999, 1.001):
        pooled = {"ball": Pooled(500**2 * ratio * factor, freedom)}
        made = bench(stated(ball={"repeatability_nm": 500}))
        measuring = replace(made.job.measuring, pooled=pooled)
        scatter = ErrorModel(replace(made.job, measuring=measuring)).scatter["ball"]
        assert scatter.degrees_of_freedom == (freedom if factor > 1 else freedom + 29)
        assert (beyond_stated(measuring, "ball") is not None) is (factor > 1)


def test_one_pair_of_repeats_no_longer_outweighs_a_stated_figure() -> None:
    """A pair that is 1 um apart beside a stated 0.5 um leaves U near 2 um: alone it would make it 24 um."""
    further = [("wall", repeats([WALL, WALL + UM], "ball"))]
    beside = found(bench(stated(ball={"repeatability_nm": 500}), further=further))
    keys = stated()
    del keys["ball"]["repeatability_nm"]
    alone = found(bench(keys, further=further))
    assert beside.expanded_nm == pytest.approx(2_500, rel=0.05) and alone.expanded_nm > 20_000


def test_rounding_and_scatter_of_a_single_reading() -> None:
    """A resolution of 1 um is 0.289 um a reading at least; repeats that show less than that are not believed."""
    for values, expected in (([0, 0, 0], UM / sqrt(12)), ([0, UM, 0], UM / sqrt(3))):
        keys = stated(mic={"resolution_nm": UM})
        del keys["mic"]["repeatability_nm"]
        made = bench(keys, further=[("journal", repeats([JOURNAL + v for v in values], "mic"))])
        assert found(made).standard_nm == pytest.approx(expected * sqrt(2))  # a journal, and the setting


def test_repeats_average_down_to_the_resolution_and_no_further() -> None:
    """Four repeats halve the scatter, but a resolution of 1 um stops at 289 nm; several places go on averaging. The
    setting counts as one reading."""
    fine = stated(mic={"repeatability_nm": 400})
    assert found(bench(fine, count=4)).standard_nm == pytest.approx(sqrt(200**2 + 400**2) * _shrunk(4))
    named = {name: gauge(name, **keys) for name, keys in stated(mic={"resolution_nm": UM}).items()}
    for stations in (1, 3):
        places = [r for station in range(stations) for r in repeats([JOURNAL] * 4, "mic", station + 1)]
        made = Bench(
            settings(gauges=named), places, repeats([BORE], "bore"), repeats([WALL], "ball"), repeats([WALL], "ball")
        )
        assert found(made).standard_nm == pytest.approx(UM / sqrt(12) * sqrt(1 / stations + 1))


def _shrunk(count: int) -> float:
    """By how much repeats that all agree make a stated figure smaller."""
    return sqrt(29 / (29 + count - 1))


# --- setting ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("count", [0, 1, 5])
def test_a_setting_is_one_error_with_the_scatter_of_its_readings(count: int) -> None:
    """s / sqrt(n) for n readings on the standard, which join the pool; where none is written it counts as one. Walls
    have it twice, however often they were read."""
    reads = (0,) * count
    made = bench(stated(ball={"repeatability_nm": 600, "standard_reads_nm": reads}))
    scatter = ErrorModel(made.job).scatter["ball"]
    assert scatter.degrees_of_freedom == 29 + max(0, count - 1)
    setting = term(made, "setting of ball")
    assert setting is not None and setting.degrees_of_freedom == scatter.degrees_of_freedom
    assert setting.standard_nm == pytest.approx(2 * scatter.standard_nm / sqrt(max(1, count)))
    known = found(made)
    assert known.standard_nm == pytest.approx(scatter.standard_nm * sqrt(2 + 4 / max(1, count)))
    assert known.degrees_of_freedom == scatter.degrees_of_freedom  # of one and the same s


def test_readings_on_the_standard_tell_a_scatter_by_themselves() -> None:
    """Three of them have two degrees of freedom."""
    keys = stated()
    keys["ball"] = {"standard_reads_nm": (0, UM, 2 * UM)}
    made = bench(keys)
    assert ErrorModel(made.job).scatter["ball"] == (pytest.approx(UM), 2)
    assert found(made).standard_nm == pytest.approx(UM * sqrt(2 + 4 / 3))


def test_a_coarse_setting_is_off_by_up_to_half_a_step() -> None:
    """Rectangular, and no smaller for several readings that agree: r / sqrt(12), twice for walls."""
    made = bench(stated(ball={"resolution_nm": UM, "repeatability_rounded": True, "standard_reads_nm": (0,) * 9}))
    setting = term(made, "setting of ball")
    assert setting is not None and setting.degrees_of_freedom is None
    assert setting.standard_nm == pytest.approx(2 * UM / sqrt(12))


def test_the_setting_of_the_micrometer_that_set_the_bore_gauge_cancels() -> None:
    """The bore gauge has its own, and the micrometer's is in both sizes; otherwise both count."""
    keys: dict[str, dict[str, Any]] = {"mic": {"repeatability_nm": 900}, "bore": {"repeatability_nm": 300}}
    apart = {t.name: t.standard_nm for t in found(bench(stated(**keys))).terms}
    assert apart["setting of mic"] == pytest.approx(900) and apart["setting of bore"] == pytest.approx(300)
    keys["bore"]["set_with"] = "mic"
    together = {t.name: t.standard_nm for t in found(bench(stated(**keys))).terms}
    assert "setting of mic" not in together and together["setting of bore"] == pytest.approx(300)


def test_the_limit_of_a_standard_is_an_error_of_all_that_was_set_on_it() -> None:
    """Rectangular: once for a journal, twice for walls, and once for a bore gauge that was set with the micrometer."""
    made = bench(stated(mic={"standard_limit_nm": 300}, ball={"standard_limit_nm": 300}))
    assert found(made).standard_nm == pytest.approx(300 / sqrt(3) * sqrt(1 + 4))
    cancelled = found(bench(stated(mic={"standard_limit_nm": 300}, bore={"set_with": "mic"})))
    assert not cancelled.standard_nm


# --- limits ----------------------------------------------------------------------------------------------------------


def test_a_limit_is_one_error_at_each_size() -> None:
    """Rectangular, the same in every reading of that size: two walls count 2e, however many readings there are."""
    for count in (1, 5):
        limit = term(bench(stated(ball={"limit_nm": 600}), count=count), "error limit of ball at wall size")
        assert limit is not None and limit.standard_nm == pytest.approx(2 * 600 / sqrt(3))


def test_the_limit_of_the_micrometer_that_set_the_bore_gauge_does_not_cancel() -> None:
    """Its zero is one offset of the whole scale, but what its screw is off at the journal's size is not what it is off
    at the bore's: two errors, each of its whole limit. With a bore gauge set otherwise the journal's alone counts."""
    keys = {"mic": {"limit_nm": 900}, "bore": {"set_with": "mic", "limit_nm": 300}}
    result = found(bench(stated(**keys)))
    assert {t.name: round(t.standard_nm * sqrt(3)) for t in result.terms} == {
        "error limit of mic at journal size": 900,
        "error limit of mic at housing bore size": 900,
        "error limit of bore at housing bore size": 300,
    }
    assert result.standard_nm == pytest.approx(sqrt((2 * 900**2 + 300**2) / 3))
    assert found(bench(stated(mic={"limit_nm": 900}))).standard_nm == pytest.approx(900 / sqrt(3))


def test_journals_of_a_kind_share_one_error_and_bores_set_alike_another() -> None:
    """The errors of a limit are the same in every position: two of them move together and are inside together."""
    keys = {"mic": {"limit_nm": 3 * UM}, "bore": {"set_with": "mic"}}
    made = bench(stated(**keys), fit={"min_nm": 40 * UM, "max_nm": 50 * UM})
    one = made.placement
    other = replace(one, position=replace(one.position, name="M2"))
    model = ErrorModel(made.job)
    alone, both = joint_chance(model, [one]), joint_chance(model, [one, other])
    assert alone is not None and 0.9 < alone < 0.999
    assert both == pytest.approx(alone, abs=0.01)


def test_one_gauge_for_all_four_readings() -> None:
    """Of a micrometer that measures journal, bore and walls the clearance has - 1 + 1 - 2 = -2 times the error of its
    zero, but its screw is off by another error at each size."""
    named = {"g": gauge("g", repeatability_nm=100, limit_nm=100)}
    size = [repeats([nm], "g") for nm in (JOURNAL, BORE, WALL, WALL)]
    made = Bench(settings(gauges=named), *size)
    how = made.upper.measured_as
    assert ErrorModel(made.job).sensitivities(made.position, how, how) == {
        "setting of g": -2.0,
        "error limit of g at journal size": -1.0,
        "error limit of g at housing bore size": 1.0,
        "error limit of g at wall size": -2.0,
    }


def test_seating_u_stands_for_the_gauges_shared_errors() -> None:
    """A seating learned from assembled checks has taken them in: its own uncertainty replaces their limits and those
    of their standards, but not the settings, which may be newer."""
    gauges = stated(mic={"limit_nm": 900, "standard_limit_nm": 500}, ball={"limit_nm": 900, "repeatability_nm": 300})
    result = found(bench(gauges, fit={"seating_u_nm": 400}))
    assert {t.name for t in result.terms} == {"scatter of ball", "setting of ball", "seating of main"}
    assert result.standard_nm == pytest.approx(sqrt(2 * 300**2 + 4 * 300**2 + 400**2))


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
    nu = (6 * s2 + 400**2) ** 2 / ((6 * s2) ** 2 / 4 + 400**4 / (readings - 1))
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


def warm(degrees: int, limit: Fraction | None = None, **more: Any) -> Bench:
    """Steel in aluminium, away from 20 degrees, and nothing else uncertain."""
    materials = {"main": {"journal": STEEL, "housing_bore": ALUMINIUM}}
    gauges = stated(**more.pop("gauges", {}))
    return bench(gauges, temperature=room(degrees, limit), materials=materials, **more)


def expansions(made: Bench) -> dict[str, float]:
    """The terms of coefficients of expansion."""
    return {t.name: t.standard_nm for t in found(made).terms if t.name.startswith("expansion of ")}


def test_coefficients_of_expansion_are_known_to_10_percent_unless_stated() -> None:
    """Rectangular: one error of the crank, one of the housings, one of each gauge; none at 20 degrees."""
    made = warm(26)
    journal, bore = made.journal.mean_nm, made.bore.mean_nm
    each = 0.1 * 6 / sqrt(3)
    assert expansions(made) == {
        "expansion of the crank": pytest.approx(journal * 11.5e-6 * each),
        "expansion of the housings of main": pytest.approx(bore * 23.1e-6 * each),
        "expansion of mic": pytest.approx(journal * 11.5e-6 * each),
        "expansion of bore": pytest.approx(bore * 11.5e-6 * each),
    }
    assert not found(warm(20)).terms


def test_stated_limits_of_expansion_count() -> None:
    """Of a material and of a gauge; a limit of 0 is a coefficient known for certain."""
    limits = {"main": {"journal": Fraction("1e-6"), "housing_bore": Fraction(0)}}
    known = {"expansion": STEEL, "expansion_limit": Fraction("0.5e-6")}
    made = warm(30, gauges={"mic": known, "bore": known}, material_limits=limits)
    assert expansions(made) == {
        "expansion of the crank": pytest.approx(made.journal.mean_nm * 1e-6 * 10 / sqrt(3)),
        "expansion of mic": pytest.approx(made.journal.mean_nm * 0.5e-6 * 10 / sqrt(3)),
        "expansion of bore": pytest.approx(made.bore.mean_nm * 0.5e-6 * 10 / sqrt(3)),
    }


def test_a_gauge_shares_the_expansion_of_the_one_it_was_set_with() -> None:
    """Then only the difference of the two sizes is left; with a coefficient of its own it has an error of its own."""
    shared = warm(26, gauges={"bore": {"set_with": "mic"}})
    difference = shared.bore.mean_nm - shared.journal.mean_nm
    found_here = expansions(shared)
    assert found_here["expansion of mic"] == pytest.approx(difference * 11.5e-6 * 0.6 / sqrt(3))
    assert "expansion of bore" not in found_here
    own = expansions(warm(26, gauges={"bore": {"set_with": "mic", "expansion": STEEL}}))
    assert own["expansion of bore"] > 10 * found_here["expansion of mic"]


def test_gauges_and_parts_at_their_own_temperatures() -> None:
    """A coefficient matters as far as that side is from 20 degrees."""
    heat = Temperature(Fraction(20), Fraction(28), False)
    materials = {"main": {"journal": STEEL, "housing_bore": ALUMINIUM}}
    assert expansions(bench(stated(), temperature=heat, materials=materials)).keys() == {
        "expansion of the crank",
        "expansion of the housings of main",
    }


def test_an_unknown_scatter_makes_a_lower_bound() -> None:
    """What is known counts, what is not is named, and nothing is judged by it."""
    gauges = stated(ball={"limit_nm": 900})
    del gauges["mic"]["repeatability_nm"], gauges["bore"]
    made = bench(gauges)
    result = found(made)
    assert result.lower_bound and result.unknown == ("the scatter of mic", "what measured the housing bore")
    assert result.standard_nm == pytest.approx(2 * 900 / sqrt(3))
    assert chance_inside(made.with_limits(0, 10**9), result, result) is None


def test_repeats_that_all_agree_tell_the_scatter_only_beside_a_resolution() -> None:
    """Without one, a scatter of nothing would claim a gauge without error."""
    fine = {name: {"resolution_nm": UM} for name in ("mic", "bore", "ball")}
    result = found(bench(fine, count=3))
    # Four readings, a setting that counts twice and two that count once.
    assert not result.lower_bound and result.standard_nm == pytest.approx(sqrt((4 + 4 + 2) / 12) * UM)
    blind = bench({name: {} for name in ("mic", "bore", "ball")}, count=3)
    model = ErrorModel(blind.job)
    assert model.combined(blind.position, blind.upper.measured_as, blind.lower.measured_as) is None


def test_a_job_without_gauges_has_no_uncertainty() -> None:
    """Nothing given, nothing claimed, not even how well coefficients are assumed to be known."""
    materials = {"main": {"journal": STEEL, "housing_bore": ALUMINIUM}}
    for more in ({}, {"temperature": room(25), "materials": materials}):
        made = bench({}, **more)
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
        assert chance_inside(made.with_limits(low, high), u, u) == pytest.approx(expected)
        assert chance_inside(made.with_limits(low, None), u, u) == pytest.approx(t_below(2.0, freedom))
        assert chance_inside(made.with_limits(None, high), u, u) == pytest.approx(t_below(1.0, freedom))
    assert chance_inside(made.with_limits(None, None), uncertain(1_000), uncertain(1_000)) is None
    assert [verdict(c) for c in (1.0, 0.95, 0.9499, 0.5, 0.0501, 0.05, 0.0, None)] == [
        *("inside", "inside", "doubtful", "doubtful", "doubtful", "outside", "outside", None)
    ]


def two_places(apart_nm: int, **more: Any) -> Bench:
    """A journal read at two places, all gauges known to scatter 1 um and nothing else uncertain."""
    named = {n: gauge(n, repeatability_nm=1_000, repeatability_from=1_000_000) for n in ("mic", "bore", "ball")}
    named |= {n: g._replace(set_with="mic") for n, g in named.items() if n == "bore"}
    return Bench(
        settings(gauges=named),
        [*repeats([JOURNAL - apart_nm // 2], "mic", 1), *repeats([JOURNAL + apart_nm // 2], "mic", 2)],
        repeats([BORE], "bore"),
        repeats([WALL], "ball"),
        repeats([WALL], "ball"),
        **more,
    )


def both(made: Bench) -> tuple[Uncertainty, Uncertainty]:
    """Of the mean and of the tightest clearance."""
    model, how = ErrorModel(made.job), (made.position, made.upper.measured_as, made.lower.measured_as)
    mean, tightest = model.combined(*how), model.tightest(*how)
    assert mean is not None and tightest is not None
    return mean, tightest


def test_the_tightest_clearance_has_an_uncertainty_of_its_own() -> None:
    """Its journal is one place where the mean has two: s^2 instead of s^2 / 2, beside 8 s^2 of two walls, a bore, and
    two settings of which that for the walls counts twice."""
    mean, tightest = both(two_places(20_000))
    assert mean.standard_nm == pytest.approx(1_000 * sqrt(8.5))
    assert tightest.standard_nm == pytest.approx(1_000 * sqrt(9))
    assert tightest.expanded_nm > mean.expanded_nm


def test_places_that_differ_by_no_more_than_scatter_explains() -> None:
    """The larger of two readings of one size is too large: all it is above their mean may be scatter, up to 1.3 times
    what that is on average (0.564 s, here 0.589 s by a formula), and less and less of what is beyond."""
    most = 1.3 * 0.589 * 1_000
    for apart in (0, 400, 1_200, 1_520):
        assert both(two_places(apart))[1].apart_nm == pytest.approx(apart / 2)
    for apart in (2_000, 4_000, 20_000):
        assert both(two_places(apart))[1].apart_nm == pytest.approx(apart / 2 * (most / (apart / 2)) ** 4, rel=0.01)


def test_u_of_the_tightest_covers_whether_that_is_scatter_or_not() -> None:
    """The larger of a two-sided interval and, that far off, a one-sided one."""
    tightest = both(two_places(1_500))[1]
    u = tightest.standard_nm
    assert tightest.expanded_nm == pytest.approx(max(1.96 * u, 750 + 1.645 * u), rel=1e-3)


def test_the_chance_is_held_against_the_tightest_and_the_mean() -> None:
    """Places that differ bring min nearer than max. The true tightest clearance is between the calculated one and that
    plus what may be scatter."""
    made = two_places(20_000)
    mean, tightest = both(made)
    low, high = made.placement.clearance_tightest_nm, made.clearance_nm
    assert high - low == 10_000
    assert chance_inside(made.with_limits(low, None), mean, tightest) == pytest.approx(0.5, abs=0.001)
    assert chance_inside(made.with_limits(None, high), mean, tightest) == pytest.approx(0.5)
    made = two_places(1_000)
    mean, tightest = both(made)
    middle = made.placement.clearance_tightest_nm + 250
    assert chance_inside(made.with_limits(middle, None), mean, tightest) == pytest.approx(0.5)


def test_limits_at_the_mean_have_the_means_uncertainty() -> None:
    """With `limits_at = "mean"` min and max are both judged by it."""
    made = two_places(3_000)
    model = ErrorModel(replace(made.job, rules=(LimitsAt("mean"),)))
    how = made.position, made.upper.measured_as, made.lower.measured_as
    assert model.tightest(*how) is model.combined(*how)


def test_a_margin_is_rounded_inward() -> None:
    """g U of the tightest at min and of the mean at max, up to whole nanometres; the largest guard that leaves a
    band."""
    made = bench(stated()).with_limits(20_000, 40_000).position
    mean, tightest = uncertain(1_000.4), uncertain(1_500.7)
    low, high = margin_of(0.5, mean, tightest)
    assert 0 <= low - 0.5 * t_quantile(None) * 1_500.7 < 1
    assert 0 <= high - 0.5 * t_quantile(None) * 1_000.4 < 1
    assert margin_of(0.0, mean, tightest) == (0, 0)
    largest = largest_guard(made, 3_000, mean, tightest)
    assert largest is not None
    for guard, leaves in ((largest, True), (largest + 0.02, False)):
        assert (sum(margin_of(guard, mean, tightest)) + 3_000 <= 20_000) is leaves


def test_joint_chance() -> None:
    """One clearance has its own chance; independent ones multiply; ones with a shared error hold together, and so do
    those whose gauge was set by a single reading."""
    often = (1_000, -1_000) * 5_000  # so that the setting is known
    alone = bench(stated(ball={"repeatability_nm": 1_000, "standard_reads_nm": often}))
    low = alone.clearance_nm - 2_000
    placement = alone.with_limits(low, None)
    single = chance_inside(placement, *both(alone))
    assert single is not None
    assert joint_chance(ErrorModel(alone.job), [placement]) == single
    assert joint_chance(ErrorModel(alone.job), [placement] * 3) == pytest.approx(single**3, abs=0.005)
    shared = bench(stated(ball={"limit_nm": 1_500}))
    placement = shared.with_limits(shared.clearance_nm - 2_000, None)
    single = chance_inside(placement, *both(shared))
    assert joint_chance(ErrorModel(shared.job), [placement] * 3) == pytest.approx(single, abs=0.005)
    once = bench(stated(ball={"repeatability_nm": 1_000}))
    placement = once.with_limits(low, None)
    single = chance_inside(placement, *both(once))
    joint = joint_chance(ErrorModel(once.job), [placement] * 3)
    assert single is not None and joint is not None and single**3 + 0.1 < joint < single
    mixed = bench(stated(ball={"limit_nm": 600, "repeatability_nm": 700}, bore={"limit_nm": 500}))
    placement = mixed.with_limits(mixed.clearance_nm - 1_500, mixed.clearance_nm + 2_500)
    single = chance_inside(placement, *both(mixed))
    joint = joint_chance(ErrorModel(mixed.job), [placement] * 4)
    assert single is not None and joint is not None and single**4 < joint < single
    assert joint_chance(ErrorModel(mixed.job), [placement, mixed.with_limits(None, None)]) is None


def test_joint_chance_of_those_far_from_their_limits() -> None:
    """Clearances that no error brings near a limit leave the joint chance of the others as it is, to the last digit;
    alone they are sure to be inside."""
    mixed = bench(stated(ball={"limit_nm": 600, "repeatability_nm": 700}, bore={"limit_nm": 500}))
    near = mixed.with_limits(mixed.clearance_nm - 1_500, mixed.clearance_nm + 2_500)
    far = mixed.with_limits(mixed.clearance_nm - 40_000, mixed.clearance_nm + 40_000)
    model = ErrorModel(mixed.job)
    assert joint_chance(model, [near, far, near, far]) == joint_chance(model, [near, near])
    assert joint_chance(model, [far] * 3) == pytest.approx(1.0)
