"""Jobs that hold shells, or have held some, by name. Open is one that holds any."""

from collections.abc import Collection
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, RowMapping, exists, select

from fitmatch.facts import Fact
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.saved.saved_plan import read_saved_plan
from fitmatch.intake.saved.shared_plan import planned_with
from fitmatch.records.shelf.shelved import Holdings
from fitmatch.shelf.answers.shells import ShelfShell
from fitmatch.shelf.events import Hold
from fitmatch.shelf.refusals import RefusedError
from fitmatch.shelf.store.schema import HOLDS, JOB_POSITIONS, JOBS


def open_job(connection: Connection, name: str) -> RowMapping | None:
    """The one job of a name that holds shells."""
    holds = exists().where(HOLDS.c.job == JOBS.c.number)
    return connection.execute(select(JOBS).where(JOBS.c.name == name, holds)).mappings().first()


def latest_job(connection: Connection, name: str, *conditions: Any) -> RowMapping | None:
    """The last of all jobs of a name."""
    query = select(JOBS).where(JOBS.c.name == name, *conditions).order_by(JOBS.c.number.desc()).limit(1)
    return connection.execute(query).mappings().first()


def known_job(connection: Connection, name: str) -> RowMapping:
    """The open job of a name, otherwise the last; raises RefusedError if the shelf knows none."""
    found = open_job(connection, name) or latest_job(connection, name)
    if found is None:
        raise RefusedError(Fact("unknown-job", {"job": name}))
    return found


def holds_of(connection: Connection, job: RowMapping) -> dict[int, Hold]:
    """By shell, what a job holds and what is fitted in its engine."""
    mine = HOLDS.c.job == job["number"]
    if job["engine"] is not None:
        mine |= HOLDS.c.engine == job["engine"]
    query = select(HOLDS).where(mine).order_by(HOLDS.c.shell)
    rows = connection.execute(query).mappings()
    return {row["shell"]: Hold(row["job"], row["engine"], row["position"], row["half"]) for row in rows}


class HeldFor:
    """Which jobs have their shells, as the shelf knows it; the `Holdings` of `records/shelf/shelved.py`."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection

    def has_all(self, folder: Path, shells: Collection[int]) -> bool:
        row = self._job_in(folder)
        return row is not None and bool(shells) and set(shells) <= holds_of(self._connection, row).keys()

    def has_given_back(self, folder: Path, shells: Collection[int]) -> bool:
        row = self._job_in(folder)
        if row is None or holds_of(self._connection, row):
            return False
        seats = select(JOB_POSITIONS.c.upper, JOB_POSITIONS.c.lower).where(JOB_POSITIONS.c.job == row["number"])
        return {number for pair in self._connection.execute(seats) for number in pair} == set(shells)

    def _job_in(self, folder: Path) -> RowMapping | None:
        return latest_job(self._connection, folder.resolve().name, JOBS.c.folder == str(folder.resolve()))


def where_it_is(folder: str | Path, holdings: Holdings | None) -> dict[str, object]:
    """For the next commands: the folder of a job, those of the jobs that are planned with it, and whether its plan came
    from the shelf."""
    path = Path(folder)
    plan = read_saved_plan(path, Findings()) if path.is_dir() else None
    beside = tuple(map(str, planned_with(path, plan, holdings)))
    return {"folder": str(folder), "beside": beside, "from_shelf": plan is not None and plan.readings is not None}


def job_of(connection: Connection, shell: ShelfShell) -> dict[str, object]:
    """The same of the job that a shell is set aside for, or was until now."""
    job = known_job(connection, shell.job or "")
    return {"job": job["name"], **where_it_is(job["folder"], HeldFor(connection))}
