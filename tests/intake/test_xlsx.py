"""Workbooks: the same job as from .csv, and what a sheet can hold that a text file cannot."""

import io
import zipfile
from collections.abc import Iterable, Sequence
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any

import pytest
from made.intake_jobs import JOB, POSITIONS, SHELLS, mistakes, put, typed, workbook, write_job

from fitmatch.intake.reading import read_job

XLSX_JOB = JOB + '[sources]\npositions = "positions.xlsx"\nshells = ["shells/*.xlsx", "shells/*.csv"]\n'


def with_shells(folder: Path, rows: Iterable[Sequence[Any]], **more: Iterable[Sequence[Any]]) -> list[str]:
    """The mistakes of a job whose shells are these rows."""
    put(folder / "shells/box-1.xlsx", workbook(rows, **more))
    return mistakes(write_job(folder, JOB + '[sources]\nshells = ["shells/*.xlsx"]\n', shells=None))


HEADER = ["shell", "kind", "half", "wall"]


def test_a_workbook_equals_its_csv(tmp_path: Path) -> None:
    """Numbers typed into a sheet are the lengths and names that were typed: 3.0 is the name 3, 0.0618 is exact."""
    positions = POSITIONS.replace("R1", "1").replace("R2", "20") + ",,,\n7,rod,1.8162,1.9421\n"
    shells = SHELLS.replace("01", "1").replace("02", "2").replace("03", "30")
    plain = read_job(write_job(tmp_path / "csv", JOB, positions, shells))
    folder = tmp_path / "xlsx"
    put(folder / "positions.xlsx", workbook(typed(positions)))
    put(folder / "shells/box-1.xlsx", workbook(typed(shells)))
    books = read_job(write_job(folder, XLSX_JOB.replace(', "shells/*.csv"', ""), None, None))
    assert books.positions == plain.positions
    assert [p.row for p in books.positions] == [2, 3, 5]
    assert [(s.key, s.half, s.wall_nm, s.row) for s in books.shells] == [
        (s.key, s.half, s.wall_nm, s.row) for s in plain.shells
    ]


def test_workbooks_and_texts_mix(tmp_path: Path) -> None:
    """A job may read some boxes from sheets and some from text."""
    put(tmp_path / "positions.xlsx", workbook(typed(POSITIONS)))
    put(tmp_path / "shells/box-2.xlsx", workbook(typed(SHELLS)))
    job = read_job(write_job(tmp_path, XLSX_JOB, None))
    assert [s.file for s in job.shells if s.half == "upper"] == ["shells/box-2.xlsx", "shells/box-1.csv"]


def test_blank_rows_count_in_a_sheet(tmp_path: Path) -> None:
    """Rows have the numbers they have on the sheet, above and below the header."""
    rows = [[], [None, " "], HEADER, [], ["x", "rod", "top", 0.0618]]
    assert with_shells(tmp_path, rows) == [
        ("shells/box-1.xlsx:5: half: `top` is not a valid half; write upper, lower or either")
    ]


def test_every_decimal_that_was_typed(tmp_path: Path) -> None:
    """A wall of 0.01 mm steps is read to the nanometre as it was typed, though a sheet stores binary fractions."""
    walls = [1_000_000 + 10_000 * n for n in range(300)]
    rows = [HEADER, *([f"s{n}", "rod", "upper", nm / 1_000_000] for n, nm in enumerate(walls))]
    put(tmp_path / "shells/box-1.xlsx", workbook(rows))
    metric = 'unit = "mm"\n[fit.rod]\ntarget = 0.05\n[sources]\nshells = ["shells/*.xlsx"]\n'
    positions = "position,kind,journal,housing_bore\nR1,rod,46,50\n"
    job = read_job(write_job(tmp_path, metric, positions, None))
    assert [s.wall_nm for s in job.shells] == walls
    assert job.warnings == ()


@pytest.mark.parametrize("value", [date(2024, 5, 1), datetime(2024, 5, 1, 7, 30), time(7, 30), timedelta(hours=30)])
def test_dates_and_times(tmp_path: Path, value: Any) -> None:
    """A date in a column that is read is a mistake; in a note or in an unused column it is not."""
    told = "the cell holds a date or a time; format it as text and type it again"
    rows = [[*HEADER, "hold", "note", "measured_on"], [value, "rod", "upper", value, value, value, value]]
    assert with_shells(tmp_path, rows) == [f"shells/box-1.xlsx:2: {name}: {told}" for name in ("shell", "wall", "hold")]


def test_error_cells(tmp_path: Path) -> None:
    """A cell that shows an error is a mistake of its own, wherever it matters."""
    rows = [HEADER, ["a", "rod", "#N/A", "#DIV/0!"]]
    told = "the cell shows an error; correct its formula or type the value"
    assert with_shells(tmp_path, rows) == [f"shells/box-1.xlsx:2: {name}: {told}" for name in ("half", "wall")]


