"""Damaged job folders by the thousand: each must be read, or refused with proper problems, and nothing else.

    python tests/fuzz.py --seconds 600 --seed 7     for ten minutes
    python tests/fuzz.py --seed 7 --only 123        one job again, left on disk to look at

A file that hangs is stopped after some seconds of processor time, and memory is bounded. Every number of every job that
is read is compared with `second_reader`. Exits 1 when a job failed, and tells where it lies.
"""

import argparse
import faulthandler
import json
import os
import resource
import shutil
import signal
import sys
import tempfile
import time
import traceback
import warnings
from collections import Counter
from collections.abc import Mapping
from pathlib import Path
from random import Random

from made.damage import damaged
from made.fuzz_jobs import JOBS, Files
from oracles.second_reader import SecondReader

from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.intake.common.catalogue import CODES
from fitmatch.intake.reading import read_job
from fitmatch.problems import InputError, Problem
from fitmatch.records.job import Job
from fitmatch.report.words.doubts import likely, looks_wrong

CPU_SECONDS = 5.0  # far more than any of these small files needs, far less than a hang
MEMORY_BYTES = 1_000_000_000
LONGEST_MESSAGE = 1_500
XLSX_ROWS = 1_048_576
ODD_FILES = 0.1
EVIL_NAMES = ("a\x1b[31mb", "a\u202eb", "a\nb", "a\udcffb", "=a", "-a", "e\u0301", "\u00e9")


class Hang(BaseException):
    """A file that takes too long; no `except Exception` on the way may swallow it."""


def check(folder: Path, files: Files) -> tuple[set[str], int]:
    """Read a job; the codes of its problems, or none and how many numbers were compared.

    Raises AssertionError where a problem or a number is wrong, and whatever else reading raises.
    """
    with warnings.catch_warnings(record=True) as python_warnings:
        warnings.simplefilter("always")
        try:
            job: Job | None = read_job(folder)
        except InputError as error:
            job, refusal = None, error
    assert not python_warnings, f"Python warns: {python_warnings[0].message}"
    if job is None:
        assert refusal.problems, "refused without a problem"
        lines = {name: lines_of(name, data) for name, data in files.items()}
        for problem in refusal.problems:
            check_problem(problem, lines)
        return {problem.code for problem in refusal.problems}, 0
    for warning in job.warnings:
        assert warning.isprintable(), f"a warning of several lines: {warning!r}"
    doubts = doubts_of(job)
    check_stopped(job)
    for doubt in doubts:
        assert doubt.row >= 1 and likely(doubt) and looks_wrong(doubt, job.unit).isprintable(), (
            f"a doubt that says nothing: {doubt}"
        )
    return set(), SecondReader(job, files).compare()


def check_stopped(job: Job) -> None:
    """Looking for doubts ends at the second question whether to go on, if that is answered with an exception."""
    asked = 0

    def ask() -> None:
        nonlocal asked
        asked += 1
        if asked == 2:
            raise Hang("asked to stop")

    try:
        doubts_of(job, ask)
    except Hang:
        assert asked == 2
    else:
        assert asked < 2, "it went on though it was to stop"


def lines_of(name: str, data: bytes) -> int:
    """The most rows that a file can have."""
    return XLSX_ROWS if name.lower().endswith(".xlsx") else data.count(b"\n") + data.count(b"\r") + 1


def check_problem(problem: Problem, lines: Mapping[str, int]) -> None:
    """A problem is in a row that exists, is a line that can be printed, and says what to do."""
    line = str(problem)
    assert problem.code in CODES, problem.code
    assert line.isprintable() and len(line) <= LONGEST_MESSAGE, line[:3_000]
    what, _, todo = problem.text.partition("; ")
    assert what and todo, line
    assert "MemoryError" not in line, line
    if problem.row is not None:
        assert 1 <= problem.row <= lines.get(problem.file, XLSX_ROWS), line  # a file may have got another name


def write(folder: Path, files: Files) -> None:
    for name, data in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(data)


