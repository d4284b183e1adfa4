"""Ctrl-C, however early it comes."""

import os
import subprocess
import sys
from pathlib import Path


def test_ctrl_c_while_loading_is_one_line(tmp_path: Path) -> None:
    """Before anything is known it ends with status 130 and one line, no traceback: here while a library is loaded."""
    (tmp_path / "click.py").write_text("raise KeyboardInterrupt\n", encoding="utf-8")
    package = str(Path(__file__).resolve().parent.parent.parent)
    found = subprocess.run(
        [sys.executable, "-m", "fitmatch", "assign", "nowhere"],
        env={**os.environ, "PYTHONPATH": os.pathsep.join([str(tmp_path), package])},
        capture_output=True,
        text=True,
        check=False,
    )
    assert (found.returncode, found.stdout, found.stderr) == (130, "", "stopped by Ctrl-C\n")
