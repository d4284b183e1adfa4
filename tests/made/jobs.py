"""Jobs built straight from Python, no files: helpers for hand-made ones, and random, planted and middle-sized ones.

Lengths are whole nanometres. A position is given by the *room* between its journal and its housing bore, since only
their difference matters to a fit.
"""

import random
from collections.abc import Iterable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from oracles import oracle
from oracles.rulebook import Rules, records, rules_of, with_rules

from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, MeasuredAs, Measuring, Reading, Series
from fitmatch.records.parts import ANY, Band, Fit, Position, Shell, Size

STEP = 2_540  # one tenth of a thou: the grid of coarse jobs
WALL = 1_500_000
JOURNAL = 45_000_000
TARGET = 20 * STEP


def make_position(
    name: str, room: int, *, target: int | None = TARGET, kind: str = "rod", low: int = 0, high: int = 0, **more: Any
) -> Position:
    """A position with this room; `low` and `high` are how far its tightest bore and largest journal stray from the
    means."""
    journal, bore = _read(JOURNAL, high), _read(JOURNAL + room, low)
    return replace(Position(name, kind, journal, bore, target), **more)


def _read(nm: int, stray: int) -> Size:
    """Read once, or twice with this much on either side."""
    values = (nm - stray, nm + stray) if stray else (nm,)
    return Size(nm, nm - stray, nm + stray, tuple(map(Reading, values)))


def make_shell(
    name: str,
    half: str,
    wall: int | None,
    *,
    box: str = "box-1",
    kind: str = "rod",
    measured_as: MeasuredAs | None = None,
    **more: Any,
) -> Shell:
    """A shell of this wall; without a coating its wall to the metal is the same."""
    made = replace(Shell(name, box, kind, half, wall, wall_to_metal_nm=wall), **more)
    return made if measured_as is None else remeasured(made, measured_as)


def remeasured(shell: Shell, how: MeasuredAs | None) -> Shell:
    """The same shell measured like this; one without a wall stays unmeasured."""
    wall = shell.wall_nm
    return replace(shell, measured=None if wall is None else Size(wall, wall, wall, measured_as=how))


def make_shells(half: str, walls: Iterable[int], *, box: str = "box-1", kind: str = "rod") -> list[Shell]:
    """Plain shells of one half, named by number."""
    return [make_shell(f"{half[0]}{i}", half, wall, box=box, kind=kind) for i, wall in enumerate(walls, 1)]


def make_job(positions: Sequence[Position], shells: Sequence[Shell], **more: Any) -> Job:
    """A job of these; a kind without a `[fit]` table of its own gets one from its first position."""
    fits: dict[str, Fit] = {}
    for p in positions:
        fits.setdefault(p.kind, Fit(p.kind, p.target_nm, None, p.min_nm, p.max_nm, p.seating_nm))
    fits |= more.pop("fits", {})
    name = more.get("name", "")
    numbered = tuple(replace(p, row=row, job=name) for row, p in enumerate(positions, 2))
    stocked = tuple(replace(s, row=row, file=f"shells/{s.box}.csv") for row, s in enumerate(shells, 2))
    matched, columns = more.get("matched_columns", ()), more.get("shell_columns", ())
    more["rules"] = records(more.get("rules", Rules()), matched, columns)
    return Job(Path("job"), "A job", more.pop("unit", "in"), fits, numbered, stocked, **more)


def named(job: Job, name: str) -> Job:
    """The same job as one of several."""
    return replace(job, name=name, positions=tuple(replace(p, job=name) for p in job.positions))


def with_given(plan: Plan, **changes: Any) -> Plan:
    """The plan of a job alone with something else in what the job is given."""
    (one,) = plan.plans
    return replace(plan, plans=(replace(one, **changes),))


def believed(plan: Plan) -> Plan:
    """The plan if every reading were believed: random sizes may look like mistakes, of which other tests tell."""
    return replace(plan, plans=tuple(replace(one, doubts=()) for one in plan.plans))


def with_found(plan: Plan, **changes: Any) -> Plan:
    """The plan with something else in what was found for each kind."""
    return replace(plan, groups=tuple(g._replace(**changes) for g in plan.groups))


def describe(job: Job) -> str:
    """The job in a few lines, for the message of a failing test."""
    lines = [f"unit {job.unit}  {rules_of(job)}  drawing {job.drawing}"]
    lines += [f"matched {job.matched_columns}  shell columns {job.shell_columns}  fits {dict(job.fits)}"]
    return "\n".join([*lines, *map(str, job.positions), *map(str, job.shells)])


# --- random jobs -----------------------------------------------------------------------------------------------------


