"""One draw: true sizes, what would be read of them, the best plan by the readings for every mix, scored on the truth.

Draw i has random numbers of its own, and so has each box of it: a mix holds the boxes of every smaller one, with the
same shells, whatever else is opened and however large the budget is.
"""

from collections.abc import Iterator, Sequence, Set
from dataclasses import dataclass, replace
from fractions import Fraction
from functools import partial
from random import Random
from statistics import fmean
from typing import Final, NamedTuple, TypeAlias

from fitmatch.fit.answer.kernel import Kernel
from fitmatch.intake.job_toml.fits import from_ratio
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.parts import Band, Position, Shell, Size
from fitmatch.rules.positions.drawing import bore_refused
from fitmatch.rules.positions.movable import is_movable
from fitmatch.study.boxes.mixes import Mix
from fitmatch.study.boxes.noise import Errors, Noise, measured_as
from fitmatch.study.boxes.scatter import LIMITS_AT
from fitmatch.study.boxes.steps import Step

ENDLESS: Final = 1 << 62  # the worst deviation where a position stays empty
# Of a mix in an outcome; then the shells left of each step. `worst_free`: of the positions that boxes can change.
# Which positions are empty, and which are not filled inside their limits, are binary digits of a number, the first
# position the lowest; and so, once before the mixes of a kind, of which a drawn bore is refused by its reading.
FIGURES: Final = ("worst", "spread", "inside", "close", "empty", "outside", "worst_free")
Outcome: TypeAlias = tuple[int, ...]  # of all mixes of all kinds


class Drawn(NamedTuple):
    """A position of which a size is drawn between its drawing limits, as it is not measured."""

    position: Position
    limits: tuple[Band | None, Band | None]  # of journal and housing bore; None: that is measured


@dataclass(frozen=True)
class KindTask:
    """All that a draw needs of one kind: `job` has its positions and shells alone, `drawn` those of its positions that
    are not measured. Readings of what is drawn are on a grid of `grid_nm`."""

    job: Job
    kind: str
    drawn: tuple[Drawn, ...]
    steps: tuple[Step, ...]
    mixes: tuple[Mix, ...]
    noise: Noise | None
    grid_nm: int
    tolerance_nm: int | None  # the tolerance of one's own

    @property
    def locked(self) -> frozenset[str]:
        """The positions that no box changes, as both of their halves are locked and their housings stay where they
        are."""
        if is_movable(self.job, self.kind):
            return frozenset()
        return frozenset(p.name for p in self.job.positions if p.upper is not None and p.lower is not None)


@dataclass(frozen=True)
class Task:
    """The whole study, the same for every draw."""

    seed: int
    kinds: tuple[KindTask, ...]

    @property
    def unpriced(self) -> "Task":
        """The same without prices, on which no draw depends."""
        return replace(
            self,
            kinds=tuple(
                replace(one, steps=tuple(s._replace(prices_thousandths=(None,) * s.stock) for s in one.steps))
                for one in self.kinds
            ),
        )


def draw(task: Task, number: int) -> Outcome:
    """What draw `number` gives: by kind the bores misread, then of each mix `FIGURES` and the shells left of each step.
    Lengths are in nm; whether all positions are inside, and close, is 1 or 0."""
    found: list[int] = []
    for one in task.kinds:
        found += _of_kind(one, task.seed, number)
    return tuple(found)


class Scene(NamedTuple):
    """What was drawn of one kind: a job with the shells of all boxes, step by step, and the truth behind it."""

    job: Job
    boxes: list[list[list[Shell]]]
    truth: "_Truth"


def scene(task: KindTask, seed: int, number: int) -> Scene:
    """What draw `number` gives of a kind."""
    key = f"{seed} {number} {task.kind}"
    rng = Random(key)  # noqa: S311 - a simulation, no secret
    errors = None if task.noise is None else Errors(task.noise, rng)
    truth = _Truth(task, errors, rng)
    boxes = [_boxes(task, at, key, errors, truth) for at in range(len(task.steps))]
    shells = [shell for some in boxes for box in some for shell in box]
    return Scene(replace(task.job, positions=truth.positions, shells=(*task.job.shells, *shells)), boxes, truth)


