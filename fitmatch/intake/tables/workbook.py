"""The .xlsx side of the table reader: cells become the text that was typed, or a mark if they cannot."""

import re
import warnings
from collections.abc import Iterable, Iterator
from datetime import date, datetime, time, timedelta
from io import BytesIO
from typing import TYPE_CHECKING, Any, Final
from zipfile import ZipFile

from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.tables.table import DATES, UNREAD, Row, Table
from fitmatch.wording import listed, shorten

if TYPE_CHECKING:
    from openpyxl import Workbook

# How large a small file may become is limited. Real sheets compress to a tenth or a twentieth, not to a hundredth.
_LARGEST_ANYWAY: Final = 1_000_000
_LARGEST_RATIO: Final = 100
_LARGEST: Final = 256_000_000
# What the library takes seconds and hundreds of megabytes for. The format itself allows 65,490 styles.
_MOST_PARTS: Final = 10_000
_MOST_SHEETS: Final = 1_000
_MOST_CELLS: Final = 500_000
_MOST_TAGS: Final = 3_000_000
_MOST_OTHER_TAGS: Final = 200_000  # outside sheets and their texts
_LONGEST_TEXT: Final = 2_000_000
_LAST_ROW: Final = 1_048_576  # of the format
_LARGEST_GAPS: Final = 10_000_000  # missing cells on the way to the next one present
_MOST_NAMES: Final = 5
_CHUNK: Final = 1_000_000
_CELL: Final = re.compile(rb"<(?:\w+:)?c[\s/>]")
_SHEET: Final = re.compile(rb"<(?:\w+:)?sheet[\s/>]")
_FORMULA: Final = re.compile(rb"<(?:\w+:)?f[\s/>]")
_TIME: Final = UNREAD + "time-cell"
_DATE: Final = UNREAD + "date-cell"  # behind it the day, if it is a whole one, until the column is known


class _Refused(Exception):
    """A workbook that is refused; the message says what is wrong and what to do."""


def open_workbook(data: bytes, paper: Paper, findings: Findings) -> Table | None:
    """The table on the only sheet that is not empty."""
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # about colours, filters and other things that are not data
            sheets = list(_sheets(data))
    except _Refused as error:
        findings.report("broken-workbook", str(error), paper)
        return None
    except Exception as error:  # whatever the library raises for a damaged file, the file is at fault
        what = f"cannot be read as an .xlsx workbook ({type(error).__name__})"
        findings.report("broken-workbook", f"{what}; save it again as .xlsx or .csv", paper)
        return None
    filled = [(name, rows) for name, rows in sheets if rows]
    if not filled:
        findings.report("empty-file", "is empty; fill it in or remove it", paper)
        return None
    if len(filled) > 1:
        names = listed([f"`{shorten(name)}`" for name, _ in filled[:_MOST_NAMES]])
        findings.report("several-sheets", f"the sheets {names} all have content; keep one table per workbook", paper)
        return None
    (_, rows), *_ = filled
    header_row, header = rows[0]
    header = [_DATE if name.startswith(_DATE) else name for name in header]
    table = Table(paper, header_row, header, iter(()), may_be_unread=True)
    table.rows = _padded(rows[1:], table, findings)
    return table


def _padded(rows: Iterable[Row], table: Table, findings: Findings) -> Iterator[Row]:
    """Rows as wide as the header, with dates where they are meant: a sheet has no ragged rows, only cells beyond the
    last name."""
    width = len(table.header)
    dates = [name.strip().casefold() in DATES for name in table.header]
    for row, cells in rows:
        for at, text in enumerate(cells[:width]):
            if text.startswith(_DATE):
                cells[at] = (text.removeprefix(_DATE) or _TIME) if dates[at] else _DATE
        if any(cells[width:]):
            table.complete = False
            what = "a cell is beyond the last column of the header; name its column or clear it"
            findings.report("ragged-row", what, table.paper, row)
        else:
            yield row, cells[:width] + [""] * (width - len(cells))