def test_formulas_whose_values_were_not_saved(tmp_path: Path) -> None:
    """A formula without its saved value is distinguished from an empty cell, which would be a shell not yet
    measured."""
    rows = [[*HEADER, "note"], ["a", "rod", "upper", "=1.57/25.4", "=1"], ["b", "rod", "upper", None, None]]
    assert with_shells(tmp_path, rows) == [
        "shells/box-1.xlsx:2: wall: the formula's result was not saved; let the workbook calculate and save it again"
    ]


def test_formulas_with_saved_values(tmp_path: Path) -> None:
    """A saved value counts, an empty text too: the cell is then empty."""
    data = workbook([[*HEADER, "hold"], ["a", "rod", "upper", "=123/2000", '=""']])
    saved = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as source, zipfile.ZipFile(saved, "w") as target:
        for name in source.namelist():
            content = source.read(name)
            if name == "xl/worksheets/sheet1.xml":
                before = content
                content = content.replace(b"<f>123/2000</f><v />", b"<f>123/2000</f><v>0.0615</v>")
                content = content.replace(b'<c r="E2"><f>""</f><v />', b'<c r="E2" t="str"><f>""</f><v></v>')
                assert len(content) == len(before) + len("0.0615") + 2 + len(' t="str"') + 2
            target.writestr(name, content)
    put(tmp_path / "shells/box-1.xlsx", saved.getvalue())
    job = read_job(write_job(tmp_path, JOB + '[sources]\nshells = ["shells/*.xlsx"]\n', shells=None))
    assert [(s.wall_nm, s.hold) for s in job.shells] == [(1_562_100, None)]


def test_sheets(tmp_path: Path) -> None:
    """Empty sheets do not count, a second filled one is a mistake, and so is a workbook of empty ones."""
    rows = [HEADER, ["a", "rod", "upper", 0.0618]]
    assert with_shells(tmp_path, rows, Sheet2=[], Sheet3=[[None]]) == []
    assert with_shells(tmp_path, rows, Notes=[["bought in spring"]]) == [
        "shells/box-1.xlsx: the sheets `Sheet` and `Notes` all have content; keep one table per workbook"
    ]
    assert with_shells(tmp_path, [], Sheet2=[[" "]]) == ["shells/box-1.xlsx: is empty; fill it in or remove it"]


def test_a_table_on_the_second_sheet(tmp_path: Path) -> None:
    """The table is where the cells are."""
    assert with_shells(tmp_path, [], Sheet2=[HEADER, ["a", "rod", "top", 0.0618]]) == [
        "shells/box-1.xlsx:2: half: `top` is not a valid half; write upper, lower or either"
    ]


def test_cells_beyond_the_header(tmp_path: Path) -> None:
    """A cell to the right of the last column name is a mistake, a short row is none."""
    assert with_shells(tmp_path, [HEADER, ["a", "rod", "upper"], ["b", "rod", "upper", 0.0618, None, "x"]]) == [
        "shells/box-1.xlsx:3: a cell is beyond the last column of the header; name its column or clear it"
    ]


@pytest.mark.parametrize("data", [b"", b"PK\x03\x04 broken", b"shell,kind,half,wall\n", workbook([HEADER])[:-300]])
def test_files_that_are_no_workbooks(tmp_path: Path, data: bytes) -> None:
    """A damaged workbook, or a text named .xlsx, is one mistake."""
    put(tmp_path / "shells/box-1.xlsx", data)
    (mistake,) = mistakes(write_job(tmp_path, JOB + '[sources]\nshells = ["shells/*.xlsx"]\n', shells=None))
    assert mistake.startswith("shells/box-1.xlsx: cannot be read as an .xlsx workbook")
    assert mistake.endswith("save it again as .xlsx or .csv")


def test_names_in_a_sheet(tmp_path: Path) -> None:
    """Names with line breaks in their cells are refused as they are in text, and locks find numbers that are names."""
    rows = [HEADER, ["a\nb", "rod", "upper", 0.0618], [7, "rod", "upper", 0.0618], [8.0, "rod", "lower", 0.0618]]
    assert with_shells(tmp_path, rows) == [
        "shells/box-1.xlsx:2: shell: `a?b` holds an invisible character (shown as ?); type the name again"
    ]
    put(tmp_path / "shells/box-1.xlsx", workbook([HEADER, *rows[2:]]))
    positions = "position,kind,journal,housing_bore,upper,lower\nR1,rod,1.8162,1.9421,7,box-1/8\n"
    put(tmp_path / "positions.csv", positions)
    assert read_job(tmp_path).positions[0].lower == ("box-1", "8")
