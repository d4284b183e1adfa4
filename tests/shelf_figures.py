"""What a shelf costs with many shells and many benches, as figures for docs/speed.md.

    python tests/shelf_figures.py                      races, and shelves of 10,000 and 100,000 shells
    python tests/shelf_figures.py --shells 1000000     of other sizes, or none; --no-races leaves the races out
    python tests/shelf_figures.py --rewrite            and puts what was measured into docs/speed.md

Whole processes, from the command to the printed answer; processor time stands beside time by the clock, as machines are
shared. Run it with the Python that has fitmatch installed. Races on PostgreSQL need its programs, as the tests do.
"""

import argparse
import random
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path

from benchmark import rewrite
from made.intake_jobs import write_job
from made.postgres import server
from made.shelves import BOX, ONE_ROD, save_plan
from scale import MIB, Cost, run

from fitmatch.shelf import open_shelf, read_stock, show, take_in

BENCHES, TIMES = 16, 200
PER_FILE, PER_BOX = 10_000, 10
MOST_IN_A_JOB = 100_000  # with more, a job that reads all of these files takes minutes
RACER = """
import sys
from fitmatch.shelf import HeldError, open_shelf, put_back, read_planned, set_aside
shelf, planned, got = open_shelf(sys.argv[1]), read_planned(sys.argv[2]), 0
print("ready", flush=True)
sys.stdin.readline()
for _ in range(int(sys.argv[3])):
    try:
        set_aside(shelf, planned)
    except HeldError:
        continue
    got += 1
    put_back(shelf, planned.name)
print(got)
"""


def races(folder: Path) -> Iterator[list[str]]:
    """Rows for both databases."""
    (folder / "sqlite").mkdir()
    yield race("SQLite", str(folder / "sqlite" / "shelf.db"), folder / "sqlite")
    with server() as url:
        (folder / "postgresql").mkdir()
        yield race("PostgreSQL", url, folder / "postgresql")


