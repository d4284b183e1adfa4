"""The whole shelf as plain .csv files, a file for each table, and back onto an empty shelf: the way to another
database, and what can still be read when no program knows this one any more."""

import csv
import os
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from itertools import islice
from os import PathLike
from pathlib import Path
from typing import Any, Final

from sqlalchemy import BigInteger, Boolean, Column, Connection, Float, Integer, Table, Text, and_, collate, or_, select
from sqlalchemy.exc import IntegrityError

from fitmatch.facts import Fact
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.exported import ExportedColumn, exported, exported_rows
from fitmatch.intake.writing.whole_files import sync_folder
from fitmatch.problems import InputError
from fitmatch.shelf.answers.shells import Copied
from fitmatch.shelf.refusals import RefusedError
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    ENGINE_SHELLS,
    FITTED,
    HOLDS,
    METADATA,
    SET_ASIDE,
    SHELLS,
    SINCE,
    VERSION,
    VERSIONS,
)

_AT_ONCE: Final = 10_000  # rows
_TABLES: Final = [table for table in METADATA.sorted_tables if table is not VERSION]
_VERSION_FILE: Final = "version.csv"
_SORTS: Final = ((Boolean, "yes-no"), (Float, "number"), (Integer, "whole"), (Text, "text"))


def export(shelf: Shelf, folder: str | PathLike[str]) -> Copied:
    """Write the whole shelf to a folder that is new or empty, all or nothing."""
    path = Path(folder).absolute()
    try:
        if path.exists() and (not path.is_dir() or any(path.iterdir())):
            raise RefusedError(Fact("folder-taken", {"where": str(path)}))
        draft = Path(tempfile.mkdtemp(prefix=f".{path.name}-", dir=path.parent))  # only the user may read it
        try:
            with shelf.reading() as connection:
                rows = {table.name: _write(connection, table, draft) for table in _TABLES}
                _write_rows(draft / _VERSION_FILE, ["version"], connection.execute(VERSION.select()))
            sync_folder(draft)
            if path.exists():
                path.rmdir()
            draft.rename(path)
        finally:
            shutil.rmtree(draft, ignore_errors=True)
        sync_folder(path.parent)
    except OSError as error:
        raise RefusedError(Fact("cannot-export", {"where": str(path), "why": error.strerror or ""})) from error
    return Copied(str(path), rows)


def _write(connection: Connection, table: Table, folder: Path) -> int:
    """Rows in the order of their keys, which is the same on every database."""
    on_server = connection.dialect.name != "sqlite"
    keys = [collate(c, "C") if on_server and isinstance(c.type, Text) else c for c in table.primary_key]
    query = select(table).order_by(*keys).execution_options(yield_per=_AT_ONCE)
    return _write_rows(folder / f"{table.name}.csv", list(table.c.keys()), connection.execute(query))


def _write_rows(path: Path, header: Sequence[str], rows: Any) -> int:
    number = 0
    with path.open("x", encoding="utf-8", newline="") as file:
        writer = csv.writer(file)
        writer.writerow(header)
        for row in rows:
            writer.writerow(map(exported, row))
            number += 1
        file.flush()
        os.fsync(file.fileno())
    return number


def import_(shelf: Shelf, folder: str | PathLike[str]) -> Copied:
    """Read what `export` wrote onto a shelf that is still empty; raises InputError with every mistake in the files."""
    path, findings = Path(folder), Findings()
    with shelf.writing() as connection:
        if any(connection.execute(select(table).limit(1)).first() is not None for table in _TABLES):
            raise RefusedError(Fact("not-empty"))
        version = _version(path, findings)
        there = [table for table in _TABLES if table.info.get(SINCE, version) <= version]
        rows = {table.name: _read(connection, path, table, findings) for table in there}
        if findings.problems:
            raise InputError(findings.problems, findings.warnings, findings.number)
        _check_holders(connection)
    return Copied(str(path), rows)


def _version(folder: Path, findings: Findings) -> str:
    """The version of the shelf that was exported; raises RefusedError if nobody knows it."""
    column = ExportedColumn("version", "text", empty=False, needed=True)
    found = [row["version"] for row in exported_rows(folder, _VERSION_FILE, [column], findings)]
    if findings.problems:
        raise InputError(findings.problems)
    if len(found) != 1 or found[0] not in VERSIONS:
        version = ", ".join(map(str, found)) or "none"
        raise RefusedError(Fact("newer", {"where": str(folder), "version": version, "known": VERSIONS[-1]}))
    return str(found[0])


def _read(connection: Connection, folder: Path, table: Table, findings: Findings) -> int:
    name, number = f"{table.name}.csv", 0
    rows = exported_rows(folder, name, [_column(c) for c in table.c], findings, _TABLES.index(table) + 1)
    for some in _parts(rows):
        if not findings.problems:  # otherwise the rest is only checked
            try:
                connection.execute(table.insert(), some)
            except IntegrityError as error:
                raise RefusedError(Fact("contradicts", {"file": name})) from error
        number += len(some)
    return number


def _parts(rows: Iterator[dict[str, object]]) -> Iterator[list[dict[str, object]]]:
    while some := list(islice(rows, _AT_ONCE)):
        yield some


def _column(column: "Column[Any]") -> ExportedColumn:
    """Columns that may be left out did not exist in an earlier version, or need not."""
    sort = next(sort for kind, sort in _SORTS if isinstance(column.type, kind))
    largest = 2**63 - 1 if isinstance(column.type, BigInteger) else 2**31 - 1
    needed = not column.nullable and column.server_default is None
    return ExportedColumn(column.name, sort, bool(column.nullable), needed, largest)


def _check_holders(connection: Connection) -> None:
    """Whoever has a shell agrees with its state: what no constraint of one table can hold."""
    seated = and_(
        ENGINE_SHELLS.c.engine == HOLDS.c.engine,
        ENGINE_SHELLS.c.shell == HOLDS.c.shell,
        ENGINE_SHELLS.c.position == HOLDS.c.position,
        ENGINE_SHELLS.c.half == HOLDS.c.half,
    )
    query = (
        select(SHELLS.c.number)
        .outerjoin(HOLDS, HOLDS.c.shell == SHELLS.c.number)
        .outerjoin(ENGINE_SHELLS, seated)
        .where(
            or_(
                (SHELLS.c.state == SET_ASIDE) != HOLDS.c.job.is_not(None),
                (SHELLS.c.state == FITTED) != HOLDS.c.engine.is_not(None),
                and_(HOLDS.c.engine.is_not(None), ENGINE_SHELLS.c.shell.is_(None)),
            )
        )
        .order_by(SHELLS.c.number)
    )
    number = connection.execute(query).scalar()
    if number is not None:
        raise RefusedError(Fact("holder-contradicts", {"number": number}))
