"""The .csv side of the table reader: which character separates the cells, and what happens to broken quotes."""

import csv
from collections.abc import Iterator
from io import StringIO

from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.common.texts import decode
from fitmatch.intake.tables.table import Row, Table
from fitmatch.wording import shorten


def open_csv(data: bytes, paper: Paper, findings: Findings) -> Table | None:
    """The table in a text file."""
    text = decode(data, paper, findings)
    if text is None:
        return None
    lines = StringIO(text, newline="")  # keeps line ends, so that \n, \r and \r\n each end one line
    separator = separator_of(next(line for line in lines if line.strip()))
    lines.seek(0)
    records = _records(lines, separator, paper, findings)
    for header_row, header in records:
        if header is None:
            return None  # the header's own quotes are broken: the columns are unknown
        if any(map(str.strip, header)):
            open_end = not text.endswith(("\n", "\r"))
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


def _records(
    lines: StringIO, separator: str, paper: Paper, findings: Findings
) -> Iterator[tuple[int, list[str] | None]]:
    """Every record with the row it starts in; None for one whose quotes are broken.

    After broken quotes reading goes on at the next line: an unclosed quote would otherwise hide the rest of the file.
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
            what = "a quoted cell has no closing quote, or has text after it"
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
