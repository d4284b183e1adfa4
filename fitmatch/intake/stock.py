"""`read_stock`: job folders or files of boxes in, all that the shelf keeps of them out, or `InputError` with every
mistake."""

from collections.abc import Iterable, Mapping, Sequence
from os import PathLike
from os.path import lexists
from pathlib import Path
from typing import Final, TypeVar

from fitmatch.gauging.sizes.sizing import Sizes
from fitmatch.intake.common.findings import SHELLS, Findings, Paper
from fitmatch.intake.job_toml.key_rows import JobFile
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.intake.job_toml.sources import read_bytes
from fitmatch.intake.job_toml.unread import TABLES
from fitmatch.intake.reading import read_job
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.intake.rows.shells import ShellPool
from fitmatch.intake.rows.stock_rows import (
    SEALED_FORM,
    FurtherCells,
    Told,
    describes_sealed_boxes,
    further_cells,
    sealed_boxes,
)
from fitmatch.intake.tables.columns import SHELL_FORM, STOCK_COLUMNS, Form, has_header, names_in
from fitmatch.intake.tables.opening import open_table
from fitmatch.intake.tables.table import Table
from fitmatch.intake.together.copies import copies
from fitmatch.problems import InputError
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.measuring import Gauge, LoggedReading, Measuring
from fitmatch.records.parts import Shell
from fitmatch.records.shelf.stock import Bought, Printed, Stock, StockBox, StockShell

T = TypeVar("T")
COUNT_FORM: Final = Form(
    name="count",
    needed=(),
    optional=("number", "box", "shell", "location", "note"),
    readings=(),
    lengths=frozenset(),
    filled=(),
)
_UNKNOWN: Final = Told(Printed(), Bought(), "", "", "", {})


def read_stock(paths: Sequence[str | PathLike[str]], unit: str | None = None) -> Stock:
    """What one job folder describes, or some files of boxes whose plain lengths are in `unit`; raises InputError."""
    first = Path(paths[0])
    _refuse_what_is_not_there([Path(path) for path in paths])
    if len(paths) == 1 and not first.is_file():
        return _of_job(first)
    return _Files(unit or "").read([Path(path) for path in paths])


def _refuse_what_is_not_there(paths: Sequence[Path]) -> None:
    """Of one path that is not named as a table the reader of jobs says what is missing."""
    findings = Findings()
    for at, path in enumerate(paths):
        if not lexists(path) and (len(paths) > 1 or path.name.lower().endswith(TABLES)):
            findings.report("missing-file", "there is no such file; correct the path", Paper(str(path), (SHELLS, at)))
    if findings.problems:
        raise InputError(findings.problems)


def _of_job(folder: Path) -> Stock:
    job = read_job(folder)
    findings = Findings()
    told: dict[str, FurtherCells | None] = {}
    for name in dict.fromkeys(shell.file for shell in job.shells):
        paper = Paper(name, (SHELLS, len(told)))
        data = read_bytes(folder, paper, findings, may_leave=True)
        told[name] = further_cells(data, paper, job.unit, findings) if data is not None else None
    logged = {one.shell: one for one in job.measuring.log if one.shell is not None and one.feature == "wall"}
    return _stock([*job.shells], told, (), job.measuring.gauges, job.unit, findings, logged, job.warnings)


class _Files:
    """Reads files that belong to no job."""

    def __init__(self, unit: str) -> None:
        self._unit = unit
        self._findings = Findings()

    def read(self, paths: Sequence[Path]) -> Stock:
        findings = self._findings
        papers = [Paper(str(path), (SHELLS, at)) for at, path in enumerate(paths)]
        sealed: list[StockBox] = []
        opened: dict[Paper, Table] = {}
        told: dict[str, FurtherCells | None] = {}
        for paper in papers:
            data = read_bytes(Path(), paper, findings, may_leave=True)
            table = None if data is None else open_table(data, paper, findings)
            if data is None or table is None:
                continue
            if describes_sealed_boxes(table):
                if has_header(table, SEALED_FORM, findings):
                    sealed += sealed_boxes(Sheet(table, SEALED_FORM, self._settings(), findings), self._unit)
            elif has_header(table, SHELL_FORM, findings):
                opened[paper] = table
                told[paper.name] = further_cells(data, paper, self._unit, findings)
        gauges = {name: Gauge(name) for cells in told.values() if cells for name in sorted(cells.gauges)}
        shells = self._shells(opened, gauges)
        return _stock(shells, told, sealed, gauges, self._unit, findings, {}, findings.warnings)

    def _settings(self, gauges: Mapping[str, Gauge] | None = None) -> Settings:
        measuring = Measuring(gauges=gauges or {})
        return Settings(JobFile("", self._findings), unit=self._unit, measuring=measuring)

    def _shells(self, tables: dict[Paper, Table], gauges: Mapping[str, Gauge]) -> list[Shell]:
        settings, findings = self._settings(gauges), self._findings
        sizes = Sizes(settings.measuring, numbered_are_repeats=True)
        pool = ShellPool(settings, (), findings, sizes)
        for paper in [*tables]:
            table = tables.pop(paper)  # read, it is of no use any more, and there may be hundreds
            pool.add(Sheet(table, SHELL_FORM, settings, findings, further=STOCK_COLUMNS, readers=pool.readers))
        pool.report_doubles()
        if pool.complete and not findings.problems:
            for copy in copies(pool.shells, pool.copies_confirmed):
                if copy.is_mistake:
                    where = "box" if copy.shares_file else None
                    paper = pool.papers[copy.shell.file]
                    findings.report("box-copied", copy.mistake(copy.other.file), paper, copy.row, where)
        return pool.shells


