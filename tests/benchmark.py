"""How quick the program is, as ratios within one run: machines differ and are noisy, ratios travel.

    python tests/benchmark.py            prints the table of docs/speed.md
    python tests/benchmark.py --rewrite  writes it there

Run it with the Python that has fitmatch installed. It asserts nothing: numbers are for people to read.
"""

import random
import resource
import shutil
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from multiprocessing import get_context
from multiprocessing.queues import Queue
from multiprocessing.synchronize import Barrier
from pathlib import Path
from tempfile import TemporaryDirectory

from made.toy_draws import Toy, signed, toy
from oracles.rulebook import Rules, records

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.kernel import Kernel
from fitmatch.fit.assign import assign
from fitmatch.intake.reading import read_job
from fitmatch.records.job import Job
from fitmatch.records.parts import Fit, Position, Shell, Size
from fitmatch.records.study.bearings import Bearing
from fitmatch.records.study.oils import Oil
from fitmatch.records.study.unopened import BoxesTold, StepTold
from fitmatch.study.boxes.boxes import boxes
from fitmatch.study.film.films import film
from fitmatch.study.film.reynolds import film_at
from fitmatch.study.workers import crews
from fitmatch.study.workers.working import Hiring, work_through

ROOT = Path(__file__).resolve().parent.parent
RUNS = 15
FILM = ["--unit", "mm", "--journal", "50", "--width", "20", "--load", "8000", "--speed", "3000",
        "--clearance", "0.05", "--oil-40", "100", "--oil-100", "11.2", "--density", "875", "--density-slope", "0.65",
        "--heat-capacity", "2100", "--inlet", "90"]  # fmt: skip


def processes() -> list[str]:
    """Whole processes against bare imports in the same run: processor time, the least of runs in turn."""
    sample = str(ROOT / "samples" / "generator-five")
    commands = {
        "cp_model": ["-c", "import ortools.sat.python.cp_model"],
        "click": ["-c", "import click"],
        "assign": ["-m", "fitmatch", "assign", sample, "--quiet"],
        "range": ["-m", "fitmatch", "range", sample, "--quiet"],
        "film": ["-m", "fitmatch", "film", *FILM, "--quiet"],
        "help": ["-m", "fitmatch", "--help"],
        "version": ["-m", "fitmatch", "--version"],
    }
    least = dict.fromkeys(commands, float("inf"))
    for _ in range(RUNS):
        for name, arguments in commands.items():
            before = of_children()
            subprocess.run([sys.executable, *arguments], stdout=subprocess.DEVNULL, check=True, cwd="/")
            least[name] = min(least[name], of_children() - before)
    memory = {name: peak_kib(commands[name]) for name in ("assign", "cp_model")}
    return [
        row("`assign samples/generator-five`, processor time, import of `ortools.sat.python.cp_model` = 1",
            f"{least['assign'] / least['cp_model']:.2f}", "0.5"),
        row("its peak memory, the same import = 1", f"{memory['assign'] / memory['cp_model']:.2f}", "1"),
        row("`range samples/generator-five`, processor time, the same import = 1",
            f"{least['range'] / least['cp_model']:.2f}", "1"),
        row("`film` of one clearance with its heat, processor time, the same import = 1",
            f"{least['film'] / least['cp_model']:.2f}", "2.5"),
        row("`--help`, processor time, `import click` = 1", f"{least['help'] / least['click']:.2f}", "1.6"),
        row("`--version`, processor time, `import click` = 1", f"{least['version'] / least['click']:.2f}", "1.6"),
    ]  # fmt: skip


