"""A job together with its saved plan, and with what was read with the shells in, if that was."""

from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import FolderReader
from fitmatch.intake.rows.saved_figures import Said, said
from fitmatch.intake.rows.saved_plan import PAPER, SavedPlan, read_saved_plan
from fitmatch.problems import InputError
from fitmatch.records.job import Job


class Planned(NamedTuple):
    """`plan` is None where none was saved; `said` is what it says of itself. `changed`: whether the inputs are others
    than those of the plan, or those of a job that shares it."""

    job: Job
    plan: SavedPlan | None = None
    said: Said | None = None
    changed: bool = False


def read_planned(folder: Path) -> Planned:
    """Read a job folder, its saved plan and its assembled readings, where there are any. Where several jobs share the
    plan, with the shells of all. Raises InputError with every mistake."""
    findings = Findings()
    plan = read_saved_plan(folder, findings) if folder.is_dir() else None
    if plan is not None and plan.beside:
        return _shared(folder, plan)
    reader = FolderReader(folder)
    try:
        job = reader.job(reader.compared(frozenset()), assembled=reader.is_assembled)
    except InputError as error:
        if reader.is_assembled:  # the plan was read with it
            raise
        raise InputError(
            [*error.problems, *findings.problems], error.warnings, error.number + findings.number
        ) from None
    if findings.problems:
        raise InputError(findings.problems, job.warnings)
    if plan is None:
        return Planned(job)
    return Planned(job, plan, said(plan, job), plan.digest != job.digest)


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
