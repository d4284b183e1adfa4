"""A plan to be saved in its job folders: which files that writes, and what prevents it.

A row of assembled.csv with blank shells refers to those of the saved plan. If another plan took its place, what was
read would be compared with shells that were never fitted. So that is refused, or the old plan is kept, and the rows are
then not read any more until they name their shells. Likewise where another job shares the saved plan and would still
have it: a shell could then stand in two engines.
"""

import os
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Final, NamedTuple

from fitmatch.intake.common.files import LARGEST_PLAN
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.job_toml.key_rows import JOB_FILE
from fitmatch.intake.job_toml.settings import read_settings
from fitmatch.intake.job_toml.sources import read_bytes, table_source
from fitmatch.intake.rows.assembled import ASSEMBLED_FORM, referring
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.intake.saved.saved_plan import (
    FILE,
    PAPER,
    SavedPlan,
    next_name,
    plan_in,
    replaced_plans,
    stamped,
    what_each_has,
)
from fitmatch.intake.saved.shared_plan import Sharer, assign_command, sharers
from fitmatch.intake.tables.columns import has_header
from fitmatch.intake.tables.opening import open_table
from fitmatch.problems import InputError, Problem
from fitmatch.records.job import Job
from fitmatch.records.parts import SIDES
from fitmatch.records.shelf.shelved import Holdings
from fitmatch.wording import as_argument, listed, seen_from_here, shorten

_WORDS: Final = {"upper": "upper shell", "lower": "lower shell", "housing": "housing"}


class Saving(NamedTuple):
    """The files to be written, all or none; `kept` are those that get a plan that is replaced, and `voided` the jobs
    that shared one and still have it."""

    files: Mapping[Path, bytes]
    kept: tuple[Path, ...]
    voided: tuple[str, ...]


def to_save(
    documents: Sequence[tuple[Job, bytes]], *, force: bool, db: str | None = None, holdings: Holdings | None = None
) -> Saving:
    """What saving these documents in the folders of their jobs writes. Raises InputError if rows refer to a plan that
    one of them replaces, or another job shares it, or it has shells of the shelf and the new one was made without that,
    unless `force`: then the plans that rows refer to are kept under names of their own. `db`: the shelf, if it was
    named; `holdings`: who has its shells."""
    problems: list[Problem] = []
    number = 0
    files: dict[Path, bytes] = {}
    kept: list[Path] = []
    voided: dict[str, None] = {}
    folders = [job.folder.resolve() for job, _ in documents]
    for at, (job, new) in enumerate(documents):
        exists = os.path.lexists(job.folder / FILE)
        old = read_bytes(job.folder, PAPER, Findings()) if exists else None
        before = None if old is None else plan_in(old, job.folder, Findings())
        findings = _against(job.folder, before, new) if exists else Findings()
        left = [] if before is None else _left_with(job.folder, before, new, folders, holdings)
        voided |= dict.fromkeys(other.name for other in left)
        forgotten = before is not None and before.readings is not None and job.shelved is None
        if forgotten and not force:
            _report_forgotten(left, documents, findings, holdings)
        elif left and not force:
            _report_left(left, documents, findings, db)
        if len(new) > LARGEST_PLAN:
            sizes = f"{-(-len(new) // 10**6)} MB, and may have {LARGEST_PLAN // 10**6} MB"
            todo = "leave out --save, or take shells that will not be needed out of the job"
            findings.report("too-large", f"would have {sizes}; {todo}", PAPER)
            old = None
        if findings.problems and force and old is not None:  # rows refer to it
            kept.append(job.folder / next_name(job.folder))
            files[kept[-1]] = old
        else:
            within = f"{job.name}/" if job.name else ""
            problems += [p._replace(file=f"{within}{p.file}", rank=(at, *p.rank)) for p in findings.problems]
            number += findings.number
        others = [other.folder for other, _ in documents if other is not job]
        files[job.folder / FILE] = stamped(new, job.folder, before, others)
    if problems:
        raise InputError(problems, number=number)
    return Saving(files, tuple(kept), tuple(voided))


def _left_with(
    folder: Path, before: SavedPlan, new: bytes, folders: Sequence[Path], holdings: Holdings | None
) -> list[Sharer]:
    """The jobs that share the plan of a folder, would still have it, and may have shells that the new one takes.
    `folders`: those that get another one."""
    after = plan_in(new, folder, Findings())
    shelf = holdings if after is not None and after.is_of_the_shelf else None
    others = [s for s in sharers(folder, before) if s.folder not in folders and s.shares(before)]
    return [other for other in others if not other.is_apart(shelf)]