def comparisons() -> list[str]:
    """Whole processes of `compare` against one `assign` in the same run: processor time, the least of runs in turn."""
    sample = ROOT / "samples" / "generator-five"
    with TemporaryDirectory() as folder:
        eight = shutil.copytree(sample, Path(folder) / "eight")
        _eight_boxes(eight / "shells")
        commands = {
            "assign": ["assign", sample],
            "compare": ["compare", sample],
            "targets": ["compare", sample, "--kind", "rod", "--targets", "0.00180..0.00278/0.00002"],
            "assign of eight": ["assign", eight],
            "boxes": ["compare", eight, "--kind", "rod", "--boxes"],
            "assign of short": ["assign", ROOT / "samples" / "short-of-shells"],
            "advise": ["advise", ROOT / "samples" / "short-of-shells"],
        }
        least = dict.fromkeys(commands, float("inf"))
        for _ in range(RUNS):
            for name, arguments in commands.items():
                before = of_children()
                line = [sys.executable, "-m", "fitmatch", *map(str, arguments), "--quiet"]
                done = subprocess.run(line, stdout=subprocess.DEVNULL, check=False, cwd="/")
                assert done.returncode in (0, 1), line  # 1: a position needs attention
                least[name] = min(least[name], of_children() - before)
    return [
        row("`compare samples/generator-five`, processor time, one `assign` of it = 1",
            f"{least['compare'] / least['assign']:.1f}", "2"),
        row("50 targets of its rods with `compare --targets`, whole process, the same",
            f"{least['targets'] / least['assign']:.1f}", "6"),
        row("all 255 choices of eight boxes with `compare --boxes`, whole process, one `assign` of that job = 1",
            f"{least['boxes'] / least['assign of eight']:.1f}", "20"),
        row("`advise samples/short-of-shells`, two positions outside, processor time, one `assign` of it = 1",
            f"{least['advise'] / least['assign of short']:.1f}", ""),
    ]  # fmt: skip


def _eight_boxes(shells: Path) -> None:
    """Eight boxes of five pairs of rod shells in place of those there."""
    rng = random.Random(8)
    for path in shells.glob("rods-*.csv"):
        path.unlink()
    for box in range(1, 9):
        rows = ["shell,kind,half,wall"]
        for number in range(1, 6):
            for half in ("upper", "lower"):
                rows.append(f"{half[0]}{box}-{number},rod,{half},{0.0626 + rng.randint(-6, 6) * 0.00005:.5f}")
        (shells / f"rods-{box}.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")


def of_children() -> float:
    """Seconds that the processors worked for all child processes so far."""
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    return used.ru_utime + used.ru_stime


def peak_kib(arguments: list[str]) -> int:
    """Peak resident memory of one process: a child of a child, so that earlier ones do not count."""
    code = (
        "import resource, subprocess, sys; subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, check=True); "
        "print(resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, sys.executable, *arguments], capture_output=True, text=True, check=True, cwd="/"
    )
    return int(done.stdout)


def big_job(positions: int, halves: int, boxes: int, grid_nm: int) -> Job:
    """Rods of one engine family with plausible scatter, seeded; sizes on a reading grid."""
    rng = random.Random(20)

    def reading(nominal: int, scatter: int) -> int:
        return round(rng.gauss(nominal, scatter) / grid_nm) * grid_nm

    rows = []
    for i in range(positions):
        journal, bore = reading(50_000_000, 4_000), reading(54_000_000, 4_000)
        sizes = Size(journal, journal, journal), Size(bore, bore, bore)
        rows.append(Position(f"R{i + 1}", "rod", *sizes, 50_000, 30_000, 70_000, row=i + 2))
    shells = []
    for half in ("upper", "lower"):
        for i in range(halves):
            box = i * boxes // halves
            wall = reading(1_975_000 + (2 * box - boxes) * 500, 1_600)
            shells.append(Shell(f"{half[0]}{i + 1}", f"box-{box + 1}", "rod", half, wall))
    fits = {"rod": Fit("rod", 50_000, None, 30_000, 70_000)}
    return Job(ROOT, "benchmark", "mm", fits, tuple(rows), tuple(shells), records(Rules()))


