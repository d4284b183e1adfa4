"""What a bore gauge will show at the bench if a bore is what was calculated: `assembled_clearance` the other way round.

The micrometer is set to what it read on this journal and the gauge zeroed on that. The bore with its shells in is
then as warm as the room, and read on the scale of that micrometer:

    shows = (clearance + walls + journal) / housing's factor to 20 C - walls - journal / its factor - moved

`moved` is what rounding the setting to the micrometer's resolution, or setting it from other readings than those that
make the size, adds to the size that the gauge is zeroed on.
"""

from collections.abc import Sequence
from fractions import Fraction
from typing import NamedTuple

from fitmatch.gauging.assembled import Check
from fitmatch.gauging.sizes.corrections import factor_to_20, offs
from fitmatch.gauging.sizes.places import NEAR_CROWN_DEGREES, from_crown, mean_of_means, places
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.lengths import round_half_even
from fitmatch.records.job import Job
from fitmatch.records.measuring import AssembledReading, Reading
from fitmatch.records.parts import Size
from fitmatch.records.placements import Placement


class BenchCheck(NamedTuple):
    """One bore to be checked with its shells in. `set_to_nm`: what the micrometer `setter` is set to; `expect_nm`: what
    the gauge `gauge` shows at the calculated clearance; `agree_nm`: how far from that it may be; `least_nm` and
    `most_nm`: what it shows at min and at max, None where there is no such limit."""

    setter: str | None
    gauge: str | None
    set_to_nm: int
    expect_nm: int
    agree_nm: int
    least_nm: int | None
    most_nm: int | None


def bench_check(job: Job, placement: Placement, model: ErrorModel) -> BenchCheck:
    """The check of one position of a plan; `model` is that of its job."""
    position = placement.position
    assert position.journal is not None
    setter = next(iter(position.journal.gauges), None)
    set_to = _set_to(job, position.journal, setter)

    def shows(clearance_nm: int | None) -> int | None:
        return None if clearance_nm is None else _shows(job, placement, clearance_nm, set_to, setter)

    expect = shows(placement.clearance_nm)
    assert expect is not None
    gauge = job.measuring.measured.get(position.kind, {}).get("housing_bore")
    reading = AssembledReading(
        position.name, placement.upper.key, placement.lower.key, "clearance", (expect,), "gauge", gauge
    )
    check = Check(reading, placement, placement.clearance_nm, model.of_difference(reading, placement))
    return BenchCheck(
        setter,
        gauge,
        set_to,
        expect,
        int(check.apart_from_nm),
        shows(position.min_nm),
        shows(position.max_nm),
    )


def _set_to(job: Job, journal: Size, setter: str | None) -> int:
    """The raw mean of the journal's readings near the crown axis by this micrometer, to its resolution."""
    mine = [r for r in journal.readings if r.gauge == setter] or list(journal.readings)
    near = [r for r in mine if r.angle is None or from_crown("journal", r.angle) <= NEAR_CROWN_DEGREES] or mine
    raw = _raw_mean(near) if near else Fraction(journal.raw_mean_nm)
    step = None if setter is None else job.measuring.gauges[setter].resolution_nm
    if not step:
        return round_half_even(raw.numerator, raw.denominator)
    return step * round_half_even(raw.numerator, raw.denominator * step)


def _raw_mean(readings: Sequence[Reading]) -> Fraction:
    """The mean over places of the means of their repeats, as in a size."""
    groups = places(readings, numbered_are_repeats=False)
    return Fraction(*mean_of_means([[readings[i].nm for i in group] for group in groups]))


def _shows(job: Job, placement: Placement, clearance_nm: int, set_to_nm: int, setter: str | None) -> int:
    """What the gauge shows at this clearance."""
    measuring, kind, journal = job.measuring, placement.position.kind, placement.position.journal
    assert journal is not None
    walls = placement.wall_sum_nm
    housing, of_journal = (factor_to_20(measuring, kind, f, setter) for f in ("housing_bore", "journal"))
    moved = set_to_nm - offs(measuring.gauges)[setter] - (journal.raw_mean_nm - journal.zero_nm - journal.ball_nm)
    found = (clearance_nm + walls + journal.mean_nm) / housing - walls - journal.mean_nm / of_journal - moved
    return round_half_even(found.numerator, found.denominator)
