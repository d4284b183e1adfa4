"""What a bore gauge will show at the bench if a bore is what was calculated, and what it may show: `assembled` the
other way round, so that what is inside there is inside here."""

from fractions import Fraction
from math import ceil, floor
from typing import NamedTuple

from fitmatch.gauging.assembled import Check
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.gauging.zeroing import zeroed
from fitmatch.lengths import round_half_even
from fitmatch.records.job import Job
from fitmatch.records.measuring import AssembledReading
from fitmatch.records.placements import Placement


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
    within, raised = Fraction(int(check.apart_from_nm)), check.above_tightest_nm
    low, high = position.min_nm, position.max_nm
    return BenchCheck(
        zeroing.setter,
        gauge,
        zeroing.set_to_nm,
        expect,
        ceil(zeroing.shows(placement.clearance_nm - within)),
        floor(zeroing.shows(placement.clearance_nm + within)),
        None if low is None else ceil(zeroing.shows(low + raised)),
        None if high is None else floor(zeroing.shows(high)),
        raised,
    )
