"""The jobs with one thing changed, as if the change had been written into their files. None where that cannot be."""

from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import replace
from fractions import Fraction

from fitmatch.intake.job_toml.fits import from_ratio
from fitmatch.records.job import Job, Jobs
from fitmatch.records.keys import PositionKey
from fitmatch.records.measuring import MeasuredAs
from fitmatch.records.parts import Position, Shell, Size

NEW_BOX = "new"  # the box of shells that are not there yet


def resized(size: Size, by_nm: int) -> Size:
    """The size with every place so much larger."""
    return replace(
        size, mean_nm=size.mean_nm + by_nm, smallest_nm=size.smallest_nm + by_nm, largest_nm=size.largest_nm + by_nm
    )


def with_journal(jobs: Jobs, place: PositionKey, by_nm: int) -> "Jobs | None":
    """With this journal so much larger; a target that is a ratio of it follows."""
    return _changed(jobs, {place}, lambda job, p: _with_journal(job, p, resized(_known(p.journal), by_nm)))


def with_bore(jobs: Jobs, place: PositionKey, by_nm: int) -> "Jobs | None":
    """With this housing bore so much larger."""
    return _changed(jobs, {place}, lambda _, p: replace(p, housing_bore=resized(_known(p.housing_bore), by_nm)))


def with_ground(jobs: Jobs, places: Collection[PositionKey], to_nm: int) -> "Jobs | None":
    """With these journals ground to one size, round and straight."""

    def ground(job: Job, p: Position) -> Position | None:
        size = replace(_known(p.journal), mean_nm=to_nm, smallest_nm=to_nm, largest_nm=to_nm)
        return _with_journal(job, p, size)

    return _changed(jobs, places, ground)


def with_shells(jobs: Jobs, shells: Sequence[Shell]) -> Jobs:
    """With these shells at the end of the list that all of the jobs hold."""
    return tuple(replace(job, shells=(*job.shells, *shells)) for job in jobs)


def new_shell(job: Job, kind: str, half: str, wall_nm: int, marks: Mapping[str, Iterable[str]]) -> Shell:
    """A shell that is not there yet, measured like the others of its kind, that reads the first of these marks by
    column, and nothing in columns that nobody asks for."""
    read = {column: next(iter(some), "").casefold() for column, some in marks.items()}
    of_kind = [s for s in job.shells if s.kind == kind]
    name = next(name for n in range(len(job.shells) + 1) if (name := f"{half}-{n + 1}") not in _names(job))
    return Shell(
        name,
        NEW_BOX,
        kind,
        half,
        wall_nm,
        tuple(read.get(column, "") for column in job.shell_columns),
        read.get("family", ""),
        wall_to_metal_nm=wall_nm,
        measured=Size(wall_nm, wall_nm, wall_nm, measured_as=_usual_way(of_kind)),
    )


def _names(job: Job) -> set[str]:
    return {s.name for s in job.shells if s.box == NEW_BOX}


def _usual_way(shells: Iterable[Shell]) -> MeasuredAs | None:
    return next((s.measured_as for s in shells if s.measured_as is not None), None)


def _changed(
    jobs: Jobs, places: Collection[PositionKey], change: Callable[[Job, Position], Position | None]
) -> "Jobs | None":
    found = []
    for job in jobs:
        rows = [change(job, p) if p.key in places else p for p in job.positions]
        kept = [p for p in rows if p is not None]
        if len(kept) < len(rows):
            return None
        found.append(replace(job, positions=tuple(kept)))
    return tuple(found)


def _with_journal(job: Job, p: Position, journal: Size) -> Position | None:
    """None where its target, a ratio of the journal, would be outside its limits."""
    ratio, target = job.fits[p.kind].target_ratio, p.target_nm
    if ratio is not None and target == from_ratio(ratio, Fraction(_known(p.journal).mean_nm), job.unit):
        target = from_ratio(ratio, Fraction(journal.mean_nm), job.unit)
        if target < (p.min_nm or 0) or (p.max_nm is not None and target > p.max_nm):
            return None
    return replace(p, journal=journal, target_nm=target)


def _known(size: Size | None) -> Size:
    assert size is not None
    return size