def random_job(rng: random.Random, *, both_limits: bool = False) -> Job:
    """A tiny job of one or two kinds in which every rule of the trade turns up now and then.

    `both_limits` gives every position a min and a max, as an even fit needs.
    """
    matched = ("finish",) if rng.random() < 0.3 else ()
    same = tuple(rng.choice([("series",), ("finish",), ("series", "condition")])) if rng.random() < 0.25 else ()
    columns = matched + tuple(c for c in same if c not in matched)
    kinds = ["rod", "main"] if rng.random() < 0.25 else ["rod"]
    positions: list[Position] = []
    shells: list[Shell] = []
    fits: dict[str, Fit] = {}
    drawing: dict[str, dict[str, Band]] = {}
    thick_half: dict[str, str] = {}
    for kind in kinds:
        grid = rng.choice([STEP, STEP, STEP // 2, 1_000, 1])
        count = rng.choice([1, 2, 3, 3, 4, 4, 5] if len(kinds) == 1 else [1, 2, 3])
        some = _positions(rng, kind, count, grid, matched, both_limits)
        stock = _shells(rng, kind, count, grid, columns)
        positions += _locked(rng, some, stock)
        shells += stock
        family = ("narrow-2", "wide-3") if rng.random() < 0.2 else None
        fits[kind] = Fit(kind, TARGET, family=family)
        if rng.random() < 0.15:
            bores = sorted(p.housing_bore.mean_nm for p in some if p.housing_bore is not None) or [JOURNAL]
            drawing[kind] = {"housing_bore": Band(bores[0], max(bores[0], bores[-1] - rng.choice([0, 1])))}
            if rng.random() < 0.5:
                drawing[kind]["wall"] = Band(WALL - 2 * STEP, WALL + STEP)
                drawing[kind]["journal"] = Band(JOURNAL - 1, JOURNAL + 1)
        if rng.random() < 0.35:
            thick_half[kind] = rng.choice(["upper", "lower", "same", "same"])
    rng.shuffle(positions)
    rng.shuffle(shells)
    rules = Rules(
        wall_difference_nm=rng.choice([None, 0, STEP, 2 * STEP, 3 * STEP, 3 * STEP, 6 * STEP, 6 * STEP]),
        thick_half=thick_half,
        thick_half_from_nm=rng.choice([0, STEP, 2 * STEP]),
        same_in_bore=same,
        limits_at=rng.choice(["tightest", "tightest", "mean"]),
        min_wall_nm={kind: WALL - rng.choice([0, STEP, 2 * STEP]) for kind in kinds if rng.random() < 0.15},
    )
    return make_job(
        positions,
        shells,
        fits=fits,
        rules=rules,
        drawing=drawing,
        matched_columns=matched,
        shell_columns=columns,
        unit=rng.choice(["in", "mm"]),
    )


def wishing_job(rng: random.Random, *, both_limits: bool = False) -> Job:
    """A random job that wishes for a narrower band than its limits, at times out of reach or off the target."""
    job = random_job(rng, both_limits=both_limits)
    low = TARGET + _near(rng, 4 * STEP, STEP)
    high = low + rng.choice([0, STEP, 3 * STEP])
    ends = rng.choice([(low, high), (low, high), (low, high), (low, None), (None, high)])

    def wishing(p: Position) -> Position:
        clipped = [end if end is None else max(p.min_nm or 0, end) for end in ends]
        clipped = [end if end is None or p.max_nm is None else min(p.max_nm, end) for end in clipped]
        return replace(p, want_min_nm=clipped[0], want_max_nm=clipped[1])

    return replace(job, positions=tuple(wishing(p) if rng.random() < 0.9 else p for p in job.positions))


def row_job(rng: random.Random, *, both_limits: bool = False) -> Job:
    """A random job, wishing or not, whose bores must not step too far from one another or off their line."""
    job = (wishing_job if rng.random() < 0.3 else random_job)(rng, both_limits=both_limits)
    step: dict[str, int] = {}
    line: dict[str, int] = {}
    for kind in job.kinds:
        which = rng.choice(["step", "step", "line", "line", "both"])
        if which != "line":
            step[kind] = rng.choice([0, STEP // 2, STEP, 2 * STEP])
        if which != "step":
            line[kind] = rng.choice([0, STEP // 2, STEP, 2 * STEP, 3 * STEP])
    offsets = rng.random() < 0.5
    positions = (replace(p, offset_nm=_near(rng, 2 * STEP, STEP // 2) if offsets else None) for p in job.positions)
    return replace(with_rules(job, neighbour_step_nm=step, line_nm=line), positions=tuple(positions))


def moving_job(rng: random.Random, *, both_limits: bool = False) -> Job:
    """A random job whose housings may move, with or without wishes, rules about the row and a guard."""
    make = rng.choice([random_job, random_job, wishing_job, row_job, guarded_job])
    job = make(rng, both_limits=both_limits)
    columns = ("bank", "weight")[: rng.choice([0, 0, 1, 2])]
    positions = (replace(p, within=tuple(rng.choice(["a", "a", "b", ANY]) for _ in columns)) for p in job.positions)
    kinds = job.kinds if rng.random() < 0.8 else job.kinds[:1]
    return replace(with_rules(job, movable=kinds, movable_within=columns), positions=tuple(positions))


def measured_by(gauge: str | None, repeats: int = 1, places: int = 1) -> MeasuredAs:
    """One place, or several, each read so many times with this gauge."""
    tightest = (Series(gauge, repeats, 1.0),) if places > 1 else ()
    return MeasuredAs((Series(gauge, repeats, 1.0 / places, places),), places=places, tightest=tightest)


def guarded_job(rng: random.Random, *, both_limits: bool = False, wishing: bool = False) -> Job:
    """A random job with a guard, whose shells were measured in two or three ways and positions in one or two, so that
    U differs from pair to pair, and at some positions between the tightest clearance and the mean one. A job whose
    guard leaves some position no clearance, which fitmatch refuses, is drawn again."""
    while True:
        job = _guarded(rng, both_limits=both_limits, wishing=wishing)
        if oracle.guard_leaves_clearance(job):
            return job


def _guarded(rng: random.Random, *, both_limits: bool, wishing: bool) -> Job:
    job = (wishing_job if wishing else random_job)(rng, both_limits=both_limits)
    gauges = {
        name: Gauge(
            name,
            resolution_nm=rng.choice([None, 100]),
            limit_nm=rng.choice([None, 50, 200]),
            repeatability_nm=rng.choice([20, 100, 300, 600]),
        )
        for name in ("mic", "bore", "ball-1", "ball-2")
    }
    if rng.random() < 0.5:
        gauges["bore"] = gauges["bore"]._replace(set_with="mic")
    ways = rng.sample([measured_by(g, n) for g in ("ball-1", "ball-2") for n in (1, 2, 4)], rng.choice([2, 2, 3]))
    rounds = rng.choice([[1], [1, 3]])

    def by(gauge: str, size: Size) -> MeasuredAs:
        return measured_by(gauge, rng.choice(rounds), 3 if size.smallest_nm < size.largest_nm else 1)

    def read(position: Position) -> Position:
        journal, bore = position.journal, position.housing_bore
        return replace(
            position,
            journal=journal and replace(journal, measured_as=by("mic", journal)),
            housing_bore=bore and replace(bore, measured_as=by("bore", bore)),
        )

    return replace(
        job,
        positions=tuple(read(p) for p in job.positions),
        shells=tuple(remeasured(s, rng.choice(ways)) for s in job.shells),
        rules=with_rules(job, guard=rng.uniform(0.2, 0.9)).rules,
        measuring=Measuring(gauges=gauges),
    )


def _near(rng: random.Random, reach: int, grid: int) -> int:
    """A whole number of grid steps within `reach`, or any number of nanometres on a grid of 1 nm."""
    return grid * rng.randint(-(reach // grid), reach // grid)


def _positions(
    rng: random.Random, kind: str, count: int, grid: int, matched: tuple[str, ...], both_limits: bool
) -> list[Position]:
    target = rng.choice([TARGET, TARGET, TARGET, STEP])  # with the last, clearances of zero and less are at hand
    width = rng.choice([STEP, 3 * STEP, 6 * STEP])
    sides = "both" if both_limits else rng.choice(["both", "both", "both", "min", "max", "none"])
    spread_readings = rng.random() < 0.3
    made = []
    for number in range(1, count + 1):
        own_target = target + (_near(rng, 2 * STEP, grid) if rng.random() < 0.1 and target > 2 * STEP else 0)
        position = make_position(
            f"{kind}{number}",
            2 * WALL + target + _near(rng, 4 * STEP, grid),
            target=own_target,
            kind=kind,
            low=rng.choice([0, STEP // 2, STEP]) if spread_readings else 0,
            high=rng.choice([0, STEP // 2, STEP]) if spread_readings else 0,
            min_nm=max(0, own_target - width) if sides in ("both", "min") else None,
            max_nm=own_target + width if sides in ("both", "max") else None,
            seating_nm=rng.choice([0, 0, 0, -STEP, STEP // 2]),
            wants_upper=tuple(rng.choice(["", "", "", "", "g", ANY]) for _ in matched),
            wants_lower=tuple(rng.choice(["", "", "", "", "g", ANY]) for _ in matched),
            accept="measured twice" if rng.random() < 0.15 else None,
        )
        if rng.random() < 0.03:
            position = replace(position, **{rng.choice(["journal", "housing_bore"]): None})
        made.append(position)
    return made


def _shells(rng: random.Random, kind: str, count: int, grid: int, columns: tuple[str, ...]) -> list[Shell]:
    spare = rng.choice([-1, 1, 1, 2, 2, 3]) if count < 5 else rng.choice([-1, 0, 0, 1])
    boxes = [f"box-{n}" for n in rng.sample(range(1, 13), rng.choice([1, 2, 3]))]
    offset = {box: _near(rng, STEP, grid) for box in boxes}
    made = []
    halves = ["upper"] * max(1, count + spare) + ["lower"] * max(1, count + rng.choice([spare, spare, 0]))
    if rng.random() < 0.3 and count < 5:
        halves = [half if rng.random() < 0.75 else "either" for half in halves]
    for number, half in enumerate(halves, 1 if kind == "rod" else 21):  # a name is unique in its box
        box = rng.choice(boxes)
        wall = WALL + offset[box] + _near(rng, 2 * STEP, grid)
        coating = rng.choice([0, 0, 0, 0, 5_000])
        shell = make_shell(
            f"{number:02d}",
            half,
            wall,
            box=box,
            kind=kind,
            marks=tuple(rng.choice(["", "", "", "", "g", ANY]) for _ in columns),
            family=rng.choice(["narrow-2", "narrow-2", "narrow-2", "narrow-2", "wide-3", "", "wide-1"]),
            hold="scratched" if rng.random() < 0.04 else None,
            coating_nm=coating,
            wall_to_metal_nm=wall - coating,
        )
        made.append(shell if rng.random() > 0.02 else replace(shell, wall_nm=None, wall_to_metal_nm=None))
    return made


def _locked(rng: random.Random, positions: list[Position], stock: list[Shell]) -> list[Position]:
    """The same positions, some locked in one half, some in both, whatever rules that breaks."""
    if rng.random() < 0.6:
        return positions
    free = [s for s in stock if s.hold is None]
    made = []
    for position in positions:
        chance = rng.random()
        sides = ["upper", "lower"] if chance < 0.3 else [rng.choice(["upper", "lower"])] if chance < 0.55 else []
        for side in sides:
            fitting = [s for s in free if s.half in (side, "either")]
            if fitting:
                shell = rng.choice(fitting)
                free.remove(shell)
                position = replace(position, **{side: shell.key})
        made.append(position)
    return made


# --- larger jobs with something known about them ---------------------------------------------------------------------


def planted_job(rng: random.Random, count: int, spare: int, *, grid: int = 1_000, reach: int = 8) -> Job:
    """A job whose best worst deviation is 0: each room is made of two of its shells and the target."""
    uppers = [WALL + grid * rng.randint(-reach, reach) for _ in range(count + spare)]
    lowers = [WALL + grid * rng.randint(-reach, reach) for _ in range(count + spare)]
    rooms = [upper + lower + TARGET for upper, lower in zip(uppers[:count], lowers[:count], strict=True)]
    positions = [
        make_position(f"R{i}", room, min_nm=TARGET - 30_000, max_nm=TARGET + 30_000) for i, room in enumerate(rooms, 1)
    ]
    shells = [
        make_shell(f"{half[0]}{i}", half, wall, box=f"box-{i % 10}")
        for half, walls in (("upper", uppers), ("lower", lowers))
        for i, wall in enumerate(walls, 1)
    ]
    rng.shuffle(positions)
    rng.shuffle(shells)
    return make_job(positions, shells)


def middle_job(rng: random.Random) -> Job:
    """Six to ten positions and twelve to twenty-four shells of each half on a grid of a micrometre."""
    count = rng.randint(6, 10)
    target = 50_000
    width = rng.choice([2_000, 5_000, 20_000])
    offset = rng.choice([0, 0, 6_000])  # walls that are off as a whole make positions fail their limits
    positions = [
        make_position(
            f"R{i}",
            2 * WALL + target + 1_000 * rng.randint(-8, 8),
            target=target,
            min_nm=target - width,
            max_nm=target + width,
        )
        for i in range(1, count + 1)
    ]
    shells = [
        make_shell(f"{half[0]}{i}", half, WALL + offset + 1_000 * rng.randint(-4, 4), box=f"box-{i % 6}")
        for half in ("upper", "lower")
        for i in range(1, rng.randint(12, 24) + 1)
    ]
    if rng.random() < 0.3:
        shells = [replace(s, half="either") if rng.random() < 0.1 else s for s in shells]
    if rng.random() < 0.3:
        positions = _locked(rng, positions, shells)
    rules = Rules(
        wall_difference_nm=rng.choice([2_000, 4_000, 15_240]),
        thick_half={"rod": rng.choice(["upper", "lower", "same"])} if rng.random() < 0.5 else {},
        thick_half_from_nm=1_000,
    )
    return make_job(positions, shells, rules=rules, unit="mm")
