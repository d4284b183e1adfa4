"""A job together with its saved plan, and with what was read with the shells in, if that was."""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import FolderReader
from fitmatch.intake.rows.saved_figures import Said, said
from fitmatch.intake.rows.saved_plan import PAPER, SavedPlan, read_saved_plan
from fitmatch.problems import InputError
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.shelved import ShelvedShell, Supply, digest_of_readings


class Planned(NamedTuple):
    """`plan` is None where none was saved; `said` is what it says of itself. `changed`: whether the inputs are others
    than those of the plan, or those of a job that shares it."""

    job: Job
    plan: SavedPlan | None = None
    said: Said | None = None
    changed: bool = False


class Kept(NamedTuple):
    """The plan that a folder has, and what is wrong with its document."""

    plan: SavedPlan | None
    findings: Findings

    @property
    def has_the_shelf_s_shells(self) -> bool:
        return self.plan is not None and self.plan.readings is not None

    @property
    def is_shared(self) -> bool:
        """Whether several jobs share it."""
        return self.plan is not None and bool(self.plan.beside)


def kept_plan(folder: Path) -> Kept:
    """The saved plan of a folder, if there is one, before the job is read."""
    findings = Findings()
    return Kept(read_saved_plan(folder, findings) if folder.is_dir() else None, findings)


def read_planned(folder: Path, kept: Kept, supply: Supply | None = None) -> Planned:
    """Read a job folder with its saved plan and its assembled readings, where there are any, and with the shells of a
    shelf if that is its `supply`. Where several jobs share the plan, with the shells of all. Raises InputError with
    every mistake."""
    plan, findings = kept
    if plan is not None and plan.beside:
        return _shared(folder, plan)
    reader = FolderReader(folder, supply=supply)
    try:
        job = reader.job(reader.compared(frozenset()), assembled=reader.is_assembled)
    except InputError as error:
        if reader.is_assembled:  # the plan was read with it
            raise
        raise InputError(
            [*error.problems, *findings.problems], error.warnings, error.number + findings.number
        ) from None
    return planned_for(job, kept)


def planned_for(job: Job, kept: Kept) -> Planned:
    """A job that is read, with the saved plan of its folder, if that has one; raises InputError if it cannot be
    read."""
    plan, findings = kept
    if findings.problems:
        raise InputError(findings.problems, job.warnings)
    if plan is None:
        return Planned(job)
    if job.shelved is not None:
        plan = _by_number(plan, job.shelved)
    return Planned(job, plan, said(plan, job), not plan.is_of(job.digest) or _are_read_otherwise(plan, job))


def _by_number(plan: SavedPlan, shelved: Mapping[ShellKey, ShelvedShell]) -> SavedPlan:
    """The plan with the shelf's shells by the names that they have now: of two boxes of one name one is called
    otherwise as long as the other is there."""
    now = {one.number: key for key, one in shelved.items()}
    shells = {where: now.get(plan.numbers.get(where, 0), key) for where, key in plan.shells.items()}
    return plan._replace(shells=shells)


def _are_read_otherwise(plan: SavedPlan, job: Job) -> bool:
    """Whether shells that the plan has from the shelf were measured again since."""
    if plan.readings is None:
        return False
    placed = {key: one for key, one in (job.shelved or {}).items() if key in plan.shells.values()}
    return plan.readings != digest_of_readings((one.number, [r.nm for r in one.readings]) for one in placed.values())


def _shared(folder: Path, plan: SavedPlan) -> Planned:
    jobs = read_jobs([folder, *(folder / other for other in plan.beside)], assembled=True).jobs
    job, told = jobs[0], said(plan, jobs[0])
    return Planned(job, plan, told, any(told.digests.get(one.name) != one.digest for one in jobs))


def refused_plan(job: Job, faults: Sequence[str]) -> InputError:
    """What to raise where the saved plan cannot be shown for this job; `faults` are the reasons."""
    findings = Findings()
    for fault in faults:
        text = f"cannot be shown: {fault}; `fitmatch assign --save` makes a new plan"
        findings.report("contradicted-plan", text, PAPER)
    return InputError(findings.problems, job.warnings)
