"""Sizes to machine to, as the gauge that measured the part will show them."""

from collections.abc import Iterable
from fractions import Fraction
from math import ceil, floor

from fitmatch.gauging.sizes.corrections import reading_of
from fitmatch.records.job import Job
from fitmatch.records.parts import Size
from fitmatch.study.advice.advised import Machined, Sizes


def machined(job: Job, kind: str, feature: str, parts: Iterable[Size | None], sizes: Sizes) -> Machined:
    """With the gauge by which these parts were measured, None where they have none in common or it has no name, and
    what it reads of the sizes, rounded inward; no readings where they were measured by several."""
    ways = {size.measured_as for size in parts if size is not None}
    gauges = {series.gauge for way in ways if way is not None for series in way.series} | {
        None for way in ways if not way
    }
    if len(gauges) != 1:
        return Machined(sizes, None, None, None)
    (gauge,) = gauges

    def read(nm: int) -> Fraction:
        return reading_of(nm, job.measuring, kind, feature, gauge)

    low, high = ceil(read(sizes.lowest_nm)), floor(read(sizes.highest_nm))
    reads = Sizes(low, high, min(max(round(read(sizes.best_nm)), low), high))
    resolution_nm = None if gauge is None else job.measuring.gauges[gauge].resolution_nm
    return Machined(sizes, gauge, resolution_nm, reads if low <= high else None)
