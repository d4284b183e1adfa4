"""A job together with its saved plan, and with what was read with the shells in, if that was."""

from collections.abc import Sequence
from os.path import lexists
from pathlib import Path
from typing import NamedTuple

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.reading import FolderReader
from fitmatch.intake.rows.saved_figures import Said, said
from fitmatch.intake.rows.saved_plan import PAPER, SavedPlan, read_saved_plan
from fitmatch.problems import InputError
from fitmatch.records.job import Job


class Planned(NamedTuple):
    """`plan` is None where none was saved; `said` is what it says of itself."""

    job: Job
    plan: SavedPlan | None
    said: Said | None

    @property
    def changed(self) -> bool:
        """Whether the inputs are others than those of the plan."""
        return self.plan is not None and self.plan.digest != self.job.digest


def read_planned(folder: Path, *, planned: bool = True) -> Planned:
    """Read a job folder, which may have no shells yet, its saved plan and its assembled readings, where there are any;
    without the plan and these unless it is asked for as `planned`. Raises InputError with every mistake."""
    reader = FolderReader(folder, needs_shells=planned)
    name = reader.settings.assembled
    assembled = planned and name is not None and lexists(folder / name.strip())
    job = reader.job(reader.compared(frozenset()), assembled=assembled)
    findings = Findings()
    plan = read_saved_plan(folder, findings) if planned else None
    if findings.problems:
        raise InputError(findings.problems, job.warnings)
    return Planned(job, plan, None if plan is None else said(plan, job))


def refused_plan(job: Job, faults: Sequence[str]) -> InputError:
    """What to raise where the saved plan cannot be shown for this job; `faults` are the reasons."""
    findings = Findings()
    for fault in faults:
        text = f"cannot be shown: {fault}; `fitmatch assign --save` makes a new plan"
        findings.report("contradicted-plan", text, PAPER)
    return InputError(findings.problems, job.warnings)