def _of_kind(task: KindTask, seed: int, number: int) -> Iterator[int]:
    job, boxes, truth = scene(task, seed, number)
    yield truth.misread
    kernel = Kernel(job, task.kind)
    opened, everything = ({shell.box for shell in some} for some in (task.job.shells, job.shells))
    plans: dict[Mix, tuple[tuple[int, ...], Sequence[Placement]]] = {}
    for mix in task.mixes:
        chosen = opened | {box[0].box for some, count in zip(boxes, mix.counts, strict=True) for box in some[:count]}
        solved = kernel.solve(boxes=None if chosen == everything else chosen)  # as sorted already
        figures = tuple(solved.figures.values())
        # Where a box brings nothing it stays shut: the plan that does without it is as good.
        as_good = [plan for fewer in mix.fewer() if fewer in plans for same, plan in [plans[fewer]] if same == figures]
        placements = min(as_good, key=partial(_taken, opened)) if as_good else solved.placements
        plans[mix] = figures, placements
        yield from truth.score(placements)
        yield from _left(mix, boxes, placements)


def _taken(opened: Set[str], placements: Sequence[Placement]) -> int:
    """How many shells of new boxes a plan takes."""
    return sum(shell.box not in opened for placement in placements for shell in (placement.upper, placement.lower))


def _left(mix: Mix, boxes: Sequence[Sequence[Sequence[Shell]]], placements: Sequence[Placement]) -> Iterator[int]:
    """How many shells of its new boxes a plan leaves, step by step."""
    used = [shell.box for placement in placements for shell in (placement.upper, placement.lower)]
    for some, count in zip(boxes, mix.counts, strict=True):
        mine = some[:count]
        yield sum(map(len, mine)) - sum(used.count(box[0].box) for box in mine)


class _Truth:
    """The positions of a draw as they are read, and by how much each true size differs from what is read."""

    def __init__(self, task: KindTask, errors: Errors | None, rng: Random) -> None:
        self._task = task
        self._locked = task.locked
        self.off_room: dict[str, float] = {}
        self.off_wall: dict[ShellKey, float] = {}
        drawn = {one.position.name: one for one in task.drawn}
        self.positions = tuple(
            self._drawn(drawn[p.name], errors, rng) if p.name in drawn else p for p in task.job.positions
        )
        self.misread = sum(
            1 << at
            for at, p in enumerate(self.positions)
            if p.name in drawn and drawn[p.name].limits[1] is not None and bore_refused(task.job, p)
        )
        if errors is None or task.noise is None:
            return
        for position in self.positions:
            if position.name not in drawn:
                self.off_room[position.name] = -errors.of(task.noise.of_positions[position.name], rng)
        for shell in task.job.shells:
            if (part := task.noise.of_shells.get(shell.key)) is not None:
                self.off_wall[shell.key] = errors.of(part, rng)

    def _drawn(self, one: Drawn, errors: Errors | None, rng: Random) -> Position:
        """Parts that pass inspection: each drawn size within its limits, read with the error of its own gauge."""
        task, position = self._task, one.position
        noise = task.noise
        off = 0.0 if errors is None or noise is None else -errors.shared(noise.of_seating)
        sizes = []
        for size, limits, sign, feature in (
            (position.journal, one.limits[0], -1.0, "journal"),
            (position.housing_bore, one.limits[1], 1.0, "housing_bore"),
        ):
            error = 0.0
            if errors is not None and noise is not None:
                part = noise.of_drawn[position.name][feature]
                error = errors.of(part, rng, 0 if limits is None else task.grid_nm)
            if limits is None:
                off -= error
                sizes.append(size)
                continue
            true = _between(limits, rng)
            read = _rounded_within(limits, true + sign * error, task.grid_nm)
            off += sign * (true - read) if errors is not None else 0.0
            sizes.append(Size(read, read, read, measured_as=measured_as(task.job, task.kind, feature)))
        self.off_room[position.name] = off
        journal, bore = sizes
        target = position.target_nm
        if target is None:
            ratio = task.job.fits[task.kind].target_ratio
            assert ratio is not None and journal is not None
            target = from_ratio(ratio, Fraction(journal.mean_nm), task.job.unit)
        return replace(position, journal=journal, housing_bore=bore, target_nm=target)

    def score(self, placements: Sequence[Placement]) -> tuple[int, ...]:
        """The true figures of a plan, as in FIGURES."""
        tolerance_nm = self._task.tolerance_nm
        whole = len(placements) == len(self.positions)
        offs, filled, good = [], set[str](), set[str]()
        for p in placements:
            off = self.off_room.get(p.position.name, 0.0)
            off -= self.off_wall.get(p.upper.key, 0.0) + self.off_wall.get(p.lower.key, 0.0)
            offs.append(round(p.deviation_nm + off))
            low, high = p.position.min_nm, p.position.max_nm
            tightest = p.clearance_tightest_nm + off
            filled.add(p.position.name)
            if tightest > 0 and (low is None or tightest >= low) and (high is None or p.clearance_nm + off <= high):
                good.add(p.position.name)
        worst = max(map(abs, offs), default=0) if whole else ENDLESS
        free = [abs(off) for p, off in zip(placements, offs, strict=True) if p.position.name not in self._locked]
        all_free = len(free) == len(self.positions) - len(self._locked)
        worst_free = max(free, default=0) if all_free else ENDLESS
        spread = max(offs) - min(offs) if offs else ENDLESS
        empty, outside = (
            sum(1 << at for at, p in enumerate(self.positions) if p.name not in some) for some in (filled, good)
        )
        close = tolerance_nm is not None and worst <= tolerance_nm
        return worst, spread, int(not outside), int(close), empty, outside, worst_free


