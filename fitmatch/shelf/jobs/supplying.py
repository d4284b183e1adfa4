"""What the shelf has for a job: its shells become shells of the job while that is read."""

import json
from collections.abc import Collection, Iterable, Mapping, Sequence
from os import PathLike
from pathlib import Path
from typing import Any, Final

from sqlalchemy import Connection, RowMapping, Select, and_, or_, select

from fitmatch.facts import Fact
from fitmatch.intake.planned import Kept, Planned, kept_plan, read_planned
from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import read_job
from fitmatch.names import composed
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge
from fitmatch.records.pools import Pool
from fitmatch.records.shelf.shelved import ShelvedShell, digest_of_readings
from fitmatch.shelf.built_engines import engine_on
from fitmatch.shelf.finding import came_out_of, parts, single
from fitmatch.shelf.gauges import NOTHING_READ, ReadingsThen, Then
from fitmatch.shelf.jobs.holders import HeldFor, latest_job
from fitmatch.shelf.jobs.planned import job_name
from fitmatch.shelf.refusals import RefusedError
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import BOXES, ENGINE_SHELLS, ENGINES, FITTED, FREE, HOLDS, JOBS, SHELLS, USED

_NOBODY: Final = 0  # no job has this number


def read_supplied(shelf: Shelf, folder: str | PathLike[str], *, assembled: bool = False) -> Job:
    """A job with the shelf's free shells of its families, those set aside for it and those fitted in its engine, which
    stay where they are, beside those of its own files; raises InputError with every mistake. `assembled`: with the
    readings taken with the shells in, and none of them kept in its place; raises RefusedError if the engine built by
    the saved plan was taken down."""
    with shelf.reading() as connection:
        supply = _Supply(connection, Path(folder), fixing=not assembled)
        if assembled:
            supply.refuse_if_taken_down(kept_plan(Path(folder)))
        return read_job(folder, assembled=assembled, supply=supply)


def read_supplied_jobs(shelf: Shelf, folders: Sequence[str | PathLike[str]]) -> Pool:
    """The same for several jobs that share their shells: what is set aside for one of them is offered to that one
    alone."""
    with shelf.reading() as connection:
        return read_jobs(folders, supplies=_supplies(connection, folders))


def read_planned_supplied(shelf: Shelf, kept: Kept) -> Planned:
    """One job with its saved plan, none of its shells kept in its place; where several share the plan, with the shells
    of all. Raises InputError with every mistake, RefusedError if the engine built by the plan was taken down."""
    with shelf.reading() as connection:
        supplies = _supplies(connection, kept.folders, fixing=False)
        supplies[0].refuse_if_taken_down(kept)
        return read_planned(kept, supplies)


def _supplies(
    connection: Connection, folders: Sequence[str | PathLike[str]], *, fixing: bool = True
) -> "list[_Supply]":
    """The shelf as each of several jobs sees it that share their shells."""
    then = ReadingsThen(connection)
    supplies = [_Supply(connection, Path(folder), fixing=fixing, then=then) for folder in folders]
    together = frozenset(supply.job for supply in supplies)
    learned = set[int]()
    for supply in supplies:
        supply.together, supply.learned = together, learned
    return supplies


def offered(shelf: Shelf, family: str) -> tuple[ShelvedShell, ...]:
    """The free shells of a family."""
    with shelf.reading() as connection:
        return _Supply(connection).of_families({family.strip().casefold()})


