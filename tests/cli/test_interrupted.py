"""Ctrl-C, however early it comes."""

import os
import subprocess
import sys
from pathlib import Path

import pytest

WRAPPED = (
    "try:\n    raise KeyboardInterrupt\nexcept KeyboardInterrupt as error:\n    raise RuntimeError('set') from error\n"
)


@pytest.mark.parametrize("raising", ["raise KeyboardInterrupt\n", WRAPPED], ids=["plain", "wrapped"])
@pytest.mark.parametrize(
    "module", ["click", "typing", "importlib", "fitmatch.cli.job.assign", "fitmatch.intake.reading"]
)
def test_ctrl_c_while_loading_is_one_line(tmp_path: Path, module: str, raising: str) -> None:
    """Before anything is known it ends with status 130 and one line, no traceback: here while a library is loaded that
    the first line of the package could load, or the last; also where the interrupt is wrapped, as one that arrives
    while a class is being made."""
    start = f"import sys\nsys.modules.pop({module!r}, None)\n"
    start += f"class Finder:\n    def find_spec(name, *_):\n        if name == {module!r}:\n"
    start += "".join(f"            {line}\n" for line in raising.splitlines())
    start += "sys.meta_path.insert(0, Finder)\nfrom fitmatch.__main__ import run\n"
    start += "sys.argv = ['fitmatch', 'assign', 'nowhere']\nrun()\n"
    package = str(Path(__file__).resolve().parent.parent.parent)
    found = subprocess.run(
        [sys.executable, "-c", start],
        env={**os.environ, "PYTHONPATH": package},
        capture_output=True,
        text=True,
        cwd=tmp_path,
        check=False,
    )
    assert (found.returncode, found.stdout, found.stderr) == (130, "", "stopped by Ctrl-C\n")
