"""Rows of the long file of readings as bytes: that file's own separator, line ends, decimal mark and columns.

The last cell of every row made here is in quotes, so that a row cut short by a power failure is never taken for a whole
one, whose reading would be another, shorter number.
"""

import csv
import re
from collections.abc import Mapping
from functools import cached_property
from typing import Final, NamedTuple

from fitmatch.intake.tables.columns import split_header
from fitmatch.intake.tables.csv_file import separator_of

HEADER: Final = b"item,feature,station,angle,reading,gauge,by,confirmed,time\n"
_LINE: Final = re.compile(rb"[^\r\n]*(?:\r\n|\r|\n|\Z)")


class Row(NamedTuple):
    """A row and where its bytes are, including its line end."""

    start: int
    end: int
    cells: list[str]


class LogRows:
    """The bytes of one long file, and what follows from them. Raises csv.Error if quotes are broken."""

    def __init__(self, data: bytes) -> None:
        self.data = data
        lines = [line for line in _LINE.findall(data) if line]
        first = next(line for line in lines if line.strip(b"\xef\xbb\xbf \t\r\n"))
        self.separator = separator_of(_text(first))
        header, *self.rows = _rows(lines, self.separator)
        self._names = [split_header(cell) for cell in header.cells]
        end = re.search(r"\r\n|\r|\n", _text(data[header.start : header.end]))
        self.width = len(header.cells)
        self._line_end = end.group() if end else "\n"

    def index(self, name: str) -> int | None:
        """Where a column is."""
        return next((index for index, (known, _) in enumerate(self._names) if known == name), None)

    @cached_property
    def unit(self) -> str | None:
        """The unit that the header names for readings."""
        return next((unit.lower() for name, unit in self._names if name == "reading" and unit), None)

    @cached_property
    def decimal_comma(self) -> bool:
        """As in the readings; without any, a comma if `;` separates the cells, as programs that write such files
        expect."""
        if self.separator == ",":
            return False
        readings = [row.cells[self._reading] for row in self.rows]
        return any("," in text for text in readings) or (
            self.separator == ";" and not any("." in text for text in readings)
        )

    @cached_property
    def newest(self) -> Row | None:
        """The last row that has a reading."""
        return next((row for row in reversed(self.rows) if row.cells[self._reading].strip()), None)

    def row(self, cells: Mapping[str, str]) -> bytes:
        """A row with these cells, and empty ones in all other columns."""
        return self._line([cells.get(name, "") for name, _ in self._names])

    def glued(self, row: bytes) -> bytes:
        """A row as it must be written after the data, whose last line may have no line end."""
        return row if self.data.endswith((b"\n", b"\r")) else self._line_end.encode() + row

    def without(self, row: Row) -> bytes:
        """The data without one of its rows."""
        return self.data[: row.start] + self.data[row.end :]

    def with_cell(self, row: Row, column: int, text: str) -> bytes:
        """The data with another text in one cell."""
        cells = [*row.cells]
        cells[column] = text
        return self.data[: row.start] + self._line(cells) + self.data[row.end :]

    @property
    def _reading(self) -> int:
        index = self.index("reading")
        assert index is not None  # a file without the column is not a long file, and is refused earlier
        return index

    def _line(self, cells: list[str]) -> bytes:
        *others, last = cells
        line = [text if self._is_plain(text) else _quoted(text) for text in others]
        return (self.separator.join([*line, _quoted(last)]) + self._line_end).encode()

    def _is_plain(self, text: str) -> bool:
        return text == text.strip() and not any(mark in text for mark in (self.separator, '"', "\r", "\n"))


def split_torn(data: bytes) -> tuple[bytes, bytes]:
    """The data and, separately, a last row that was cut short: it has no line end, and also lacks cells, a closing
    quote or the reading. Anything else unusual is left for the reader to find."""
    cut = max(data.rfind(b"\n"), data.rfind(b"\r")) + 1
    head, tail = data[:cut], data[cut:]
    if not tail.strip() or not head.strip(b"\xef\xbb\xbf \t\r\n"):
        return data, b""
    try:
        rows = LogRows(head)
    except csv.Error:  # the last line continues a cell that began above it
        return data, b""
    reading = rows.index("reading")
    if reading is None:
        return data, b""
    try:
        (row,) = _rows([tail], rows.separator)
    except csv.Error:
        return head, tail
    whole = len(row.cells) == rows.width and row.cells[reading].strip()
    return (data, b"") if whole else (head, tail)


def _rows(lines: list[bytes], separator: str) -> list[Row]:
    """The rows that are not blank, the header first."""
    ends = [0]
    for line in lines:
        ends.append(ends[-1] + len(line))
    reader = csv.reader(map(_text, lines), delimiter=separator, strict=True, skipinitialspace=True)
    rows, before = [], 0
    for cells in reader:
        if any(map(str.strip, cells)):
            rows.append(Row(ends[before], ends[reader.line_num], cells))
        before = reader.line_num
    return rows


def _text(line: bytes) -> str:
    return line.decode("utf-8", "replace").removeprefix("\ufeff")


def _quoted(text: str) -> str:
    return '"' + text.replace('"', '""') + '"'
