"""Kill `fitmatch measure` after the k-th byte of its output, for many k, and hold the file against the echoes.

    python tests/bench_kills.py FOLDER COUNT
    python tests/bench_kills.py FOLDER COUNT neighbour

With `neighbour` nobody is killed, and another program adds rows to the file at random moments: none may be lost.

One process loads the program and forks a child for every k, each with pipes of its own. Half of the children are killed
at once, the others some time later, so that every step of a write is met. Prints what broke the promise, and a summary.
"""

import os
import random
import shutil
import signal
import sys
import time
from pathlib import Path
from typing import NoReturn

from made.bench_jobs import bench_job, on_disk, said

from fitmatch.cli.bench import sitting as _loaded_before_the_forks
from fitmatch.cli.main import main
from fitmatch.intake.writing.log_rows import HEADER

# Entries, and what each makes of the readings, newest last: (item, reading, reason).
Rows = list[tuple[str, str, str]]
ENTRIES = [
    *("1.8162", "2.1250", "2.1251", "undo", "2.1249", "keep measured twice", "1.9421", "undo", "undo", "undo"),
    *("2.1252", "2.1253", "keep " + "long reason " * 20, "box C main 2 2", "0.0618", "0.0617", "undo", "undo", "undo"),
    *("2.1250", "1.9422", "2.2514", "2.2515", "keep again", "0.0616", "0.0615", "undo", "undo", "keep last"),
]
LATEST_S = 0.004
FILES = {"job.toml", "positions.csv", "readings.csv", "shells"}


def rows_of(folder: Path) -> Rows:
    return [(item, reading, reason) for item, reading, reason in on_disk(folder, "item", "reading", "confirmed")]


def child(folder: Path, entries: int, output: int) -> NoReturn:
    """Become the command, with these pipes."""
    os.dup2(entries, 0)
    os.dup2(output, 1)
    os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
    os.closerange(3, 64)
    sys.stdout = os.fdopen(1, "w", encoding="utf-8", closefd=False)
    status = 70
    try:
        main(["measure", str(folder)])
    except SystemExit as left:
        status = left.code if isinstance(left.code, int) else 70
    finally:
        sys.stdout.flush()
        os._exit(status)


def run(folder: Path, entries: str, kill_after: int | None = None, delay_s: float = 0.0) -> tuple[str, int]:
    """Output and exit status of one run; killed `delay_s` after so many bytes of output were read."""
    entry_end, entry_start = os.pipe()
    output_end, output_start = os.pipe()
    os.write(entry_start, entries.encode())
    pid = os.fork()
    if pid == 0:
        child(folder, entry_end, output_start)
    for end in (entry_end, entry_start, output_start):
        os.close(end)
    out = b""
    while kill_after is None or len(out) < kill_after:
        byte = os.read(output_end, 1)
        if not byte:
            break
        out += byte
    if kill_after is not None:
        time.sleep(delay_s)
        os.kill(pid, signal.SIGKILL)
    _, status = os.waitpid(pid, 0)
    while chunk := os.read(output_end, 65_536):
        out += chunk
    os.close(output_end)
    return out.decode(), os.waitstatus_to_exitcode(status)


def told(out: str) -> int:
    """How many entries were reported as done."""
    return len(said(out[: out.rfind("\n") + 1]))


def main_of_kills(home: Path, count: int) -> int:
    assert _loaded_before_the_forks
    typed = "\n".join(ENTRIES) + "\n"
    states = []
    for done in range(len(ENTRIES) + 1):  # the states a run goes through, from runs that nobody killed
        folder = bench_job(home / "calm")
        out, _ = run(folder, "\n".join(ENTRIES[:done]) + "\n")
        assert told(out) == done, out
        states.append(rows_of(folder))
        shutil.rmtree(folder)
    length = len(out)
    rng = random.Random(5)
    broken = in_work = 0
    met = set()
    for number in range(count):
        k = 1 + number * (length - 1) // count
        folder = bench_job(home / "killed")
        out, _ = run(folder, typed, k, rng.uniform(0, LATEST_S) if number % 2 else 0.0)
        done = told(out)
        met.add(done)
        rows = rows_of(folder) if (folder / "readings.csv").exists() else []
        in_work += rows != states[done]
        again, status = run(folder, "quit\n")
        found = {path.name for path in folder.iterdir()}
        right = rows in states[done : done + 2] and rows_of(folder) == rows and status == 1
        if not right or found != FILES or len(again.splitlines()) != 1:
            broken += 1
            print(f"k={k}: {done} told, but on disk {rows}; then status {status}, files {sorted(found)}, {again!r}")
        shutil.rmtree(folder)
    print(f"{count} kills, {broken} broke the promise, {len(met)} places in the script, {in_work} with one in work")
    return 1 if broken else 0


def neighbour(path: Path, rows: list[bytes], rng: random.Random) -> NoReturn:
    """Add rows one by one, as a program does that knows nothing of the other, each a moment after opening the file."""
    for row in rows:
        time.sleep(rng.uniform(0, 4 * LATEST_S))
        with path.open("ab", buffering=0) as file:
            time.sleep(rng.uniform(0, LATEST_S / 4))
            file.write(row)
    os._exit(0)


def main_of_neighbours(home: Path, count: int) -> int:
    assert _loaded_before_the_forks
    typed = "\n".join(ENTRIES) + "\n"
    lost = met = 0
    for number in range(count):
        folder = bench_job(home / "shared")
        path = folder / "readings.csv"
        path.write_bytes(HEADER)
        rows = [b'R1,journal,,0,1.81%02d,,,,"%d"\n' % (n, number) for n in range(3)]
        pid = os.fork()
        if pid == 0:
            neighbour(path, rows, random.Random(number))
        status = 0
        while status == 0 and os.waitpid(pid, os.WNOHANG) == (0, 0):
            _, status = run(folder, typed)
        if status:
            os.waitpid(pid, 0)
        met += status == 2
        on_file = path.read_bytes()
        if any(on_file.count(row) != 1 for row in rows):
            lost += 1
            print(f"run {number}: status {status}, and on disk {on_file!r}")
        shutil.rmtree(folder)
    print(f"{count} runs, {lost} lost a row of another program, {met} noticed it")
    return 1 if lost else 0


if __name__ == "__main__":
    work = main_of_neighbours if sys.argv[3:] == ["neighbour"] else main_of_kills
    sys.exit(work(Path(sys.argv[1]), int(sys.argv[2])))
