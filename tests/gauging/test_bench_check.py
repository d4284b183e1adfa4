"""What the bore gauge will show at the bench: the corrections of an assembled reading the other way round."""

import random
from dataclasses import replace
from fractions import Fraction
from math import sqrt
from pathlib import Path

import pytest

from fitmatch.gauging.assembled import APART_NM, Check, Verdict, assembled_clearance, compare
from fitmatch.gauging.bench_check import BenchCheck, bench_check, would_show
from fitmatch.gauging.sizes.sizing import Sizes
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.measuring import AssembledReading, Gauge, MeasuredAs, Measuring, Reading, Series, Temperature
from fitmatch.records.parts import Fit, Position, Shell, Size
from fitmatch.rules.positions.limits_at import LimitsAt

UM = 1_000
WALL = 2_000_000


def placed(
    measuring: Measuring, journal: list[Reading], bore: list[Reading], *, seating_nm: int = 0, **limits: int
) -> tuple[Job, Placement]:
    """A job of one rod, read like this, with two shells of 2 mm in it."""
    sizes = Sizes(measuring, numbered_are_repeats=False)
    found = [sizes.sized("rod", what, some) for what, some in (("journal", journal), ("housing_bore", bore))]
    assert found[0] is not None and found[1] is not None
    position = Position("R1", "rod", found[0].size, found[1].size, 50 * UM, seating_nm=seating_nm, **limits)
    upper, lower = (Shell(half, "box", "rod", half, WALL) for half in ("upper", "lower"))
    job = Job(Path("job"), "", "mm", {"rod": Fit("rod")}, (position,), (upper, lower), measuring=measuring)
    return job, Placement(position, upper, lower)


def check(job: Job, placement: Placement) -> BenchCheck:
    return bench_check(job, placement, ErrorModel(job))


def back(job: Job, placement: Placement, read_nm: int) -> int:
    """The clearance that `assembled` makes of what the gauge shows."""
    reading = AssembledReading("R1", ("box", "upper"), ("box", "lower"), "clearance", (read_nm,), "gauge", "bore")
    return assembled_clearance(job, reading, placement)


def workshop(draw: random.Random) -> Measuring:
    """A micrometer that is off, a bore gauge set with it, and a room that may be warm or cold."""
    micrometer = Gauge("mic", resolution_nm=draw.choice([None, UM, 10 * UM]), own_zero_nm=draw.randint(-5, 5) * UM)
    gauges = {"mic": micrometer, "bore": Gauge("bore", set_with="mic")}
    heat = Temperature(Fraction(draw.randint(10, 35)), Fraction(draw.randint(10, 35)), False)
    materials = {"rod": {"journal": Fraction(115, 10**7), "housing_bore": Fraction(draw.choice([115, 230]), 10**7)}}
    return Measuring(gauges=gauges, temperature=draw.choice([None, heat]), materials=materials)


def test_what_the_gauge_shows_is_read_back_as_the_calculated_clearance() -> None:
    """In 300 random workshops: what is expected on the gauge is read back by `assembled` as the calculated clearance,
    to the nanometre, however the setting of the micrometer was rounded."""
    draw = random.Random(17)
    moved = 0
    for _ in range(300):
        measuring = workshop(draw)
        journal = [Reading(50_000_000 + draw.randint(-20, 20) * 500, gauge="mic") for _ in range(draw.randint(1, 3))]
        bore = [Reading(54_050_000 + draw.randint(-20, 20) * 500, gauge="bore")]
        job, placement = placed(measuring, journal, bore, seating_nm=draw.choice([0, 3 * UM]))
        found = check(job, placement)
        assert placement.position.journal is not None
        assert abs(back(job, placement, found.expect_nm) - placement.clearance_nm) <= 1
        moved += abs(found.set_to_nm - placement.position.journal.raw_mean_nm) > 1
    assert moved > 30


