"""Shells that are not there yet: one more half, both halves, and the chance that a box not opened holds them."""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from math import sqrt
from operator import itemgetter
from random import Random
from statistics import fmean, stdev
from typing import Final, NamedTuple

from fitmatch.names import natural
from fitmatch.records.answers.plans import Cure
from fitmatch.records.job import Job
from fitmatch.records.parts import ANY, SIDES, Position
from fitmatch.rules.positions.drawing import walls_drawn
from fitmatch.study.advice.advised import BOTH_HALVES, BOX, ONE_HALF, Advice, Steps
from fitmatch.study.advice.changes import new_shell, with_shells
from fitmatch.study.advice.solving import Trial

_DRAWS: Final = 2_000
_LEAST_CHANCE: Final = 0.1  # below it a box of the step is no advice
_SURE: Final = 0.99  # nobody knows what a box holds
_THINNEST, _THICKEST = 200_000, 25_000_000  # possible walls
Span = tuple[int, int]


class _Anything(NamedTuple):
    """A half that agrees with every other."""

    marks: tuple[str, ...]
    wall_nm: None = None
    family: str = ""


@dataclass(frozen=True)
class Stock:
    """The walls of one half with one step printed on them, over all boxes, and how many a box of them holds."""

    half: str
    step: str
    walls_nm: tuple[int, ...]
    in_a_box: int

    @property
    def mean_nm(self) -> int:
        return round(fmean(self.walls_nm))


def stocks(jobs: Sequence[Job], kind: str) -> list[Stock]:
    """What the job knows of its steps: both halves of each, as far as there are shells that may fit the kind."""
    families = [job.fits[kind].family for job in jobs]
    fitting = [s for s in jobs[0].shells if s.kind == kind and any(f is None or s.family in f for f in families)]
    found = []
    for side in SIDES:
        mine = [s for s in fitting if s.half in (side, "either")]
        for step in sorted({s.step for s in mine}, key=natural):
            some = [s for s in mine if s.step == step]
            walls = tuple(s.wall_nm for s in some if s.wall_nm is not None)
            boxes = {s.box for s in some}
            if walls:
                found.append(Stock(side, step, walls, max(sum(s.box == box for s in some) for box in boxes)))
    return found


def nearest_steps(known: Iterable[Stock], wall_sum_nm: int, differences: Span) -> Steps | None:
    """Those whose mean walls come nearest to a total, and may share a bore; the same on both sides if that is as
    near."""
    by_side = {side: [one for one in known if one.half == side] for side in SIDES}
    least, most = differences
    pairs = [
        (abs(u.mean_nm + v.mean_nm - wall_sum_nm), u.step != v.step, n, Steps(u.step, v.step, u.mean_nm + v.mean_nm))
        for n, (u, v) in enumerate((u, v) for u in by_side["upper"] for v in by_side["lower"])
        if least <= v.mean_nm - u.mean_nm <= most
    ]
    return min(pairs)[-1] if pairs else None


def one_half(trial: Trial, position: Position, cures: Iterable[Cure]) -> Iterator[tuple[Advice, Span]]:
    """One more half, as the cures of the answer describe it, and the walls that do as well."""
    for cure in cures:
        if cure.change not in SIDES or cure.to_nm is None or cure.low_nm is None or cure.high_nm is None:
            continue
        marks = dict(cure.marks)
        shell = new_shell(trial.jobs[0], trial.kind, cure.change, cure.to_nm, marks)
        reached = trial.reached(with_shells(trial.jobs, [shell]), position.key)
        if reached is not None:
            what = {
                "kind": trial.kind,
                "half": cure.change,
                "wall_nm": cure.to_nm,
                "lowest_nm": cure.low_nm,
                "highest_nm": cure.high_nm,
                "marks": marks,
                "for": cure.name,
                "step": _step_of(trial, cure.change, (cure.low_nm, cure.high_nm)),
            }
            gained = _gained(trial, position, reached.placement.clearance_nm)
            yield Advice(ONE_HALF, what, gained, reached=reached), (cure.low_nm, cure.high_nm)


