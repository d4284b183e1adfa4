"""`read_job`: a job folder in, a checked `Job` out, or `InputError` with every mistake in its files."""

from collections.abc import Mapping, Sequence, Set
from dataclasses import replace
from hashlib import sha256
from os import PathLike
from os.path import lexists
from pathlib import Path
from typing import TYPE_CHECKING, NamedTuple

from fitmatch.gauging.sizes.sizing import Sizes
from fitmatch.intake.common.findings import LAST, SETTINGS, Findings, Paper
from fitmatch.intake.job_toml.key_rows import JOB_FILE, decisive
from fitmatch.intake.job_toml.settings import read_settings
from fitmatch.intake.job_toml.sources import (
    Source,
    read_bytes,
    readings_source,
    shell_sources,
    table_source,
    with_positions,
)
from fitmatch.intake.rows.positions import PositionReader, PositionRow
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.intake.rows.shells import LoggedItems, ShellPool
from fitmatch.intake.rows.targets import AimCheck
from fitmatch.intake.tables.columns import (
    MATCHED_IF_ASKED,
    OFTEN_MATCHED,
    POSITION_FORM,
    SHELL_FORM,
    SHELL_LABELS,
    STOCK_COLUMNS,
    Form,
    has_header,
    names_in,
    per_half,
    without_readings,
)
from fitmatch.intake.tables.opening import open_table
from fitmatch.intake.tables.table import Table
from fitmatch.intake.together.all_shells import settled, unlike, without_family
from fitmatch.intake.together.copies import copies, look_alikes
from fitmatch.intake.together.cross_checks import (
    LockCheck,
    check_agreement,
    check_bores,
    check_rule_columns,
    matched_columns,
    scatter_warnings,
    warn_of_columns,
    warn_of_idle_rules,
    warn_of_unmatched,
)
from fitmatch.names import spellings
from fitmatch.problems import InputError
from fitmatch.records.job import Job, Rule
from fitmatch.records.measuring import DIAMETERS, AssembledReading, LoggedReading
from fitmatch.records.parts import Position, Shell, Size
from fitmatch.rules.one_half.match import Match
from fitmatch.rules.positions.movable import columns_within
from fitmatch.rules.registry import in_order
from fitmatch.stages import now
from fitmatch.wording import printable

if TYPE_CHECKING:
    from fitmatch.intake.together.supplied import Offer
    from fitmatch.records.shelf.shelved import Supply


def read_job(
    folder: str | PathLike[str],
    *,
    assembled: bool = False,
    job_toml: bytes | None = None,
    log: bytes | None = None,
    needs_shells: bool = True,
    supply: "Supply | None" = None,
    needs_aims: bool = True,
    locks_elsewhere: bool = False,
) -> Job:
    """Read and check a whole job folder; raises InputError with every mistake at once, in reading order.

    `assembled`: with the readings taken with the shells in, and the saved plan that they may refer to. `job_toml` is
    read in place of the file's own bytes, `log` in place of those of the long file of readings, which need not exist.
    `needs_shells`: having no shell file at all is a mistake. `supply`: a shelf, whose shells of the job's families are
    added. `needs_aims`: a kind without limits or a target is a mistake. `locks_elsewhere`: a lock may name a shell of a
    shelf that is not looked at.
    """
    reader = FolderReader(
        Path(folder),
        job_toml=job_toml,
        log=log,
        needs_shells=needs_shells,
        supply=supply,
        needs_aims=needs_aims,
        locks_elsewhere=locks_elsewhere,
    )
    return reader.job(reader.compared(frozenset()), assembled=assembled)


class Compared(NamedTuple):
    """Columns in which shells are compared with positions, and those that other rules look at."""

    matched: tuple[str, ...]
    others: tuple[str, ...]

    @property
    def shell_columns(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys((*self.matched, *self.others)))


