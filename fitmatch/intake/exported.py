"""Tables of a shelf that were exported, a .csv file each: rows as values out, a row at a time, as there may be a
million; every mistake in them is noted."""

import csv
import re
from collections.abc import Iterator, Mapping, Sequence
from io import TextIOWrapper
from pathlib import Path
from typing import Final, NamedTuple

from fitmatch.intake.common.findings import SHELLS, Findings, Paper
from fitmatch.names import guarded
from fitmatch.wording import shorten

_LONGEST_CELL: Final = 10_000_000  # characters
_WHOLE: Final = re.compile(r"-?[0-9]{1,19}")
_NUMBER: Final = re.compile(r"-?[0-9]{1,19}(\.[0-9]{1,19})?(e[+-]?[0-9]{1,3})?")


class ExportedColumn(NamedTuple):
    """A column of an exported table. `sort` is text, whole, number or yes-no. Of `empty`, a cell that says nothing, the
    value is None; without it that is an empty text, or a mistake."""

    name: str
    sort: str
    empty: bool
    needed: bool
    largest: int = 0  # of whole numbers


def exported_rows(
    folder: Path, name: str, columns: Sequence[ExportedColumn], findings: Findings, rank: int = 0
) -> Iterator[dict[str, object]]:
    """The rows of a table, without those that hold a mistake."""
    paper = Paper(name, (SHELLS, rank))
    before = csv.field_size_limit(_LONGEST_CELL)
    try:
        with (folder / name).open(encoding="utf-8-sig", newline="") as file:
            yield from _rows(file, paper, {column.name: column for column in columns}, findings)
    except FileNotFoundError:
        findings.report("missing-file", "is not there; name a folder that `fitmatch shelf export` wrote", paper)
    except OSError as error:
        findings.report("unreadable-file", f"cannot be read: {error.strerror}", paper)
    except UnicodeDecodeError:
        findings.report("wrong-encoding", "is not UTF-8; export again, as something else has saved this file", paper)
    finally:
        csv.field_size_limit(before)


def _rows(
    file: TextIOWrapper, paper: Paper, columns: Mapping[str, ExportedColumn], findings: Findings
) -> Iterator[dict[str, object]]:
    reader = csv.reader(file, strict=True)
    try:
        header = next(reader, [])
        if not _is_header(header, paper, columns, findings):
            return
        known = [columns[name] for name in header]
        row = reader.line_num + 1
        for cells in reader:
            if len(cells) != len(header):
                text = f"has {len(cells)} cells and the header {len(header)}; export again, or restore the row"
                findings.report("ragged-row", text, paper, row)
            else:
                number = findings.number
                values = {
                    column.name: _value(text, column, paper, row, at, findings)
                    for at, (column, text) in enumerate(zip(known, cells, strict=True), 1)
                }
                if findings.number == number:
                    yield values
            row = reader.line_num + 1
    except csv.Error:
        text = "a quoted cell does not end, or text follows its closing quote; export again, or restore the row"
        findings.report("broken-quotes", text, paper, reader.line_num)


def _is_header(header: Sequence[str], paper: Paper, columns: Mapping[str, ExportedColumn], findings: Findings) -> bool:
    number = findings.number
    for column in columns.values():
        if column.needed and column.name not in header:
            findings.report("missing-column", "is missing; export again, or restore it", paper, 1, column.name)
    for at, name in enumerate(header):
        if name not in columns:
            text = f"`{shorten(name)}` is no column of this table; a newer fitmatch may have written it"
            findings.report("misspelt-column", text, paper, 1, name)
        elif name in header[:at]:
            findings.report("repeated-column", "stands there twice; remove one", paper, 1, name)
    return findings.number == number


def _value(text: str, column: ExportedColumn, paper: Paper, row: int, at: int, findings: Findings) -> object:
    """What a cell says; what it cannot say is noted."""
    if not text and column.empty:
        return None
    if column.sort == "text":
        if "\0" not in text:
            return text.removeprefix("'")  # see `exported`
        findings.report("control-character", "holds a NUL; restore the cell", paper, row, column.name, at)
    elif column.sort == "whole" and _WHOLE.fullmatch(text) and abs(int(text)) <= column.largest:
        return int(text)
    elif column.sort == "number" and _NUMBER.fullmatch(text):
        return float(text)
    elif column.sort == "yes-no" and text in ("true", "false"):
        return text == "true"
    elif not text:
        findings.report("empty-cell", "is empty; restore the cell", paper, row, column.name, at)
    else:
        what = {"whole": "a whole number", "number": "a number"}.get(column.sort, "true or false")
        said = f"`{shorten(text)}` is not {what} that fits here; restore the cell"
        findings.report("unknown-value", said, paper, row, column.name, at)
    return None


def exported(value: object) -> str:
    """A value as a cell. A text that a spreadsheet could take for a formula begins with an apostrophe, and so does one
    that began with an apostrophe before."""
    if value is None:
        return ""
    if isinstance(value, str):
        return f"'{value}" if value.startswith("'") else guarded(value)
    return str(value).lower() if isinstance(value, bool) else repr(value)
