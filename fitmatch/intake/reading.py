"""`read_folder`: a job folder in, a checked `Job` out, or `InputError` with every mistake in its files."""

from collections.abc import Callable, Iterable, Sequence, Set
from dataclasses import replace
from hashlib import sha256
from os import PathLike
from pathlib import Path
from typing import NamedTuple

from fitmatch.intake.columns import (
    MATCHED_IF_ASKED,
    OFTEN_MATCHED,
    POSITION_FORM,
    SHELL_FORM,
    SHELL_LABELS,
    has_header,
    names_in,
    per_half,
    understand,
    without_readings,
)
from fitmatch.intake.columns import Form as TableForm
from fitmatch.intake.crosschecks import (
    Key,
    LockCheck,
    check_agreement,
    check_bores,
    check_rule_columns,
    matched_columns,
    warn_of_copies,
    warn_of_idle_rules,
    warn_of_unmatched,
    warn_of_unused,
)
from fitmatch.intake.findings import SETTINGS, Findings, Paper
from fitmatch.intake.keyrows import JOB_FILE, JobFile
from fitmatch.intake.log import Log
from fitmatch.intake.positions import PositionReader, PositionRow
from fitmatch.intake.settings import Settings, read_settings, unread_settings
from fitmatch.intake.sheet import Readers, Sheet
from fitmatch.intake.shells import ShellPool
from fitmatch.intake.sizing import Sizing
from fitmatch.intake.sources import (
    Source,
    assembled_source,
    positions_source,
    read_bytes,
    readings_source,
    shell_sources,
)
from fitmatch.intake.tables import Table, open_table
from fitmatch.intake.targets import Aim, AimCheck
from fitmatch.measuring import DIAMETERS, AssembledReading, Form
from fitmatch.parts import Job, Position, Rule, Size
from fitmatch.problems import InputError
from fitmatch.rules import in_order
from fitmatch.rules.match import Match
from fitmatch.rules.movable import columns_within
from fitmatch.stages import now

# No column of the long file belongs to another file: what else stands there is the writer's own.
_NO_FORM = TableForm("", (), (), (), frozenset())


def read_folder(
    folder: str | PathLike[str],
    make_sizing: Callable[[Settings], Sizing],
    *,
    assembled: bool = False,
    job_toml: bytes | None = None,
    log: bytes | None = None,
) -> Job:
    """Read and check a whole job folder; raises InputError with every mistake at once, in reading order.

    How readings become sizes is not known here: `make_sizing` gives that for the settings of the job. `assembled`: the
    readings with the shells in as well, and the saved plan that they may lean on. `job_toml` is read in place of the
    file's own bytes, `log` in place of those of the long file, which need not be there.
    """
    reader = FolderReader(folder, make_sizing, job_toml=job_toml, log=log)
    return reader.job(reader.compared(frozenset()), assembled=assembled)


class Compared(NamedTuple):
    """Columns in which shells are compared with positions, and those that other rules look at."""

    matched: tuple[str, ...]
    others: tuple[str, ...]

    @property
    def shell_columns(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*self.matched, *self.others)))


