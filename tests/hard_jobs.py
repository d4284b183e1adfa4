"""Recorded jobs that are hard for the optimizer, each with its best figures and how these were proven.

    python tests/hard_jobs.py                    replays all of them and prints what each costs
    python tests/hard_jobs.py NAME …             replays these
    python tests/hard_jobs.py --record NAME …    makes them anew, has HiGHS prove the figures, and writes them down;
                                                 those of `ALONE` as fitmatch itself proves them

The records are in tests/data/hard, one file for each job or pool. Sizes are invented and seeded. A record holds the job
itself, so that it stays the same whatever becomes of the code that made it.
"""

import gc
import json
import random
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import fields, replace
from pathlib import Path
from typing import Any, NamedTuple

import scipy
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shell
from made.pools import pool_of
from oracles.highs import Figures, Model, Ties
from oracles.highs_levels import prove
from oracles.rulebook import Rules, rules_of

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.job import Job
from fitmatch.records.parts import Fit, Position, Shell, Size
from fitmatch.records.pools import Pool

FOLDER = Path(__file__).resolve().parent / "data" / "hard"
KIND = "rod"
LONGEST_S = 20  # what is not proven by then is written down as HiGHS has it


class Hard(NamedTuple):
    """A job or pool, how to solve it, and why that is hard."""

    why: str
    jobs: list[Job]
    strategy: str = "target"
    slack_nm: int = 0
    priority: str = "together"

    @property
    def turns(self) -> list[list[int]]:
        everything = list(range(len(self.jobs)))
        return [[i] for i in everything] if self.priority == "in-order" else [everything]


class Record(NamedTuple):
    """What is on disk: the job, its best figures turn by turn, and who proved them."""

    hard: Hard
    figures: list[Figures]
    ties: Ties
    proof: str


# --- solving and proving ---------------------------------------------------------------------------------------------


def solved(hard: Hard, stop: Stop | None = None) -> tuple[list[JobPlan], bool]:
    """The plans, one for each job, and whether they are called proven."""
    plan = best_plan(Pool(tuple(hard.jobs)), hard.strategy, slack_nm=hard.slack_nm, stop=stop, priority=hard.priority)
    return list(plan.plans), plan.proven


def figures_by(hard: Hard, plans: Sequence[JobPlan]) -> tuple[list[Figures], Ties]:
    """The figures of these plans, judged by the plain model's own rules."""
    model = Model(hard.jobs, KIND, with_boxes=hard.strategy == "keep-sets", only=plans)
    chosen = model.chosen_by(plans)
    return [model.figures(chosen, work) for work in hard.turns], model.ties(chosen)


def proven(hard: Hard, plans: Sequence[JobPlan]) -> Record:
    """HiGHS starts from these plans and proves of each level that nothing better exists, or finds it."""
    model = Model(hard.jobs, KIND, with_boxes=hard.strategy == "keep-sets")
    model.plan = model.chosen_by(plans)
    figures, ties = prove(model, hard.strategy, hard.slack_nm, in_order=hard.priority == "in-order")
    text = f"HiGHS in scipy {scipy.__version__}, {len(model.columns)} columns, {model.solved} programs to optimality"
    return Record(hard, figures, ties, text)


# --- on disk ---------------------------------------------------------------------------------------------------------

_DEFAULTS = {f.name: f.default for f in (*fields(Position), *fields(Shell), *fields(Rules))}


def _told(record: Any, *names: str) -> dict[str, Any]:
    """What of these is not the usual."""
    return {name: getattr(record, name) for name in names if getattr(record, name) != _DEFAULTS.get(name)}


def write(name: str, record: Record) -> None:
    hard = record.hard
    jobs = []
    for job in hard.jobs:
        more = ("seating_nm", "offset_nm", "within", "upper", "lower", "want_min_nm", "want_max_nm")
        rows = [
            [p.name, p.journal.mean_nm, p.housing_bore.mean_nm, p.target_nm, p.min_nm, p.max_nm, _told(p, *more)]
            for p in job.positions
        ]
        names = [f.name for f in fields(Rules) if f.name != "guard"]
        jobs.append({"name": job.name, "rules": _told(rules_of(job), *names), "positions": rows})
    shells = [[s.name, s.box, s.half, s.wall_nm] for s in hard.jobs[0].shells]
    data = {
        "why": hard.why,
        "strategy": hard.strategy,
        "slack_nm": hard.slack_nm,
        "priority": hard.priority,
        "proof": record.proof,
        "figures": [f._asdict() for f in record.figures],
        "ties": record.ties._asdict(),
    }
    lines = [f"{json.dumps(key)}: {json.dumps(value)}" for key, value in data.items()]
    for key, rows in (("jobs", jobs), ("shells", shells)):
        lines.append(f"{json.dumps(key)}: [\n" + ",\n".join(map(json.dumps, rows)) + "\n]")
    FOLDER.mkdir(parents=True, exist_ok=True)
    (FOLDER / f"{name}.json").write_text("{\n" + ",\n".join(lines) + "\n}\n", encoding="utf-8")


