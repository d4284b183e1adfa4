"""Jobs and pools in which every rule and freedom may turn up at once, for hypothesis to draw and to shrink.

Larger than full enumeration can look at: four to eight positions, eight to twenty shells of each half.
"""

from dataclasses import replace
from typing import Any

from hypothesis import strategies as st
from made.jobs import JOURNAL, STEP, TARGET, WALL, make_job, make_position, make_shell, measured_by
from oracles.rulebook import Rules

from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, Measuring
from fitmatch.records.parts import ANY, Band, Fit, Position, Shell

MATCHED = ("flange", "chamfer", "width", "od", "finish")
ALIKE = ("series", "condition")
GAUGES = {
    "mic": Gauge("mic", limit_nm=100, repeatability_nm=50),
    "bore": Gauge("bore", limit_nm=200, repeatability_nm=100, set_with="mic"),
    "ball-1": Gauge("ball-1", limit_nm=50, repeatability_nm=100),
    "ball-2": Gauge("ball-2", limit_nm=200, repeatability_nm=300),
}


def rarely(value: Any, usual: Any, times: int = 5) -> st.SearchStrategy[Any]:
    """`usual`, and one time in so many the other; the usual is the simpler."""
    return st.sampled_from([*[usual] * (times - 1), value])


def steps(reach: int, grid: int) -> st.SearchStrategy[int]:
    """A whole number of grid steps within `reach` tenths."""
    most = reach * STEP // grid
    return st.integers(-most, most).map(lambda n: n * grid)


@st.composite
def shells(draw: st.DrawFn, grid: int, count: tuple[int, int], columns: tuple[str, ...], ways: int) -> list[Shell]:
    """Shells of both halves; a few that may be either, that are on hold, or that nobody has measured."""
    boxes = draw(st.integers(1, 4))
    off = draw(st.sampled_from([0, 0, 0, 3 * STEP, -3 * STEP]))  # walls that are off as a whole
    reach = draw(st.sampled_from([1, 2, 4]))
    made = []
    for half in ("upper", "lower"):
        for _ in range(draw(st.integers(*count))):
            wall = WALL + off // grid * grid + draw(steps(reach, grid))
            coating = draw(rarely(5_000, 0))
            unmeasured = draw(rarely(True, False, 50))
            made.append(
                make_shell(
                    f"{len(made) + 1:02d}",
                    draw(rarely("either", half, 8)),
                    None if unmeasured else wall,
                    box=f"box-{draw(st.integers(1, boxes))}",
                    marks=tuple(draw(st.sampled_from(["", "", "", "", "", "g", ANY])) for _ in columns),
                    family=draw(st.sampled_from(["a12", "a12", "a12", "c3", ""])),
                    hold=draw(rarely("scratched", None, 25)),
                    coating_nm=coating,
                    wall_to_metal_nm=None if unmeasured else wall - coating,
                    measured_as=measured_by(*[("ball-1", 1), ("ball-2", 1), ("ball-1", 4)][draw(st.integers(0, ways))]),
                )
            )
    return made


