"""The .csv side of the table reader: which character separates the cells, and what happens to broken quotes."""

import csv
from collections import deque
from collections.abc import Iterator
from io import BytesIO, TextIOWrapper
from typing import TextIO

from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.common.texts import decode
from fitmatch.intake.tables.table import Row, Table
from fitmatch.wording import shorten


def open_csv(data: bytes, paper: Paper, findings: Findings) -> Table | None:
    """The table in a text file."""
    if decode(data, paper, findings) is None:
        return None
    # Decoded once more, line by line, as the whole text may take four bytes a character and half a gigabyte. Line ends
    # are kept, so that \n, \r and \r\n each end one line.
    lines = TextIOWrapper(BytesIO(data), encoding="utf-8-sig", newline="")
    separator = separator_of(next(line for line in lines if line.strip()))
    lines.seek(0)
    records = _records(lines, separator, paper, findings)
    for header_row, header in records:
        if header is None:
            return None  # the header's own quotes are broken: the columns are unknown
        if any(map(str.strip, header)):
            open_end = not data.endswith((b"\n", b"\r"))
            table = Table(paper, header_row, header, iter(()), decimal_comma=separator != ",", ends_open=open_end)
            table.rows = _rows(table, records, separator, findings)
            return table
    findings.report("empty-file", "holds only separators; fill it in or remove it", paper)
    return None


def separator_of(header: str) -> str:
    """The separator that splits the header into the most cells."""

    def cells(separator: str) -> int:
        try:
            return len(next(csv.reader([header], delimiter=separator, skipinitialspace=True)))
        except csv.Error:
            return 0

    return max((",", ";", "\t"), key=cells)


class _Lines:
    """The lines of a file of which a record's last ones may be read once more."""

    def __init__(self, lines: TextIO) -> None:
        self._lines = lines
        self._again: deque[str] = deque()
        self.of_record: list[str] = []  # read since the last record ended

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        line = self._again.popleft() if self._again else next(self._lines)
        self.of_record.append(line)
        return line

    def back_to_second(self) -> None:
        """Go back to the second line of the record."""
        self._again.extendleft(reversed(self.of_record[1:]))
        self.of_record.clear()


def _records(lines: TextIO, separator: str, paper: Paper, findings: Findings) -> Iterator[tuple[int, list[str] | None]]:
    """Every record with the row it starts in; None for one whose quotes are broken.

    After broken quotes reading goes on at the next line: an unclosed quote would otherwise hide the rest of the file.
    """
    source: TextIO | _Lines = lines
    skipped = 0  # lines read so far
    while True:
        reader = csv.reader(source, delimiter=separator, strict=True, skipinitialspace=True)
        again = source.of_record if isinstance(source, _Lines) else []
        row = skipped + 1
        try:
            for cells in reader:
                yield row, cells
                row = skipped + reader.line_num + 1
                if again:
                    again.clear()
            return
        except csv.Error:
            what = "a quoted cell has no closing quote, or has text after it"
            todo = "put quotes around the whole cell and write a quote inside it twice"
            findings.report("broken-quotes", f"{what}; {todo}", paper, row)
            yield row, None
        if isinstance(source, _Lines):
            source.back_to_second()
        else:
            lines.seek(0)
            for _ in range(row):
                lines.readline()
            source = _Lines(lines)
        skipped = row


def _rows(
    table: Table, records: Iterator[tuple[int, list[str] | None]], separator: str, findings: Findings
) -> Iterator[Row]:
    width = len(table.header)
    for row, cells in records:
        if cells is None:
            table.complete = False
        elif len(cells) == width and (cells[0].strip() or any(map(str.strip, cells))):
            yield row, cells
        elif not any(map(str.strip, cells)):
            continue
        elif table.fewest <= len(cells) < width:
            yield row, cells + [""] * (width - len(cells))
        else:
            table.complete = False
            todo = "every row needs as many cells as the header"
            if len(cells) < width:
                todo += ", but for blank ones at its end"
                todo += "" if table.ends_open else f"; `{shorten(table.header[table.fewest - 1])}` may not be blank"
            elif separator == ",":
                todo += "; a decimal comma needs `;` or tabs between cells, and a text with a comma needs quotes"
            count = "1 cell" if len(cells) == 1 else f"{len(cells)} cells"
            findings.report("ragged-row", f"{count} where the header has {width}; {todo}", table.paper, row)
