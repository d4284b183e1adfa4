"""One reader for tables: a .csv or .xlsx file in, its header and rows out."""

from typing import Final

from fitmatch.intake.common.findings import ASSEMBLED, POSITIONS, Findings, Paper
from fitmatch.intake.tables.csv_file import open_csv
from fitmatch.intake.tables.table import Table

_MOST_ROWS: Final = 2_000_000
_MOST_POSITIONS: Final = 100_000  # and readings with the shells in
_MOST_COLUMNS: Final = 1_000
_MOST_CELLS: Final = 60_000_000
_LONGEST_LINE: Final = 1_000_000


def open_table(data: bytes, paper: Paper, findings: Findings) -> Table | None:
    """The table in a file's bytes; None, with a problem noted, if there is none, or far more than any job needs."""
    if paper.name.lower().endswith(".xlsx"):
        from fitmatch.intake.tables.workbook import open_workbook

        table, rows = open_workbook(data, paper, findings), 1  # how many are limited there
    else:
        ends = max(data.count(b"\n"), data.count(b"\r"))
        rows = ends - data.endswith((b"\n", b"\r"))  # the header is none, nor is what follows the last line end
        most = _MOST_POSITIONS if paper.rank[:1] in ((POSITIONS,), (ASSEMBLED,)) else _MOST_ROWS
        if rows > most:
            text = f"has {rows:,} rows, and may have {most:,}; take out what does not belong to this job"
            findings.report("too-large", text, paper)
            return None
        if _has_endless_line(data):
            text = "has a row of more than half a million characters; delete the columns that are not needed"
            findings.report("too-large", text, paper)
            return None
        table = open_csv(data, paper, findings)
    if table is None:
        return None
    columns = len(table.header)
    if columns > _MOST_COLUMNS or columns * rows > _MOST_CELLS:
        size = f"{columns:,} columns" + ("" if columns > _MOST_COLUMNS else f" and {rows:,} rows")
        findings.report("too-large", f"has {size}; delete the columns that are not needed", paper, table.header_row)
        return None
    return table


def _has_endless_line(data: bytes) -> bool:
    """Whether a line is longer than any table has; one of half that length may be missed."""
    step = _LONGEST_LINE // 2
    blocks = range(0, len(data) - step, step)
    return any(data.find(b"\n", at, at + step) < 0 and data.find(b"\r", at, at + step) < 0 for at in blocks)
