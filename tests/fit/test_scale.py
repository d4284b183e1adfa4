"""Large jobs: the same answers as by slow and independent ways, and what they look like."""

import os
import random
import re
import sys
import time
from collections import Counter, defaultdict
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from made.jobs import TARGET, WALL, make_job, make_position, make_shell
from made.measured_jobs import UM, as_listed, job_of, measuring
from made.scale_jobs import Size, write_job
from oracles import oracle
from oracles.rulebook import rules_of, with_rules
from scipy.optimize import linprog
from scipy.sparse import coo_matrix
from terminals import PATIENCE_S, Bare

from fitmatch import stages
from fitmatch.fit.answer.baselines import as_boxed, by_hand
from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.expected import worth
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.naming import name_shells
from fitmatch.fit.proof import windows
from fitmatch.fit.proof.field import near_plans
from fitmatch.fit.solver import adapter
from fitmatch.intake.reading import read_job
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.report.text.report import plan_text

LOT = Size(1_000, 5_000, 50)
SHORT = Size(300, 300, 6)  # every shell is needed


def lot(folder: Path, size: Size) -> Job:
    write_job(folder, size)
    return read_job(folder)


# --- the answer, against a linear program of another solver --------------------------------------------------------


def relaxed(job: Job, worst_nm: int) -> Any:
    """HiGHS on the relaxed choice of (room, upper wall, lower wall) with |deviation| up to `worst_nm`: the smallest sum
    of squares of a plan that fills everything. A wall sum counts from the files' own numbers alone."""
    rooms = Counter(p.housing_bore.mean_nm - p.journal.mean_nm for p in job.positions if p.housing_bore and p.journal)
    walls = {half: Counter(s.wall_nm or 0 for s in job.shells if s.half == half) for half in ("upper", "lower")}
    (target,) = {p.target_nm for p in job.positions}
    allowed = rules_of(job).wall_difference_nm
    assert target is not None and allowed is not None
    row_of: dict[tuple[str, int], int] = {}
    cost, rows, columns = [], [], []
    for room in rooms:
        for u in walls["upper"]:
            for v in walls["lower"]:
                off = room - u - v - target
                if abs(off) <= worst_nm and abs(u - v) <= allowed:
                    for key in (("room", room), ("upper", u), ("lower", v)):
                        rows.append(row_of.setdefault(key, len(row_of)))
                        columns.append(len(cost))
                    cost.append(off * off / 1e6)
    matrix = coo_matrix((np.ones(len(rows)), (rows, columns)), shape=(len(row_of), len(cost))).tocsr()
    stock = {"room": rooms, **walls}
    right = np.array([stock[name][value] for name, value in row_of])
    full = np.array([name == "room" for name, _ in row_of])
    if full.sum() < len(rooms):
        return None
    return linprog(cost, matrix[~full], right[~full], matrix[full], right[full], method="highs")


@pytest.mark.parametrize(
    "size",
    [
        pytest.param(LOT, id="plenty"),
        pytest.param(SHORT, id="every shell", marks=pytest.mark.deep),
        pytest.param(Size(200, 1_000, 10, "in", "0.00005"), id="inch", marks=pytest.mark.deep),
    ],
)
def test_a_lot_is_proven_and_another_solver_agrees(tmp_path: Path, size: Size) -> None:
    """No plan has a smaller worst deviation, as its relaxation cannot be filled; none of that worst has a smaller sum
    of squares, as the relaxation has none."""
    job = lot(tmp_path / "lot", size)
    plan = best_plan(job)
    figures = plan.figures["main"]
    assert plan.proofs["main"].proven and figures.filled == figures.counted == size.positions
    worst, squares = figures.worst_deviation_nm, figures.sum_squared_deviation_nm2
    assert worst is not None and squares is not None
    smaller = relaxed(job, worst - 1)
    assert smaller is None or smaller.status == 2  # infeasible
    found = relaxed(job, worst)
    assert found.status == 0
    assert squares / 1e6 == pytest.approx(found.fun, rel=1e-7)