def test_a_strip_lies_on_the_journal_itself() -> None:
    """What the micrometer was set to makes no difference to a strip: in a room of 20 degrees it reads the clearance."""
    mic = Gauge("mic", resolution_nm=10 * UM)
    journal = [Reading(50_003_000, gauge="mic")]
    job, placement = placed(Measuring(gauges={"mic": mic}), journal, [Reading(54_050_000, gauge="mic")])
    strip = AssembledReading("R1", ("box", "upper"), ("box", "lower"), "clearance", (47 * UM,), "strip")
    assert assembled_clearance(job, strip, placement) == 47 * UM
    assert back(job, placement, 47 * UM) == 44 * UM


def test_the_setting_is_on_the_step_of_the_micrometer() -> None:
    """The micrometer is set to a whole number of its steps; without a resolution to the mean as it is, without a gauge
    to the reading as it stands; what that moves is taken off what is expected."""
    readings = [Reading(50_001_000, gauge="mic"), Reading(50_002_000, gauge="mic")]
    bore = [Reading(54_050_000, gauge="mic")]
    for resolution, set_to in ((UM, 50_002_000), (10 * UM, 50_000_000), (None, 50_001_500)):
        measuring = Measuring(gauges={"mic": Gauge("mic", resolution_nm=resolution)})
        found = check(*placed(measuring, readings, bore))
        assert (found.setter, found.set_to_nm) == ("mic", set_to)
        assert found.expect_nm + found.set_to_nm == 54_050_000 - 2 * WALL
    bare = check(*placed(Measuring(), [Reading(50_001_234)], [Reading(54_050_000)]))
    assert (bare.setter, bare.set_to_nm, bare.expect_nm) == (None, 50_001_234, 48_766)


def test_the_setting_is_of_the_crown_axis_alone() -> None:
    """Readings across the crown axis count in the journal's size and not in what the micrometer is set to; what that
    moves is taken off what is expected."""
    journal = [Reading(50_000_000, 1, 0.0), Reading(50_004_000, 1, 90.0), Reading(50_002_000, 2, 183.0)]
    job, placement = placed(Measuring(), journal, [Reading(54_050_000)])
    found = check(job, placement)
    assert placement.position.journal is not None and placement.position.journal.mean_nm == 50_002_000
    assert (found.set_to_nm, found.expect_nm) == (50_001_000, 49_000)


def test_zero_errors_cancel_and_warm_aluminium_reads_loose() -> None:
    """A micrometer that reads 3 um too much moves the setting and not what is expected. In a block of aluminium at 30
    degrees the bore shows about 54 mm x (23 - 11.5) x 10 um/m more than at 20, by hand 6.2 um, less what the walls
    share in that."""
    bore, journal = [Reading(54_050_000, gauge="mic")], [Reading(50_000_000, gauge="mic")]
    plain = check(*placed(Measuring(gauges={"mic": Gauge("mic")}), journal, bore))
    off = [[r._replace(nm=r.nm + 3 * UM) for r in some] for some in (journal, bore)]
    zero = check(*placed(Measuring(gauges={"mic": Gauge("mic", own_zero_nm=3 * UM)}), off[0], off[1]))
    assert (zero.set_to_nm, zero.expect_nm) == (plain.set_to_nm + 3 * UM, plain.expect_nm)
    materials = {"rod": {"journal": Fraction(115, 10**7), "housing_bore": Fraction(230, 10**7)}}
    warm = Measuring(temperature=Temperature(Fraction(30), Fraction(30), True), materials=materials)
    job, placement = placed(warm, [Reading(50_000_000)], [Reading(54_050_000)])
    found = check(job, placement)
    assert found.expect_nm - placement.clearance_nm == pytest.approx(54.05 * 11.5 * 10, rel=0.02)


def read_with(job: Job, *readings: AssembledReading) -> Check:
    """What `assembled` says of it."""
    (one,) = compare(replace(job, measuring=replace(job.measuring, assembled=readings))).checks
    return one


