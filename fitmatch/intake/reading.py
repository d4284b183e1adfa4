"""`read_job`: a job folder in, a checked `Job` out, or `InputError` with every mistake in its files."""

from collections.abc import Sequence
from dataclasses import replace
from hashlib import sha256
from os import PathLike
from pathlib import Path

from fitmatch.intake.columns import (
    MATCHED_IF_ASKED,
    OFTEN_MATCHED,
    POSITION_FORM,
    SHELL_FORM,
    SHELL_LABELS,
    Columns,
    names_in,
    per_half,
    understand,
)
from fitmatch.intake.crosschecks import (
    Key,
    LockCheck,
    check_agreement,
    check_bores,
    check_rule_columns,
    matched_columns,
    warn_of_unmatched,
)
from fitmatch.intake.findings import SETTINGS, Findings, Paper
from fitmatch.intake.keyrows import JOB_FILE, JobFile
from fitmatch.intake.positions import PositionReader, PositionRow
from fitmatch.intake.settings import Settings, read_settings
from fitmatch.intake.shells import ShellPool
from fitmatch.intake.sources import Source, positions_source, read_bytes, shell_sources
from fitmatch.intake.tables import Table, open_table
from fitmatch.intake.targets import Aim, AimCheck
from fitmatch.lengths import mean
from fitmatch.parts import Job, Position, Size
from fitmatch.problems import InputError


def read_job(folder: str | PathLike[str]) -> Job:
    """Read and check a whole job folder; raises InputError with every mistake at once, in reading order."""
    findings = Findings()
    path = Path(folder)
    _check_folder(path, findings)
    job_bytes = read_bytes(path, JOB_FILE, findings)
    settings = read_settings(job_bytes, findings) if job_bytes is not None else _unread_settings(findings)
    position_source = positions_source(path, settings, findings)
    sources, complete = shell_sources(path, settings, findings)
    job = _read_tables(path, settings, position_source, sources, findings, complete=complete)
    if findings.first_rounded is not None:
        text = f"numbers finer than a nanometre were rounded, halves to even; the first is {findings.first_rounded}"
        findings.warnings.append(text)
    if findings.problems:
        raise InputError(findings.problems)
    assert job_bytes is not None and position_source is not None
    digest = digest_of([Source(JOB_FILE, job_bytes), position_source, *sources])
    return replace(job, digest=digest, warnings=tuple(findings.warnings))


def digest_of(sources: Sequence[Source]) -> str:
    """SHA-256 over paths and bytes, each led by its length, so that no two sets of files run together alike."""
    total = sha256()
    for source in sources:
        for part in (source.paper.name.encode("utf-8", "surrogateescape"), source.data):
            total.update(len(part).to_bytes(8, "big"))
            total.update(part)
    return total.hexdigest()


def _check_folder(folder: Path, findings: Findings) -> None:
    """Without a folder there is nothing else to find."""
    if not folder.is_dir():
        text = (
            "is a file; name the folder it is in" if folder.exists() else "there is no such job folder; mend the path"
        )
        findings.report("no-job-folder", text, Paper(str(folder), (SETTINGS,)))
        raise InputError(findings.problems)


def _unread_settings(findings: Findings) -> Settings:
    return Settings(JobFile("", findings), readable=False, match_read=False)


def _read_tables(
    folder: Path,
    settings: Settings,
    position_source: Source | None,
    sources: Sequence[Source],
    findings: Findings,
    *,
    complete: bool,
) -> Job:
    """Everything but job.toml; of worth only if no problem was found."""
    position_table = open_table(position_source.data, position_source.paper, findings) if position_source else None
    shell_tables = [table for s in sources if (table := open_table(s.data, s.paper, findings)) is not None]
    in_positions = names_in(position_table) if position_table else set()
    in_shells = {name for table in shell_tables for name in names_in(table)}
    complete = complete and len(shell_tables) == len(sources)
    if complete and position_table:
        check_rule_columns(settings, in_positions, in_shells)

    matched = matched_columns(settings, in_positions, in_shells)
    compared = tuple(dict.fromkeys((*matched, *settings.rules.same_in_bore)))
    may_match: tuple[str, ...] = (*OFTEN_MATCHED, *MATCHED_IF_ASKED, *settings.match)
    if not settings.match_read:
        may_match += SHELL_LABELS
    rows: list[PositionRow] = []
    columns: Columns | None = None
    if position_table:
        further = (*may_match, *per_half(may_match))
        columns = understand(position_table, POSITION_FORM, SHELL_FORM, further, findings, inch_job=settings.inch_job)
        rows = PositionReader(position_table, columns, settings, findings).rows(matched)
        warn_of_unmatched(columns.ignored, in_shells, findings)

    pool = ShellPool(settings, compared, findings, complete=complete)
    for table in shell_tables:
        further = (*may_match, *settings.rules.same_in_bore)
        shell_columns = understand(table, SHELL_FORM, POSITION_FORM, further, findings, inch_job=settings.inch_job)
        pool.add(table, shell_columns)
    pool.report_doubles()

    positions: list[Position] = []
    if position_table and columns:
        positions = _finish_positions(position_table, columns, rows, pool, matched, findings)
    return Job(
        folder=folder,
        title=settings.title,
        unit=settings.unit or "",
        fits={kind: table.fit for kind, table in settings.fits.items()},
        positions=tuple(positions),
        shells=tuple(pool.shells),
        rules=settings.rules,
        drawing=settings.drawing,
        matched_columns=matched,
        shell_columns=compared,
        coating_counts=settings.coating_counts,
    )


def _finish_positions(
    table: Table,
    columns: Columns,
    rows: list[PositionRow],
    pool: ShellPool,
    matched: tuple[str, ...],
    findings: Findings,
) -> list[Position]:
    """Hold the rows against their kinds' tables and the shells."""
    settings, paper = pool.settings, table.paper
    aims = AimCheck(paper, columns, settings, findings).aims(rows, complete=table.complete)
    if settings.unit is not None:
        check_bores(rows, paper, columns, settings.unit, findings)
    locks = LockCheck(paper, columns, pool, findings).resolve(rows)
    if pool.complete and table.complete:
        check_agreement(rows, pool, matched, columns.slipped | pool.slipped, paper, findings)
    return [_position(row, aim, lock, settings) for row, aim, lock in zip(rows, aims, locks, strict=True)]


def _position(row: PositionRow, aim: Aim, locks: dict[str, Key], settings: Settings) -> Position:
    table = settings.fits.get(row.kind)
    seating = row.own.get("seating", table.fit.seating_nm if table else None)
    return Position(
        name=row.name,
        kind=row.kind,
        journal=_size(row.journal),
        housing_bore=_size(row.housing_bore),
        target_nm=aim.target_nm,
        min_nm=aim.min_nm,
        max_nm=aim.max_nm,
        seating_nm=seating or 0,
        upper=locks.get("upper"),
        lower=locks.get("lower"),
        wants_upper=row.wants["upper"],
        wants_lower=row.wants["lower"],
        accept=row.accept,
        pin=row.pin,
        row=row.row,
    )


def _size(readings: tuple[int, ...]) -> Size | None:
    """The mean of some readings and their extremes; None without any."""
    return Size(mean(readings), min(readings), max(readings), len(readings)) if readings else None
