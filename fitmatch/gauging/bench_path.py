"""The path at the bench: every reading that a job asks for, in the order in which they are taken.

Journals, then housing bores, in the order of the positions; then walls, box by box. Items with readings in wide
columns, and shells on hold, are not part of it.
"""

from dataclasses import replace
from typing import NamedTuple

from fitmatch.records.job import Job
from fitmatch.records.keys import ItemKey, full_name
from fitmatch.records.measuring import DIAMETERS, Place, Reading

_ON_THE_CROWN_AXIS = (Place(),)


class Asked(NamedTuple):
    """One reading to be taken. `item` is how the long file names it; `gauge` the one that job.toml says is used."""

    key: ItemKey
    item: str
    kind: str
    half: str  # of a shell; empty for a position
    feature: str
    place: Place
    gauge: str | None
    taken: bool


def bench_path(job: Job) -> tuple[Asked, ...]:
    """The whole path, with what has been taken already."""
    logged: dict[tuple[ItemKey, str], list[Reading]] = {}
    for row in job.measuring.log:
        logged.setdefault((row.shell or row.item, row.feature), []).append(row.reading)
    items: list[tuple[ItemKey, str, str, str, str, bool]] = [
        (p.name, p.name, p.kind, "", feature, feature in p.missing) for feature in DIAMETERS for p in job.positions
    ]
    items += [
        (s.key, full_name(s.key), s.kind, s.half, "wall", s.measured is None) for s in job.shells if s.hold is None
    ]
    path = []
    for key, item, kind, half, feature, missing in items:
        left = logged.get((key, feature), [])
        gauge = job.measuring.measured.get(kind, {}).get(feature)
        asked = job.measuring.bench.get(kind, {}).get(feature, _ON_THE_CROWN_AXIS)
        for place in asked if left or missing else ():
            fitting = next((reading for reading in left if _is_at(place, reading)), None)
            if fitting is not None:
                left.remove(fitting)
            path.append(Asked(key, item, kind, half, feature, place, gauge, fitting is not None))
    return tuple(path)


def whole_path(job: Job) -> tuple[Asked, ...]:
    """The path of the job as if nothing had been measured yet."""
    positions = tuple(replace(p, journal=None, housing_bore=None) for p in job.positions)
    shells = tuple(replace(s, measured=None) for s in job.shells)
    return bench_path(replace(job, positions=positions, shells=shells, measuring=replace(job.measuring, log=())))


def _is_at(place: Place, reading: Reading) -> bool:
    """Whether a reading was taken there; one without an angle was taken at the crown axis."""
    return place.station in (None, reading.station) and place.angle == (reading.angle or 0.0)
