"""`boxes`: what more boxes would do, under a budget, before any of them is opened."""

from collections.abc import Callable, Sequence
from contextlib import closing
from dataclasses import replace
from functools import partial
from itertools import islice
from pathlib import Path
from typing import Final, TypeAlias

from fitmatch.facts import Fact
from fitmatch.problems import NotPossible
from fitmatch.records.job import Job
from fitmatch.records.measuring import DIAMETERS
from fitmatch.records.parts import Position, Size
from fitmatch.records.study.unopened import BoxesTold
from fitmatch.study.boxes.draws import Drawn, KindTask, Outcome, Task, draw
from fitmatch.study.boxes.mixes import mixes_of
from fitmatch.study.boxes.noise import measured_as, noise_of, read_with_nm
from fitmatch.study.boxes.steps import Sealed, steps_of
from fitmatch.study.boxes.studied import LeftOut, Studied
from fitmatch.study.boxes.summing_up import Tables, studied
from fitmatch.study.workers.crews import in_this_process
from fitmatch.study.workers.working import Outcomes, work_through

DRAWS: Final = 1_000
MOST_DRAWS: Final = 1_000_000
SEED: Final = 1
BATCH: Final = 100  # draws after which it is looked whether they are enough
_LEAST_GRID_NM: Final = {"mm": 1_000, "in": 1_270}  # a um, half a tenth
_TELLING: Final = 5  # readings that differ; fewer are on some grid by chance
_GRIDS_NM: Final = {"mm": (10_000, 5_000, 2_000), "in": (25_400, 12_700, 2_540, 1_270)}  # that readings are often on

Work: TypeAlias = Callable[[Callable[[Task, int], Outcome], Task, range], Outcomes]
HERE: Final[Work] = partial(work_through, in_this_process)


def boxes(
    job: Job,
    *,
    kind: str | None = None,
    draws: int = DRAWS,
    seed: int = SEED,
    budget: int | None = None,
    tolerance_nm: int | None = None,
    precision_nm: int | None = None,
    sealed: Sequence[Sealed] | None = None,
    work: Work = HERE,
) -> Studied:
    """What opening so many boxes of each step gives, kind by kind, over many draws of what may be in them.

    `kind`: this one alone. `budget`: the most boxes of one kind, else that of `[boxes]`. `tolerance_nm`: also the
    chance that all positions are so near to their targets. `precision_nm`: fewer draws are enough once every mean is
    known to within it. `sealed`: only these boxes can be opened. `work` does the draws, and gives their outcomes in
    order. Raises NotPossible where nothing says how many boxes may be opened, or what is in any of them.
    """
    if not 1 <= draws <= MOST_DRAWS:
        raise ValueError(f"draws is 1 to {MOST_DRAWS:,}, not {draws}")
    task, left_out = task_of(job, kind=kind, seed=seed, budget=budget, tolerance_nm=tolerance_nm, sealed=sealed)
    tables = Tables(task)
    with closing(work(draw, task.unpriced, range(draws))) as outcomes:
        while batch := list(islice(outcomes, BATCH)):
            tables.add([outcome for _, outcome in batch])
            if precision_nm is not None and tables.known_to_within(precision_nm):
                break
    return studied(job, task, tables, left_out, draws, precision_nm)


def task_of(
    job: Job,
    *,
    kind: str | None = None,
    seed: int,
    budget: int | None,
    tolerance_nm: int | None,
    sealed: Sequence[Sealed] | None,
) -> tuple[Task, LeftOut]:
    """All that the draws need, and what they leave out."""
    if kind is not None and kind not in job.kinds:
        raise NotPossible(Fact("no-kind", {"name": kind, "kinds": tuple(job.kinds)}))
    told = job.boxes or BoxesTold()
    budget = told.budget if budget is None else budget
    if budget is None and sealed is not None:
        budget = len(sealed)
    if not budget:
        raise NotPossible(Fact("no-sealed-boxes" if sealed is not None else "no-budget"))
    kinds, lacking, why = [], {}, list[Fact]()
    for name in job.kinds if kind is None else (kind,):
        task, lacking[name], missing = _kind(job, name, budget, tolerance_nm, sealed)
        why += missing
        if task is not None:
            kinds.append(task)
    if not kinds:
        raise NotPossible(next((fact for fact in why if "step" in fact.slots), why[0]))
    return Task(seed, tuple(kinds)), LeftOut(lacking, tuple(why))


