"""Shelves of earlier versions are brought up to date with all that is on them, in one step, or stay what they were."""

import os
import shutil
import signal
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest
from made.kills import killed
from made.shelves import lived_on
from sqlalchemy import inspect, text

from fitmatch.shelf import Shelf, export, import_, open_shelf, show
from fitmatch.shelf.store import migrating, opening
from fitmatch.shelf.store.schema import METADATA, VERSION, VERSIONS

DATA = Path(__file__).parents[1] / "data" / "shelf"
STEP = """\
import sqlalchemy
from alembic import op
revision, down_revision = "{this}", "{before}"
def upgrade():
    op.add_column("shells", sqlalchemy.Column("colour", sqlalchemy.Text, nullable=False, server_default="none"))
    op.execute("UPDATE boxes SET note = 'seen'")
"""
FAULT = 'revision, down_revision = "{this}", "{before}"\ndef upgrade():\n    raise RuntimeError("no such step")\n'


class Later:
    """A program that is one step further, or two of which the second is at fault."""

    def __init__(self, folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
        self._scripts = Path(shutil.copytree(migrating.SCRIPTS, folder / "migrations"))
        self._patch = monkeypatch
        self.versions = VERSIONS

    def step(self, text: str) -> None:
        this = f"{int(self.versions[-1]) + 1:04}"
        (self._scripts / "versions" / f"v{this}.py").write_text(text.format(this=this, before=self.versions[-1]))
        self.versions = (*self.versions, this)
        self._patch.setattr(migrating, "SCRIPTS", self._scripts)
        for module in (migrating, opening):
            self._patch.setattr(module, "VERSIONS", self.versions)


@pytest.fixture
def later(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Later:
    """What a later program knows."""
    return Later(tmp_path, monkeypatch)


def version(shelf: Shelf) -> str:
    with shelf.reading() as connection:
        return str(connection.execute(VERSION.select()).scalar_one())


def test_an_earlier_shelf_is_brought_up_to_date(shelf: Shelf, address: str, tmp_path: Path, later: Later) -> None:
    """The later program finds everything that was there, changed as its step says, and again changes nothing."""
    lived_on(shelf, tmp_path)
    before = show(shelf)
    later.step(STEP)
    for _ in range(2):
        moved = open_shelf(address)
        assert version(moved) == later.versions[-1] and show(moved).shells == before.shells
        with moved.reading() as connection:
            assert set(connection.execute(text("SELECT colour FROM shells")).scalars()) == {"none"}
        migrating.migrate(moved)


def test_a_copy_is_made_before(tmp_path: Path, later: Later) -> None:
    """Beside the file is what it was before, which only the user may read and the program of then understands."""
    lived_on(shelf := open_shelf(tmp_path / "shelf.db"), tmp_path)
    before = show(shelf)
    later.step(STEP)
    open_shelf(tmp_path / "shelf.db")
    copy = tmp_path / f"shelf.db.version-{VERSIONS[-1]}"
    assert copy.stat().st_mode & 0o777 == 0o600
    with closing(sqlite3.connect(copy)) as connection:
        assert connection.execute("SELECT version_num FROM alembic_version").fetchall() == [(VERSIONS[-1],)]
        assert len(connection.execute("SELECT * FROM shells").fetchall()) == len(before.shells)


def test_of_two_steps_none_is_left_half_way(shelf: Shelf, address: str, tmp_path: Path, later: Later) -> None:
    """Where a later step fails the earlier ones are undone too: the shelf is what it was."""
    lived_on(shelf, tmp_path)
    before = show(shelf)
    later.step(STEP)
    later.step(FAULT)
    with pytest.raises(RuntimeError):
        open_shelf(address)
    assert version(shelf) == VERSIONS[-1] and show(shelf) == before
    with shelf.reading() as connection:
        assert "colour" not in [column["name"] for column in inspect(connection).get_columns("shells")]


@pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked")
@pytest.mark.parametrize("points", [4, pytest.param(60, marks=pytest.mark.deep)])
def test_killed_half_way(tmp_path: Path, later: Later, points: int) -> None:
    """Killed at any moment, the shelf has its old version with the old tables or the new one with the new, and the next
    attempt succeeds."""
    lived_on(open_shelf(tmp_path / "before.db"), tmp_path)
    later.step(STEP)
    shutil.copy(tmp_path / "before.db", tmp_path / "loaded.db")
    open_shelf(tmp_path / "loaded.db")
    for number in range(points):
        path = Path(shutil.copy(tmp_path / "before.db", tmp_path / f"{number}.db"))

        def in_time(path: Path = path, number: int = number) -> None:
            signal.setitimer(signal.ITIMER_REAL, 1e-6 + 0.08 * number / points)
            open_shelf(path)

        killed(in_time)
        with closing(sqlite3.connect(path)) as connection:
            (found,) = connection.execute("SELECT version_num FROM alembic_version").fetchone()
            columns = [row[1] for row in connection.execute("PRAGMA table_info(shells)")]
            assert ("colour" in columns) == (found == later.versions[-1])
        assert version(open_shelf(path)) == later.versions[-1]


@pytest.mark.parametrize("number", VERSIONS)
def test_files_of_every_version(tmp_path: Path, number: str) -> None:
    """A file that this version of the program wrote is opened, and holds what was exported from it then."""
    path = Path(shutil.copy(DATA / f"version-{number}.db", tmp_path / "shelf.db"))
    shelf = open_shelf(path)
    assert version(shelf) == VERSIONS[-1]
    import_(other := open_shelf(tmp_path / "other.db"), DATA / f"version-{number}")
    for name, one in (("a", shelf), ("b", other)):
        export(one, tmp_path / name)
    for file in (tmp_path / "a").iterdir():
        assert file.read_bytes() == (tmp_path / "b" / file.name).read_bytes(), file.name


def test_the_file_of_the_newest_version_has_its_tables(tmp_path: Path) -> None:
    """Whoever changes the tables makes a new version: those of the last one are what files in the world have."""

    def tables(path: Path) -> list[tuple[str, str]]:
        with closing(sqlite3.connect(path)) as connection:
            return sorted(connection.execute("SELECT name, sql FROM sqlite_master WHERE sql IS NOT NULL"))

    new = open_shelf(tmp_path / "new.db")
    assert METADATA.tables.keys() <= {name for name, _ in tables(tmp_path / "new.db")}
    assert tables(DATA / f"version-{VERSIONS[-1]}.db") == tables(tmp_path / "new.db"), new