class FolderReader:
    """Reads one job folder in two steps, as jobs that share their shells must know each other's headers first."""

    def __init__(
        self,
        folder: str | PathLike[str],
        make_sizing: Callable[[Settings], Sizing],
        *,
        job_toml: bytes | None = None,
        log: bytes | None = None,
    ) -> None:
        """Read job.toml and the headers of all tables; raises InputError where there is no folder. `job_toml` and `log`
        as in `read_folder`."""
        self._findings = Findings()
        path = Path(folder)
        _check_folder(path, self._findings)
        self._job_bytes = read_bytes(path, JOB_FILE, self._findings) if job_toml is None else job_toml
        self.settings = (
            read_settings(self._job_bytes, self._findings)
            if self._job_bytes is not None
            else unread_settings(JobFile("", self._findings))
        )
        self._position_source = positions_source(path, self.settings, self._findings)
        self._sources, complete = shell_sources(path, self.settings, self._findings)
        self._log_source = readings_source(path, self.settings, self._findings, log)
        self._tables = _Tables(path, self.settings, make_sizing(self.settings), self._findings)
        self._tables.open(self._position_source, self._sources, complete=complete)

    @property
    def in_shells(self) -> set[str]:
        """The names of all columns of its shell files."""
        return self._tables.in_shells

    def compared(self, elsewhere: Set[str]) -> Compared:
        """What this job compares; `elsewhere` are the columns of other jobs' shell files."""
        tables, settings = self._tables, self.settings
        matched = matched_columns(settings, tables.in_positions, tables.in_shells | elsewhere)
        others = (column for r in settings.rules if r.columns_in == "shells" for column in r.columns)
        return Compared(matched, tuple(dict.fromkeys(others)))

    def job(self, own: Compared, pooled: Compared | None = None, *, assembled: bool = False) -> Job:
        """The job; raises InputError with every mistake in its files. `pooled` are the columns that all jobs compare
        which share their shells; `assembled` as in `read_folder`."""
        findings = self._findings
        if pooled is not None:
            self._check_families()
        job = self._tables.read(own, pooled, self._log_source, assembled=assembled)
        if findings.first_rounded is not None:
            first = findings.first_rounded
            text = f"numbers finer than a nanometre were rounded, halves to even; the first is {first}"
            findings.warnings.append(text)
        if findings.problems:
            raise InputError(findings.problems)
        assert self._job_bytes is not None and self._position_source is not None
        read = [Source(JOB_FILE, self._job_bytes), self._position_source, *self._sources]
        read += [self._log_source] if self._log_source else []
        return replace(job, digest=digest_of(read), warnings=tuple(findings.warnings))

    def _check_families(self) -> None:
        for kind, table in self.settings.fits.items():
            if table.fit.family is None:
                text = "is missing; where jobs share their shells each kind needs the families that fit it"
                self.settings.file.report("family-missing", f'{text}, such as ["A12"]', "fit", kind, "family")


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