def _report_forgotten(
    left: Sequence[Sharer], documents: Sequence[tuple[Job, bytes]], findings: Findings, holdings: Holdings | None
) -> None:
    """The old plan was made with the shelf, the new one without: what is set aside or fitted for others would not have
    been left out."""
    command = assign_command(_jobs(documents, [s for s in left if not s.is_apart(holdings)]), from_shelf=True)
    text = "has shells of the shelf, and the new plan was made without it, so that it may have shells of other engines"
    findings.report("left-the-shelf", f"{text}; {command} makes one with it, or --force saves this one", PAPER)


def _report_left(
    left: Sequence[Sharer], documents: Sequence[tuple[Job, bytes]], findings: Findings, db: str | None
) -> None:
    names = listed([shorten(other.name) for other in left])
    command = assign_command(_jobs(documents, left), from_shelf=documents[0][0].shelved is not None, db=db)
    text = f"is shared with {names}, and the new plan may take shells from there; {command} makes one for all"
    todo = f"--force saves this one all the same, and what {names} has is then VOID"
    findings.report("shared-plan", f"{text}, or {todo}", PAPER)


def _jobs(documents: Sequence[tuple[Job, bytes]], others: Sequence[Sharer]) -> list[str]:
    """The folders of these jobs, as they are to be typed."""
    return [as_argument(str(job.folder)) for job, _ in documents] + [seen_from_here(other.folder) for other in others]


def _against(folder: Path, before: SavedPlan | None, new: bytes) -> Findings:
    """The rows that refer to the old plan, if the new one has other shells or housings, or if the old one, None, cannot
    be read; what is wrong with their file, if that cannot be read."""
    after = plan_in(new, folder, Findings())
    assert after is not None
    if before is not None and (before.shells, before.housings) == (after.shells, after.housings):
        return Findings()
    findings = Findings()
    sheet = _assembled(folder, findings)
    if sheet is None or findings.problems:
        return findings
    replaced = replaced_plans(folder)
    for row, position, blank in referring(sheet):
        columns = [c for c in blank if c in SIDES or (before and _moved(before, after, position))]
        if columns:
            what = f"this row names no {listed([_WORDS[c] for c in columns], 'or')}"
            if replaced:
                plans = what_each_has({**replaced, FILE: before}, position, columns)
                refers = f"one of several plans: {plans}; write {_fitted(columns)} into the row"
            else:
                refers = _reference(before, after, position, columns)
            text = f"{what} and so refers to {refers}"
            todo = f"save with --force, which keeps the old plan as {next_name(folder)}"
            sheet.report("plan-replaced", f"{text}, or {todo}", row, columns[0])
    return findings


def _moved(before: SavedPlan, after: SavedPlan, position: str) -> bool:
    """Whether the two plans have different housings in a position."""
    return before.says(position, "housing") != after.says(position, "housing")


def _reference(before: SavedPlan | None, after: SavedPlan, position: str, columns: Sequence[str]) -> str:
    """What blank cells of a row refer to, what the new plan has there, and what to write."""
    if before is None:
        return f"{FILE}, which cannot be read; write {_fitted(columns)} into the row"
    old = [before.says(position, column) for column in columns]
    new = [after.says(position, column) for column in columns]
    if None in old:
        return f"{FILE}, which has no shells there; write {_fitted(columns)} into the row"
    said = listed([shorten(name or "") for name in old])
    if old == new:
        other = "the new plan has the same here but differs at other positions"
        return f"{said} in {FILE}; {other}; write {said} into the row, which settles it too"
    others = "none" if None in new else listed([shorten(name or "") for name in new])
    return f"{said} in {FILE}; the new plan has {others} there; write {said} into the row"


def _fitted(columns: Sequence[str]) -> str:
    return f"the {listed([_WORDS[c] for c in columns])} that {'was' if len(columns) == 1 else 'were'} fitted"


def _assembled(folder: Path, findings: Findings) -> Sheet | None:
    """The file of readings with the shells in; None if there is none or, with a problem noted, if it cannot be read."""
    settings = read_settings(read_bytes(folder, JOB_FILE, findings), findings)
    if settings.assembled is None or not os.path.lexists(folder / settings.assembled.strip()):
        return None
    source = table_source(folder, settings, "assembled", findings)
    table = open_table(source.data, source.paper, findings) if source else None
    if table is None or not has_header(table, ASSEMBLED_FORM, findings):
        return None
    return Sheet(table, ASSEMBLED_FORM, settings, findings)
