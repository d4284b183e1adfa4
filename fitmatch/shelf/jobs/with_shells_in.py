"""What was read with the shells in, as the record of an engine keeps it, and what of it contradicts the plan."""

from collections.abc import Mapping
from math import ceil
from os import PathLike
from pathlib import Path
from typing import NamedTuple

from fitmatch.facts import Fact
from fitmatch.gauging.assembled import Check, Comparison, Verdict, assembled
from fitmatch.gauging.bench_check import bounds_of
from fitmatch.gauging.noted import Noted, noted
from fitmatch.gauging.zeroing import zeroed
from fitmatch.intake.planned import kept_plan, read_planned
from fitmatch.intake.reading import FolderReader
from fitmatch.records.job import Job
from fitmatch.shelf.answers.engines import Assembled, together
from fitmatch.shelf.jobs.supplying import read_planned_supplied
from fitmatch.shelf.store.connections import Shelf


class WithShellsIn(NamedTuple):
    """By position, the `readings` of a job's assembled.csv that were taken with the very shells and housing of its
    saved plan in, and what the file says `against` the plan."""

    readings: Mapping[str, tuple[Assembled, ...]] = {}
    against: Mapping[str, tuple[Fact, ...]] = {}


def read_assembled(shelf: Shelf, folder: str | PathLike[str]) -> WithShellsIn:
    """What was read with the shells in; nothing without such a file. Raises InputError with every mistake."""
    path = Path(folder)
    if not FolderReader(path, needs_shells=False, locks_elsewhere=True).is_assembled:
        return WithShellsIn()
    kept = kept_plan(path)
    planned = read_planned_supplied(shelf, kept) if kept.has_the_shelf_s_shells else read_planned(kept)
    plan, said = planned.plan, planned.said
    if plan is None or said is None:
        return WithShellsIn()
    found = noted(planned.job, plan.shells, plan.housings, said.told_of)
    return WithShellsIn(_of_plan(found, assembled(planned.job)), found.against)


def _of_plan(noted: Noted, comparison: Comparison) -> dict[str, tuple[Assembled, ...]]:
    found: dict[str, list[Check]] = {}
    for check in comparison.checks:
        if check.reading.row not in noted.others:
            found.setdefault(check.reading.position, []).append(check)
    return {
        position: together((), (_recorded(comparison.job, check) for check in checks))
        for position, checks in found.items()
    }


def _recorded(job: Job, check: Check) -> Assembled:
    reading, bounds = check.reading, bounds_of(job, check)
    zeroing = zeroed(job, check.placement) if reading.feature == "clearance" and reading.method == "gauge" else None
    return Assembled(
        assembled_nm=check.assembled_nm,
        calculated_nm=check.placement.clearance_nm,
        difference_u_nm=None if check.bound_nm is None else ceil(check.bound_nm),
        method=reading.method,
        gauge=reading.gauge or "",
        read=reading.feature,
        as_read_nm=check.as_read_nm,
        by=reading.by,
        date=reading.date,
        verdict="" if check.verdict == Verdict.AGREES else str(check.verdict),
        shortfall_nm=check.shortfall_nm,
        excess_nm=check.excess_nm,
        readings_nm=reading.readings_nm,
        typed=reading.typed,
        setter=(zeroing and zeroing.setter) or "",
        set_to_nm=zeroing and zeroing.set_to_nm,
        least_nm=bounds.least_nm,
        most_nm=bounds.most_nm,
    )