def both_halves(trial: Trial, position: Position) -> Iterator[Advice]:
    """Two more halves of equal walls that bring it to its target, or as near as its limits and the walls allowed let
    it come; and the walls that do as well."""
    bore = trial.bore_of(position.key)
    if bore is None or position.upper is not None or position.lower is not None:
        return
    low, high = bore.inside_low, bore.inside_high
    total = min(max(bore.ideal, bore.wanted_low, low), min(bore.wanted_high, high))
    thinnest, thickest = _allowed(trial, position)
    lowest, highest = max(-(-low // 2), thinnest), min(high // 2, thickest)
    if lowest > highest:
        return
    wall = min(max(total // 2, lowest), highest)
    plain = _Anything((ANY,) * len(trial.jobs[0].shell_columns))
    marks = {side: bore.terms.reads(position, side, plain) for side in SIDES}
    shells = [
        new_shell(trial.jobs[0], trial.kind, side, wall, some) for side, some in marks.items() if some is not None
    ]
    reached = trial.reached(with_shells(trial.jobs, shells), position.key) if len(shells) == len(SIDES) else None
    if reached is not None:
        what = {
            "kind": trial.kind,
            "half": "both",
            "wall_nm": wall,
            "lowest_nm": lowest,
            "highest_nm": highest,
            "marks": {side: _spelled(trial.jobs[0], some or {}) for side, some in marks.items()},
            "step": None,
        }
        steps = {_step_of(trial, side, (lowest, highest)) for side in SIDES}
        what["step"] = steps.pop() if len(steps) == 1 else None
        yield Advice(BOTH_HALVES, what, _gained(trial, position, reached.placement.clearance_nm), reached=reached)


def from_a_box(trial: Trial, halves: Sequence[tuple[Advice, Span]], both: Sequence[Advice]) -> Iterator[Advice]:
    """The half that a box not opened is likeliest to hold: what its wall should be, of which step, and the chance;
    never what would be reached, as nobody knows what it holds."""
    known = stocks(trial.jobs, trial.kind)
    found = [
        (_chance(stock, span), advice.what, stock.step)
        for advice, span in halves
        for stock in known
        if stock.half == advice.what["half"]
    ]
    for advice in both if not halves else ():
        span = 2 * _whole(advice.what["lowest_nm"]), 2 * _whole(advice.what["highest_nm"])
        for step in dict.fromkeys(one.step for one in known):
            sides = [one for one in known if one.step == step]
            if len(sides) == len(SIDES):
                found.append((_chance_of_both(sides, span, trial.sorted.terms[0].differences), advice.what, step))
    likely = [one for one in found if one[0] >= _LEAST_CHANCE]
    if likely:
        chance, what, step = max(likely, key=itemgetter(0))
        yield Advice(BOX, {**what, "step": step}, chance=min(_SURE, round(chance, 2)))
    elif halves or both:
        first = halves[0][0] if halves else both[0]
        yield Advice(BOX, {**first.what, "step": None})


def _chance(stock: Stock, span: Span) -> float:
    """That a box holds at least one half with such a wall: walls are normal about a mean that the walls known so far
    leave uncertain."""
    return _share(lambda box: any(span[0] <= wall <= span[1] for wall in box[0]), [stock])


def _chance_of_both(sides: Sequence[Stock], span: Span, differences: Span) -> float:
    def holds(box: Sequence[Sequence[float]]) -> bool:
        return any(
            span[0] <= u + v <= span[1] and differences[0] <= v - u <= differences[1] for u in box[0] for v in box[1]
        )

    return _share(holds, sides)


def _share(holds: Callable[[Sequence[Sequence[float]]], bool], sides: Sequence[Stock]) -> float:
    """The share of boxes, drawn with a fixed seed, of which this is true; 0 where too few walls are known."""
    if any(len(one.walls_nm) < 2 for one in sides):
        return 0.0
    rng = Random(1)  # noqa: S311 (draws, not secrets)
    hits = 0
    for _ in range(_DRAWS):
        box = []
        for one in sides:
            spread = stdev(one.walls_nm)
            mean = rng.gauss(fmean(one.walls_nm), spread / sqrt(len(one.walls_nm)))
            box.append([rng.gauss(mean, spread) for _ in range(one.in_a_box)])
        hits += holds(box)
    return hits / _DRAWS


def _step_of(trial: Trial, half: str, span: Span) -> str | None:
    """The step whose mean wall does, if there is one with a name; the nearest to the middle of them."""
    fitting = [
        s for s in stocks(trial.jobs, trial.kind) if s.half == half and s.step and span[0] <= s.mean_nm <= span[1]
    ]
    return min(fitting, key=lambda s: abs(2 * s.mean_nm - sum(span))).step if fitting else None


def _allowed(trial: Trial, position: Position) -> Span:
    """The thinnest and the thickest wall that a half of the position may have."""
    terms = trial.sorted.terms_of(position)
    thinnest, thickest = zip((_THINNEST, _THICKEST), terms.walls, walls_drawn(terms.job, position.kind), strict=True)
    return max(thinnest), min(thickest)


def _gained(trial: Trial, position: Position, clearance_nm: int) -> int | None:
    """By how much the clearance grows; None where there was none."""
    before = trial.placed.get(position.key)
    return None if before is None else clearance_nm - before.clearance_nm


def _spelled(job: Job, marks: Mapping[str, Sequence[str]]) -> dict[str, tuple[str, ...]]:
    return {column: tuple(job.spelled.get(mark, mark) for mark in some) for column, some in marks.items()}


def _whole(value: object) -> int:
    assert isinstance(value, int)
    return value
