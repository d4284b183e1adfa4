"""What the bore gauge will show at the bench: the corrections of an assembled reading the other way round."""

import random
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest

from fitmatch.gauging.assembled import APART_NM, assembled_clearance, compare
from fitmatch.gauging.bench_check import BenchCheck, bench_check
from fitmatch.gauging.sizes.sizing import Sizes
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.records.job import Job
from fitmatch.records.measuring import AssembledReading, Gauge, Measuring, Reading, Temperature
from fitmatch.records.parts import Fit, Position, Shell
from fitmatch.records.placements import Placement

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
    """In 300 random workshops: what is expected, read with the gauge zeroed on the micrometer, gives the calculated
    clearance again once the rounding of the setting is put back, to the nanometre."""
    draw = random.Random(17)
    moved = 0
    for _ in range(300):
        measuring = workshop(draw)
        journal = [Reading(50_000_000 + draw.randint(-20, 20) * 500, gauge="mic") for _ in range(draw.randint(1, 3))]
        bore = [Reading(54_050_000 + draw.randint(-20, 20) * 500, gauge="bore")]
        job, placement = placed(measuring, journal, bore, seating_nm=draw.choice([0, 3 * UM]))
        found = check(job, placement)
        assert placement.position.journal is not None
        off = found.set_to_nm - placement.position.journal.raw_mean_nm
        assert abs(back(job, placement, found.expect_nm + off) - placement.clearance_nm) <= 1
        moved += abs(off) > 1
    assert moved > 30


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


def test_limits_and_agreement_are_those_of_assembled() -> None:
    """What is inside on the gauge is inside for `assembled`, one nanometre further out is not; the agreement is what
    `assembled` calls apart."""
    measuring = workshop(random.Random(3))
    journal, bore = [Reading(50_000_000, gauge="mic")], [Reading(54_050_000, gauge="bore")]
    job, placement = placed(measuring, journal, bore, min_nm=30 * UM, max_nm=70 * UM)
    found = check(job, placement)
    assert found.least_nm is not None and found.most_nm is not None
    assert placement.position.journal is not None
    off = found.set_to_nm - placement.position.journal.raw_mean_nm

    def inside(read_nm: int) -> bool:
        reading = AssembledReading(
            "R1", ("box", "upper"), ("box", "lower"), "clearance", (read_nm + off,), "gauge", "bore"
        )
        read = replace(job, measuring=replace(measuring, assembled=(reading,)))
        (one,) = compare(read).checks
        return one.within_limits

    assert inside(found.least_nm + 1) and inside(found.most_nm - 1)
    assert not inside(found.least_nm - 2) and not inside(found.most_nm + 2)
    assert found.agree_nm >= APART_NM and placed(measuring, journal, bore)[1].position.min_nm is None
    assert check(*placed(measuring, journal, bore)).least_nm is None