class FolderReader:
    """Reads one job folder in two steps, as jobs that share their shells must first know each other's headers."""

    def __init__(
        self,
        folder: Path,
        *,
        job_toml: bytes | None = None,
        log: bytes | None = None,
        needs_shells: bool = True,
        supply: "Supply | None" = None,
        needs_aims: bool = True,
        locks_elsewhere: bool = False,
    ) -> None:
        """Read job.toml and the headers of all tables; raises InputError if there is no folder. The other arguments are
        those of `read_job`."""
        self._locks_elsewhere = locks_elsewhere
        self._findings = findings = Findings()
        self._folder = path = folder
        check_folder(path, findings)
        self._job_bytes = read_bytes(path, JOB_FILE, findings) if job_toml is None else job_toml
        read = read_settings(self._job_bytes, findings, needs_aims=needs_aims)
        self.settings = settings = with_positions(path, read)
        self._sizes = Sizes(settings.measuring, numbered_are_repeats=settings.numbered_are_repeats)
        self._position_source = table_source(path, settings, "positions", findings)
        self._sources, complete = shell_sources(path, settings, findings, needed=needs_shells and supply is None)
        self._log_source = readings_source(path, settings, findings, log)
        self._positions = self._open(self._position_source, POSITION_FORM)
        self._shells = [table for s in self._sources if (table := self._open(s, SHELL_FORM)) is not None]
        self._in_positions = names_in(self._positions) if self._positions else set()
        self.in_shells = {name for table in self._shells for name in names_in(table)}
        self._supply = supply
        self._offer: Offer | None = None
        if supply is not None:
            from fitmatch.intake.together.supplied import offer_of

            self._offer = offer_of(supply, settings)
            self.in_shells |= self._offer.columns
        self._complete = complete and len(self._shells) == len(self._sources)
        if self._complete and self._positions and (self._sources or self._offer):
            check_rule_columns(settings, self._in_positions, self.in_shells)
        warn_of_idle_rules(settings, findings)
        self.copies_confirmed: Mapping[str, str] = {}  # once the shells are read
        self._log: tuple[LoggedReading, ...] = ()
        self._logged: LoggedItems = {}
        self._log_sound = True

    def compared(self, elsewhere: Set[str]) -> Compared:
        """What this job compares; `elsewhere` are the columns of other jobs' shell files."""
        matched = matched_columns(self.settings, self._in_positions, self.in_shells | elsewhere)
        there = self.in_shells | elsewhere
        rules = [r for r in self.settings.rules if r.columns_in == "shells"]
        others = [c for r in rules for c in r.columns if c in there or not r.by_default]
        others += [c for c in MATCHED_IF_ASKED if c in there and c not in matched]
        return Compared(matched, tuple(dict.fromkeys(others)))

    def job(self, own: Compared, pooled: Compared | None = None, *, assembled: bool = False) -> Job:
        """The job; raises InputError with every mistake in its files. `pooled` are the columns compared by all jobs
        that share their shells; `assembled` as in `read_job`."""
        findings = self._findings
        if pooled is not None:
            self._check_families()
        job = self._read(own, pooled, assembled=assembled)
        if findings.first_rounded is not None:
            first = findings.first_rounded
            text = f"numbers finer than a nanometre were rounded to the nearest, halves to even; the first is {first}"
            findings.warnings.append(text)
        if findings.problems:
            raise InputError(findings.problems, findings.warnings, findings.number)
        if pooled is None:
            findings.warnings += scatter_warnings(job.measuring)
        job = replace(job, digest=self._digest(), warnings=tuple(map(printable, findings.warnings)))
        return settled(job) if pooled is None else job

    def _digest(self) -> str:
        """That of the files of the job, without any that is missing, which is a mistake."""
        job_toml = None if self._job_bytes is None else Source(JOB_FILE, decisive(self._job_bytes))
        sources = (job_toml, self._position_source, *self._sources, self._log_source)
        return digest_of([source for source in sources if source is not None])

    def _check_families(self) -> None:
        for kind, table in self.settings.fits.items():
            if table.fit.family is None:
                text = "is missing; where jobs share their shells each kind needs the families that fit it"
                self.settings.file.report("family-missing", f'{text}, such as ["narrow-2"]', "fit", kind, "family")

    def _read(self, own: Compared, pooled: Compared | None, *, assembled: bool) -> Job:
        """The job, its own columns compared; with `pooled`, its shells as all jobs look at them. The result is valid
        only if no problem was found."""
        settings, findings, in_shells = self.settings, self._findings, self.in_shells
        matched = (pooled or own).matched
        compared = (pooled or own).shell_columns
        may_match: tuple[str, ...] = (*OFTEN_MATCHED, *MATCHED_IF_ASKED, *settings.match)
        if not settings.match_read:
            may_match += SHELL_LABELS
        log = settings.readings  # one that is there and cannot be read was reported, and its readings are not missing
        logged = (
            self._log_source is not None
            or settings.readings_written
            or (log is not None and lexists(self._folder / log))
        )
        position_form = without_readings(POSITION_FORM) if logged else POSITION_FORM
        shell_form = without_readings(SHELL_FORM) if logged else SHELL_FORM
        rows: list[PositionRow] = []
        wanted: list[str] = []
        sheet: Sheet | None = None
        unmatched: set[str] = set()
        if self._positions:
            further = (*may_match, *per_half(may_match), *columns_within(settings.rules))
            sheet = Sheet(self._positions, position_form, settings, findings, further=further)
            reader = PositionReader(sheet)
            rows, wanted = reader.rows(matched, frozenset(own.matched)), reader.wanted
            unmatched = in_shells.intersection(sheet.columns.ignored)
            warn_of_unmatched(unmatched, findings)
            warn_of_columns(sheet, unmatched)

        pool = ShellPool(settings, compared, findings, self._sizes, complete=self._complete)
        lacking: dict[str, bool] = {}
        if len(self._shells) > 1:
            stems = in_shells | {name.rpartition("_")[0] for name in in_shells}  # wall_1 counts as wall
            lacking = dict.fromkeys(set(shell_form.needed) - stems, False)
        for number, table in enumerate(self._shells, 1):
            now(f"shell file {number} of {len(self._shells)}, {len(pool.shells)} shells so far")
            further = (*may_match, *compared)
            shell_sheet = Sheet(
                table, shell_form, settings, findings, further=further, lacking=lacking, readers=pool.readers
            )
            pool.add(shell_sheet)
            warn_of_columns(shell_sheet, unmatched.union(STOCK_COLUMNS))
        pool.report_doubles()
        self.copies_confirmed = pool.copies_confirmed

        complete = pool.complete and self._positions is not None and self._positions.complete
        if self._log_source is not None:
            self._read_log(self._log_source, rows, pool, complete=complete)
        in_files = len(pool.shells)
        locks = [cell for row in rows for cell in row.locks.values() if "/" in cell]
        taken = None if self._offer is None else self._offer.take(pool, findings, locks)
        now(f"the sizes of {len(rows)} positions")
        rows = [self._sized(row) for row in rows]
        positions: list[Position] = []
        if sheet:
            known = not self._locks_elsewhere
            positions = _finish_positions(sheet, rows, pool, known=known, shelf_asked=taken is not None)
            if taken is not None:
                taken.free_what_is_locked(pool, positions, findings)
                positions = taken.fixed(pool, positions, sheet)
            if pooled is None and complete:
                check_agreement(rows, pool, matched, sheet)
        checks = self._read_assembled(positions, pool.shells, complete=complete) if assembled else None
        job = Job(
            folder=self._folder,
            title=settings.title,
            unit=settings.unit or "",
            fits={kind: table.fit for kind, table in settings.fits.items()},
            positions=tuple(positions),
            shells=tuple(pool.shells),
            rules=_rules(settings.rules, own, compared),
            drawing=settings.drawing,
            matched_columns=matched,
            shell_columns=compared,
            coating_counts=settings.coating_counts,
            spelled=spellings(wanted) | pool.spelled(),
            running=settings.running,
            polish_max_nm=settings.polish_max_nm,
            record=settings.record,
            boxes=settings.boxes,
            measuring=replace(
                settings.measuring,
                pooled=self._sizes.pooled(),
                form_told=self._sizes.form_told(),
                positions_file=self._positions.paper.name if self._positions else "",
                log_file=self._log_source.paper.name if self._log_source else "",
                log=self._log,
                assembled_file=checks[0] if checks else "",
                assembled=checks[1] if checks else (),
            ),
        )
        if taken is not None:
            job = taken.into(job, tuple(pool.shells[:in_files]))
        if pooled is None and complete and sheet:
            job = replace(job, look_alikes=self._check_shells(job, sheet, pool))
        return job

    def _check_shells(self, job: Job, sheet: Sheet, pool: ShellPool) -> tuple[tuple[str, str], ...]:
        """Hold the shells of all files against one another, and against what the job asks of them as a whole. Returns
        the boxes that may be copies, each with the other."""
        findings = self._findings
        for kind, text in without_family(job):
            self.settings.file.report("no-family", text, "fit", kind, "family")
        for column, text in unlike(job):
            if column not in sheet.columns.slipped | pool.slipped:
                findings.report("unlike-shells", text, sheet.paper, None, column, LAST)
        found = [copy for copy in copies(job.shells, pool.copies_confirmed) if not copy.is_of_shelf]
        for copy in found:
            if copy.shell.is_shelved or copy.other.is_shelved:
                from fitmatch.intake.together.supplied import report_shelf_copy

                report_shelf_copy(copy, lambda shell: pool.papers[shell.file], findings)
            elif copy.is_mistake:
                paper, where = pool.papers[copy.shell.file], "box" if copy.shares_file else None
                findings.report("box-copied", copy.mistake(copy.other.file), paper, copy.row, where)
            else:
                findings.warnings.append(copy.warning(copy.shell.file, copy.other.file))
        return look_alikes(found)

    def _open(self, source: Source | None, form: Form) -> Table | None:
        table = open_table(source.data, source.paper, self._findings) if source else None
        return table if table and has_header(table, form, self._findings) else None

    def _read_log(self, source: Source, rows: Sequence[PositionRow], pool: ShellPool, *, complete: bool) -> None:
        """The long file; its walls go to the shells at once."""
        from fitmatch.intake.rows.long_file import READINGS_FORM, LogReader, by_item, check_sources

        table = self._open(source, READINGS_FORM)
        if table is None:
            self._log_sound = False
            return
        sheet = Sheet(table, READINGS_FORM, self.settings, self._findings)
        self._log = LogReader(sheet, rows, pool.shells, complete=complete).read()
        self._logged = by_item(self._log)
        self._log_sound = table.complete and not sheet.columns.lacking
        warn_of_columns(sheet)
        for row, text in check_sources(self._logged, rows, pool.shells):
            sheet.report("two-sources", text, row, "item")
        pool.add_logged(self._logged, sheet)

    @property
    def is_assembled(self) -> bool:
        """Whether there is a file of readings with the shells in."""
        name = self.settings.assembled
        return name is not None and lexists(self._folder / name.strip())

    def with_assembled(self, job: Job) -> Job:
        """The job, once the jobs that share its shells are read too, with the readings taken with the shells in;
        raises InputError with every mistake in these."""
        findings = self._findings
        noticed = len(findings.warnings)
        found = self._read_assembled(job.positions, job.shells, complete=True)
        if findings.problems:
            raise InputError(findings.problems, findings.warnings[noticed:], findings.number)
        assert found is not None
        measuring = replace(job.measuring, assembled_file=found[0], assembled=found[1])
        told = tuple(printable(f"{job.name}: {text}") for text in findings.warnings[noticed:])
        return replace(job, measuring=measuring, warnings=(*job.warnings, *told))

    def _read_assembled(
        self, positions: Sequence[Position], shells: Sequence[Shell], *, complete: bool
    ) -> tuple[str, tuple[AssembledReading, ...]] | None:
        """The file of readings with the shells in: its name and its rows."""
        from fitmatch.intake.rows.assembled import ASSEMBLED_FORM, AssembledReader
        from fitmatch.intake.saved.saved_plan import read_saved_plan, replaced_plans
        from fitmatch.intake.saved.shared_plan import apart, changed

        findings = self._findings
        problems = findings.number
        plan = read_saved_plan(self._folder, findings)
        plan_sound = findings.number == problems
        if plan is not None:
            if not plan.is_of(self._digest()):
                findings.warnings.append(changed(self._folder, plan, self._supply))
            findings.warnings += apart(self._folder, plan, self._supply)
        table = self._open(table_source(self._folder, self.settings, "assembled", findings), ASSEMBLED_FORM)
        if table is None:
            return None
        sheet = Sheet(table, ASSEMBLED_FORM, self.settings, findings)
        replaced = replaced_plans(self._folder)
        reader = AssembledReader(
            sheet,
            positions,
            shells,
            self._folder,
            plan,
            replaced,
            complete=complete,
            plan_sound=plan_sound,
            holdings=self._supply,
        )
        rows = reader.read()
        warn_of_columns(sheet)
        return table.paper.name, rows

    def _sized(self, row: PositionRow) -> PositionRow:
        """The row with its sizes, from whichever file has its readings. If the long file could not be read no size is
        reliable: its faults are reported, and not what follows from them."""
        position, mean = row.position, None
        sizes: dict[str, Size] = {}
        for feature in DIAMETERS:
            logged = self._logged.get((position.name, feature), ())
            readings = row.readings.get(feature) or [one.reading for one in logged]
            if readings:
                found = self._sizes.sized(position.kind, feature, readings)
                if found is not None:
                    sizes[feature] = found.size
                    mean = found.exact_mean if feature == "journal" else mean
                else:
                    position = replace(position, unsized=self._sizes.form(position.kind, feature, readings))
        position = replace(position, journal=sizes.get("journal"), housing_bore=sizes.get("housing_bore"))
        return replace(row, position=position, sizes_sound=row.sizes_sound and self._log_sound, journal_mean=mean)


