"""A shelf that is left by processes killed at any point of what they do to it, as by `kill -9`."""

import os
import shutil
import signal
import sqlite3
from collections.abc import Callable, Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from time import perf_counter
from typing import Any

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
    scrap,
    send_back,
    set_aside,
    take_in,
    teardown,
)

Dump = list[tuple[object, ...]]
_EVERY = 3  # steps of the machine that carries out statements


class Points:
    """The points that a process gets to: every few steps of SQLite's machine, and before and after each statement and
    each commit. `kill_at` ends the process at one of them; `alarm_s` so long after it began to commit,
    at `commits_at`."""

    def __init__(self, engine: Engine) -> None:
        self.seen = 0
        self.kill_at: int | None = None
        self.alarm_s: float | None = None
        self.commits_at = 0.0
        event.listen(engine, "connect", self._connected)
        event.listen(engine, "commit", self._committing)
        for name in ("before_cursor_execute", "after_cursor_execute"):
            event.listen(engine, name, self._met)

    def _connected(self, connection: sqlite3.Connection, _: object) -> None:
        connection.set_progress_handler(self._met, _EVERY)

    def _committing(self, _: object) -> None:
        self._met()
        if (
            self.alarm_s is not None
        ):  # without a handler it ends a process as abruptly as SIGKILL, and to the microsecond
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


class Stages:
    """Shelves in files as they are at several stages of one job, and what the actions need, read once."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.path = folder / "shelf.db"  # on which everything is done
        self.shelf = shelf = open_shelf(self.path, clock=lambda: datetime(2026, 3, 1, tzinfo=UTC))
        self.points = Points(shelf.engine)
        self._keep("empty")
        job = folder / "first"
        killed(lambda: planned_job(job, ONE_ROD))  # solved elsewhere: a process that has loaded less forks faster
        self.stock = read_stock([job])
        put(folder / "sealed.csv", SEALED)
        self.sealed = read_stock([folder / "sealed.csv"], "in")
        take_in(shelf, self.stock)
        take_in(shelf, self.sealed)
        export(shelf, folder / "exported")
        self._keep("taken in")
        self.planned = read_planned(job)
        set_aside(shelf, self.planned)
        self._keep("set aside")
        put(job / "positions.csv", ONE_ROD.replace("1.9421", "1.94225"))
        killed(lambda: save_plan(job))
        self.other_plan = read_planned(job)
        fitted(shelf, self.planned)
        self._keep("fitted")
        put(job / "shells/box-1.csv", BOX.replace("0.0618", "0.06182"))
        self.remeasured = read_stock([job])

    def _keep(self, stage: str) -> None:
        shutil.copy(self.path, self.folder / f"{stage}.db")

    def begin(self, stage: str) -> None:
        """The shelf as it was then, without what a killed process left beside it."""
        if self.is_untouched(stage):
            return
        for path in self.folder.glob("shelf.db*"):
            path.unlink()
        shutil.copy(self.folder / f"{stage}.db", self.path)

    def is_untouched(self, stage: str) -> bool:
        """Whether the shelf is as it was then, byte for byte, and nothing lies beside its file."""
        same = (self.folder / f"{stage}.db").read_bytes() == self.path.read_bytes()
        return same and not [*self.folder.glob("shelf.db-*")]

    def dump(self) -> Dump:
        """Everything on the shelf, read as another program would."""
        with closing(sqlite3.connect(self.path)) as connection:
            assert connection.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
            assert connection.execute("PRAGMA foreign_key_check").fetchall() == []
            query = "SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY name"
            names = [name for (name,) in connection.execute(query)]
            return [(name, *row) for name in names for row in connection.execute(f"SELECT * FROM {name}")]


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
    "move": ("taken in", lambda shelf, s: move(shelf, ["1", "2", "6"], "drawer 9")),
    "send-back": ("taken in", lambda shelf, s: send_back(shelf, "box-1")),
    "count": ("set aside", lambda shelf, s: count(shelf, ["3", "4"])),
    "correct": ("set aside", lambda shelf, s: correct(shelf, 9)),
    "teardown": ("fitted", lambda shelf, s: teardown(shelf, 1)),
    "import": ("empty", lambda shelf, s: import_(shelf, s.folder / "exported")),
}
# What differs little from another of them.
FURTHER = ("take-in sealed", "take-in again", "take-in new box", "set-aside again", "put-back a trial")


def broken_by_kills(stages: Stages, name: str, points: int, commits: int) -> list[str]:
    """Kill an action at so many points spread over all of it, and so many while it commits, and say after which of them
    the shelf was neither as before nor as after it."""
    stage, action = ACTIONS[name]
    stages.begin(stage)
    before = stages.dump()
    stages.points.seen = 0
    action(stages.shelf, stages)
    total, lasted, after = stages.points.seen, perf_counter() - stages.points.commits_at, stages.dump()
    assert total >= points and before != after
    broken = []

    def until(kill_at: int | None, alarm_s: float | None = None) -> None:
        stages.points.seen, stages.points.kill_at, stages.points.alarm_s = 0, kill_at, alarm_s
        action(stages.shelf, stages)

    for at in spread(total, points):
        stages.begin(stage)
        was_killed = killed(lambda at=at: until(at))
        if not was_killed or not (stages.is_untouched(stage) or stages.dump() in (before, after)):
            broken.append(f"{name}: killed at point {at} of {total}")
    for number in range(commits):
        stages.begin(stage)
        late = 1e-6 + lasted * number / commits
        killed(lambda late=late: until(None, late))
        if not (stages.is_untouched(stage) or stages.dump() in (before, after)):
            broken.append(f"{name}: killed {1e6 * late:.0f} us after it began to commit")
    return broken


def spread(total: int, points: int) -> Iterator[int]:
    """So many of the numbers from 1 to `total`, both included."""
    return (1 + (total - 1) * number // max(1, points - 1) for number in range(points))


def broken_openings(folder: Path, points: int) -> list[str]:
    """Kill the making of a shelf at so many moments: at the next attempt it must be made, and be empty."""
    began = perf_counter()
    open_shelf(folder / "made.db")
    lasted, broken = perf_counter() - began, []
    for number in range(points):
        path = folder / f"made-{number}.db"
        _late(lambda path=path: open_shelf(path), lasted * number / points)
        with open_shelf(path).reading() as connection:
            if connection.exec_driver_sql("SELECT count(*) FROM shells").scalar_one() != 0:
                broken.append(f"making a shelf: killed at {number} of {points}")
    return broken


def broken_exports(stages: Stages, points: int) -> list[str]:
    """Kill an export at so many moments: it must not be there under its name, or be whole."""
    stages.begin("fitted")
    began = perf_counter()
    export(stages.shelf, stages.folder / "whole")
    lasted, broken = perf_counter() - began, []
    whole = {path.name: path.read_bytes() for path in (stages.folder / "whole").iterdir()}
    for number in range(points):
        folder = stages.folder / f"out-{number}"
        _late(lambda folder=folder: export(stages.shelf, folder), lasted * number / points)
        if folder.exists() and {path.name: path.read_bytes() for path in folder.iterdir()} != whole:
            broken.append(f"export: killed at {number} of {points}")
    return broken


def _late(action: Callable[[], object], after_s: float) -> None:
    def in_time() -> None:
        signal.setitimer(signal.ITIMER_REAL, after_s + 1e-6)
        action()

    killed(in_time)
