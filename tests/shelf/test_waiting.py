"""Whoever waits for a shelf that another command has locked can end that with Ctrl-C."""

import signal
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path
from time import monotonic, sleep

from made.intake_jobs import put
from made.shelves import BOX

from fitmatch.shelf import Shelf, read_stock, show, take_in


def interrupted(*command: str) -> tuple[int, float, str]:
    """How a command that waits ends on Ctrl-C: its exit status, the seconds it took, what it said."""
    args = [sys.executable, "-m", "fitmatch", "shelf", *command]
    with subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as waits:
        sleep(3.0)
        assert waits.poll() is None
        began = monotonic()
        waits.send_signal(signal.SIGINT)
        _, said = waits.communicate(timeout=20)
        return waits.returncode, monotonic() - began, said


def test_a_writer_stops_waiting(shelf: Shelf, address: str, tmp_path: Path) -> None:
    """While one command writes, Ctrl-C ends another within a second, with status 130 and nothing done."""
    put(tmp_path / "box-1.csv", BOX)
    take_in(shelf, read_stock([tmp_path / "box-1.csv"], "in"))
    with shelf.writing():
        status, seconds, said = interrupted("scrap", "1", "dropped", "--db", address)
    assert status == 130 and seconds < 1.0 and "stopped by Ctrl-C" in said
    assert {s.state for s in show(shelf).shells} == {"free"}


def test_a_reader_stops_waiting(tmp_path: Path) -> None:
    """So does one that only reads, while nobody may."""
    with closing(sqlite3.connect(tmp_path / "s.db", isolation_level=None)) as other:
        other.execute("CREATE TABLE shells (number)")
        other.execute("BEGIN EXCLUSIVE")
        status, seconds, _ = interrupted("show", "--db", str(tmp_path / "s.db"))
    assert status == 130 and seconds < 1.0