def read(name: str) -> Record:
    data = json.loads((FOLDER / f"{name}.json").read_text(encoding="utf-8"))
    stock = [make_shell(shell, half, wall, box=box) for shell, box, half, wall in data["shells"]]
    jobs = []
    for told in data["jobs"]:
        rows = []
        for row, journal, bore, target, low, high, more in told["positions"]:
            kept = {key: tuple(value) if isinstance(value, list) else value for key, value in more.items()}
            sizes = Size(journal, journal, journal), Size(bore, bore, bore)
            rows.append(Position(row, KIND, *sizes, target, low, high, **kept))
        rules = {key: tuple(value) if isinstance(value, list) else value for key, value in told["rules"].items()}
        jobs.append(_job(rows, stock, Rules(**rules), told["name"]))
    figures = [Figures(**{**f, "rest": tuple(f["rest"])}) for f in data["figures"]]
    options = {key: data[key] for key in ("why", "strategy", "slack_nm", "priority")}
    return Record(Hard(jobs=_pooled(jobs), **options), figures, Ties(**data["ties"]), data["proof"])


def names() -> list[str]:
    return sorted(path.stem for path in FOLDER.glob("*.json"))


def _job(rows: list[Position], stock: list[Shell], rules: Rules, name: str = "") -> Job:
    fits = {KIND: Fit(KIND, TARGET, family=("narrow-2",) if name else None)}
    shells = [replace(s, family="narrow-2") for s in stock]
    return make_job(rows, shells, rules=rules, name=name, fits=fits, unit="mm")


def _pooled(jobs: list[Job]) -> list[Job]:
    return jobs if len(jobs) == 1 else list(pool_of(jobs).jobs)


# --- where they come from --------------------------------------------------------------------------------------------


def rods(rng: random.Random, count: int, grid: int, *, width: int = 6 * STEP, scatter: int = 4_000) -> list[Position]:
    """Positions whose journals and bores scatter like turned and honed ones."""
    made = []
    for i in range(1, count + 1):
        p = make_position(f"R{i}", 2 * WALL + TARGET, min_nm=TARGET - width, max_nm=TARGET + width)
        nm = [on(grid, rng.gauss(size.mean_nm, scatter)) for size in (p.journal, p.housing_bore)]
        made.append(replace(p, journal=Size(nm[0], nm[0], nm[0]), housing_bore=Size(nm[1], nm[1], nm[1])))
    return made