class _Tables:
    """Everything but job.toml; what is read is of worth only if no problem was found."""

    def __init__(self, folder: Path, settings: Settings, sizing: Sizing, findings: Findings) -> None:
        self._folder = folder
        self._settings = settings
        self._sizing = sizing
        self._findings = findings

    def open(self, position_source: Source | None, sources: Sequence[Source], *, complete: bool) -> None:
        """Open every table; `complete`: every file could be had."""
        self._position_table = self._open(position_source, POSITION_FORM)
        self._shell_tables = [table for s in sources if (table := self._open(s, SHELL_FORM)) is not None]
        self.in_positions = names_in(self._position_table) if self._position_table else set()
        self.in_shells = {name for table in self._shell_tables for name in names_in(table)}
        self._complete = complete and len(self._shell_tables) == len(sources)
        if self._complete and self._position_table:
            check_rule_columns(self._settings, self.in_positions, self.in_shells)
        warn_of_idle_rules(self._settings, self._findings)

    def read(self, own: Compared, pooled: Compared | None, log_source: Source | None, *, assembled: bool) -> Job:
        """The job, its own columns compared; with `pooled`, its shells as all jobs look at them."""
        settings, findings = self._settings, self._findings
        position_table, shell_tables, complete = self._position_table, self._shell_tables, self._complete
        in_shells = self.in_shells
        matched = (pooled or own).matched
        compared = (pooled or own).shell_columns
        may_match: tuple[str, ...] = (*OFTEN_MATCHED, *MATCHED_IF_ASKED, *settings.match)
        if not settings.match_read:
            may_match += SHELL_LABELS
        logged = log_source is not None or settings.readings_written
        position_form = without_readings(POSITION_FORM) if logged else POSITION_FORM
        shell_form = without_readings(SHELL_FORM) if logged else SHELL_FORM
        rows: list[PositionRow] = []
        sheet: Sheet | None = None
        unmatched: set[str] = set()
        if position_table:
            further = (*may_match, *per_half(may_match), *columns_within(settings.rules))
            sheet = self._sheet(position_table, position_form, SHELL_FORM, further)
            rows = PositionReader(sheet).rows(matched, frozenset(own.matched))
            warn_of_unmatched(sheet.columns.ignored, in_shells, findings)
            unmatched = in_shells.intersection(sheet.columns.ignored)
            warn_of_unused(sheet, unmatched)

        pool = ShellPool(settings, compared, findings, self._sizing, complete=complete)
        lacking: dict[str, bool] = {}
        if len(shell_tables) > 1:
            stems = in_shells | {name.rpartition("_")[0] for name in in_shells}  # wall_1 stands for wall
            lacking = dict.fromkeys(set(shell_form.needed) - stems, False)
        for number, table in enumerate(shell_tables, 1):
            now(f"shell file {number} of {len(shell_tables)}, {len(pool.shells)} shells so far")
            further = (*may_match, *compared)
            shell_sheet = self._sheet(table, shell_form, POSITION_FORM, further, lacking, pool.readers)
            pool.add(shell_sheet)
            warn_of_unused(shell_sheet, unmatched)
        pool.report_doubles()
        warn_of_copies(pool.shells, pool.names, findings)

        log = Log()
        if log_source is not None:
            log = self._read_log(
                log_source, rows, pool, complete=position_table is not None and position_table.complete
            )
        now(f"the sizes of {len(rows)} positions")
        rows = [self._sized(row, log) for row in rows]
        positions: list[Position] = []
        if sheet:
            positions = _finish_positions(sheet, rows, pool)
            if pooled is None and pool.complete and sheet.table.complete:
                check_agreement(rows, pool, matched, sheet.columns.slipped | pool.slipped, sheet)
        known = position_table is not None and position_table.complete
        checks = self._read_assembled(positions, pool, complete=known) if assembled else None
        return Job(
            folder=self._folder,
            title=settings.title,
            unit=settings.unit or "",
            fits={kind: table.fit for kind, table in settings.fits.items()},
            positions=tuple(positions),
            shells=tuple(pool.shells),
            rules=_rules(settings.rules, own.matched, compared),
            drawing=settings.drawing,
            matched_columns=matched,
            shell_columns=compared,
            coating_counts=settings.coating_counts,
            measuring=replace(
                settings.measuring,
                pooled=self._sizing.pooled(),
                form_told=self._sizing.form_told(),
                positions_file=position_table.paper.name if position_table else "",
                log_file=log_source.paper.name if log_source else "",
                log=log.rows,
                assembled_file=checks[0] if checks else "",
                assembled=checks[1] if checks else (),
            ),
        )

    def _open(self, source: Source | None, form: TableForm) -> Table | None:
        table = open_table(source.data, source.paper, self._findings) if source else None
        return table if table and has_header(table, form, self._findings) else None

    def _sheet(
        self,
        table: Table,
        form: TableForm,
        other: TableForm,
        further: Iterable[str] = (),
        lacking: dict[str, bool] | None = None,
        readers: Readers | None = None,
    ) -> Sheet:
        settings, findings = self._settings, self._findings
        columns = understand(table, form, other, further, findings, inch_job=settings.inch_job, lacking=lacking)
        return Sheet(table, columns, settings, findings, readers)

    def _read_log(self, source: Source, rows: Sequence[PositionRow], pool: ShellPool, *, complete: bool) -> Log:
        """The long file; its walls go to the shells at once."""
        from fitmatch.intake.longfile import READINGS_FORM, LogReader, check_sources

        table = self._open(source, READINGS_FORM)
        if table is None:
            return Log(slipped=True)

        sheet = self._sheet(table, READINGS_FORM, _NO_FORM)
        log = LogReader(sheet, rows, pool.shells, complete=complete and pool.complete).read()
        warn_of_unused(sheet)
        for row, text in check_sources(log, rows, pool.shells):
            sheet.report("two-sources", text, row, "item")
        pool.add_logged(log.walls, log.wall_rows, sheet)
        return log

    def _read_assembled(
        self, positions: Sequence[Position], pool: ShellPool, *, complete: bool
    ) -> tuple[str, tuple[AssembledReading, ...]] | None:
        """The file of readings with the shells in: its name and its rows."""
        from fitmatch.intake.assembled import ASSEMBLED_FORM, AssembledReader
        from fitmatch.intake.savedplan import read_saved_plan

        findings, settings = self._findings, self._settings
        problems = len(findings.problems)
        plan = read_saved_plan(self._folder, findings)
        plan_sound = len(findings.problems) == problems
        source = assembled_source(self._folder, settings, findings)
        table = self._open(source, ASSEMBLED_FORM)
        if table is None:
            return None
        sheet = self._sheet(table, ASSEMBLED_FORM, _NO_FORM)
        complete = complete and pool.complete
        rows = AssembledReader(sheet, positions, pool.shells, plan, complete=complete, plan_sound=plan_sound).read()
        warn_of_unused(sheet)
        return table.paper.name, rows

    def _sized(self, row: PositionRow, log: Log) -> PositionRow:
        """The row with its sizes, from whichever file holds its readings. Where the long file tells nothing no size is
        sound: its faults are told, and not what follows from them."""
        sized = {}
        unsized: Form | None = None
        for feature in DIAMETERS:
            readings = row.readings.get(feature) or log.positions.get((row.name, feature))
            if readings:
                found = self._sizing.sized(row.kind, feature, readings)
                if found is not None:
                    sized[feature] = found
                else:
                    unsized = self._sizing.form(row.kind, feature, readings)
        return replace(row, sized=sized, unsized=unsized, sizes_sound=row.sizes_sound and not log.slipped)