class _Supply(HeldFor):
    """The shelf as one job sees it, or as anybody does."""

    def __init__(
        self,
        connection: Connection,
        folder: Path | None = None,
        *,
        fixing: bool = True,
        then: ReadingsThen | None = None,
    ) -> None:
        """`fixing`: what is fitted in the job's engine stays in its place. `then`: what several jobs know of
        readings."""
        super().__init__(connection)
        row = None
        if folder is not None:
            row = latest_job(connection, job_name(folder), JOBS.c.folder == str(folder.resolve()))
        self._job = _NOBODY if row is None else int(row["number"])
        self._engine = _NOBODY if row is None else row["engine"] or _NOBODY
        self._fixing = fixing
        self._bad = frozenset[str]()  # positions of its engine that are not to be run
        self._permitted: Mapping[str, str] = {}  # those outside their limits that somebody has permitted
        if fixing and self._engine != _NOBODY:
            engine = engine_on(connection, self._engine)
            self._bad = frozenset(p.position for p in engine.not_to_be_run)
            outside = (p for p in engine.positions if p.is_outside and not p.left and not p.is_not_to_be_run)
            self._permitted = {p.position: p.permission for p in outside}
        self._marks: dict[str, Mapping[str, str]] = {}
        self._then = then or ReadingsThen(connection)
        self.together = frozenset((self._job,))  # the jobs whose shells count as free where singles are sought
        self.learned: set[int] = set()

    @property
    def job(self) -> int:
        """The number of the job."""
        return self._job

    @property
    def gauges(self) -> Mapping[str, Gauge]:
        return self._then.gauges

    def refuse_if_taken_down(self, kept: Kept) -> None:
        """Raise RefusedError if shells of the plan have run in the job's engine and came out of it since: they are not
        those any more that it was made for."""
        plan = kept.plan
        if plan is None or plan.readings is None:
            return
        numbers = set(plan.numbers.values())
        query = select(SHELLS.c.number, ENGINES.c.torn_down).join(ENGINES, ENGINES.c.number == SHELLS.c.ran_in)
        mine = (SHELLS.c.ran_in == self._engine, SHELLS.c.state != FITTED, ENGINES.c.torn_down != "")
        found = [
            row.torn_down
            for some in parts(numbers)
            for row in self._connection.execute(query.where(SHELLS.c.number.in_(some), *mine))
        ]
        now = self._then.of_shells(sorted(numbers)) if found else {}
        readings = ((n, [r.nm for r in now.get(n, NOTHING_READ).readings]) for n in numbers)
        if found and plan.readings != digest_of_readings(readings):
            job, day = job_name(kept.folder), max(found)[:10]
            raise RefusedError(Fact("taken-down", {"job": job, "number": self._engine, "day": day}))

    def of_families(self, families: Collection[str]) -> tuple[ShelvedShell, ...]:
        known = self._connection.execute(select(SHELLS.c.family).distinct()).scalars()
        typed = [family for family in known if family.strip().casefold() in families]
        ran_here = and_(SHELLS.c.state == USED, SHELLS.c.ran_in == self._engine)
        mine = or_(SHELLS.c.state == FREE, HOLDS.c.job == self._job, HOLDS.c.engine == self._engine, ran_here)
        wanted = [mine, SHELLS.c.wall_nm.is_not(None), or_(SHELLS.c.hold == "", HOLDS.c.engine == self._engine)]
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
                single(self.together).label("single"),
                HOLDS.c.job.label("holder"),
                HOLDS.c.engine,
                HOLDS.c.position.label("held_at"),
                HOLDS.c.half.label("held_as"),
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
        is_inside = row["engine"] == self._engine
        is_seated = self._fixing and is_inside
        same = ("number", "box_number", "half", "family", "grade", "condition", "series", "part", "undersize", "step")
        more = ("wall_nm", "coating_nm", "location", "note", "single")
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
            seat=(row["held_at"], row["held_as"]) if is_seated else None,
            is_not_to_be_run=is_seated and row["held_at"] in self._bad,
            permitted=self._permitted.get(row["held_at"]) if is_seated else None,
            hold="" if is_inside else row["hold"],
            hold_inside=row["hold"] if is_inside else "",
            ran=row["ran_in"] is not None,
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
            return Fact(USED, slots | {"back": row["ran_in"] == self._engine})
        if row["state"] == FREE or row["holder"] == self._job or row["engine"] == self._engine:
            return None
        slots = {"reason": row["reason"], "job": row["job"], "engine": row["engine"] or row["ran_in"]}
        slots["position"] = row["held_at"]
        return Fact(str(row["state"]), slots)
