"""The saved plan of a job as the shelf takes it: which labels go where, and the room that each position leaves."""

from collections.abc import Mapping
from contextlib import nullcontext
from fractions import Fraction
from os import PathLike
from pathlib import Path
from typing import NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.uncertainty.combining import Uncertainty
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.reading import read_job
from fitmatch.intake.saved.saved_figures import Said, said
from fitmatch.intake.saved.saved_plan import SavedPlan, read_saved_plan
from fitmatch.intake.saved.shared_plan import cure, no_longer_shared
from fitmatch.problems import InputError
from fitmatch.records.housings import rehoused
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.measuring import DIAMETERS, Gauge, Reading, Temperature
from fitmatch.records.parts import SIDES, Position, Shell, room
from fitmatch.shelf.jobs.holders import HeldFor, where_it_is
from fitmatch.shelf.refusals import RefusedError
from fitmatch.shelf.store.connections import Shelf


class PlannedPosition(NamedTuple):
    """A position with the labels of its two shells. `room_nm` is what walls and clearance share, `readings` are those
    of its journal and its bore, `housing` is the position that the bore came from, if it moved."""

    position: str
    kind: str
    place: int
    shells: Mapping[str, ShellKey]  # by half
    numbers: Mapping[str, int]  # on the shelf, if the plan has them
    described: Mapping[str, str]  # by half, the digest of what the shelf said, if the plan has it
    room_nm: int
    journal_nm: int
    journal_u_nm: float | None  # its standard uncertainty
    journal_freedom: int | None
    housing_bore_nm: int
    target_nm: int | None
    min_nm: int | None
    max_nm: int | None
    within_limits: bool
    in_doubt: bool
    seating_nm: int
    clearance_u_nm: float | None  # its expanded uncertainty, by the plan
    clearance_u_least: bool | None  # whether it is at least that
    housing: str
    limits_from: str
    readings: Mapping[str, tuple[Reading, ...]]


class Planned(NamedTuple):
    """A job and its plan, for the inputs as they are. `readings` are those of the shells that its own files have,
    `cells` what these say in the columns that the job compares, in lower case; `digest_of_shelved` that of those
    which the plan has from the shelf; `empty` are the positions without shells, `names` those of all positions.
    `record` are the user's own words for it; `materials` the coefficients of expansion, by kind and feature;
    `stamp` is the number of the plan, its date and its time."""

    name: str
    folder: Path
    title: str
    unit: str
    digest: str
    coating_counts: bool
    positions: tuple[PlannedPosition, ...]
    readings: Mapping[ShellKey, tuple[int, ...]]
    cells: Mapping[ShellKey, Mapping[str, str]]
    empty: tuple[str, ...]
    digest_of_shelved: str | None
    names: tuple[str, ...]
    record: Mapping[str, str]
    gauges: Mapping[str, Gauge]
    temperature: Temperature | None
    stamp: tuple[int | None, str, str]
    materials: Mapping[str, Mapping[str, Fraction]]


def job_name(folder: str | PathLike[str]) -> str:
    """A job is known by the name of its folder, which may be gone."""
    return Path(folder).resolve().name


def read_planned(folder: str | PathLike[str], shelf: Shelf | None = None) -> Planned:
    """The saved plan of a job folder; raises InputError; RefusedError if there is none, if its inputs have changed, or
    if other jobs share it, one of them has another one since, and the `shelf` does not hold all of its shells for
    this job."""
    path = Path(folder)
    job = read_job(path, needs_shells=False, locks_elsewhere=True)
    findings = Findings()
    plan = read_saved_plan(path, findings)
    if findings.problems:
        raise InputError(findings.problems)
    if plan is None:
        raise RefusedError(Fact("no-plan", {"job": job_name(path), "folder": str(path.resolve())}))
    with nullcontext() if shelf is None else shelf.reading() as connection:
        held = None if connection is None else HeldFor(connection)
        if not plan.is_of(job.digest):
            where = where_it_is(path.resolve(), held)
            raise RefusedError(Fact("inputs-changed", {"job": job_name(path), **where}))
        if why := no_longer_shared(path, plan, held):
            todo = cure(path, plan, holdings=held)
            raise RefusedError(*(Fact("no-longer-shared", {"why": one, "cure": todo}) for one in why))
    return _planned(path, job, plan)


def _planned(folder: Path, job: Job, plan: SavedPlan) -> Planned:
    rows = {position.name: position for position in job.positions}
    model = ErrorModel(job)
    told, found = said(plan, job), []
    for place, row in enumerate(job.positions, 1):
        shells = {side: plan.shells[row.name, side] for side in SIDES if (row.name, side) in plan.shells}
        if len(shells) == len(SIDES):
            housed = rehoused(row, rows[plan.housings.get(row.name, row.name)])
            numbers = {side: plan.numbers[row.name, side] for side in SIDES if (row.name, side) in plan.numbers}
            known = model.of_size(row.kind, "journal", housed.journal) if housed.journal else None
            source = job.fits[row.kind].limits_from or ""
            found.append(_position(housed, place, shells, numbers, known, plan, told, source))
    placed = {key for one in found for key in one.shells.values()}
    filled = {one.position for one in found}
    return Planned(
        name=job_name(folder),
        folder=folder.resolve(),
        title=job.title,
        unit=job.unit,
        digest=plan.digest or "",
        coating_counts=job.coating_counts,
        positions=tuple(found),
        cells={s.key: _cells(job, s) for s in job.shells if s.key in placed},
        readings={s.key: tuple(r.nm for r in s.measured.readings) for s in job.shells if s.measured is not None},
        empty=tuple(name for name in rows if name not in filled),
        digest_of_shelved=plan.readings,
        names=tuple(rows),
        record=job.record,
        gauges=job.measuring.gauges,
        temperature=job.measuring.temperature,
        stamp=(plan.number, plan.date or "", plan.time or ""),
        materials=job.measuring.materials,
    )


def _cells(job: Job, shell: Shell) -> dict[str, str]:
    family = {"family": shell.family} if job.fits[shell.kind].family else {}
    marks = zip(job.shell_columns, shell.marks, strict=False)
    return family | {column: mark for column, mark in marks if column not in ("coating", "box")}


def _position(
    position: Position,
    place: int,
    shells: Mapping[str, ShellKey],
    numbers: Mapping[str, int],
    journal: Uncertainty | None,
    plan: SavedPlan,
    told: Said,
    limits_from: str,
) -> PlannedPosition:
    assert position.journal is not None and position.housing_bore is not None
    u_nm, least = told.uncertain.get(position.name, (None, None))
    return PlannedPosition(
        position=position.name,
        kind=position.kind,
        place=place,
        shells=shells,
        numbers=numbers,
        described={
            side: plan.described[position.name, side] for side in shells if (position.name, side) in plan.described
        },
        room_nm=room(position),
        journal_nm=position.journal.mean_nm,
        journal_u_nm=None if journal is None or journal.lower_bound else journal.standard_nm,
        journal_freedom=None if journal is None else journal.degrees_of_freedom,
        housing_bore_nm=position.housing_bore.mean_nm,
        target_nm=position.target_nm,
        min_nm=position.min_nm,
        max_nm=position.max_nm,
        within_limits=position.name not in plan.outside,
        in_doubt=position.name in plan.in_doubt,
        seating_nm=position.seating_nm,
        clearance_u_nm=u_nm,
        clearance_u_least=least,
        housing=position.housing or "",
        limits_from=limits_from,
        readings={feature: tuple(getattr(position, feature).readings) for feature in DIAMETERS},
    )