def _rules(written: tuple[Rule, ...], matched: tuple[str, ...], shell_columns: tuple[str, ...]) -> tuple[Rule, ...]:
    """The rules of a job, with one for every column that is matched, named or not."""
    others = (rule for rule in written if not isinstance(rule, Match))
    return tuple(rule.located(shell_columns) for rule in in_order((*others, *map(Match, matched))))


def _finish_positions(sheet: Sheet, rows: list[PositionRow], pool: ShellPool) -> list[Position]:
    """Hold the rows against their kinds' tables and the shells."""
    aims = AimCheck(sheet).aims(rows)
    check_bores(rows, sheet)
    locks = LockCheck(sheet, pool).resolve(rows)
    return [_position(row, aim, lock, sheet.settings) for row, aim, lock in zip(rows, aims, locks, strict=True)]


def _position(row: PositionRow, aim: Aim, locks: dict[str, Key], settings: Settings) -> Position:
    table = settings.fits.get(row.kind)
    seating = row.own.get("seating", table.fit.seating_nm if table else None)
    return Position(
        name=row.name,
        kind=row.kind,
        journal=_size(row, "journal"),
        housing_bore=_size(row, "housing_bore"),
        target_nm=aim.target_nm,
        min_nm=aim.min_nm,
        max_nm=aim.max_nm,
        want_min_nm=aim.want_min_nm,
        want_max_nm=aim.want_max_nm,
        seating_nm=seating or 0,
        upper=locks.get("upper"),
        lower=locks.get("lower"),
        wants_upper=row.wants["upper"],
        wants_lower=row.wants["lower"],
        accept=row.accept,
        pin=row.pin,
        undersize=row.undersize,
        row=row.row,
        aims_at_middle=aim.at_middle,
        within=row.within,
        offset_nm=row.own.get("offset"),
        unsized=row.unsized,
    )


def _size(row: PositionRow, feature: str) -> Size | None:
    return row.sized[feature].size if feature in row.sized else None