def digest_of(sources: Sequence[Source]) -> str:
    """SHA-256 over paths and bytes, each preceded by its length, so that no two sets of files give the same bytes."""
    total = sha256()
    for source in sources:
        for part in (source.paper.name.encode("utf-8", "surrogateescape"), source.data):
            total.update(len(part).to_bytes(8, "big"))
            total.update(part)
    return total.hexdigest()


def check_folder(folder: Path, findings: Findings) -> None:
    """Raises InputError where there is no folder: there is nothing else to check then."""
    if not folder.is_dir():
        text = (
            "is a file; name the folder it is in"
            if folder.exists()
            else ("there is no such job folder; correct the path")
        )
        findings.report("no-job-folder", text, Paper(str(folder), (SETTINGS,)))
        raise InputError(findings.problems)


def _rules(written: tuple[Rule, ...], own: Compared, shell_columns: tuple[str, ...]) -> tuple[Rule, ...]:
    """The rules of a job, with one for every column that is matched, named or not."""
    there = {*own.matched, *own.others}
    others = (r for r in written if not isinstance(r, Match) and (not r.by_default or there.issuperset(r.columns)))
    return tuple(rule.located(shell_columns) for rule in in_order((*others, *map(Match, own.matched))))


def _finish_positions(
    sheet: Sheet, rows: list[PositionRow], pool: ShellPool, *, known: bool, shelf_asked: bool
) -> list[Position]:
    """Check the rows against their kinds' tables and the shells. `known`: every shell that a lock may name is in the
    pool; `shelf_asked`: those of a shelf too."""
    aimed = AimCheck(sheet).aimed(rows)
    check_bores(rows, sheet)
    locks = LockCheck(sheet, pool, rows, complete=pool.complete and known, shelf_asked=shelf_asked)
    found = [locks.resolved(row) for row in rows]
    return [replace(p, upper=lock.get("upper"), lower=lock.get("lower")) for p, lock in zip(aimed, found, strict=True)]