def _boxes(task: KindTask, at: int, seed: str, errors: Errors | None, truth: _Truth) -> list[list[Shell]]:
    """As many boxes of a step as any mix opens; what is read of their walls."""
    step = task.steps[at]
    walls = step.walls
    rng = Random(f"{seed} {step.name}")  # noqa: S311
    within, between = walls.drawn(rng)
    shift = rng.gauss(0.0, walls.mean_off_nm(within, between))
    noise = task.noise
    if errors is not None and noise is not None and walls.mean_from == "measured":
        shift += errors.shared(noise.of_new)  # the mean is one of readings
    middle = fmean(walls.means_nm.values())
    means = [walls.means_nm.get(half.half, middle) + shift for half in step.halves]
    how = None if noise is None else noise.new_as
    sizes: dict[int, Size] = {}
    found = []
    for number in range(1, max(mix.counts[at] for mix in task.mixes) + 1):
        own = Random(f"{seed} {step.name} {number}")  # noqa: S311
        gauss = own.gauss
        box, off = f"new/{at}/{number}", gauss(0.0, between)
        shells = []
        for index, (half, mean) in enumerate(zip(step.halves, means, strict=True)):
            true = gauss(mean + off, within)
            if errors is None or noise is None:
                read = _rounded(true, task.grid_nm)
            else:
                read = _rounded(true - errors.of(noise.of_new, own, task.grid_nm), task.grid_nm)
                truth.off_wall[box, str(index)] = true - read
            if read not in sizes:
                sizes[read] = Size(read, read, read, measured_as=how)
            shells.append(
                Shell(str(index), box, task.kind, half.half, read, half.marks, half.family, measured=sizes[read])
            )
        found.append(shells)
    return found


def _between(limits: Band, rng: Random) -> float:
    """A size that lies normally between its limits, three standard deviations from the middle; none is outside."""
    middle, standard = (limits.low_nm + limits.high_nm) / 2, (limits.high_nm - limits.low_nm) / 2 / LIMITS_AT
    while True:
        size = rng.gauss(middle, standard)
        if limits.low_nm <= size <= limits.high_nm:
            return size


def _rounded(nm: float, grid_nm: int) -> int:
    return round(nm / grid_nm) * grid_nm


def _rounded_within(limits: Band, nm: float, grid_nm: int) -> int:
    """Rounding alone brings nothing out of its limits; an error does."""
    read = _rounded(nm, grid_nm)
    if read in limits or not limits.low_nm <= nm <= limits.high_nm:
        return read
    inwards = read + grid_nm if read < limits.low_nm else read - grid_nm
    return inwards if inwards in limits else round(nm)  # no step of the grid is within them
