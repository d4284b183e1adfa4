"""Whoever waits for a shelf that another command has locked can end that with Ctrl-C."""

import os
import signal
import subprocess
import sys
from pathlib import Path
from time import monotonic, sleep

import pytest
from made.intake_jobs import put
from made.shelves import BOX

from fitmatch.shelf import Shelf, read_stock, show, take_in


@pytest.mark.parametrize("command", [("scrap", "1", "dropped"), ("show",)])
def test_ctrl_c_ends_the_wait(shelf: Shelf, address: str, tmp_path: Path, command: tuple[str, ...]) -> None:
    """While a writer has the shelf, Ctrl-C ends another writer within a second, with status 130 and nothing done. A
    reader is not kept waiting by a writer that has not come to its end."""
    put(tmp_path / "box-1.csv", BOX)
    take_in(shelf, read_stock([tmp_path / "box-1.csv"], "in"))
    with shelf.writing():
        args = [sys.executable, "-m", "fitmatch", "shelf", *command, "--db", address]
        waits = subprocess.Popen(args, stdout=subprocess.PIPE, stderr=subprocess.PIPE, env=os.environ)
        if command == ("show",):
            assert waits.wait(30) == 0
            return
        sleep(3.0)
        assert waits.poll() is None
        began = monotonic()
        waits.send_signal(signal.SIGINT)
        _, said = waits.communicate(timeout=10)
        assert monotonic() - began < 1.0
    assert waits.returncode == 130 and b"stopped by Ctrl-C" in said
    assert {s.state for s in show(shelf).shells} == {"free"}
