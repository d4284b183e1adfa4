"""The .xlsx side of the table reader: cells become the texts that were typed, or a mark where they cannot."""

import re
import warnings
from collections.abc import Iterable, Iterator
from datetime import date, time, timedelta
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final
from zipfile import ZipFile

from fitmatch.intake.findings import Findings, Paper, listed
from fitmatch.intake.tables import UNREAD, Row, Table

if TYPE_CHECKING:
    from openpyxl import Workbook

_FORMULA: Final = re.compile(rb"<(?:\w+:)?f[\s/>]")


def open_workbook(data: bytes, paper: Paper, findings: Findings) -> Table | None:
    """The table on the only sheet that is not empty."""
    try:
        sheets = list(_sheets(data))
    except Exception as error:  # whatever a damaged file makes the library raise, it is the file that is at fault
        reason = f" ({type(error).__name__})"
        findings.report(
            "broken-workbook", f"cannot be read as an .xlsx workbook{reason}; save it again as .xlsx or .csv", paper
        )
        return None
    filled = [(name, rows) for name, rows in sheets if rows]
    if not filled:
        findings.report("empty-file", "is empty; fill it in or remove it", paper)
        return None
    if len(filled) > 1:
        names = listed([f"`{name}`" for name, _ in filled])
        findings.report("several-sheets", f"the sheets {names} are filled; keep one table in one workbook", paper)
        return None
    (_, rows), *_ = filled
    header_row, header = rows[0]
    table = Table(paper, header_row, header, iter(()), may_be_unread=True)
    table.rows = _padded(rows[1:], table, findings)
    return table


def _padded(rows: Iterable[Row], table: Table, findings: Findings) -> Iterator[Row]:
    """Rows as wide as the header: a sheet has no ragged rows, only cells beyond the last name."""
    width = len(table.header)
    for row, cells in rows:
        if any(cells[width:]):
            table.complete = False
            findings.report(
                "ragged-row",
                "a cell stands beyond the last column of the header; name its column or clear it",
                table.paper,
                row,
            )
        else:
            yield row, cells[:width] + [""] * (width - len(cells))


def _sheets(data: bytes) -> Iterator[tuple[str, list[Row]]]:
    """Each sheet's name and its rows that are not blank."""
    values = _load(data, values=True)
    formulas = _load(data, values=False) if _has_formulas(data) else None
    for number, sheet in enumerate(values.worksheets):
        sheet.reset_dimensions()  # some programs write dimensions that are wrong
        rows: list[Row] = []
        sources: Iterator[tuple[Any, ...]] | None = None
        if formulas is not None:
            other = formulas.worksheets[number]
            other.reset_dimensions()
            sources = other.iter_rows(values_only=True)
        for row, cells in enumerate(sheet.iter_rows(), 1):
            texts = [_text(cell) for cell in cells]
            if sources is not None:
                for place, source in enumerate(next(sources, ())):
                    # An empty text is a value like any other: such a formula is saved with the type of a text.
                    if source is not None and cells[place].value is None and cells[place].data_type != "str":
                        texts[place] = UNREAD + "formula-without-value"
            if any(map(str.strip, texts)):
                rows.append((row, texts))
        yield sheet.title, rows


def _load(data: bytes, *, values: bool) -> "Workbook":
    from openpyxl import load_workbook

    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # about colours, filters and other things that are no data
        return load_workbook(BytesIO(data), read_only=True, data_only=values)


def _has_formulas(data: bytes) -> bool:
    with ZipFile(BytesIO(data)) as archive:
        return any(_FORMULA.search(archive.read(n)) for n in archive.namelist() if n.startswith("xl/worksheets/"))


def _text(cell: Any) -> str:
    """What a cell says, as it would stand in a .csv file."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, date | time | timedelta):
        return UNREAD + "date-cell"
    if isinstance(value, float):
        # The shortest text that stands for the number is what was typed; a name such as 3 is stored as 3.0.
        return str(int(value)) if value.is_integer() else repr(value)
    if cell.data_type == "e":
        return UNREAD + "error-cell"
    return str(value)
