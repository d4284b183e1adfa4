"""A size to machine to, as the gauges that measured the part will show it."""

from collections.abc import Iterable
from math import ceil, floor

from fitmatch.gauging.sizes.corrections import reading_of
from fitmatch.records.job import Job
from fitmatch.records.parts import Size
from fitmatch.study.advice.advised import Run


def shown_as(job: Job, kind: str, feature: str, parts: Iterable[Size | None], to: int | Run) -> dict[str, object]:
    """The `gauge` by which these parts were measured, None where they have none in common or it has no name, and what
    it `reads` when they have this size, a run of sizes inside its ends; no reading where they were measured by
    several."""
    ways = {size.measured_as for size in parts if size is not None}
    gauges = {series.gauge for way in ways if way is not None for series in way.series} | {
        None for way in ways if not way
    }
    if len(gauges) != 1:
        return {"gauge": None, "reads_nm": None}
    (gauge,) = gauges
    if isinstance(to, Run):
        low, high = (reading_of(nm, job.measuring, kind, feature, gauge) for nm in to)
        return {"gauge": gauge, "reads_nm": Run(ceil(low), floor(high))}
    return {"gauge": gauge, "reads_nm": round(reading_of(to, job.measuring, kind, feature, gauge))}