def test_limits_and_agreement_are_those_of_assembled() -> None:
    """In 100 random workshops, with round and with tapered journals: each end of what the gauge must show is inside for
    `assembled`, and each end of what agrees agrees; two nanometres further out neither does. With a taper the lower end
    is up by as much as the largest place of the journal is above its mean."""
    draw = random.Random(3)
    raised = 0
    for _ in range(100):
        measuring, taper = workshop(draw), draw.choice([0, 6, 20]) * UM
        journal = [Reading(50_000_000, 1, gauge="mic"), Reading(50_000_000 + taper, 2, gauge="mic")]
        job, placement = placed(measuring, journal, [Reading(54_050_000, gauge="bore")], min_nm=20 * UM, max_nm=70 * UM)
        found = check(job, placement)

        def one(read_nm: int, job: Job = job) -> Check:
            pair = ("box", "upper"), ("box", "lower")
            return read_with(job, AssembledReading("R1", *pair, "clearance", (read_nm,), "gauge", "bore"))

        assert found.least_nm is not None and found.most_nm is not None
        assert one(found.least_nm).within_limits and one(found.most_nm).within_limits
        assert not one(found.least_nm - 2).within_limits and not one(found.most_nm + 2).within_limits
        assert one(found.agrees_from_nm).verdict == one(found.agrees_to_nm).verdict == Verdict.AGREES
        assert Verdict.AGREES not in (one(found.agrees_from_nm - 3).verdict, one(found.agrees_to_nm + 3).verdict)
        assert abs(found.raised_nm - taper // 2) <= 5 and found.agrees_to_nm - found.expect_nm >= APART_NM - 5
        raised += found.raised_nm > 0
    assert raised > 30
    free = check(*placed(measuring, journal, [Reading(54_050_000, gauge="bore")]))
    assert free.least_nm is free.most_nm is None


def test_what_agrees_allows_for_the_screw_at_two_sizes() -> None:
    """A micrometer's limit of 9 um counts at the journal and at the housing bore that was set with it: a difference of
    1.96 x 9 x sqrt(2/3) um agrees, as it does for `assembled`."""
    exact = {name: Gauge(name, repeatability_nm=0) for name in ("mic", "bore", "ball")}
    gauges = exact | {"mic": exact["mic"]._replace(limit_nm=9 * UM), "bore": exact["bore"]._replace(set_with="mic")}
    measuring = Measuring(gauges=gauges, measured={"rod": {"housing_bore": "bore"}})
    job, placement = placed(measuring, [Reading(50_000_000, gauge="mic")], [Reading(54_050_000, gauge="bore")])
    upper, lower = (
        replace(s, measured=Size(WALL, WALL, WALL, (), MeasuredAs((Series("ball", 1, 1.0),)))) for s in job.shells
    )
    found = check(replace(job, shells=(upper, lower)), replace(placement, upper=upper, lower=lower))
    within = 1.959964 * 9 * UM * sqrt(2 / 3)
    assert found.agrees_to_nm - found.expect_nm == found.expect_nm - found.agrees_from_nm == int(within)


def test_where_limits_are_at_the_means_no_end_is_raised() -> None:
    """With `limits_at = "mean"` a tapered journal raises nothing, on the sheet and for `assembled`; nor is a strip
    judged by another place than the one it lies in."""
    journal = [Reading(50_000_000, 1), Reading(50_010_000, 2)]
    job, placement = placed(Measuring(), journal, [Reading(54_050_000)], min_nm=40 * UM)
    at_mean = replace(job, rules=(LimitsAt("mean"),))
    assert check(job, placement).least_nm == 45 * UM
    assert check(at_mean, replace(placement, limits_at="mean")).least_nm == 40 * UM
    pair = ("box", "upper"), ("box", "lower")
    read = {method: AssembledReading("R1", *pair, "clearance", (42 * UM,), method) for method in ("gauge", "strip")}
    assert read_with(at_mean, read["gauge"]).within_limits and read_with(job, read["strip"]).within_limits
    assert not read_with(job, read["gauge"]).within_limits
    bore = AssembledReading("R1", *pair, "bore", (50_005_000 + 42 * UM,), "gauge")
    assert read_with(job, bore).shortfall_nm == 3 * UM and read_with(at_mean, bore).within_limits


def test_what_would_be_read_is_read_back() -> None:
    """In 200 random workshops: what a reading of any sort would show at a clearance is corrected to that clearance by
    `assembled`, to a nanometre."""
    draw = random.Random(23)
    for _ in range(200):
        measuring = workshop(draw)
        job, placement = placed(measuring, [Reading(49_990_400, None, None, "mic")], [Reading(54_040_000)])
        pair, clearance = (("box", "upper"), ("box", "lower")), draw.randint(-20, 120) * 997
        for sort in (("clearance", "gauge"), ("clearance", "strip"), ("bore", "gauge")):
            reading = AssembledReading("R1", *pair, sort[0], (0,), sort[1], "bore")
            shown = would_show(job, reading, placement, clearance)
            back = assembled_clearance(job, reading._replace(readings_nm=(round(shown),)), placement)
            assert abs(back - clearance) <= 1


def test_a_gauge_touches_the_coating() -> None:
    """In 100 random workshops, with coatings of 5 and 8 um that do not count as wall: the clearance is to the metal,
    every sort of reading shows 13 um less than the same job without coatings, and is read back as that clearance; a
    reading 1 um above max as the gauge shows it is outside max to the metal."""
    draw = random.Random(29)
    for _ in range(100):
        measuring = workshop(draw)
        journal, bore = [Reading(49_990_400, None, None, "mic")], [Reading(54_040_000, gauge="bore")]
        job, bare = placed(measuring, journal, bore, min_nm=20 * UM, max_nm=70 * UM)
        upper, lower = (
            replace(shell, coating_nm=coating, wall_to_metal_nm=WALL)
            for shell, coating in ((bare.upper, 5 * UM), (bare.lower, 8 * UM))
        )
        coated = replace(bare, upper=upper, lower=lower)
        job = replace(job, shells=(upper, lower), coating_counts=False)
        assert coated.clearance_nm == bare.clearance_nm == coated.clearance_over_coating_nm + 13 * UM
        plain, found = check(job, bare), check(job, coated)
        assert found.set_to_nm == plain.set_to_nm
        for name in ("expect_nm", "agrees_from_nm", "agrees_to_nm", "least_nm", "most_nm"):
            assert abs(getattr(plain, name) - getattr(found, name) - 13 * UM) <= 1
        pair = ("box", "upper"), ("box", "lower")
        for sort in (("clearance", "gauge"), ("clearance", "strip"), ("bore", "gauge")):
            reading = AssembledReading("R1", *pair, sort[0], (0,), sort[1], "bore")
            shown = round(would_show(job, reading, coated, 40 * UM))
            assert abs(would_show(job, reading, bare, 40 * UM) - shown - 13 * UM) <= 1
            assert abs(assembled_clearance(job, reading._replace(readings_nm=(shown,)), coated) - 40 * UM) <= 1
        assert found.most_nm is not None
        one = read_with(job, AssembledReading("R1", *pair, "clearance", (found.most_nm + UM,), "gauge", "bore"))
        assert one.excess_nm > 0 and one.placement.uncounted_nm == 13 * UM
        assert not read_with(job, one.reading._replace(readings_nm=(found.most_nm,))).excess_nm


def test_where_a_coating_counts_nothing_is_added() -> None:
    """A coating that is part of the wall is touched as wall, and changes no reading."""
    job, bare = placed(Measuring(), [Reading(50_000_000)], [Reading(54_050_000)])
    thick = [replace(shell, coating_nm=5 * UM, wall_to_metal_nm=WALL - 5 * UM) for shell in (bare.upper, bare.lower)]
    coated = replace(bare, upper=thick[0], lower=thick[1])
    assert check(job, coated) == check(job, bare) and not coated.uncounted_nm
