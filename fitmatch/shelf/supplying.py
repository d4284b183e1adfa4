"""What the shelf has for a job: its shells become shells of the job while that is read."""

import json
from collections.abc import Collection, Iterable, Mapping
from os import PathLike
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, RowMapping, Select, and_, or_, select

from fitmatch.facts import Fact
from fitmatch.intake.planned import Kept, Planned, read_planned
from fitmatch.intake.reading import read_job
from fitmatch.names import composed
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge
from fitmatch.records.shelved import ShelvedShell
from fitmatch.shelf.finding import came_out_of, parts, single
from fitmatch.shelf.gauges import NOTHING_READ, ReadingsThen, Then
from fitmatch.shelf.jobs import latest_job
from fitmatch.shelf.planned import job_name
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import BOXES, ENGINE_SHELLS, ENGINES, FREE, HOLDS, JOBS, SHELLS, USED

_NOBODY: Final = 0  # no job has this number


def read_supplied(shelf: Shelf, folder: str | PathLike[str], *, assembled: bool = False) -> Job:
    """A job with the shelf's free shells of its families, and those set aside for it, beside those of its own files;
    raises InputError with every mistake. `assembled`: also with those fitted in its engine, and with the readings taken
    with them in."""
    with shelf.reading() as connection:
        return read_job(folder, assembled=assembled, supply=_Supply(connection, Path(folder), fitted=assembled))


def read_planned_supplied(shelf: Shelf, folder: Path, kept: Kept) -> Planned:
    """The same with the saved plan of the job, and with the shells fitted in its engine; raises InputError with every
    mistake."""
    with shelf.reading() as connection:
        return read_planned(folder, kept, _Supply(connection, folder, fitted=True))


def offered(shelf: Shelf, family: str) -> tuple[ShelvedShell, ...]:
    """The free shells of a family."""
    with shelf.reading() as connection:
        return _Supply(connection).of_families({family.strip().casefold()})


class _Supply:
    """The shelf as one job sees it, or as anybody does."""

    def __init__(self, connection: Connection, folder: Path | None = None, *, fitted: bool = False) -> None:
        """`fitted`: what is fitted in the job's engine is its own too."""
        self._connection = connection
        row = None
        if folder is not None:
            row = latest_job(connection, job_name(folder), JOBS.c.folder == str(folder.resolve()))
        self._job = _NOBODY if row is None else int(row["number"])
        self._own_engine = _NOBODY if row is None else row["engine"] or _NOBODY
        self._engine = self._own_engine if fitted else _NOBODY
        self._marks: dict[str, Mapping[str, str]] = {}
        self._then = ReadingsThen(connection)

    @property
    def gauges(self) -> Mapping[str, Gauge]:
        return self._then.gauges

    def of_families(self, families: Collection[str]) -> tuple[ShelvedShell, ...]:
        known = self._connection.execute(select(SHELLS.c.family).distinct()).scalars()
        typed = [family for family in known if family.strip().casefold() in families]
        ran_here = and_(SHELLS.c.state == USED, SHELLS.c.ran_in == self._own_engine)
        mine = or_(SHELLS.c.state == FREE, HOLDS.c.job == self._job, HOLDS.c.engine == self._engine, ran_here)
        wanted = [mine, SHELLS.c.wall_nm.is_not(None), SHELLS.c.hold == ""]
        return self._found(self._query().where(SHELLS.c.family.in_(some), *wanted) for some in parts(typed))

    def in_boxes(self, names: Collection[str]) -> tuple[ShelvedShell, ...]:
        wanted = {composed(name) for name in names}
        known = self._connection.execute(select(BOXES.c.number, BOXES.c.name)).all()
        numbers = [number for number, name in known if composed(name) in wanted]
        return self._found(self._query().where(SHELLS.c.box.in_(some)) for some in parts(numbers))

    def _query(self) -> Select[Any]:
        return (
            select(
                SHELLS,
                SHELLS.c.box.label("box_number"),
                BOXES.c.name.label("box_name"),
                single(self._job).label("single"),
                HOLDS.c.job.label("holder"),
                HOLDS.c.engine,
                JOBS.c.name.label("job"),
                ENGINE_SHELLS.c.position.label("ran_at"),
                ENGINE_SHELLS.c.half.label("ran_as"),
                ENGINES.c.job.label("ran_for"),
            )
            .join(BOXES, BOXES.c.number == SHELLS.c.box)
            .outerjoin(HOLDS, HOLDS.c.shell == SHELLS.c.number)
            .outerjoin(JOBS, JOBS.c.number == HOLDS.c.job)
            .outerjoin(ENGINE_SHELLS, came_out_of())
            .outerjoin(ENGINES, ENGINES.c.number == ENGINE_SHELLS.c.engine)
        )

    def _found(self, queries: Iterable[Select[Any]]) -> tuple[ShelvedShell, ...]:
        rows = [row for query in queries for row in self._connection.execute(query).mappings()]
        readings = self._then.of_shells([row["number"] for row in rows])
        return tuple(
            self._shell(row, readings.get(row["number"], NOTHING_READ))
            for row in sorted(rows, key=lambda row: row["number"])
        )

    def _shell(self, row: RowMapping, then: Then) -> ShelvedShell:
        same = ("number", "box_number", "half", "family", "grade", "condition", "series", "part", "undersize", "step")
        more = ("wall_nm", "coating_nm", "location", "hold", "note", "single")
        return ShelvedShell(
            box=row["box_name"],
            shell=row["name"],
            measured_bare=row["measured"] == "bare",
            off_nm=then.off_nm,
            readings=tuple(then.readings),
            day=then.day,
            day_known=then.day_known,
            marks=self._marks_of(row["marks"]),
            barred=self._barred(row),
            **{name: row[name] for name in (*same, *more)},
        )

    def _marks_of(self, text: str) -> Mapping[str, str]:
        """Equal marks are the same object: there may be a million shells with a few."""
        if text not in self._marks:
            self._marks[text] = json.loads(text)
        return self._marks[text]

    def _barred(self, row: RowMapping) -> Fact | None:
        if row["ran_at"] is not None and (row["state"] == USED or row["holder"] == self._job):
            slots = {"job": row["ran_for"], "position": row["ran_at"], "half": row["ran_as"]}
            return Fact(USED, slots | {"back": row["ran_in"] == self._own_engine})
        if row["state"] == FREE or row["holder"] == self._job or row["engine"] == self._engine:
            return None
        slots = {"reason": row["reason"], "job": row["job"], "engine": row["engine"] or row["ran_in"]}
        return Fact(str(row["state"]), slots)
