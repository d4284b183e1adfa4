"""Killed at any point, an action has done all or nothing: what it was to change with its events, in a sound file."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from made.kills import ACTIONS, FURTHER, Stages, broken_by_kills, broken_exports, broken_openings

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="processes are forked")
SCRIPT = Path(__file__).parents[1] / "kill_shelf.py"


@pytest.fixture(scope="module")
def stages(tmp_path_factory: pytest.TempPathFactory) -> Stages:
    """Shelves to begin with."""
    return Stages(tmp_path_factory.mktemp("kills"))


@pytest.mark.parametrize("name", ACTIONS)
def test_all_or_nothing(stages: Stages, name: str) -> None:
    """Killed at a few points, an action leaves the shelf as before or as after it, and nothing between."""
    assert broken_by_kills(stages, name, points=3, commits=1) == []


def test_a_shelf_is_made_whole_or_again(tmp_path: Path) -> None:
    """Killed while its tables are made, a shelf is made at the next attempt, and empty."""
    assert broken_openings(tmp_path, 3) == []


def test_an_export_is_whole_or_not_there(stages: Stages) -> None:
    """Killed while it writes, an export is not there under its name, or is whole."""
    assert broken_exports(stages, 3) == []


@pytest.mark.deep
def test_at_many_points() -> None:
    """The same at 200 points of each action, some of them while the file itself is being written."""
    ran = subprocess.run([sys.executable, SCRIPT, "--points", "200"], capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stdout + ran.stderr
    assert all(f"{name}: 200 " in ran.stdout for name in (*ACTIONS, "export") if name not in FURTHER)