def sheets() -> list[str]:
    """A sheet that also solves and saves against one `assign`, in turn in the same run: by processor time and by the
    clock, the median of the ratios of pairs."""
    ratios: dict[str, list[float]] = {"processor time": [], "by the clock": []}
    with TemporaryDirectory() as folder:
        sample = shutil.copytree(ROOT / "samples" / "generator-five", Path(folder) / "five")
        for _ in range(RUNS):
            spent = []
            for command in ("sheet", "assign"):
                for name in ("assignment.json", "sheet.html"):
                    (sample / name).unlink(missing_ok=True)
                line = [sys.executable, "-m", "fitmatch", command, str(sample), "--quiet"]
                before, began = of_children(), time.perf_counter()
                subprocess.run(line, stdout=subprocess.DEVNULL, check=True, cwd="/")
                spent.append((of_children() - before, time.perf_counter() - began))
            for found, one, other in zip(ratios.values(), *spent, strict=True):
                found.append(one / other)
    return [
        row(f"`sheet samples/generator-five`, which solves and saves too, {how}, one `assign` of it = 1",
            f"{statistics.median(found):.2f}", "1.3")
        for how, found in ratios.items()
    ]  # fmt: skip


def kernels() -> list[str]:
    """Many targets of a sample, each kind read and classed once, against one whole answer in the same process."""
    job = read_job(ROOT / "samples" / "generator-five")
    targets = [round(45_720 + i * 25_400 / 49) for i in range(50)]  # 0.0018 to 0.0028 in

    def every_target() -> None:
        for kind in job.kinds:
            kernel = Kernel(job, kind)
            for target_nm in targets:
                kernel.solve(target_nm=target_nm)

    once = statistics.median(timed(lambda: assign(job)) for _ in range(RUNS))
    many = statistics.median(timed(every_target) for _ in range(RUNS))
    what = "50 targets of `samples/generator-five`, both kinds, one `assign` of it in the same process = 1"
    return [row(what, f"{many / once:.1f}", "5")]


def films() -> list[str]:
    """Films in this process, after what they import is loaded, against the bare import in a process of its own."""
    before = of_children()
    subprocess.run([sys.executable, "-c", "import ortools.sat.python.cp_model"], check=True, cwd="/")
    once = of_children() - before
    oil = Oil(None, 100.0, 11.2, 875.0, 0.65, 2_100.0, 90.0)
    rod = Bearing(50_000, 50_000_000, 20_000_000, 8_000.0, 3_000.0, oil)
    film([rod])
    works: dict[str, tuple[Callable[[], object], str]] = {
        "one eccentricity": (lambda: film_at(0.4, 0.87), "0.1"),
        "one load, with its heat": (lambda: film([rod]), "0.3"),
        "50 clearances, with their heat": (
            lambda: film(rod._replace(clearance_nm=n * 1_000) for n in range(30, 80)),
            "5",
        ),
    }
    least = {name: min(timed(work) for _ in range(RUNS)) for name, (work, _) in works.items()}
    return [
        row(f"film of {name}, in process, the same import = 1", f"{least[name] / once:.3f}", wanted)
        for name, (_, wanted) in works.items()
    ]


def draws_of_boxes() -> list[str]:
    """1,000 draws of one, two and three boxes for eight positions, in this process, by processor time, against
    the bare import in a process of its own."""
    before = of_children()
    subprocess.run([sys.executable, "-c", "import ortools.sat.python.cp_model"], check=True, cwd="/")
    once = of_children() - before
    rows = []
    for grid, unit, what, wanted in (
        (2_000, "mm", "2 um", "10"),
        (2_540, "in", "0.0001 in", "10"),
        (1_000, "mm", "1 um", "25"),
    ):
        job = big_job(8, 0, 1, grid)
        step = StepTold("rod", 1_975_000, 8)
        job = replace(job, unit=unit, boxes=BoxesTold(3, 1_600, 1_000, {"std": step}))
        boxes(job, draws=1)
        began = time.process_time()
        boxes(job, draws=1_000)
        spent = time.process_time() - began
        name = f"1,000 draws of `boxes`, 8 positions, 1 to 3 boxes, readings to {what}, in process, the same import = 1"
        rows.append(row(name, f"{spent / once:.1f}", wanted))
    return rows