def _kind(
    job: Job, kind: str, budget: int, tolerance_nm: int | None, sealed: Sequence[Sealed] | None
) -> tuple[KindTask | None, tuple[str, ...], tuple[Fact, ...]]:
    """With the positions that have no sizes, and why steps or (None) the whole kind are left out."""
    mine = [p for p in job.positions if p.kind == kind]
    drawn = [one for p in mine if p.missing and (one := _drawn(job, p)) is not None]
    lacking = {p.name for p in mine if p.missing} - {one.position.name for one in drawn}
    positions = tuple(p for p in mine if p.name not in lacking)
    if not positions:
        return None, (), (Fact("nothing-measured", {"kind": kind}),)
    shells = tuple(s for s in job.shells if s.kind == kind)
    alone = Job(  # what a draw goes by, and nothing else: a study that is resumed is told by it
        Path(),
        "",
        job.unit,
        {kind: job.fits[kind]},
        positions,
        shells,
        rules=job.rules,
        drawing=job.drawing,
        matched_columns=job.matched_columns,
        shell_columns=job.shell_columns,
        coating_counts=job.coating_counts,
        measuring=replace(job.measuring, bench={}, form_limits={}, form_told=frozenset(), log=(), assembled=()),
    )
    grid_nm = _grid(alone, kind)
    steps, why = steps_of(job, kind, budget, sealed, read_with_nm(job, kind), grid_nm)
    if not steps:
        return None, (), why or (Fact("no-sealed-boxes", {"kind": kind}),)
    middles = {one.position.name: _middle(job, one) for one in drawn}
    some_open = any(s.wall_nm is not None and s.hold is None for s in shells)
    task = KindTask(
        job=alone,
        kind=kind,
        drawn=tuple(drawn),
        steps=steps,
        mixes=mixes_of(kind, steps, budget, some_open=some_open),
        noise=noise_of(job, kind, tuple(middles.get(p.name, p) for p in positions), set(middles)),
        grid_nm=grid_nm,
        tolerance_nm=tolerance_nm,
    )
    return task, tuple(sorted(lacking)), why


def _drawn(job: Job, position: Position) -> Drawn | None:
    """None: a size is missing for which there are no drawing limits."""
    bands = job.drawing.get(position.kind, {})
    limits = [bands.get(feature) for feature in DIAMETERS]
    if any(feature not in bands for feature in position.missing):
        return None
    journal, bore = (
        None if feature not in position.missing else band for feature, band in zip(DIAMETERS, limits, strict=True)
    )
    return Drawn(position, (journal, bore))


def _middle(job: Job, one: Drawn) -> Position:
    """The position with what is drawn in the middle of its limits: what is known of its errors is that of any draw."""
    sizes = {}
    for feature, band in zip(DIAMETERS, one.limits, strict=True):
        if band is not None:
            nm = (band.low_nm + band.high_nm) // 2
            sizes[feature] = Size(nm, nm, nm, measured_as=measured_as(job, one.position.kind, feature))
    return replace(
        one.position,
        journal=sizes.get("journal", one.position.journal),
        housing_bore=sizes.get("housing_bore", one.position.housing_bore),
    )


def _grid(job: Job, kind: str) -> int:
    """What readings of walls are rounded to: the step of their gauge, else the widest usual one that all readings are
    on; at least 1 um, or half a tenth."""
    least = _LEAST_GRID_NM[job.unit]
    gauge = job.measuring.measured.get(kind, {}).get("wall")
    how = next((s.measured_as for s in job.shells if s.measured_as is not None and s.measured_as.gauges), None)
    gauge = how.gauges[0] if how is not None else gauge
    if gauge is not None and (resolution := job.measuring.gauges[gauge].resolution_nm):
        return max(least, resolution)
    sizes = [size for p in job.positions for size in (p.journal, p.housing_bore) if size is not None]
    read = [nm for size in sizes for nm in ([reading.nm for reading in size.readings] or [size.mean_nm])]
    read += [s.wall_nm for s in job.shells if s.wall_nm is not None]
    some = set(read)
    usual = (grid for grid in _GRIDS_NM[job.unit] if len(some) >= _TELLING and not any(nm % grid for nm in some))
    return next(usual, least)