def stock(rng: random.Random, each: int, grid: int, *, boxes: int = 1, scatter: int = 1_600) -> list[Shell]:
    """Shells of both halves in boxes that differ a little from one another."""
    offs = [rng.gauss(0, 1_000) for _ in range(boxes)]
    return [
        make_shell(f"{half[0]}{i + 1}", half, on(grid, rng.gauss(WALL + offs[i * boxes // each], scatter)),
                   box=f"box-{i * boxes // each + 1}")
        for half in ("upper", "lower") for i in range(each)
    ]  # fmt: skip


def on(grid: int, nm: float) -> int:
    return round(nm / grid) * grid


def off_grid(count: int, each: int, **more: Any) -> Hard:
    rng = random.Random(f"off grid {count} {each}")
    job = _job(rods(rng, count, 1), stock(rng, each, 1, boxes=min(10, each // 12 + 1)), Rules())
    return Hard(f"{count} positions and {each} shells of each half, every size another to the nanometre", [job], **more)


def far_out(count: int, each: int, grid: int, **more: Any) -> Hard:
    """Two positions far out want the same few thick shells, so that windows widen for all."""
    rng = random.Random(f"far out {count} {each}")
    rows = rods(rng, count, grid, width=12 * STEP)
    for i in (0, count // 2):
        bore = rows[i].housing_bore.mean_nm + on(grid, 14_000)
        rows[i] = replace(rows[i], housing_bore=Size(bore, bore, bore))
    job = _job(rows, stock(rng, each, grid, boxes=4), Rules())
    return Hard(f"two of {count} positions lie far out and want the same shells of {each}", [job], **more)


def in_row(count: int, each: int, grid: int, *, step: int | None, line: int | None, **more: Any) -> Hard:
    rng = random.Random(f"row {count} {each} {grid} {step} {line}")
    rows = rods(rng, count, grid, width=8 * STEP)
    if line is not None:
        rows = [replace(p, offset_nm=on(grid, rng.gauss(0, 2_000))) for p in rows]
    rules = Rules(neighbour_step_nm={} if step is None else {KIND: step}, line_nm={} if line is None else {KIND: line})
    rule = " and ".join(w for w, r in (("neighbour_step", step), ("line with offsets", line)) if r is not None)
    return Hard(f"{count} bores bound by {rule}, {each} shells of each half, grid {grid} nm",
                [_job(rows, stock(rng, each, grid, boxes=2), rules)], **more)  # fmt: skip


def empty(count: int, each: int, grid: int, **more: Any) -> Hard:
    rng = random.Random(f"empty {count} {each}")
    rows = rods(rng, count, grid, width=2 * STEP)
    rules = Rules(neighbour_step_nm={KIND: STEP // 2}, line_nm={KIND: STEP}, thick_half={KIND: "same"})
    why = f"{count} bores in a row and {each} shells of each half: many have to stay empty, and which is to be chosen"
    return Hard(why, [_job(rows, stock(rng, each, grid), rules)], **more)


def movable(count: int, each: int, grid: int, rules: Rules, **more: Any) -> Hard:
    rng = random.Random(f"movable {count} {each} {grid} {rules.neighbour_step_nm} {rules.line_nm}")
    rows = rods(rng, count, grid)
    job = _job(rows, stock(rng, each, grid, boxes=3), replace(rules, movable=(KIND,)))
    return Hard(f"{count} rods whose housings may move, with a rule about the row, {each} of each half", [job], **more)


def scarce(count: int, each: int, grid: int, **more: Any) -> Hard:
    rng = random.Random(f"scarce {count} {each} {grid}")
    job = _job(rods(rng, count, grid, width=12 * STEP), stock(rng, each, grid, boxes=3), Rules())
    return Hard(f"{count} positions, {each} shells of each half: nearly every shell is needed", [job], **more)


def half_way(count: int, each: int, grid: int) -> Hard:
    """Every ideal wall sum is half way between two that exist, so that the looser has to be chosen as a tie."""
    rng = random.Random(f"half way {count} {each} {grid}")
    rows = []
    for p in rods(rng, count, grid, scatter=800):
        bore = p.housing_bore.mean_nm
        bore -= (bore - p.journal.mean_nm - TARGET - grid // 2) % grid
        rows.append(replace(p, housing_bore=Size(bore, bore, bore)))
    job = _job(rows, stock(rng, each, grid, boxes=3), Rules())
    return Hard(f"{count} positions half way between the sums of {each} shells of each half: ties decide", [job])


def boxes(count: int, each: int, grid: int, how_many: int, rules: Rules, **more: Any) -> Hard:
    rng = random.Random(f"boxes {count} {each} {grid}")
    job = _job(rods(rng, count, grid), stock(rng, each, grid, boxes=how_many), rules)
    why = f"{count} positions from as few of {how_many} boxes as will do"
    return Hard(why, [job], "keep-sets", more.pop("slack_nm", STEP), **more)


def engines(count: int, rods_each: int, each: int, grid: int, rules: Rules, **more: Any) -> Hard:
    rng = random.Random(f"engines {count} {rods_each} {each} {grid}")
    shells = stock(rng, each, grid, boxes=3)
    jobs = [_job(rods(rng, rods_each, grid), shells, rules, f"engine-{i + 1}") for i in range(count)]
    why = f"{count} engines of {rods_each} share {each} shells of each half"
    return Hard(why, _pooled(jobs), **more)


STEPS = Rules(neighbour_step_nm={KIND: STEP})
WIDE_ROW = Rules(
    neighbour_step_nm={KIND: STEP}, line_nm={KIND: 3 * STEP}, thick_half={KIND: "same"}, thick_half_from_nm=0
)
ROWS = Rules(neighbour_step_nm={KIND: STEP}, line_nm={KIND: 3 * STEP})
MAKERS: dict[str, Callable[[], Hard]] = {
    "off-grid-12x12": lambda: off_grid(12, 12),
    "off-grid-13x130": lambda: off_grid(13, 130),
    "off-grid-12x12-even": lambda: off_grid(12, 12, strategy="even"),
    "scarce-24x24-half-um": lambda: scarce(24, 24, 500),
    "scarce-14x15-1nm": lambda: scarce(14, 15, 1),
    "scarce-30x28-um": lambda: scarce(30, 28, 1_000),
    "half-way-10x40-um": lambda: half_way(10, 40, 1_000),
    "far-out-24x60-half-um": lambda: far_out(24, 60, 500),
    "engines-5x8-32": lambda: engines(5, 8, 32, 1_270, Rules()),
    "engines-5x8-42": lambda: engines(5, 8, 42, 1_270, Rules()),
    "even-movable-5x8-1nm": lambda: movable(5, 8, 1, WIDE_ROW, strategy="even"),
    "even-movable-6x9-1nm": lambda: movable(6, 9, 1, STEPS, strategy="even"),
    "even-step-7x20-1nm": lambda: in_row(7, 20, 1, step=500, line=None, strategy="even"),
    "even-line-7x14-1nm": lambda: in_row(7, 14, 1, step=None, line=2_000, strategy="even"),
    "empty-7x14-1nm": lambda: empty(7, 14, 1),
    "movable-8x12-1nm-step": lambda: movable(8, 12, 1, STEPS),
    "step-7x30-1nm": lambda: in_row(7, 30, 1, step=500, line=None),
    "line-7x30-1nm": lambda: in_row(7, 30, 1, step=None, line=1_500),
    "even-step-and-line-5x20-half-um": lambda: in_row(5, 20, 500, step=1_000, line=2_000, strategy="even"),
    "even-step-5x14-1nm": lambda: in_row(5, 14, 1, step=800, line=None, strategy="even"),
    "empty-10x10-half-um": lambda: empty(10, 10, 500),
    "empty-7x10-1nm": lambda: empty(7, 10, 1),
    "movable-8x16-um-step": lambda: movable(8, 16, 1_000, STEPS),
    "movable-6x12-tenth-line": lambda: movable(6, 12, STEP, Rules(line_nm={KIND: STEP})),
    "movable-6x10-keep-sets-line": lambda: movable(
        6, 10, STEP, Rules(line_nm={KIND: STEP}), strategy="keep-sets", slack_nm=2 * STEP
    ),
    "keep-sets-12-boxes-1nm": lambda: boxes(8, 36, 1, 12, Rules(), slack_nm=300),
    "engines-3x4-12-together": lambda: engines(3, 4, 12, 500, Rules()),
    "engines-4x4-14-um": lambda: engines(4, 4, 14, 1_000, Rules()),
    "engines-3x4-in-order": lambda: engines(3, 4, 12, 1, Rules(), priority="in-order"),
    "engines-2x5-even-step": lambda: engines(2, 5, 11, 1_000, STEPS, strategy="even"),
    "even-step-and-line-12x12-none-spare": lambda: in_row(12, 12, 33, step=1_270, line=2_540, strategy="even"),
    "engines-3x12-rows-1nm": lambda: engines(3, 12, 40, 1, ROWS),
    "engines-3x12-rows-1nm-keep-sets": lambda: engines(3, 12, 40, 1, ROWS, strategy="keep-sets", slack_nm=STEP),
    "engines-3x16-movable-two-short": lambda: engines(3, 16, 46, 500, replace(WIDE_ROW, movable=(KIND,))),
    "engines-3x5-movable": lambda: engines(3, 5, 17, STEP, replace(STEPS, movable=(KIND,))),
}


# Too large for HiGHS so far: their records say what fitmatch itself has proven, so that it stays so, and as quick.
ALONE = (
    *("engines-3x12-rows-1nm", "engines-3x12-rows-1nm-keep-sets", "engines-3x16-movable-two-short"),
    "even-step-and-line-12x12-none-spare",
)


def record(name: str) -> None:
    hard = MAKERS[name]()
    start = time.process_time()
    plans, sure = solved(hard, Stop(10 * LONGEST_S if name in ALONE else LONGEST_S))
    middle = time.process_time()
    print(f"{name}: fitmatch {middle - start:.2f} s, proven {sure}", flush=True)
    if name in ALONE:
        if sure:
            write(name, Record(hard, *figures_by(hard, plans), "fitmatch alone"))
        return
    found = proven(hard, plans)
    print(f"  HiGHS {time.process_time() - middle:.2f} s, {found.proof}", flush=True)
    print(f"  {found.figures} {found.ties}", flush=True)
    if sure and figures_by(hard, plans) != (found.figures, found.ties):
        print(f"  DISAGREE: {figures_by(hard, plans)}")
        return
    write(name, found)


def replay(name: str) -> bool:
    """Print what it costs; whether the answer is proven and has the recorded figures."""
    known = read(name)
    start = time.process_time()
    plans, sure = solved(known.hard, Stop(10 * LONGEST_S))
    took = time.process_time() - start
    right = sure and figures_by(known.hard, plans) == (known.figures, known.ties)
    print(f"{took:8.2f} s  {'as recorded' if right else 'WRONG' if sure else 'NOT PROVEN'}  {name}", flush=True)
    return right


def main() -> None:
    wanted = sys.argv[1:]
    gc.disable()  # as the commands do
    if wanted[:1] == ["--record"]:
        for name in wanted[1:] or MAKERS:
            record(name)
    else:
        right = [replay(name) for name in wanted or names()]
        sys.exit(0 if all(right) else 1)


if __name__ == "__main__":
    main()