def odd_file(folder: Path, files: Files, rng: Random) -> Files:
    """Put something else in the place of a file: a pipe, a folder, a device, a file of gigabytes, a link; or give it a
    name with marks that a terminal obeys. What the job then has."""
    name = rng.choice(list(files))
    path, what = folder / name, rng.randrange(8)
    left = {other: data for other, data in files.items() if other != name}
    if what == 0:
        target = path.with_name(rng.choice(EVIL_NAMES) + path.suffix)
        path.rename(target)
        return left | {target.relative_to(folder).as_posix(): files[name]}
    if what == 1:
        with path.open("ab") as file:
            file.truncate(rng.choice((10**6, 10**8, 4 * 10**9)))
    else:
        path.unlink()
        if what == 2:
            os.mkfifo(path)
        elif what == 3:
            path.mkdir()
        else:
            path.symlink_to(rng.choice(("/dev/zero", "/dev/null", "/etc/passwd", ".", "..", name, "/none", folder)))
    return left


def job_number(seed: int, number: int) -> Files:
    """The damaged job of this number; always the same."""
    rng = Random(f"{seed}/{number}")
    return damaged(rng.choice(JOBS), rng)


def guard() -> None:
    """Bound memory, and stop what takes too long."""

    def stop(*_: object) -> None:
        raise Hang(f"more than {CPU_SECONDS} s of processor time")

    resource.setrlimit(resource.RLIMIT_AS, (MEMORY_BYTES, MEMORY_BYTES))
    signal.signal(signal.SIGPROF, stop)


def run(seed: int, numbers: range, seconds: float) -> dict[str, object]:
    """Fuzz until the numbers or the time are used up; what was seen."""
    counts: Counter[str] = Counter()
    codes: Counter[str] = Counter()
    failures: dict[str, str] = {}
    slowest = (0.0, -1)
    end = time.monotonic() + seconds
    for number in numbers:
        if time.monotonic() > end:
            break
        folder = Path(tempfile.mkdtemp(prefix=f"fuzz-{seed}-{number}-"))
        keep = len(numbers) == 1
        try:
            files = job_number(seed, number)
            write(folder, files)
            rng = Random(f"{seed}/{number}/odd")
            if rng.random() < ODD_FILES:
                files = odd_file(folder, files, rng)
            faulthandler.dump_traceback_later(120, exit=True)  # for a hang that no signal interrupts
            before = time.process_time()
            signal.setitimer(signal.ITIMER_PROF, CPU_SECONDS)
            try:
                found, compared = check(folder, files)
            finally:
                signal.setitimer(signal.ITIMER_PROF, 0)
                faulthandler.cancel_dump_traceback_later()
            slowest = max(slowest, (time.process_time() - before, number))
            codes.update(found)
            counts["refused" if found else "read"] += 1
            counts["numbers compared"] += compared
        except (Exception, Hang):
            counts["failed"] += 1
            trace = [line[:300] for line in traceback.format_exc().splitlines()]
            where = "\n".join(line for line in trace if line.startswith("  File"))
            if where not in failures:
                failures[where] = f"job {number} of seed {seed}, kept in {folder}\n" + "\n".join(trace[-30:])
                keep = True
        counts["jobs"] += 1
        if not keep:
            shutil.rmtree(folder)
    for told in failures.values():
        print(told, file=sys.stderr)
    return {
        "seed": seed,
        **counts,
        "different failures": len(failures),
        "codes": len(codes),
        "never seen": sorted(CODES.keys() - codes.keys()),
        "slowest": {"cpu_seconds": round(slowest[0], 2), "job": slowest[1]},
        "peak_megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024,
    }


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--jobs", type=int, default=10**9)
    parser.add_argument("--seconds", type=float, default=float("inf"))
    parser.add_argument("--only", type=int, help="the one job of this number, which is kept")
    asked = parser.parse_args()
    guard()
    numbers = range(asked.jobs) if asked.only is None else range(asked.only, asked.only + 1)
    seen = run(asked.seed, numbers, asked.seconds)
    print(json.dumps(seen, indent=1))
    return 1 if seen.get("failed") else 0


if __name__ == "__main__":
    sys.exit(main())