@pytest.mark.parametrize("seed", [0, *(pytest.param(seed, marks=pytest.mark.deep) for seed in range(1, 8))])
def test_a_narrow_search_changes_no_figure(seed: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sizes off the grid, shells just enough: figures are the same whether all pairs within a window are looked at or
    only those of bores in each other's way, few or many of the pairs that a relaxation prefers, and all that a bore
    reaches or two of them at first."""
    rng = random.Random(f"narrow {seed}")
    count, spare = rng.randint(6, 11), rng.randint(0, 3)
    positions = [make_position(f"R{i}", 2 * WALL + TARGET + rng.randint(-6_000, 6_000)) for i in range(1, count + 1)]
    shells = [
        make_shell(f"{half[0]}{i}", half, WALL + rng.randint(-2_500, 2_500))
        for half in ("upper", "lower")
        for i in range(count + spare)
    ]
    job = make_job(positions, shells)
    found = []
    many = 1 << 60
    for pairs, free, listed in ((many, many, many), (0, many, many), (0, 2, many), (0, 2, 0)):
        monkeypatch.setattr(windows, "MANY_PAIRS", pairs)
        monkeypatch.setattr(near_plans, "FEW_PAIRS", free)
        monkeypatch.setattr(windows, "MANY_LISTED", listed)
        monkeypatch.setattr(windows, "FEW_EACH", 2)
        monkeypatch.setattr(adapter, "VERY_MANY", listed)
        monkeypatch.setattr(adapter, "FEW_EACH", 2)
        plan = best_plan(job)
        assert plan.proofs["rod"].proven
        sums = sum(p.clearance_nm for p in plan.placements), sum(p.wall_difference_nm for p in plan.placements)
        found.append((plan.figures["rod"], sums))
    assert found[0] == found[1] == found[2] == found[3]


# --- quick ways against slow ones ------------------------------------------------------------------------------------


@pytest.mark.parametrize("seed", range(5))
def test_baselines_of_many_alike(seed: int) -> None:
    """As boxed and by hand choose, position by position, as the slow definitions do, also where many shells and many
    positions are alike."""
    rng = random.Random(f"alike {seed}")
    shells = [
        make_shell(f"{i}", rng.choice(("upper", "lower", "lower", "either")), WALL + 500 * rng.randint(-4, 4), box=box)
        for box in ("b-10", "b-2", "c")
        for i in range(rng.randint(8, 20))
    ]
    positions = [make_position(f"R{i}", 2 * WALL + TARGET + 500 * rng.randint(-3, 3)) for i in range(1, 21)]
    job = make_job(positions, shells)
    if seed % 2:
        job = with_rules(job, thick_half={"rod": "same"}, thick_half_from_nm=600)
    kind = Kind([job], "rod")

    def keys(placed: Any) -> list[Any]:
        return [(p.position.name, p.upper.key, p.lower.key) for p in placed]

    def slow(filled: Any) -> list[Any]:
        return [(p.name, u.key, v.key) for p, (u, v) in filled]

    assert keys(as_boxed(kind)) == slow(oracle.as_boxed(job, "rod")[0])
    assert keys(by_hand(kind)) == slow(oracle.by_hand(job, "rod"))


@pytest.mark.parametrize("seed", range(12))
def test_naming_is_the_rule_written_out(seed: int) -> None:
    """Bores with the fewest boxes to choose from first, a box drawn from already before the next in natural order: the
    quick way names the same shells that looking at every box each time does."""
    rng = random.Random(f"boxes {seed}")
    shells = [
        make_shell(f"{half[0]}{i}", half, WALL + 500 * rng.randint(0, 3), box=f"b{box}")
        for box in range(1, 13)
        for half in rng.choices(("upper", "lower", "either"), k=rng.randint(2, 9))
        for i in [rng.randint(1, 10**6)]
    ]
    job = make_job([make_position(f"R{i}", 2 * WALL + TARGET + 500 * rng.randint(0, 3)) for i in range(1, 16)], shells)
    kind = Kind([job], "rod")
    left = {c.index: c.count for c in kind.classes}
    seats = []
    for bore in kind.seats:
        for position in bore.positions:
            pairs = [
                pair
                for pair in kind.pairs(bore, 0, bore.sum_high)
                if left[pair.upper.index] and left[pair.lower.index] > (pair.lower is pair.upper)
            ]
            if pairs:
                pair = rng.choice(pairs)
                left[pair.upper.index] -= 1
                left[pair.lower.index] -= 1
                seats.append((position, pair))
    assert len(seats) > 3
    named = [(p.position.name, p.upper.key, p.lower.key) for p in name_shells(kind, seats)]
    assert named == list(written_out(kind, seats))


def written_out(kind: Kind, seats: list[Any]) -> Iterator[tuple[str, tuple[str, str], tuple[str, str]]]:
    """The rule of naming, box by box."""
    order = [p.name for p in kind.positions]
    seats = sorted(seats, key=lambda seat: order.index(seat[0].name))
    left: defaultdict[int, defaultdict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    for c in kind.classes:
        for shell in sorted(c.members, key=lambda s: oracle.natural(s.name)):
            left[c.index][shell.box].append(shell.name)
    boxes = sorted({s.box for c in kind.classes for s in c.members}, key=oracle.natural)
    drawn: set[str] = set()
    reserved: dict[int, tuple[str, str]] = {}
    count = {index: {box: len(names) for box, names in some.items()} for index, some in left.items()}

    def both(pair: Any) -> list[str]:
        need = 2 if pair.upper is pair.lower else 1
        return [
            b for b in boxes if count[pair.upper.index].get(b, 0) >= need and count[pair.lower.index].get(b, 0) >= need
        ]

    def draw(index: int, some: list[str]) -> str:
        box = min(some, key=lambda b: (b not in drawn, boxes.index(b)))
        count[index][box] -= 1
        return box

    few = [len(both(pair)) for _, pair in seats]
    for at in sorted(range(len(seats)), key=few.__getitem__):
        pair = seats[at][1]
        some = both(pair)
        if some:
            box = draw(pair.upper.index, some)
            drawn.add(box)
            count[pair.lower.index][box] -= 1
            reserved[at] = box, box
    for at, (_, pair) in enumerate(seats):
        if at not in reserved:
            halves = []
            for index in (pair.upper.index, pair.lower.index):
                box = draw(index, [b for b in boxes if count[index].get(b, 0)])
                drawn.add(box)
                halves.append(box)
            reserved[at] = halves[0], halves[1]
    for at, (position, pair) in enumerate(seats):
        above, below = reserved[at]
        upper = (above, left[pair.upper.index][above].pop(0))
        yield position.name, upper, (below, left[pair.lower.index][below].pop(0))


@pytest.mark.parametrize("how", [measuring(500), measuring(500, limit=900), measuring(500, limit=400, freedom=9)])
def test_errors_drawn_by_the_array_are_the_same_errors(how: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    """Number by number or by the array: the same expected figures up to the chance of the draws, and the same word on
    the other plan."""
    job = job_of([0, 2 * UM, -UM, 500, 0, -3 * UM], how)
    mine, other = as_listed(job), as_listed(job)[::-1]
    found = []
    for limit in (1 << 60, 0):
        monkeypatch.setattr(sys.modules["fitmatch.fit.answer.expected"], "MANY_NUMBERS", limit)
        found.append(worth(job, mine, other))
    few, many = found
    assert few is not None and many is not None and few != many and few.trials == many.trials
    assert many.worst_deviation_nm == pytest.approx(few.worst_deviation_nm, rel=0.04)
    assert many.spread_nm == pytest.approx(few.spread_nm, rel=0.04)
    assert many.by_hand == few.by_hand == "equal within measurement"


# --- what is shown ---------------------------------------------------------------------------------------------------


def leftover_lines(plan: Plan) -> str:
    text = plan_text(plan, "mm", full=True)
    return text[text.rindex("LEFT OVER") :]


def test_very_many_shells_left_over_are_told_by_wall(tmp_path: Path) -> None:
    """A thousand left over are named one by one; if there are more, how many of each wall, and every one is counted."""
    job = lot(tmp_path / "lot", Size(20, 600, 6))
    lines = leftover_lines(best_plan(job))
    assert lines.startswith("LEFT OVER: 1160 shells; --json names each\n") and "box-1/U1 " not in lines
    words = " ".join(lines.split()).replace(",", "").split()
    assert sum(int(a) for a, of in pairwise(words) if of == "of" and a.isdigit()) == 1160
    few = lot(tmp_path / "few", Size(20, 520, 6))
    lines = leftover_lines(best_plan(few))
    assert lines.startswith("LEFT OVER: 1000 shells\n") and lines.count("box-") >= 1000


def test_very_many_positions_have_their_sums_elsewhere(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Of very many positions the card is complete, and sums and limits are left to the other formats."""
    plan = best_plan(lot(tmp_path / "lot", Size(20, 60, 3)))
    whole = plan_text(plan, "mm", full=True)
    monkeypatch.setattr("fitmatch.report.further.full._MOST_SUMS", 19)
    short = plan_text(plan, "mm", full=True)
    assert "THE SUMS (axis" in whole and "THE SUMS (axis" not in short
    assert "THE SUMS\nOf so many positions" in short
    card = whole[: whole.index("Boxes read")]
    assert short.startswith(card) and all(p.position.name in card for p in plan.placements)


def test_stages_are_told_to_whoever_listens(tmp_path: Path) -> None:
    """Reading, proving, naming and checking report their stages, with counts."""
    told: list[str] = []
    stages.listen(told.append)
    try:
        best_plan(lot(tmp_path / "lot", Size(20, 60, 3)))
    finally:
        stages.listen(None)
    assert "shell file 3 of 3, 80 shells so far" in told and "the sizes of 20 positions" in told
    assert any(stage.startswith("main: positions inside, ") and stage.endswith(" pairs") for stage in told)
    assert told.index("main: choosing the actual shells") < told.index("checking the answer")


@pytest.mark.parametrize(("option", "shown"), [("", True), ("--quiet", False)])
def test_long_work_shows_its_stages_on_a_terminal(tmp_path: Path, option: str, shown: bool) -> None:
    """On a real terminal the line follows the stages after two seconds (here none), and never with --quiet."""
    write_job(tmp_path / "lot", Size(20, 60, 3))
    code = "import fitmatch.cli.shared.console as c; c._LONG_S = c._BETWEEN_S = 0.0; "
    code += "from fitmatch.cli.main import main; main()"
    command = f"{sys.executable} -c '{code}' assign {tmp_path / 'lot'} {option} > {tmp_path / 'out'}; echo status $?"
    terminal = Bare(command, {**os.environ, "TERM": "xterm"}, tmp_path)
    try:
        patience = time.monotonic() + PATIENCE_S
        while "status" not in terminal.shown() and time.monotonic() < patience:
            time.sleep(0.05)
        text = terminal.shown()
    finally:
        terminal.close()
    assert "status 0" in text or "status 1" in text
    for stage in (
        "shell file 3 of 3, 80 shells so far",
        "main: choosing the actual shells; Ctrl-C prints the best found so far",
    ):
        assert bool(re.search(rf"\d s, {stage}", text)) == shown
    assert ("\x1b[K" in text) == shown
    assert "\x1b" not in (tmp_path / "out").read_text(encoding="utf-8")
