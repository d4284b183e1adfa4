"""Tables as .xlsx workbooks, to be filled in or with an answer, which tell nothing of the program that wrote them."""

import re
from collections.abc import Collection, Sequence
from io import BytesIO
from typing import TYPE_CHECKING, Final, NamedTuple
from zipfile import ZIP_DEFLATED, ZipFile

from fitmatch.names import FORMULA
from fitmatch.wording import printable

if TYPE_CHECKING:
    from openpyxl.worksheet.worksheet import Worksheet

_TEXT: Final = "@"  # the format of cells that a spreadsheet leaves as they are typed
_WIDTH: Final = 14
_NARROW: Final = 9
_PROGRAM: Final = re.compile(rb"<(Application|AppVersion)>.*?</\1>")


def workbook_of(rows: Sequence[Sequence[str]], as_text: Collection[str]) -> bytes:
    """A workbook with one sheet of these rows, the first being the header. The columns named in `as_text` keep what is
    typed: a shell named 03 stays 03."""
    from openpyxl import Workbook
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.properties.creator = None
    sheet = book.active
    assert sheet is not None
    for row in rows:
        sheet.append([cell or None for cell in row])
    for place, name in enumerate(rows[0], 1):
        column = sheet.column_dimensions[get_column_letter(place)]
        column.width = _WIDTH
        if name in as_text:
            column.number_format = _TEXT
            for number in range(1, len(rows) + 1):
                sheet.cell(number, place).number_format = _TEXT
    sheet.freeze_panes = "A2"
    saved = BytesIO()
    book.save(saved)
    return _nameless(saved)


class Filled(NamedTuple):
    """A table with an answer: every number is one, every text a text."""

    name: str
    header: Sequence[str]
    rows: Sequence[Sequence[str | int | float | bool | None]]


def filled_workbook(tables: Sequence[Filled]) -> bytes:
    """A workbook with a sheet for each of these tables. No text becomes a formula, not even when it is typed over."""
    from openpyxl import Workbook
    from openpyxl.utils import get_column_letter

    book = Workbook()
    book.properties.creator = None
    for number, table in enumerate(tables):
        sheet = (book.active if number == 0 else None) or book.create_sheet()
        sheet.title = table.name
        for at, row in enumerate((table.header, *table.rows), 1):
            _fill(sheet, at, row)
        for place, head in enumerate(table.header, 1):
            sheet.column_dimensions[get_column_letter(place)].width = max(_NARROW, len(head) + 2)
        sheet.freeze_panes = "B2"
    saved = BytesIO()
    book.save(saved)
    return _nameless(saved)


def _fill(sheet: "Worksheet", number: int, row: Sequence[str | int | float | bool | None]) -> None:
    for place, value in enumerate(row, 1):
        cell = sheet.cell(number, place, printable(value) if isinstance(value, str) else value)
        if isinstance(value, str):
            cell.data_type = "s"  # the library takes what begins with `=` for a formula
            cell.quotePrefix = value[:1] in FORMULA


def _nameless(saved: BytesIO) -> bytes:
    """The same without the names and versions of programs that the library writes into its properties."""
    out = BytesIO()
    with ZipFile(saved) as before, ZipFile(out, "w", ZIP_DEFLATED) as after:
        for part in before.infolist():
            data = before.read(part)
            after.writestr(part.filename, _PROGRAM.sub(b"", data) if part.filename == "docProps/app.xml" else data)
    return out.getvalue()