def _stock(
    shells: list[Shell],
    told: Mapping[str, FurtherCells | None],
    sealed: Iterable[StockBox],
    gauges: Mapping[str, Gauge],
    unit: str,
    findings: Findings,
    logged: Mapping[ShellKey, LoggedReading],
    warnings: Sequence[str],
) -> Stock:
    """Shells with what else is told of them, and their boxes with what is told of all of their shells alike. The list
    is used up: there may be a million, and none is needed twice."""
    found: list[StockShell] = []
    boxes: dict[str, tuple[set[str], set[Printed], dict[Bought, None]]] = {}
    shells.reverse()
    while shells:
        shell = shells.pop()
        cells = told.get(shell.file)
        said = _UNKNOWN if cells is None else cells.told(shell.row)
        kinds, printed, bought = boxes.setdefault(shell.box, (set(), set(), {}))
        kinds.add(shell.kind)
        printed.add(said.printed)
        bought[said.bought._replace(note="")] = None
        found.append(_stock_shell(shell, said, logged.get(shell.key)))
    if findings.problems:
        raise InputError(findings.problems, findings.warnings, findings.number)
    opened = [
        StockBox(name, False, _common(kinds, ""), _common(printed, Printed()), _first([*bought]))
        for name, (kinds, printed, bought) in boxes.items()
    ]
    return Stock((*sealed, *opened), tuple(found), gauges, unit, tuple(warnings))


def _common(found: set[T], otherwise: T) -> T:
    return next(iter(found)) if len(found) == 1 else otherwise


def _first(bought: Sequence[Bought]) -> Bought:
    """Each figure from the first row that has it: people fill in what a box cost once."""
    result = Bought()
    for one in reversed(bought):
        result = result._replace(**{name: value for name, value in one._asdict().items() if value not in ("", None)})
    return result


def _stock_shell(shell: Shell, said: Told, logged: LoggedReading | None) -> StockShell:
    size = shell.measured
    metal = shell.wall_to_metal_nm
    return StockShell(
        box=shell.box,
        name=shell.name,
        kind=shell.kind,
        half=shell.half,
        printed=said.printed,
        grade=shell.grade or "",
        condition=said.condition,
        wall_nm=None if metal is None else metal + shell.coating_nm,
        coating_nm=shell.coating_nm,
        measured_bare=bool(shell.coating_nm and size is not None and size.mean_nm == metal),
        readings=() if size is None else size.readings,
        off_nm=0 if size is None else size.zero_nm + size.ball_nm,
        taken_by=logged.by if logged else "",
        at=logged.time.replace("Z", "+00:00") if logged else "",  # Z: the shelf's own
        measured_on=said.measured_on,
        hold=shell.hold or "",
        note=said.bought.note,
        location=said.bought.location,
        marks=said.marks,
        file=shell.file,
        row=shell.row,
    )


def read_count(path: str | PathLike[str]) -> tuple[str, ...]:
    """The shells that a file of stock-taking lists, by number or BOX/NAME; raises InputError."""
    findings = Findings()
    paper = Paper(str(path), (SHELLS, 0))
    data = read_bytes(Path(), paper, findings, may_leave=True)
    table = None if data is None else open_table(data, paper, findings)
    found: list[str] = []
    if table is not None:
        by_number = "number" in names_in(table)
        form = COUNT_FORM._replace(needed=("number",) if by_number else ("box", "shell"))
        if has_header(table, form, findings):
            sheet = Sheet(table, form, Settings(JobFile("", findings)), findings)
            for row, cells in table.rows:
                number, box, shell = (sheet.cell(cells, name) for name in ("number", "box", "shell"))
                if number or (box and shell):
                    found.append(number or full_name((box, shell)))
                else:
                    sheet.report("empty-cell", "is empty; write which shell lies there", row, form.needed[0])
            if not found and table.complete and not findings.problems:
                findings.report("no-rows", "has a header and nothing below it; list the shells that lie there", paper)
    if findings.problems:
        raise InputError(findings.problems, findings.warnings, findings.number)
    return tuple(found)
