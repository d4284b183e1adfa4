"""What the shelf has for a job: its shells become shells of the job while that is read."""

import json
from collections.abc import Collection, Iterable, Mapping
from os import PathLike
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, RowMapping, Select, or_, select

from fitmatch.facts import Fact
from fitmatch.intake.reading import read_job
from fitmatch.names import composed
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, Reading
from fitmatch.records.shelved import ShelvedShell
from fitmatch.shelf.finding import parts, single
from fitmatch.shelf.gauges import ReadingsThen
from fitmatch.shelf.jobs import open_job
from fitmatch.shelf.planned import job_name
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import BOXES, FREE, HOLDS, JOBS, SHELLS

_NOBODY: Final = 0  # no job has this number


def read_supplied(shelf: Shelf, folder: str | PathLike[str]) -> Job:
    """A job with the shelf's free shells of its families, and those set aside for it, beside those of its own files;
    raises InputError with every mistake."""
    with shelf.reading() as connection:
        return read_job(folder, supply=_Supply(connection, Path(folder)))


class _Supply:
    """The shelf as one job sees it."""

    def __init__(self, connection: Connection, folder: Path) -> None:
        self._connection = connection
        row = open_job(connection, job_name(folder))
        self._job = _NOBODY if row is None or row["folder"] != str(folder.resolve()) else int(row["number"])
        self._then = ReadingsThen(connection)

    @property
    def gauges(self) -> Mapping[str, Gauge]:
        return self._then.gauges

    def of_families(self, families: Collection[str]) -> tuple[ShelvedShell, ...]:
        known = self._connection.execute(select(SHELLS.c.family).distinct()).scalars()
        typed = [family for family in known if family.strip().casefold() in families]
        mine = or_(SHELLS.c.state == FREE, HOLDS.c.job == self._job)
        wanted = (mine, SHELLS.c.wall_nm.is_not(None), SHELLS.c.hold == "")
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
            )
            .join(BOXES, BOXES.c.number == SHELLS.c.box)
            .outerjoin(HOLDS, HOLDS.c.shell == SHELLS.c.number)
            .outerjoin(JOBS, JOBS.c.number == HOLDS.c.job)
        )

    def _found(self, queries: Iterable[Select[Any]]) -> tuple[ShelvedShell, ...]:
        rows = [row for query in queries for row in self._connection.execute(query).mappings()]
        readings = self._then.of_shells([row["number"] for row in rows])
        return tuple(
            self._shell(row, *readings.get(row["number"], ([], "", 0)))
            for row in sorted(rows, key=lambda row: row["number"])
        )

    def _shell(self, row: RowMapping, readings: list[Reading], day: str, off_nm: int) -> ShelvedShell:
        same = ("number", "box_number", "half", "family", "grade", "condition", "series", "undersize", "step")
        more = ("wall_nm", "coating_nm", "location", "hold", "single")
        return ShelvedShell(
            box=row["box_name"],
            shell=row["name"],
            measured_bare=row["measured"] == "bare",
            off_nm=off_nm,
            readings=tuple(readings),
            day=day,
            marks=json.loads(row["marks"]),
            barred=self._barred(row),
            **{name: row[name] for name in (*same, *more)},
        )

    def _barred(self, row: RowMapping) -> Fact | None:
        if row["state"] == FREE or row["holder"] == self._job:
            return None
        slots = {"reason": row["reason"], "job": row["job"], "engine": row["engine"] or row["ran_in"]}
        return Fact(str(row["state"]), slots)
