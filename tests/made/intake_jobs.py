"""Small job folders for the tests of reading: a good one, and any change to it, also as workbooks."""

import csv
import io
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

from fitmatch.intake.reading import read_job
from fitmatch.problems import InputError

JOB = """\
title = "Sawmill engine"
unit = "in"

[fit.rod]
target = 0.0022
min = 0.0018
max = 0.0028
"""

POSITIONS = """\
position,kind,journal,housing_bore
R1,rod,1.8162,1.9421
R2,rod,1.8161,1.9420
"""

SHELLS = """\
shell,kind,half,wall
01,rod,upper,0.06185
02,rod,lower,0.0618
03,rod,either,0.0619
"""

# The same names in another box, with walls of their own.
OTHER_SHELLS = SHELLS.replace("0.06185", "0.06195").replace("0.0618\n", "0.06175\n")

# Limits in mm and three gauges that scatter 1 um each: every clearance read once has u = 3.11 um, U = 6.21 um, with the
# limit of the micrometer at the journal and at the bore.
METRIC_ROD = """\
unit = "mm"
[fit.rod]
min = 0.030
max = 0.060
"""
GAUGES = """\
[gauge.mic]
limit = 0.001
repeatability = 0.001
[gauge.bore]
set_with = "mic"
repeatability = 0.001
[gauge.ball]
repeatability = 0.001
[measured.rod]
journal = "mic"
housing_bore = "bore"
wall = "ball"
"""


def write_job(
    folder: Path,
    job: str | bytes = JOB,
    positions: str | bytes | None = POSITIONS,
    shells: str | bytes | None = SHELLS,
    **files: str | bytes,
) -> Path:
    """A job folder; further files by path, with `__` for `/` and `_DOT_` for `.`; None leaves a file out."""
    contents = {"job.toml": job, "positions.csv": positions, "shells/box-1.csv": shells}
    contents |= {name.replace("__", "/").replace("_DOT_", "."): text for name, text in files.items()}
    for name, text in contents.items():
        if text is not None:
            put(folder / name, text)
    return folder


def put(path: Path, text: str | bytes) -> None:
    """Write a file byte for byte, with the folders it needs."""
    path.parent.mkdir(parents=True, exist_ok=True)
    path.unlink(missing_ok=True)  # writing over a file makes some file systems wait for the disk
    path.write_bytes(text if isinstance(text, bytes) else text.encode())


def mistakes(folder: Path) -> list[str]:
    """Every mistake in a job, as it is printed; none for a good one."""
    try:
        read_job(folder)
    except InputError as error:
        return [str(problem) for problem in error.problems]
    return []


def codes(folder: Path) -> list[str]:
    """The code of every mistake in a job."""
    try:
        read_job(folder)
    except InputError as error:
        return [problem.code for problem in error.problems]
    return []


def workbook(rows: Iterable[Sequence[Any]], **more_sheets: Iterable[Sequence[Any]]) -> bytes:
    """A workbook with these rows on its first sheet, and with further sheets."""
    from openpyxl import Workbook  # slow to load, and few tests need it

    book = Workbook()
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append(list(row))
    for name, others in more_sheets.items():
        further = book.create_sheet(name)
        for row in others:
            further.append(list(row))
    data = io.BytesIO()
    book.save(data)
    return data.getvalue()


def typed(text: str) -> list[list[Any]]:
    """The cells of a .csv text as a spreadsheet program would take them: numbers as numbers."""

    def cell(value: str) -> Any:
        try:
            return float(value)
        except ValueError:
            return value or None

    return [[cell(value) for value in row] for row in csv.reader(io.StringIO(text))]
