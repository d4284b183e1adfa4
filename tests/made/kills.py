"""A shelf that is left by processes killed at any point of what they do to it, as by `kill -9`, on either database."""

import os
import shutil
import signal
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from datetime import UTC, datetime
from itertools import count as count_from
from pathlib import Path
from time import perf_counter, sleep
from typing import Any, Final, NamedTuple, Protocol

import psycopg
from made.intake_jobs import put
from made.shelves import BOX, ONE_ROD, SEALED, planned_job, save_plan
from sqlalchemy import Engine, event

from fitmatch.shelf import (
    Shelf,
    correct,
    count,
    export,
    fitted,
    import_,
    move,
    open_shelf,
    put_back,
    read_planned,
    read_stock,
    release,
    scrap,
    send_back,
    set_aside,
    take_in,
    teardown,
)

Dump = list[tuple[object, ...]]
_EVERY = 3  # steps of the machine that carries out statements


class Points:
    """The points that a process gets to: before and after each statement and before each commit, on SQLite also every
    few steps of its machine. `kill_at` ends the process at one of them; `alarm_s` so long after it began to commit, at
    `commits_at`."""

    def __init__(self, engine: Engine) -> None:
        self.seen = 0
        self.kill_at: int | None = None
        self.alarm_s: float | None = None
        self.commits_at = 0.0
        event.listen(engine, "connect", self._connected)
        event.listen(engine, "commit", self._committing)
        for name in ("before_cursor_execute", "after_cursor_execute"):
            event.listen(engine, name, self._met)

    def _connected(self, connection: object, _: object) -> None:
        if isinstance(connection, sqlite3.Connection):
            connection.set_progress_handler(self._met, _EVERY)

    def _committing(self, _: object) -> None:
        self._met()
        self.commits_at = perf_counter()
        if self.alarm_s is not None:
            # Without a handler it ends a process as abruptly as SIGKILL, and to the microsecond.
            signal.signal(signal.SIGALRM, signal.SIG_DFL)
            signal.setitimer(signal.ITIMER_REAL, self.alarm_s)

    def _met(self, *_: Any) -> None:
        self.seen += 1
        if self.seen == self.kill_at:
            os.kill(os.getpid(), signal.SIGKILL)


def killed(action: Callable[[], object]) -> bool:
    """Do something in a process of its own; whether that was killed before it was done. Any other failure is raised."""
    child = os.fork()
    if child == 0:
        try:
            action()
        except BaseException:
            os._exit(1)
        os._exit(0)
    _, status = os.waitpid(child, 0)
    if os.WIFSIGNALED(status):
        return True
    assert os.WEXITSTATUS(status) == 0, "the action failed"
    return False


class Place(Protocol):
    """Where a shelf is, and where others like it are kept."""

    address: str

    def keep(self, stage: str) -> None:
        """Keep it as it is."""

    def put(self, stage: str) -> None:
        """Make it as it was then, without what a killed process left beside it."""

    def is_untouched(self, stage: str) -> bool:
        """Whether it is surely as it was then; if not, it is to be looked at."""

    def dump(self) -> Dump:
        """Everything on it, read as another program would, once nobody writes any more."""

    def another(self, name: str) -> str:
        """The address of a new one, which does not exist yet."""