@st.composite
def positions(
    draw: st.DrawFn,
    engine: int,
    count: int,
    grid: int,
    matched: tuple[str, ...],
    within: tuple[str, ...],
    strategy: str,
) -> list[Position]:
    """Positions of one engine, with limits, wishes and readings of their own."""
    width = draw(st.sampled_from([STEP, 3 * STEP, 6 * STEP]))
    ends = "both" if strategy == "even" else draw(st.sampled_from(["both", "both", "both", "min", "max", "none"]))
    target = draw(rarely(STEP, TARGET, 10))  # with little room, clearances of zero and less are at hand
    wish = draw(st.sampled_from([None, None, (-STEP, STEP), (2 * STEP, 3 * STEP), (-4 * STEP, None), (None, 0)]))
    wide = draw(st.sampled_from([1, 4]))
    scatter, offsets = draw(st.booleans()), draw(st.booleans())
    made = []
    for number in range(1, count + 1):
        own = target + draw(rarely(STEP, 0, 8))
        low = max(0, own - width) if ends in ("both", "min") else None
        high = own + width if ends in ("both", "max") else None
        wants = [None if wish is None or end is None else max(low or 0, own + end) for end in wish or (None, None)]
        wants = [end if end is None or high is None else min(end, high) for end in wants]
        plain = make_position(
            f"R{number}",
            2 * WALL + target + draw(steps(wide, grid)),
            target=own,
            low=draw(st.sampled_from([0, STEP])) if scatter else 0,
            high=draw(st.sampled_from([0, STEP])) if scatter else 0,
            min_nm=low,
            max_nm=high,
            want_min_nm=wants[0],
            want_max_nm=wants[1],
            seating_nm=draw(rarely(-STEP, 0, 6)),
            wants_upper=tuple(draw(st.sampled_from(["", "", "", "", "g", ANY])) for _ in matched),
            accept=draw(rarely("measured twice", None)),
            within=tuple(draw(st.sampled_from(["a", "a", "b", ANY])) for _ in within),
            offset_nm=draw(steps(2, STEP // 2)) if offsets else None,
        )
        below = tuple(draw(rarely("g", want)) for want in plain.wants_upper)  # a half may be wanted otherwise
        assert plain.journal is not None and plain.housing_bore is not None
        made.append(
            replace(
                plain,
                wants_lower=below,
                journal=replace(plain.journal, measured_as=measured_by("mic")),
                housing_bore=replace(
                    plain.housing_bore, measured_as=measured_by("bore", draw(st.sampled_from([1, 3])))
                ),
            )
        )
    lacking = draw(rarely(True, False, 12))
    if lacking:
        at = draw(st.integers(0, count - 1))
        made[at] = replace(made[at], **{draw(st.sampled_from(["journal", "housing_bore"])): None})
    return made


@st.composite
def locked(draw: st.DrawFn, rows: list[list[Position]], stock: list[Shell]) -> list[list[Position]]:
    """Some positions locked in one half or in both, whatever rules that breaks."""
    free = [s for s in stock if s.hold is None]
    made = []
    for engine in rows:
        made.append([])
        for position in engine:
            for side in draw(st.sampled_from([(), (), (), (), (), ("upper",), ("lower",), ("upper", "lower")])):
                fitting = [s for s in free if s.half in (side, "either")]
                if fitting:
                    shell = draw(st.sampled_from(fitting))
                    free.remove(shell)
                    position = replace(position, **{side: shell.key})
            made[-1].append(position)
    return made


@st.composite
def rules(draw: st.DrawFn, alike: tuple[str, ...], within: tuple[str, ...], *, may_move: bool) -> Rules:
    """Each rule now and then; the simplest draw has none of them."""

    def now_and_then(kind_rule: st.SearchStrategy[int]) -> dict[str, int]:
        return {"rod": draw(kind_rule)} if draw(st.booleans()) else {}

    return Rules(
        wall_difference_nm=draw(st.sampled_from([None, 0, STEP, 3 * STEP, 6 * STEP])),
        thick_half=draw(st.sampled_from([{}, {"rod": "upper"}, {"rod": "lower"}, {"rod": "same"}, {"rod": "same"}])),
        thick_half_from_nm=draw(st.sampled_from([0, STEP, 2 * STEP])),
        same_in_bore=alike,
        min_wall_nm=now_and_then(st.sampled_from([WALL - 3 * STEP, WALL - STEP])),
        neighbour_step_nm=now_and_then(st.sampled_from([2 * STEP, STEP, STEP // 2, 0])),
        line_nm=now_and_then(st.sampled_from([3 * STEP, 2 * STEP, STEP])),
        movable=("rod",) if may_move and draw(st.booleans()) else (),
        movable_within=within,
        limits_at=draw(st.sampled_from(["mean", "tightest"])),
        guard=draw(st.sampled_from([0.0, 0.0, 0.5, 1.0])),
    )


@st.composite
def engines(draw: st.DrawFn, strategy: str, count: int) -> list[Job]:
    """One job, or several that share their shells; in those each has its own rules, limits and families."""
    grid = draw(st.sampled_from([STEP, STEP, STEP, 1_270, 1_000, 1]))
    matched = tuple(draw(st.lists(st.sampled_from(MATCHED), max_size=2, unique=True)))
    alike = tuple(draw(st.lists(st.sampled_from(ALIKE + matched), max_size=2, unique=True)))
    columns = matched + tuple(column for column in alike if column not in matched)
    within = draw(st.sampled_from([(), ("bank",), ("bank", "weight")]))
    # Housings that may move multiply the columns of the plain model, and so do sizes that are all different.
    may_move = draw(st.booleans())
    few = may_move or grid == 1
    least, most = (4, (4 if strategy == "even" else 5) if few else 8) if count == 1 else (2, 3 if few else 4)
    sizes = [draw(st.sampled_from(range(least, most + 1))) for _ in range(count)]
    halves = (max(5, sum(sizes) - 1), 10) if few else (8, 20)
    ways = draw(st.sampled_from([0, 0, 1, 2]))
    stock = draw(shells(grid, halves, columns, ways))
    rows = [draw(positions(i, size, grid, matched, within, strategy)) for i, size in enumerate(sizes)]
    if draw(st.booleans()):
        rows = draw(locked(rows, stock))
    jobs = []
    for i, row in enumerate(rows):
        families = [("a12",), ("a12", "c3")] if count > 1 else [None, None, ("a12", "c3")]
        bores = sorted(p.housing_bore.mean_nm for p in row if p.housing_bore is not None) or [JOURNAL]
        band = Band(bores[0], draw(st.sampled_from([bores[-1], bores[-1] - 1, bores[len(bores) // 2]])))
        bound = {"rod": {"housing_bore": band}} if draw(rarely(True, False, 4)) and band.low_nm <= band.high_nm else {}
        jobs.append(
            make_job(
                row,
                stock,
                name=f"engine-{i + 1}" if count > 1 else "",
                fits={"rod": Fit("rod", TARGET, family=draw(st.sampled_from(families)))},
                rules=draw(rules(alike, within, may_move=may_move)),
                drawing=bound,
                matched_columns=matched,
                shell_columns=columns,
                measuring=Measuring(gauges=GAUGES),
            )
        )
    return jobs


SLACKS = st.sampled_from([0, 0, 0, STEP // 2, STEP, 2 * STEP])
