"""One reader for tables: a .csv or .xlsx file in, its header and rows out, each row with its number in the file.

Rows count as an editor counts lines, so a quoted line break counts; blank rows are skipped and counted.
"""

import csv
from collections.abc import Iterator
from dataclasses import dataclass
from io import StringIO
from typing import Final

from fitmatch.intake.findings import Findings, Paper
from fitmatch.intake.texts import decode

Row = tuple[int, list[str]]

# A cell that starts with this mark could not be read; what follows is the code of the problem. No text file and no
# workbook can hold the mark itself.
UNREAD: Final = "\0"


@dataclass(slots=True)
class Table:
    """A table being read. `rows` can be walked once; `complete` is final only then."""

    paper: Paper
    header_row: int
    header: list[str]
    rows: Iterator[Row]
    decimal_comma: bool = False
    may_be_unread: bool = False  # whether cells may carry the mark UNREAD
    complete: bool = True  # False once a row could not be read at all


def open_table(data: bytes, paper: Paper, findings: Findings) -> Table | None:
    """The table in a file's bytes; None, with a problem noted, where there is none."""
    if paper.name.lower().endswith(".xlsx"):
        from fitmatch.intake.workbook import open_workbook

        return open_workbook(data, paper, findings)
    text = decode(data, paper, findings)
    return None if text is None else _open_csv(text, paper, findings)


def _open_csv(text: str, paper: Paper, findings: Findings) -> Table | None:
    lines = StringIO(text, newline="")  # keeps line ends, so that \n, \r and \r\n each end one line
    separator = separator_of(next(line for line in lines if line.strip()))
    lines.seek(0)
    records = _records(lines, separator, paper, findings)
    for header_row, header in records:
        if header is None:
            return None  # the header's own quotes are broken: the columns are unknown
        if any(map(str.strip, header)):
            table = Table(paper, header_row, header, iter(()), decimal_comma=separator != ",")
            table.rows = _rows(table, records, separator, findings)
            return table
    findings.report("empty-file", "holds separators only; fill it in or remove it", paper)
    return None


def separator_of(header: str) -> str:
    """The separator that parts the header into the most cells."""

    def cells(separator: str) -> int:
        try:
            return len(next(csv.reader([header], delimiter=separator, skipinitialspace=True)))
        except csv.Error:
            return 0

    return max((",", ";", "\t"), key=cells)


def _records(
    lines: StringIO, separator: str, paper: Paper, findings: Findings
) -> Iterator[tuple[int, list[str] | None]]:
    """Every record with the row it starts in; None for one whose quotes are broken.

    After broken quotes reading goes on in the next line: an unclosed quote would otherwise hide the rest of the file.
    """
    skipped = resume = 0  # lines read so far, and where the next one starts
    while True:
        reader = csv.reader(lines, delimiter=separator, strict=True, skipinitialspace=True)
        row = skipped + 1
        try:
            for cells in reader:
                yield row, cells
                row = skipped + reader.line_num + 1
            return
        except csv.Error:
            what = "a quoted cell is not closed, or goes on behind its closing quote"
            todo = "put quotes around the whole cell and write a quote inside it twice"
            findings.report("broken-quotes", f"{what}; {todo}", paper, row)
            yield row, None
        lines.seek(resume)
        for _ in range(row - skipped):
            lines.readline()
        skipped, resume = row, lines.tell()


def _rows(
    table: Table, records: Iterator[tuple[int, list[str] | None]], separator: str, findings: Findings
) -> Iterator[Row]:
    width = len(table.header)
    for row, cells in records:
        if cells is None:
            table.complete = False
        elif not any(map(str.strip, cells)):
            continue
        elif len(cells) == width:
            yield row, cells
        else:
            table.complete = False
            todo = "every row needs as many cells as the header"
            if len(cells) > width and separator == ",":
                todo += "; a decimal comma needs `;` or tabs between cells, and a text with a comma needs quotes"
            count = "1 cell" if len(cells) == 1 else f"{len(cells)} cells"
            findings.report("ragged-row", f"{count} where the header has {width}; {todo}", table.paper, row)
