"""How the cost of `fitmatch assign` grows with the size of a job, as multiples of a bare import in the same run.

    python tests/scale.py             measures every size; --lots, --largest and --off-grid some of them
    python tests/scale.py --rewrite   and puts what was measured into docs/speed.md, in the place of its former rows

Whole processes from files to the printed answer, uncertainty and doubts on, proven or told not to be. Processor time
stands beside time by the clock, as machines are shared. Run it with the Python that has fitmatch installed.
"""

import json
import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any, NamedTuple

from benchmark import rewrite
from made.scale_jobs import BOXFUL, Size, write_job

IMPORT = ["-c", "import ortools.sat.python.cp_model"]
PATIENCE_S = 90
MIB = 1024  # in KiB


class Wanted(NamedTuple):
    """A size and the most it may cost, in imports; none is promised where readings lie on no grid."""

    size: Size
    times: float | None
    runs: int = 3


def lot(positions: int, halves: int, *, inch: bool = False) -> Size:
    unit, step = ("in", "0.00005") if inch else ("mm", "0.0005")
    return Size(positions, halves, max(10, halves // BOXFUL), unit, step)


def off_grid(positions: int, halves: int, boxes: int) -> Size:
    return Size(positions, halves, boxes, "mm", "0.0001", repeats=3)


SIZES = (
    Wanted(lot(13, 130), 1),
    Wanted(lot(13, 130, inch=True), 1),
    Wanted(lot(1_000, 5_000), 8),
    Wanted(lot(1_000, 5_000, inch=True), 8),
    Wanted(lot(5_000, 12_500), 15),
    Wanted(lot(5_000, 12_500, inch=True), 15),
    Wanted(lot(5_000, 5_000), 15),
)
LARGEST = (Wanted(lot(100_000, 500_000), 150, runs=1),)
OFF_GRID = (
    Wanted(off_grid(13, 130, 10), None),
    Wanted(off_grid(24, 240, 10), None),
    Wanted(off_grid(100, 1_000, 10), None, runs=1),
    Wanted(off_grid(1_000, 10_000, 100), None, runs=1),
)

GROUPS = {"--lots": SIZES, "--largest": LARGEST, "--off-grid": OFF_GRID}
PAGE = Path(__file__).parent.parent / "docs" / "speed.md"


class Cost(NamedTuple):
    """Of one process."""

    wall_s: float
    cpu_s: float
    peak_kib: int
    said: str  # on standard error


def run(arguments: list[str]) -> Cost:
    """Measured from a child of a child, so that earlier ones do not count."""
    code = (
        "import json, resource, subprocess, sys, time; start = time.perf_counter(); "
        "said = subprocess.run(sys.argv[1:], stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True).stderr; "
        "wall = time.perf_counter() - start; used = resource.getrusage(resource.RUSAGE_CHILDREN); "
        "print(json.dumps([wall, used.ru_utime + used.ru_stime, used.ru_maxrss, said]))"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, sys.executable, *arguments],
        capture_output=True,
        text=True,
        check=True,
        env={k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"},
        cwd=Path(__file__).parent.parent,
    )
    return Cost(*json.loads(done.stdout))


def whole(folder: Path, wanted: Wanted) -> tuple[str, str]:
    """A row for the whole process and a row for its stages."""
    imports, costs = [run(IMPORT)], []
    limit = ["--time-limit", str(PATIENCE_S)] if wanted.times is None else []
    for _ in range(wanted.runs):
        costs.append(run(["-m", "fitmatch", "assign", str(folder), *limit]))
        imports.append(run(IMPORT))
    bare_wall = statistics.median(cost.wall_s for cost in imports)
    bare_cpu = statistics.median(cost.cpu_s for cost in imports)
    wall = statistics.median(cost.wall_s for cost in costs)
    cpu = statistics.median(cost.cpu_s for cost in costs)
    proven = "yes" if "1 kind proven" in costs[-1].said else "no"
    cells = [
        str(wanted.size),
        f"{wall / bare_wall:.1f}",
        f"{cpu / bare_cpu:.1f}",
        "" if wanted.times is None else f"{wanted.times:g}",
        proven,
        f"{cpu:.2f}",
        str(max(cost.peak_kib for cost in costs) // MIB),
    ]
    if wanted.times is None:
        return f"| {' | '.join(cells)} |", ""
    stages = json.loads(run([__file__, "--stages", str(folder)]).said.splitlines()[-1])
    parts = [str(wanted.size), *(f"{s:.2f}" for s in stages.values())]
    return f"| {' | '.join(cells)} |", f"| {' | '.join(parts)} |"


def stages(folder: Path) -> None:
    """The processor time of each stage of one job, as JSON on standard error."""
    import gc

    gc.disable()
    from fitmatch.fit.answer.baselines import as_boxed, by_hand
    from fitmatch.fit.answer.best_plan import best_plan
    from fitmatch.fit.classes.candidates import Kind
    from fitmatch.fit.model.moved_housings import settle
    from fitmatch.fit.model.naming import name_shells
    from fitmatch.fit.proof.levels import prove
    from fitmatch.fit.solver.stopping import Stop
    from fitmatch.gauging.doubts.check import doubts_of
    from fitmatch.intake.reading import read_job
    from fitmatch.report.text.report import plan_text

    found: dict[str, float] = {}

    def timed(name: str, work: Callable[[], Any]) -> Any:
        start = time.process_time()
        value = work()
        found[name] = time.process_time() - start
        return value

    job = timed("reading", lambda: read_job(folder))
    timed("doubts", lambda: doubts_of(job))
    kind = timed("classes", lambda: Kind([job], "main"))
    proven = timed("solving", lambda: prove(kind, "target", 0, Stop(), [kind.terms]))
    timed("naming", lambda: name_shells(kind, settle(kind, proven.choice)[0]))
    timed("baselines", lambda: (as_boxed(kind), by_hand(kind)))
    plan = timed("assign", lambda: best_plan(job))
    found["the rest"] = found.pop("assign") - sum(s for name, s in found.items() if name not in ("reading", "assign"))
    timed("writing", lambda: plan_text(plan, job.unit))
    print(json.dumps(found), file=sys.stderr)


def merged(name: str, table: list[str]) -> list[str]:
    """The rows of the page's table in the order of sizes, with those of jobs that were measured again in their new
    form."""
    before = PAGE.read_text(encoding="utf-8").partition(f"<!-- {name} -->\n")[2].partition("<!-- end")[0].splitlines()
    rows = {row.split("|")[1]: row for row in (*before[2:], *table[2:])}
    names = [f" {wanted.size} " for group in GROUPS.values() for wanted in group]
    return [*table[:2], *(rows[name] for name in names if name in rows)]


def main() -> None:
    if "--stages" in sys.argv:
        stages(Path(sys.argv[-1]))
        return
    some = {name: group for name, group in GROUPS.items() if name in sys.argv} or GROUPS
    sizes = [wanted for group in some.values() for wanted in group]
    table = [
        "| job | times the import, by the clock | by processor time | wanted | proven | processor seconds | peak MiB |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    growth = [
        "| job | reading | doubts | classes | solving | naming | baselines | checks, expected figures | writing |",
        "| --- " * 9 + "|",
    ]
    with tempfile.TemporaryDirectory() as temporary:
        for number, wanted in enumerate(sizes):
            folder = Path(temporary) / str(number)
            write_job(folder, wanted.size)
            row, parts = whole(folder, wanted)
            print(row, parts, sep="\n", file=sys.stderr)
            table.append(row)
            growth += [parts] if parts else []
    print("\n".join([*table, "", *growth]))
    if "--rewrite" in sys.argv:
        rewrite("scale", merged("scale", table))
        rewrite("stages", merged("stages", growth))


if __name__ == "__main__":
    main()
