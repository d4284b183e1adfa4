"""A plan to be saved in its job folders: which files that writes, and what stands against it.

A row of assembled.csv with blank shells stands for those of the saved plan. Another plan in its place would lay what
was read to shells that were never in; so that is refused, or the old plan kept, and the rows are then not read any more
until they name their shells.
"""

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.job_toml.key_rows import JOB_FILE
from fitmatch.intake.job_toml.settings import read_settings
from fitmatch.intake.job_toml.sources import read_bytes, table_source
from fitmatch.intake.rows.assembled import ASSEMBLED_FORM, leaning
from fitmatch.intake.rows.saved_plan import FILE, PAPER, SavedPlan, next_name, plan_in
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.intake.tables.columns import has_header
from fitmatch.intake.tables.opening import open_table
from fitmatch.problems import InputError, Problem
from fitmatch.records.job import Job
from fitmatch.wording import shorten


class Saving(NamedTuple):
    """The files to be written, all or none; `kept` are those that hold a plan which is replaced."""

    files: Mapping[Path, bytes]
    kept: tuple[Path, ...]


def to_save(documents: Sequence[tuple[Job, bytes]], *, force: bool) -> Saving:
    """What saving these documents in the folders of their jobs writes; raises InputError where rows stand for other
    shells than theirs, unless `force`: then the plans before are kept under names of their own."""
    problems: list[Problem] = []
    files: dict[Path, bytes] = {}
    kept: list[Path] = []
    for at, (job, new) in enumerate(documents):
        old = read_bytes(job.folder, PAPER, Findings()) if (job.folder / FILE).exists() else None
        against = _against(job.folder, old, new) if old is not None else []
        if against and force:
            assert old is not None
            kept.append(job.folder / next_name(job.folder))
            files[kept[-1]] = old
        else:
            within = f"{job.name}/" if job.name else ""
            problems += [p._replace(file=f"{within}{p.file}", rank=(at, *p.rank)) for p in against]
        files[job.folder / FILE] = new
    if problems:
        raise InputError(problems)
    return Saving(files, tuple(kept))


def _against(folder: Path, old: bytes, new: bytes) -> list[Problem]:
    """The blank cells that the new plan would give another meaning; all that there are where the old one, or the file
    that they stand in, cannot be read."""
    before, after = (plan_in(data, folder, Findings()) for data in (old, new))
    assert after is not None
    if before is not None and (before.shells, before.housings) == (after.shells, after.housings):
        return []
    findings = Findings()
    sheet = _assembled(folder, findings)
    if sheet is None or findings.problems:
        return findings.problems
    for row, position, column in leaning(sheet):
        text = _change(before, after, position, column)
        if text is not None:
            todo = f"save with --force, which keeps the old plan as {next_name(folder)}"
            sheet.report("plan-replaced", f"nothing is written here, which stands for {text}, or {todo}", row, column)
    return findings.problems


def _change(before: SavedPlan | None, after: SavedPlan, position: str, column: str) -> str | None:
    """What a blank cell stands for, and what it would stand for; None where that is the same, or nothing yet."""
    what = "the row whose housing was in" if column == "housing" else "the shell that was in"
    if before is None:
        return None if column == "housing" else f"one of {FILE}, and no plan can be read from that; write {what}"
    old, new = (plan.says(position, column) for plan in (before, after))
    if old is None or old == new:
        return None
    return f"{shorten(old)} of {FILE}, and the new plan has {shorten(new or 'nothing')} there; write {shorten(old)}"


def _assembled(folder: Path, findings: Findings) -> Sheet | None:
    """The file of readings with the shells in; None where there is none, or, with a problem noted, none that can be
    read."""
    settings = read_settings(read_bytes(folder, JOB_FILE, findings), findings)
    if settings.assembled is None or not (folder / settings.assembled.strip()).exists():
        return None
    source = table_source(folder, settings, "assembled", findings)
    table = open_table(source.data, source.paper, findings) if source else None
    if table is None or not has_header(table, ASSEMBLED_FORM, findings):
        return None
    return Sheet(table, ASSEMBLED_FORM, settings, findings)
