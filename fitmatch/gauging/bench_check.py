"""What a bore gauge will show at the bench if a bore is what was calculated, and what it may show: `assembled` the
other way round, so that what is inside there is inside here."""

from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from fitmatch.gauging.assembled import Check
from fitmatch.gauging.sizes.corrections import factor_to_20, offs
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.gauging.zeroing import zeroed
from fitmatch.lengths import round_half_even
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.measuring import AssembledReading


class BenchCheck(NamedTuple):
    """One bore to be checked with its shells in. `set_to_nm`: what the micrometer `setter` is set to; `expect_nm`: what
    the gauge `gauge` shows at the calculated clearance; from `agrees_from_nm` to `agrees_to_nm` agrees with that;
    `least_nm` and `most_nm`: what it must show, None where there is no such limit. `raised_nm`: by how much the
    smallest place between journal and shell is less than what is read, where limits are held against that."""

    setter: str | None
    gauge: str | None
    set_to_nm: int
    expect_nm: int
    agrees_from_nm: int
    agrees_to_nm: int
    least_nm: int | None
    most_nm: int | None
    raised_nm: int


class Bounds(NamedTuple):
    """What a reading may show, as in `BenchCheck`."""

    agrees_from_nm: int
    agrees_to_nm: int
    least_nm: int | None
    most_nm: int | None


def bench_check(job: Job, placement: Placement, model: ErrorModel) -> BenchCheck:
    """The check of one position of a plan; `model` is that of its job."""
    position, zeroing = placement.position, zeroed(job, placement)
    exact = zeroing.shows(placement.clearance_nm)
    expect = round_half_even(exact.numerator, exact.denominator)
    gauge = job.measuring.measured.get(position.kind, {}).get("housing_bore")
    reading = AssembledReading(
        position.name, placement.upper.key, placement.lower.key, "clearance", (expect,), "gauge", gauge
    )
    check = Check(reading, placement, placement.clearance_nm, model.of_difference(reading, placement))
    return BenchCheck(zeroing.setter, gauge, zeroing.set_to_nm, expect, *bounds_of(job, check), check.above_tightest_nm)


def bounds_of(job: Job, check: Check) -> Bounds:
    """What the reading of a check may show if it is to agree with the calculation, and to be inside its limits."""

    def shows(clearance_nm: int) -> Fraction:
        return would_show(job, check.reading, check.placement, clearance_nm)

    clearance, within = check.placement.clearance_nm, int(check.apart_from_nm)
    low, high = check.placement.position.min_nm, check.placement.position.max_nm
    return Bounds(
        ceil(shows(clearance - within)),
        floor(shows(clearance + within)),
        None if low is None else ceil(shows(low + check.above_tightest_nm)),
        None if high is None else floor(shows(high)),
    )


def would_show(job: Job, reading: AssembledReading, placement: Placement, clearance_nm: int) -> Fraction:
    """What a reading of this sort shows at a clearance: `assembled_clearance` the other way round."""
    if reading.feature == "bore":
        journal = placement.position.journal
        assert journal is not None
        housing = factor_to_20(job.measuring, placement.position.kind, "housing_bore", reading.gauge)
        warm = (clearance_nm + journal.mean_nm + placement.wall_sum_nm) / Fraction(housing)
        return warm - placement.walls_touched_nm + offs(job.measuring.gauges)[reading.gauge]
    zeroing = zeroed(job, placement)
    return zeroing.shows(clearance_nm) + (0 if reading.method == "gauge" else zeroing.moved_nm)