def _sheets(data: bytes) -> Iterator[tuple[str, list[Row]]]:
    """Each sheet's name and its rows that are not blank; raises _Refused."""
    from openpyxl.cell.read_only import EMPTY_CELL

    _check_size(data)
    written, has_formulas = _scan(data)
    values = _load(data, values=True)
    paths = [vars(sheet)["_worksheet_path"] for sheet in values.worksheets]
    if len(paths) > len(set(paths)):
        raise _Refused("names one sheet several times; save it again as .xlsx or .csv")
    formulas = _load(data, values=False) if has_formulas else None
    seen = gaps = 0
    for number, sheet in enumerate(values.worksheets):
        sheet.reset_dimensions()  # some programs write dimensions that are wrong
        rows: list[Row] = []
        sources: Iterator[tuple[Any, ...]] | None = None
        if formulas is not None:
            other = formulas.worksheets[number]
            other.reset_dimensions()
            sources = other.iter_rows(values_only=True)
        walk: Iterator[tuple[Any, ...]] = sheet.iter_rows()
        for row, cells in enumerate(walk, 1):
            there = [cell for cell in cells if cell is not EMPTY_CELL]
            seen += sum(cell.row == row for cell in there)
            gaps += len(cells) - len(there)
            if gaps > _LARGEST_GAPS or row > _LAST_ROW:
                where = f"the sheet `{shorten(sheet.title)}` has cells far from its table, up to row {row}"
                raise _Refused(f"{where}; clear those cells, or save the table as .csv")
            texts = ["" if cell is EMPTY_CELL else _text(cell) for cell in cells]
            if sources is not None:
                for place, source in enumerate(next(sources, ())):
                    # An empty text is a value like any other: such a formula is saved with the type of text.
                    if source is not None and cells[place].value is None and cells[place].data_type != "str":
                        texts[place] = UNREAD + "formula-without-value"
            if any(map(str.strip, texts)):
                rows.append((row, texts))
        yield sheet.title, rows
    if seen < written:  # the library skips those, and a shell must not get lost
        raise _Refused("has rows or cells out of order, or two in one place; save it again as .xlsx or .csv")


def _check_size(data: bytes) -> None:
    """Refuse a file that unpacks to far more than real sheets do."""
    if data.count(b"PK\x01\x02") > _MOST_PARTS:
        raise _Refused("holds far more files than a workbook does; save the table as .csv")
    with ZipFile(BytesIO(data)) as archive:
        size = sum(part.file_size for part in archive.infolist())
    if size > min(_LARGEST, max(_LARGEST_ANYWAY, _LARGEST_RATIO * len(data))):
        raise _Refused(f"unpacks to {size // 10**6} MB, far more than a table does; save the table as .csv")


def _load(data: bytes, *, values: bool) -> "Workbook":
    from openpyxl import load_workbook

    return load_workbook(BytesIO(data), read_only=True, data_only=values)


def _scan(data: bytes) -> tuple[int, bool]:
    """How many cells the sheets have, and whether any has a formula; raises _Refused if there is more in the workbook
    than any table needs."""
    cells = tags = others = sheets = 0
    formulas = False
    with ZipFile(BytesIO(data)) as archive:
        for name in archive.namelist():
            for text in _pieces(archive, name):
                found = text.count(b"<")
                if name.startswith("xl/worksheets/"):
                    tags += found
                    cells += len(_CELL.findall(text))
                    formulas = formulas or _FORMULA.search(text) is not None
                elif name == "xl/sharedStrings.xml":
                    tags += found
                else:
                    others += found
                    sheets += len(_SHEET.findall(text))
                if sheets > _MOST_SHEETS:
                    raise _Refused(f"has more than {_MOST_SHEETS} sheets; save the one with the table as .csv")
                if cells > _MOST_CELLS:
                    where = "empty ones that have a format counting too"
                    raise _Refused(f"has more than {_MOST_CELLS} cells, {where}; save the table as .csv")
                if tags > _MOST_TAGS or others > _MOST_OTHER_TAGS:
                    raise _Refused("holds far more rows, texts or styles than a table needs; save the table as .csv")
    return cells, formulas


def _pieces(archive: ZipFile, name: str) -> Iterator[bytes]:
    """A part of the archive in pieces, none of which ends inside a tag."""
    with archive.open(name) as part:
        text = b""
        while chunk := part.read(_CHUNK):
            text += chunk
            end = max(0, text.rfind(b"<"))  # what starts there may go on in the next chunk
            if len(text) - end > _LONGEST_TEXT:
                raise _Refused("holds a text far longer than a cell does; save the table as .csv")
            yield text[:end]
            text = text[end:]
        yield text


def _text(cell: Any) -> str:
    """What a cell says, as it would be written in a .csv file."""
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, date) and (not isinstance(value, datetime) or value.time() == time()):
        return f"{_DATE}{value:%Y-%m-%d}"
    if isinstance(value, date | time | timedelta):
        return _DATE
    if isinstance(value, float):
        # The shortest text for the number is what was typed; a name such as 3 is stored as 3.0.
        return str(int(value)) if value.is_integer() else repr(value)
    if cell.data_type == "e":
        return UNREAD + "error-cell"
    return str(value)