def race(name: str, address: str, folder: Path) -> list[str]:
    """So many processes want the same shells, four jobs each pair of them, so many times."""
    jobs = []
    for n in range(BENCHES):  # box by box
        job = write_job(folder / f"job-{n}", positions=ONE_ROD, shells=BOX)
        (job / "shells" / "box-1.csv").rename(job / "shells" / f"box-{n // 4}.csv")
        save_plan(job)
        jobs.append(job)
    shelf = open_shelf(address)
    for job in jobs[::4]:
        take_in(shelf, read_stock([job]))
    began = len(show(shelf).shells)
    args = [sys.executable, "-c", RACER, address]
    racers = [
        subprocess.Popen([*args, str(job), str(TIMES)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        for job in jobs
    ]
    for one in racers:
        assert one.stdout is not None and one.stdout.readline() == "ready\n"
    start = time.perf_counter()
    for one in racers:
        assert one.stdin is not None
        one.stdin.write("go\n")
        one.stdin.flush()
    got = [int(one.communicate()[0]) for one in racers]
    lasted = time.perf_counter() - start
    assert all(one.returncode == 0 for one in racers)
    twice, events = replayed(address)
    assert events == 4 * sum(got), "an event is missing"
    lost = began - sum(shell.state == "free" for shell in show(shelf).shells)
    tries = BENCHES * TIMES
    tries, taken = BENCHES * TIMES, sum(got)
    each = f"{min(got)} to {max(got)}"
    held = f"{tries - taken:,}"
    return [name, f"{tries:,}", f"{taken:,}", each, held, str(twice), str(lost), f"{(tries + taken) / lasted:.0f}"]


def replayed(address: str) -> tuple[int, int]:
    """How often a shell was set aside while somebody had it, by the events, and how many of these there are."""
    holder: dict[int, str] = {}
    twice = events = 0
    with open_shelf(address).reading() as connection:
        query = "SELECT shell, action, job FROM events WHERE action IN ('set-aside', 'put-back') ORDER BY number"
        for shell, action, job in connection.exec_driver_sql(query):
            events += 1
            if action == "set-aside":
                twice += shell in holder
                holder[shell] = job
            else:
                twice += holder.pop(shell, None) != job
    return twice, events


def files_of(folder: Path, shells: int) -> list[str]:
    """Shell files, ten shells a box, walls to 0.0005 mm, forty families."""
    names, draw = [], random.Random(16)
    for first in range(0, shells, PER_FILE):
        path = folder / f"stock-{first // PER_FILE:03}.csv"
        with path.open("w") as file:
            file.write("box,shell,kind,half,wall,family,grade,location,price\n")
            for n in range(first, min(first + PER_FILE, shells)):
                box, at = divmod(n, PER_BOX)
                half = "lower" if at % 2 else "upper"
                wall = 1.560 + draw.randrange(60) / 2000
                file.write(f"b{box},{at},rod,{half},{wall:.4f},f-{box % 40},{n % 5},drawer {box % 500},85\n")
        names.append(path.name)
    return names


JOB = """\
title = "one of many"
unit = "mm"
[sources]
shared = ["../stock-*.csv"]
[fit.rod]
min = 0.030
max = 0.060
family = ["f-7"]
"""


def sizes(folder: Path, shells: int) -> Iterator[tuple[str, Cost]]:
    """What each command costs on a shelf with so many."""
    names = files_of(folder, shells)
    for name, sources in (("from-files", True), ("from-shelf", False)):
        job = folder / name
        (job / "shells").mkdir(parents=True)
        text = JOB if sources else JOB.replace('shared = ["../stock-*.csv"]', 'shells = ["shells/*.csv"]')
        (job / "job.toml").write_text(text)
        rows = "".join(f"R{n},rod,46.{100 + n},49.{270 + n}\n" for n in range(8))
        (job / "positions.csv").write_text(f"position,kind,journal,housing_bore\n{rows}")
    paths = [str(folder / name) for name in names]
    db = ["--db", str(folder / "shelf.db")]
    reading = "import sys; from fitmatch.shelf import read_stock; read_stock(sys.argv[1:], 'mm')"
    yield "reading the same files, and no more", run(["-c", reading, *paths])
    fitmatch = ["-m", "fitmatch"]
    yield "`shelf take-in`", run([*fitmatch, "shelf", "take-in", *paths, "--unit", "mm", *db])
    filters = ["--family", "f-7", "--half", "upper", "--wall", "1.565..1.567", "--state", "free", "--unit", "mm"]
    yield "`shelf show`, a family, a half, a band of walls", run([*fitmatch, "shelf", "show", *filters, "--json", *db])
    yield "`shelf show --box`", run([*fitmatch, "shelf", "show", "--box", "b17", "--json", *db])
    yield "`shelf show --single`", run([*fitmatch, "shelf", "show", "--single", "--json", *db])
    groups = ["--group-by", "family", "--group-by", "half", "--group-by", "wall"]
    yield "`shelf show` by family, half and wall", run([*fitmatch, "shelf", "show", *groups, "--json", *db])
    if shells <= MOST_IN_A_JOB:
        yield "`assign` with the files", run([*fitmatch, "assign", str(folder / "from-files")])
    yield (
        "`assign --from-shelf`",
        run([*fitmatch, "assign", str(folder / "from-shelf"), "--from-shelf", "--save", *db]),
    )
    yield "`shelf set-aside`", run([*fitmatch, "shelf", "set-aside", str(folder / "from-shelf"), *db])
    yield "`shelf value`", run([*fitmatch, "shelf", "value", "--json", *db])
    yield "`shelf export`", run([*fitmatch, "shelf", "export", str(folder / "out"), *db])
    yield "`shelf import`", run([*fitmatch, "shelf", "import", str(folder / "out"), "--db", str(folder / "new.db")])


def main() -> None:
    """Measure, print, and rewrite if that was asked for."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shells", type=int, nargs="*")
    parser.add_argument("--no-races", action="store_true")
    parser.add_argument("--rewrite", action="store_true")
    asked = parser.parse_args()
    if not asked.no_races:
        with tempfile.TemporaryDirectory() as folder:
            Path(folder).chmod(0o755)
            rows = list(races(Path(folder)))
        head = ["database", "tries", "got", "of each", "held", "twice", "lost", "actions a second"]
        show_rows("races", head, rows, asked.rewrite)
    found: dict[str, dict[int, str]] = {}
    counts = asked.shells if asked.shells is not None else [10_000, 100_000]
    for shells in counts:
        with tempfile.TemporaryDirectory() as folder:
            for name, cost in sizes(Path(folder), shells):
                print(f"{shells:,}: {name}: {cost.cpu_s:.1f} s, {cost.wall_s:.1f} s by the clock", flush=True)
                assert "Error" not in cost.said and "fault" not in cost.said, cost.said
                found.setdefault(name, {})[shells] = f"{cost.cpu_s:.1f} s, {cost.peak_kib / MIB:.0f} MiB"
    head = ["what", *(f"{count:,} shells" for count in counts)]
    if counts:
        show_rows(
            "shelves",
            head,
            [[name, *(of.get(count, "") for count in counts)] for name, of in found.items()],
            asked.rewrite,
        )


def show_rows(name: str, head: list[str], rows: list[list[str]], put: bool) -> None:
    """Print a table; `put`: into the page as well."""
    lines = [f"| {' | '.join(cells)} |" for cells in (head, ["---"] * len(head), *rows)]
    print("\n".join(lines))
    if put:
        rewrite(name, lines)


if __name__ == "__main__":
    main()
