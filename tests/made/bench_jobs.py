"""A small job for the tests of `fitmatch measure`: one rod and two mains, nothing measured; and a way to run it."""

import csv
import os
import subprocess
import sys
from pathlib import Path

from made.intake_jobs import write_job

import fitmatch

JOB = """\
title = "Pump"
unit = "in"
[fit.rod]
min = 0.0018
max = 0.0028
[fit.main]
min = 0.0018
max = 0.0030
"""
POSITIONS = "position,kind\nR1,rod\nM1,main\nM2,main\n"
SHELLS = "shell,kind,half\n1,rod,upper\n2,rod,lower\n"
ENVIRONMENT = {**os.environ, "PYTHONPATH": str(Path(fitmatch.__file__).parents[1]), "PYTHONIOENCODING": "utf-8"}
COMMAND = [sys.executable, "-m", "fitmatch", "measure"]


def bench_job(folder: Path, job: str = JOB, **files: str) -> Path:
    return write_job(folder, job, POSITIONS, SHELLS, **files)


def measure(folder: Path, typed: str | bytes, *options: str) -> subprocess.CompletedProcess[str]:
    """Run the command with this on its standard input."""
    ran = subprocess.run(
        [*COMMAND, str(folder), *options],
        input=typed.encode() if isinstance(typed, str) else typed,
        capture_output=True,
        env=ENVIRONMENT,
        timeout=60,
        check=False,
    )
    assert b"Traceback" not in ran.stderr
    return subprocess.CompletedProcess(ran.args, ran.returncode, ran.stdout.decode(), ran.stderr.decode())


def said(out: str) -> list[str]:
    """What was done, without the prompts."""
    return [line for line in out.splitlines() if line.split()[0] in ("saved", "took", "kept", "wrote")]


def on_disk(folder: Path, *columns: str) -> list[list[str]]:
    """These columns of every whole row of the file of readings, read without the program's own reader."""
    text = (folder / "readings.csv").read_bytes().decode()
    whole = text[: text.rfind("\n") + 1]
    return [[row[column] for column in columns] for row in csv.DictReader(whole.splitlines())]