def strategies() -> list[str]:
    """What each strategy costs in seconds, for scale."""
    rows = []
    for size, grid in (((12, 120, 10), 1_270), ((24, 240, 10), 1_270), ((12, 120, 10), 1)):
        job = big_job(*size, grid)
        taken = {
            name: timed(lambda job=job, name=name: best_plan(job, name)) for name in ("target", "even", "keep-sets")
        }
        words = ", ".join(f"{name} {seconds:.2f} s" for name, seconds in taken.items())
        rows.append(row(f"{size[0]} positions, {size[1]} of each half, {size[2]} boxes, grid {grid} nm", words, ""))
    return rows


def two_processes() -> list[str]:
    """What draws gain from a second process, against what a plain loop gains from one; start-up counts in neither."""
    task, draws = Toy(loops=10_000), 2_000
    hirings = {1: crews.in_this_process, 2: crews.processes(2)}
    plain, ours = dict.fromkeys(hirings, float("inf")), dict.fromkeys(hirings, float("inf"))
    for _ in range(RUNS):
        for number, hire in hirings.items():
            plain[number] = min(plain[number], _plain_s(task, draws, number))
            ours[number] = min(ours[number], _drawn_s(hire, task, draws, number))
    what = "what draws of `boxes` gain from a second process, what a plain loop gains = 1"
    return [row(what, f"{ours[1] / ours[2] / (plain[1] / plain[2]):.2f}", "0.9")]


def _plain_s(task: Toy, draws: int, workers: int) -> float:
    """Seconds for so many draws, the loops of so many processes beginning together."""
    context = get_context("spawn")
    ready, found = context.Barrier(workers), context.Queue()
    parts = [range(number, draws, workers) for number in range(workers)]
    started = [context.Process(target=_plain, args=(ready, found, task, part)) for part in parts]
    for process in started:
        process.start()
    seconds = max(found.get() for _ in parts)
    for process in started:
        process.join()
    return seconds


def _plain(ready: Barrier, found: "Queue[float]", task: Toy, numbers: range) -> None:
    ready.wait()
    found.put(timed(lambda: [toy(task, number) for number in numbers]))


def _drawn_s(hire: Hiring, task: Toy, draws: int, workers: int) -> float:
    """Seconds for so many draws, from the first that comes after each of so many processes has given one."""
    with closing(work_through(hire, signed, task, range(10**9))) as work:
        seen: set[int] = set()
        while len(seen) < workers:
            seen.add(next(work)[1][0])
        return timed(lambda: [next(work) for _ in range(draws)])


def timed(work: Callable[[], object]) -> float:
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def row(what: str, found: str, wanted: str) -> str:
    return f"| {what} | {found} | {wanted} |"


def rewrite(name: str, lines: list[str], of: str = "speed.md") -> None:
    """Put a table of this name into a page of the documents."""
    page = ROOT / "docs" / of
    first, last = f"<!-- {name} -->\n", f"<!-- end of {name} -->\n"
    head, _, rest = page.read_text(encoding="utf-8").partition(first)
    _, _, tail = rest.partition(last)
    table = "\n".join(lines)
    page.write_text(f"{head}{first}{table}\n{last}{tail}", encoding="utf-8")


def main() -> None:
    lines = [
        "| what | measured | wanted |",
        "| --- | --- | --- |",
        *processes(),
        *kernels(),
        *comparisons(),
        *sheets(),
        *films(),
        *two_processes(),
        *draws_of_boxes(),
        *strategies(),
    ]
    print("\n".join(lines))
    print(f"peak memory of this run: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss // 1024} MiB", file=sys.stderr)
    if "--rewrite" in sys.argv:
        rewrite("table", lines)


if __name__ == "__main__":
    main()
