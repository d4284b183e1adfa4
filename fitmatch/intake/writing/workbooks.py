"""A table as an .xlsx workbook to be filled in, which tells nothing of the program that wrote it."""

import re
from collections.abc import Collection, Sequence
from io import BytesIO
from typing import Final
from zipfile import ZIP_DEFLATED, ZipFile

_TEXT: Final = "@"  # the format of cells that a spreadsheet leaves as they are typed
_WIDTH: Final = 14
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


def _nameless(saved: BytesIO) -> bytes:
    """The same without the names and versions of programs that the library writes into its properties."""
    out = BytesIO()
    with ZipFile(saved) as before, ZipFile(out, "w", ZIP_DEFLATED) as after:
        for part in before.infolist():
            data = before.read(part)
            after.writestr(part.filename, _PROGRAM.sub(b"", data) if part.filename == "docProps/app.xml" else data)
    return out.getvalue()
