"""Killed at any point, an action has done all or nothing: what it was to change with its events, in a sound file or on
a server."""

import os
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from made.kills import ACTIONS, FURTHER, Stages, broken_by_kills, broken_exports, broken_openings
from made.postgres import server

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked")
SCRIPT = Path(__file__).parents[1] / "kill_shelf.py"
DATABASES = ["sqlite", pytest.param("postgresql", marks=[pytest.mark.outside, pytest.mark.deep])]


@pytest.fixture(scope="module", params=DATABASES)
def stages(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Stages]:
    """Shelves to begin with."""
    folder = tmp_path_factory.mktemp("kills")
    if request.param == "sqlite":
        yield Stages(folder)
    else:
        with server() as url:
            yield Stages(folder, url)


@pytest.mark.parametrize("name", ACTIONS)
def test_all_or_nothing(stages: Stages, name: str) -> None:
    """Killed at a few points, one of them while it commits, an action leaves the shelf as before or as after it, and
    nothing between."""
    done = broken_by_kills(stages, name, points=3, commits=1)
    assert (done.kills, done.broken) == (4, [])


def test_a_shelf_is_made_whole_or_again(stages: Stages) -> None:
    """Killed while its tables are made, a shelf is made at the next attempt, and empty."""
    assert broken_openings(stages.place, 3) == (3, [])


def test_an_export_is_whole_or_not_there(stages: Stages) -> None:
    """Killed while it writes, an export is not there under its name, or is whole."""
    assert broken_exports(stages, 3) == (3, [])


@pytest.mark.deep
def test_at_many_points() -> None:
    """The same at 50 points of each action, some of them while it commits. The script does it at 200 points on both
    databases, which takes a quarter of an hour."""
    args = [sys.executable, SCRIPT, "--points", "50", "--only", "sqlite"]
    ran = subprocess.run(args, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert all(f": {name}: 50 " in ran.stdout for name in ACTIONS if name not in FURTHER)
