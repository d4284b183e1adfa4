"""One reader for tables: a .csv or .xlsx file in, its header and rows out."""

from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.tables.csv_file import open_csv
from fitmatch.intake.tables.table import Table


def open_table(data: bytes, paper: Paper, findings: Findings) -> Table | None:
    """The table in a file's bytes; None, with a problem noted, if there is none."""
    if paper.name.lower().endswith(".xlsx"):
        from fitmatch.intake.tables.workbook import open_workbook

        return open_workbook(data, paper, findings)
    return open_csv(data, paper, findings)
