"""`read_measured_again`: what was measured when an engine was taken down, a row for each position, or `InputError` with
every mistake."""

from collections.abc import Mapping
from dataclasses import replace
from os import PathLike
from pathlib import Path
from typing import Final

from fitmatch.gauging.sizes.sizing import Sizes
from fitmatch.intake.common.findings import SHELLS, Findings, Paper
from fitmatch.intake.common.quantities import JOURNAL, WALL
from fitmatch.intake.job_toml.key_rows import JOB_FILE, JobFile
from fitmatch.intake.job_toml.settings import Settings, read_settings
from fitmatch.intake.job_toml.sources import read_bytes
from fitmatch.intake.reading import check_folder
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.intake.tables.columns import Form, has_header
from fitmatch.intake.tables.opening import open_table
from fitmatch.problems import InputError
from fitmatch.records.measuring import Reading
from fitmatch.records.parts import SIDES, Size
from fitmatch.records.shelf.stock import MeasuredAgain
from fitmatch.wording import listed, shorten

TEARDOWN_FORM: Final = Form(
    name="teardown",
    needed=("position",),
    optional=("journal", *SIDES, "gauge", "journal_gauge", "wall_gauge", "note"),
    readings=("journal", *SIDES),
    lengths=frozenset(("journal", *SIDES)),
    filled=("position",),
)


def read_measured_again(
    path: str | PathLike[str], kinds: Mapping[str, str], unit: str | None, job: str | PathLike[str] | None = None
) -> MeasuredAgain:
    """The sizes in a file. `kinds` has the positions of the engine, with the kind of each. Plain numbers are in `unit`
    or in that of `job`, the folder of a job whose gauges and temperature are those of the day."""
    findings = Findings()
    settings = Settings(JobFile("", findings), unit=unit)
    if job is not None:
        check_folder(Path(job), findings)
        settings = read_settings(read_bytes(Path(job), JOB_FILE, findings), findings)
    paper = Paper(str(path), (SHELLS, 0))
    data = read_bytes(Path(), paper, findings, may_leave=True)
    table = None if data is None else open_table(data, paper, findings)
    sizes = Sizes(settings.measuring, numbered_are_repeats=True)
    found: dict[str, Mapping[str, Size]] = {}
    if table is not None and has_header(table, TEARDOWN_FORM, findings):
        sheet = Sheet(table, TEARDOWN_FORM, settings, findings)
        for row, cells in table.rows:
            name = sheet.cell(cells, "position")
            if name in found:
                sheet.report("duplicate-position", f"`{shorten(name)}` stands in two rows; keep one", row, "position")
            elif name in kinds:
                found[name] = _sized(sheet, row, cells, kinds[name], sizes)
            elif name:
                text = f"the engine has no position `{shorten(name)}`; it has {listed([*kinds] or ['none'])}"
                sheet.report("unknown-item", text, row, "position")
            else:
                sheet.report("empty-cell", "is empty; write which position it is", row, "position")
    if findings.problems:
        raise InputError(findings.problems, findings.warnings, findings.number)
    measuring = replace(settings.measuring, pooled=sizes.pooled())
    return MeasuredAgain(found, measuring, tuple(findings.warnings))


def _sized(sheet: Sheet, row: int, cells: list[str], kind: str, sizes: Sizes) -> Mapping[str, Size]:
    found = {}
    for part in TEARDOWN_FORM.readings:
        feature = "journal" if part == "journal" else "wall"
        column = f"{feature}_gauge"
        gauge = sheet.gauge(row, cells, column if sheet.cell(cells, column) else "gauge", kind, feature)
        read, sound = sheet.readings(row, cells, part, JOURNAL if part == "journal" else WALL, gauge)
        sized = sizes.sized(kind, feature, [Reading(nm, gauge=gauge[0]) for nm in read]) if read and sound else None
        if sized is not None:
            found[part] = sized.size
    return found
