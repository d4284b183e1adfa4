"""Jobs whose boxes are still to be opened, and the tasks that studies of them work on."""

from typing import Any

from made.jobs import JOURNAL, make_job, make_position, make_shell
from oracles.rulebook import Rules

from fitmatch.records.job import Job
from fitmatch.records.parts import Band, Position
from fitmatch.records.study.unopened import BoxesTold, StepTold
from fitmatch.study.boxes.boxes import task_of
from fitmatch.study.boxes.draws import KindTask

UM = 1_000
WALL = 2_000 * UM
TARGET = 50 * UM
ROOM = 2 * WALL + TARGET  # of a position that two mean walls fit


def told(budget: int, *, shells: int = 8, within: int = 1_600, between: int = 1_000, price: int | None = None) -> Any:
    """`[boxes]` with one step of rods, all of it written."""
    return BoxesTold(budget, within, between, {"std": StepTold("rod", WALL, shells, price)})


def rods(number: int, **more: Any) -> list[Position]:
    """Positions that two mean walls put on target."""
    limits = {"min_nm": TARGET - 20 * UM, "max_nm": TARGET + 20 * UM}
    return [make_position(f"R{i}", ROOM, target=TARGET, **(limits | more)) for i in range(1, number + 1)]


def one_free_shell(boxes: int, scatter: int) -> Job:
    """One position whose lower half is locked, and boxes with a single upper each: the best of so many is taken."""
    within, between = scatter * 4 // 5, scatter * 3 // 5
    wide = 1_000 * UM  # as seen from there the scatter leaves some clearance always
    position = make_position("R1", 2 * WALL + wide, target=wide, lower=("open", "L"))
    step = told(boxes, shells=1, within=within, between=between)
    shells = [make_shell("L", "lower", WALL, box="open")]
    return make_job([position], shells, unit="mm", boxes=step, rules=Rules(wall_difference_nm=None))


def trade(boxes: int) -> Job:
    """Eight positions whose bores are still to be measured, four um of standard deviation between their limits."""
    positions = rods(8, min_nm=None, max_nm=None)
    unmeasured = [Position(p.name, p.kind, p.journal, None, p.target_nm) for p in positions]
    bores = Band(JOURNAL + ROOM - 12 * UM, JOURNAL + ROOM + 12 * UM)
    return make_job(unmeasured, [], unit="mm", boxes=told(boxes), drawing={"rod": {"housing_bore": bores}})


def task(job: Job, **more: Any) -> KindTask:
    """The only kind's part of the study of a job."""
    given = {"seed": 1, "budget": None, "tolerance_nm": None, "sealed": None} | more
    (one,) = task_of(job, **given)[0].kinds
    return one
