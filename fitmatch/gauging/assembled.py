"""A reading with the shells in to an assembled clearance, corrected as the sizes are that it is compared with.

A bore is corrected like a housing bore: zero error off, then to 20 degrees Celsius, the journal's corrected size taken
off. It is brought to 20 degrees together with its two walls, which are taken off again: steel-backed shells grow as the
gauge does, and the housing by its own coefficient. A clearance read directly has no zero error: the gauge was zeroed on
the micrometer locked at the journal. Housing and journal then differ only by their expansion, on that one's scale.
Both are taken to have been read in the temperature of the job.
"""

from fractions import Fraction

from fitmatch.gauging.corrections import factor_to_20, offs
from fitmatch.lengths import round_half_even
from fitmatch.measuring import AssembledReading, MeasuredAs, Series
from fitmatch.parts import Job
from fitmatch.placements import Placement


def assembled_clearance(job: Job, reading: AssembledReading, placement: Placement) -> int:
    """The assembled clearance in whole nanometres, corrected exactly and rounded once."""
    journal = placement.position.journal
    assert journal is not None
    walls = placement.wall_sum_nm
    read = Fraction(sum(reading.readings_nm), len(reading.readings_nm))
    if reading.feature == "bore":
        housing = factor_to_20(job.measuring, placement.position.kind, "housing_bore", reading.gauge)
        found = (read - offs(job.measuring.gauges)[reading.gauge] + walls) * housing - walls - journal.mean_nm
    else:
        setter = next(iter(journal.gauges), None)
        housing = factor_to_20(job.measuring, placement.position.kind, "housing_bore", setter)
        as_read = journal.mean_nm / factor_to_20(job.measuring, placement.position.kind, "journal", setter)
        found = (as_read + read + walls) * housing - walls - journal.mean_nm
    return round_half_even(found.numerator, found.denominator)


def measured_as(reading: AssembledReading) -> MeasuredAs:
    """How it was measured; several readings of a row are repeats in one place."""
    return MeasuredAs((Series(reading.gauge, len(reading.readings_nm), 1.0),))