class InFiles:
    """Shelves of SQLite in a folder."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._path = folder / "shelf.db"
        self.address = str(self._path)

    def keep(self, stage: str) -> None:
        shutil.copy(self._path, self._folder / f"{stage}.db")

    def put(self, stage: str) -> None:
        for path in self._folder.glob("shelf.db*"):
            path.unlink()
        shutil.copy(self._folder / f"{stage}.db", self._path)

    def is_untouched(self, stage: str) -> bool:
        """Byte for byte, and nothing lies beside its file."""
        same = (self._folder / f"{stage}.db").read_bytes() == self._path.read_bytes()
        return same and not [*self._folder.glob("shelf.db-*")]

    def dump(self) -> Dump:
        with closing(sqlite3.connect(self._path)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
            query = "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
            names = [name for (name,) in connection.execute(query)]
            return [(name, *row) for name in names for row in connection.execute(f"SELECT * FROM {name}")]

    def another(self, name: str) -> str:
        return str(self._folder / f"{name}.db")


class OnAServer:
    """Shelves of PostgreSQL, each a database of its own on a server."""

    def __init__(self, server: str) -> None:
        self._server = server
        self._kept: dict[str, Dump] = {}
        self._run('CREATE DATABASE "shelf"')
        self.address = self._url("shelf")

    def keep(self, stage: str) -> None:
        self._run(f'CREATE DATABASE "{stage}" TEMPLATE "shelf"')
        self._kept[stage] = self.dump()

    def put(self, stage: str) -> None:
        self._run('DROP DATABASE "shelf" WITH (FORCE)')
        self._run(f'CREATE DATABASE "shelf" TEMPLATE "{stage}"')

    def is_untouched(self, stage: str) -> bool:
        return self.dump() == self._kept[stage]

    def dump(self) -> Dump:
        with psycopg.connect(self.address) as connection:
            # The server goes on for a moment after its client is gone.
            mine = "SELECT count(*) FROM pg_stat_activity WHERE datname = current_database()"
            while connection.execute(mine).fetchone() != (1,):
                connection.rollback()
                sleep(0.001)
            connection.rollback()
            query = "SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY tablename"
            tables = [table for (table,) in connection.execute(query)]
            rows = {table: connection.execute(f"SELECT * FROM {table} t ORDER BY t".encode()) for table in tables}
            return [(table, *row) for table, some in rows.items() for row in some]

    def another(self, name: str) -> str:
        self._run(f'CREATE DATABASE "{name}"')
        return self._url(name)

    def _url(self, name: str) -> str:
        return self._server.replace("/postgres?", f"/{name}?")

    def _run(self, statement: str) -> None:
        with psycopg.connect(self._server, autocommit=True) as connection:
            connection.execute(statement.encode())


class Stages:
    """A shelf as it is at several stages of one job, and what the actions need, read once."""

    def __init__(self, folder: Path, server: str | None = None) -> None:
        self.folder = folder
        self.place: Place = InFiles(folder) if server is None else OnAServer(server)
        self.shelf = shelf = open_shelf(self.place.address, clock=lambda: datetime(2026, 3, 1, tzinfo=UTC))
        self.points = Points(shelf.engine)
        self.place.keep("empty")
        job = folder / "first"
        killed(lambda: planned_job(job, ONE_ROD))  # solved elsewhere: a process that has loaded less forks faster
        self.stock = read_stock([job])
        put(folder / "sealed.csv", SEALED)
        self.sealed = read_stock([folder / "sealed.csv"], "in")
        take_in(shelf, self.stock)
        take_in(shelf, self.sealed)
        export(shelf, folder / "exported")
        self.place.keep("taken in")
        self.planned = read_planned(job)
        set_aside(shelf, self.planned)
        self.place.keep("set aside")
        put(job / "positions.csv", ONE_ROD.replace("1.9421", "1.94225"))
        killed(lambda: save_plan(job))
        self.other_plan = read_planned(job)
        fitted(shelf, self.planned)
        self.place.keep("fitted")
        header, *rows = BOX.splitlines()
        put(folder / "box-1.csv", "\n".join([f"{header},hold", *(f"{row},cracked" for row in rows)]) + "\n")
        take_in(shelf, read_stock([folder / "box-1.csv"], "in"))
        self.place.keep("on hold")
        put(job / "shells/box-1.csv", BOX.replace("0.0618", "0.06182"))
        self.remeasured = read_stock([job])

    def begin(self, stage: str) -> None:
        """The shelf as it was then."""
        if not self.place.is_untouched(stage):
            self.place.put(stage)

    def is_one_of(self, stage: str, dumps: Sequence[Dump]) -> bool:
        """Whether the shelf is as it was at this stage, or as one of these."""
        return self.place.is_untouched(stage) or self.place.dump() in dumps


Action = Callable[[Shelf, Stages], object]
# By name: the stage it begins at, and what is done.
ACTIONS: dict[str, tuple[str, Action]] = {
    "take-in": ("empty", lambda shelf, s: take_in(shelf, s.stock)),
    "take-in sealed": ("empty", lambda shelf, s: take_in(shelf, s.sealed)),
    "take-in again": ("taken in", lambda shelf, s: take_in(shelf, s.remeasured, remeasured=["1", "2"])),
    "take-in new box": ("taken in", lambda shelf, s: take_in(shelf, s.remeasured, new_box=True)),
    "set-aside": ("taken in", lambda shelf, s: set_aside(shelf, s.planned)),
    "set-aside again": ("set aside", lambda shelf, s: set_aside(shelf, s.other_plan)),
    "put-back": ("set aside", lambda shelf, s: put_back(shelf, "first")),
    "put-back a trial": ("fitted", lambda shelf, s: put_back(shelf, "first", ["R1"])),
    "fitted": ("set aside", lambda shelf, s: fitted(shelf, s.planned)),
    "scrap": ("set aside", lambda shelf, s: scrap(shelf, "1", "dropped")),
    "release": ("on hold", lambda shelf, s: release(shelf, "6", "looked at again")),
    "move": ("taken in", lambda shelf, s: move(shelf, ["1", "2", "6"], "drawer 9")),
    "send-back": ("taken in", lambda shelf, s: send_back(shelf, "box-1")),
    "count": ("set aside", lambda shelf, s: count(shelf, ["3", "4"])),
    "correct": ("set aside", lambda shelf, s: correct(shelf, 9)),
    "teardown": ("fitted", lambda shelf, s: teardown(shelf, 1)),
    "import": ("empty", lambda shelf, s: import_(shelf, s.folder / "exported")),
}
# What differs little from another of them.
FURTHER = ("take-in sealed", "take-in again", "take-in new box", "set-aside again", "put-back a trial")

SOONER: Final = 0.9  # of what an action took when it was timed, where it was done before it was to be killed


class Kills(NamedTuple):
    """How many processes were killed, and what was broken by which of them."""

    kills: int
    broken: list[str]


def broken_by_kills(stages: Stages, name: str, points: int, commits: int) -> Kills:
    """Kill an action at so many points spread over all of it, and so many while it commits, and say after which of them
    the shelf was neither as before nor as after it. Where it has fewer points than that, the others are moments."""
    stage, action = ACTIONS[name]
    stages.begin(stage)
    before = stages.place.dump()
    stages.points.seen = 0
    began = perf_counter()
    action(stages.shelf, stages)
    lasted, committing = perf_counter() - began, perf_counter() - stages.points.commits_at
    total, after = stages.points.seen, stages.place.dump()
    assert before != after
    kills, broken = 0, list[str]()

    def until(kill_at: int | None, alarm_s: float | None = None) -> None:
        stages.points.seen, stages.points.kill_at, stages.points.alarm_s = 0, kill_at, alarm_s
        action(stages.shelf, stages)

    def check(when: str, *, was_killed: bool) -> None:
        nonlocal kills
        kills += was_killed
        if not stages.is_one_of(stage, (before, after)):
            broken.append(f"{name}: killed {when}")

    for at in spread(total, min(points, total)):
        stages.begin(stage)
        was_killed = killed(lambda at=at: until(at))
        assert was_killed, f"{name}: point {at} of {total} was not reached"
        check(f"at point {at} of {total}", was_killed=was_killed)
    while kills < points:
        stages.begin(stage)
        late = lasted * (kills + 0.5 - total) / (points - total)
        was_killed = _late(lambda: until(None), late)
        lasted *= 1.0 if was_killed else SOONER
        check(f"{1e3 * late:.1f} ms after it began", was_killed=was_killed)
    while kills < points + commits:
        stages.begin(stage)
        late = 1e-6 + committing * (kills - points) / commits * 0.9
        was_killed = killed(lambda late=late: until(None, late))
        committing *= 1.0 if was_killed else SOONER
        check(f"{1e6 * late:.0f} us after it began to commit", was_killed=was_killed)
    return Kills(kills, broken)


def spread(total: int, points: int) -> Iterator[int]:
    """So many of the numbers from 1 to `total`, both included."""
    return (1 + (total - 1) * number // max(1, points - 1) for number in range(points))


def broken_openings(place: Place, points: int) -> Kills:
    """Kill the making of a shelf at so many moments: at the next attempt it must be made, and be empty."""
    address = place.another("made")
    began = perf_counter()
    open_shelf(address)
    lasted, kills, broken = perf_counter() - began, 0, list[str]()
    for number in count_from(0):
        if kills == points:
            break
        address = place.another(f"made-{number}")
        was_killed = _late(lambda address=address: open_shelf(address), lasted * kills / points)
        kills, lasted = kills + was_killed, lasted * (1.0 if was_killed else SOONER)
        with open_shelf(address).reading() as connection:
            if connection.exec_driver_sql("SELECT count(*) FROM shells").scalar_one() != 0:
                broken.append(f"making a shelf: killed at {kills} of {points}")
    return Kills(kills, broken)


def broken_exports(stages: Stages, points: int) -> Kills:
    """Kill an export at so many moments: it must not be there under its name, or be whole."""
    stages.begin("fitted")
    began = perf_counter()
    export(stages.shelf, stages.folder / "whole")
    lasted, kills, broken = perf_counter() - began, 0, list[str]()
    whole = {path.name: path.read_bytes() for path in (stages.folder / "whole").iterdir()}
    for number in count_from(0):
        if kills == points:
            break
        folder = stages.folder / f"out-{number}"
        was_killed = _late(lambda folder=folder: export(stages.shelf, folder), lasted * kills / points)
        kills, lasted = kills + was_killed, lasted * (1.0 if was_killed else SOONER)
        if folder.exists() and {path.name: path.read_bytes() for path in folder.iterdir()} != whole:
            broken.append(f"export: killed at {kills} of {points}")
    return Kills(kills, broken)


def _late(action: Callable[[], object], after_s: float) -> bool:
    """Do something in a process of its own that is killed so long after it began; whether it was."""

    def in_time() -> None:
        signal.signal(signal.SIGALRM, signal.SIG_DFL)
        signal.setitimer(signal.ITIMER_REAL, after_s + 1e-6)
        action()

    return killed(in_time)
