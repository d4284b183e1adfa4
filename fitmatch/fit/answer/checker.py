"""An independent check of every answer: from the job and the plan alone, without solver and without its figures.

In: a finished `Plan`. Out: nothing, or `FaultInFitmatch` with every fault found. It runs
after each solve, in production.
"""

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence, Set
from dataclasses import replace
from itertools import combinations
from math import ceil
from typing import TypeVar

from fitmatch.problems import FaultInFitmatch
from fitmatch.records.answers.placements import KindFigures, Placement
from fitmatch.records.answers.plans import JobPlan, Plan
from fitmatch.records.job import Job, Rule
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.parts import HALVES, SIDES, Position, Shell, marks_agree
from fitmatch.rules.one_half.min_wall import MinWall
from fitmatch.rules.positions.guard import Guard
from fitmatch.rules.positions.in_rows import Line, NeighbourStep
from fitmatch.rules.positions.limits_at import LimitsAt
from fitmatch.rules.positions.movable import Movable
from fitmatch.rules.two_halves.same_in_bore import SameInBore
from fitmatch.rules.two_halves.thick_half import ThickHalf
from fitmatch.rules.two_halves.wall_difference import WallDifference

R = TypeVar("R", bound=Rule)


def check(plan: Plan) -> None:
    """Raise FaultInFitmatch unless the plan obeys every hard rule and all its figures follow from the readings."""
    known = _known(plan.job)
    faults = [
        *_stock([(one.job, one.placements) for one in plan.plans], known),
        *_leftovers(plan, known),
        *_groups(plan),
    ]
    for one in plan.plans:
        faults += [f"{one.job.name}: {fault}" if one.job.name else fault for fault in _of_job(one, known)]
    _refuse("the answer", faults)


def faults_of(one: JobPlan) -> list[str]:
    """Every fault in the plan of one job, taken by itself."""
    known = _known(one.job)
    return [*_stock([(one.job, one.placements)], known), *_of_job(one, known)]


def _of_job(one: JobPlan, known: Mapping[ShellKey, Shell]) -> Iterator[str]:
    yield from (*_books(one, known), *_figures(one), *_bores(one.job, one.placements))
    yield from _housings(one.job, one.read, known)


def check_bores(jobs: Sequence[Job], read: Sequence[Job], placements: Sequence[Sequence[Placement]]) -> None:
    """The same for placements shown beside the answer, such as an alternative: rules, arithmetic, housings, and every
    shell used once. `jobs` have their housings where they are put, `read` where they were."""
    known = _known(jobs[0])
    faults = list(_stock(list(zip(jobs, placements, strict=True)), known))
    for job, before, mine in zip(jobs, read, placements, strict=True):
        faults += [*_bores(job, mine), *_housings(job, before, known)]
    _refuse("a plan beside the answer", faults)


def _known(job: Job) -> dict[ShellKey, Shell]:
    """Its shells by their keys; made once, as there may be a million."""
    return {s.key: s for s in job.shells}


def _refuse(what: str, faults: list[str]) -> None:
    if faults:
        raise FaultInFitmatch(f"{what} fails its own check: " + "; ".join(faults))


def _bores(job: Job, placements: Sequence[Placement]) -> Iterator[str]:
    for placement in placements:
        faults = [*_rules_broken(job, placement), *_never(job, placement)]
        yield from (f"{placement.position.name}: {fault}" for fault in faults)
    for kind in job.kinds:
        mine = [p for p in placements if p.position.kind == kind]
        yield from (f"{kind}: {fault}" for fault in (*_sides(job, kind, mine), *_row(job, kind, mine)))


def _rules_broken(job: Job, placement: Placement) -> Iterator[str]:
    """Rules that this bore breaks without being excused by its locks."""
    position = placement.position
    for side in SIDES:
        if getattr(position, side) is None:
            yield from _of_one_shell(job, position, side, getattr(placement, side))
    if not _fixed(placement):
        yield from _of_two_walls(job, position.kind, placement.upper, placement.lower)


def _of_one_shell(job: Job, position: Position, side: str, shell: Shell) -> Iterator[str]:
    wants: tuple[str, ...] = getattr(position, f"wants_{side}")
    for column, want, mark in zip(job.matched_columns, wants, shell.marks, strict=False):
        if not marks_agree(want, mark):
            yield f"the {column} of its {side} half is not what it wants"
    family = job.fits[position.kind].family
    if family is not None and shell.family not in family:
        yield f"its {side} half is of no family that fits"
    if any(_wall(shell) < r.least_nm for r in _rules(job, MinWall, position.kind)):
        yield f"its {side} half is too thin"


def _of_two_walls(job: Job, kind: str, upper: Shell, lower: Shell) -> Iterator[str]:
    difference = abs(_wall(upper) - _wall(lower))
    if any(difference > r.most_nm for r in _rules(job, WallDifference)):
        yield "its two walls differ by too much"
    for rule in _rules(job, SameInBore):
        at = job.shell_columns.index(rule.column)
        if not marks_agree(upper.marks[at], lower.marks[at]):
            yield f"its two halves differ in {rule.column}"
    thinner = "lower" if _wall(upper) > _wall(lower) else "upper"
    if any(difference > r.from_nm and r.side == thinner for r in _rules(job, ThickHalf, kind)):
        yield "its thicker half is the wrong one"


def _sides(job: Job, kind: str, placements: Sequence[Placement]) -> Iterator[str]:
    """The thicker halves of a kind all on one side, if they must be."""
    for rule in _rules(job, ThickHalf, kind):
        walls = [(_wall(p.upper), _wall(p.lower)) for p in placements if not _fixed(p)]
        if rule.side == "same" and len({u > v for u, v in walls if abs(u - v) > rule.from_nm}) > 1:
            yield "the thicker halves are on both sides"


def _row(job: Job, kind: str, placements: Sequence[Placement]) -> Iterator[str]:
    """Bores of a row that are too far out of line with one another; two that are locked in both halves are excused."""
    if not _rules(job, NeighbourStep, kind) and not _rules(job, Line, kind):
        return  # of very many bores it would take long to look at every two
    row = {p.name: i for i, p in enumerate(p for p in job.positions if p.kind == kind)}
    for one, other in combinations(placements, 2):
        if _fixed(one) and _fixed(other):
            continue
        shifts = [_wall(p.lower) - _wall(p.upper) for p in (one, other)]
        names = f"{one.position.name} and {other.position.name}"
        beside = abs(row[one.position.name] - row[other.position.name]) == 1
        if beside and any(abs(shifts[0] - shifts[1]) > 2 * r.most_nm for r in _rules(job, NeighbourStep, kind)):
            yield f"the axis shift changes by too much between {names}"
        lies = [shift + 2 * (p.position.offset_nm or 0) for shift, p in zip(shifts, (one, other), strict=True)]
        if any(abs(lies[0] - lies[1]) > 2 * r.most_nm for r in _rules(job, Line, kind)):
            yield f"{names} are not in line"


def _never(job: Job, placement: Placement) -> Iterator[str]:
    """What not even a lock allows, and the arithmetic from the readings."""
    position = placement.position
    for half in SIDES:
        shell: Shell = getattr(placement, half)
        if shell.kind != position.kind:
            yield f"{shell.name} is of another kind"
        if shell.half not in HALVES or shell.half not in (half, "either"):
            yield f"{shell.name} is not for the {half} half"
        if shell.hold is not None:
            yield f"{shell.name} is held"
        if getattr(position, half) not in (None, shell.key):
            yield f"the lock on the {half} half is not obeyed"
    assert position.housing_bore is not None and position.journal is not None
    band = job.drawing.get(position.kind, {}).get("housing_bore")
    bore = position.housing_bore.mean_nm
    if band is not None and position.accept is None and not band.low_nm <= bore <= band.high_nm:
        yield "the housing bore is outside its drawing limits"
    walls = _wall(placement.upper) + _wall(placement.lower)
    clearance = position.housing_bore.mean_nm - position.journal.mean_nm - walls + position.seating_nm
    tightest = clearance
    if not any(r.at == "mean" for r in _rules(job, LimitsAt)):
        tightest = position.housing_bore.smallest_nm - position.journal.largest_nm - walls + position.seating_nm
    if tightest <= 0:
        yield "there is no clearance"
    margin = _margin(job, placement)
    if placement.margin != margin:
        yield "its guard does not follow from the readings"
    low, high = margin
    within = not _below(position.min_nm, tightest - low) and not _above(position.max_nm, clearance + high)
    if (placement.clearance_nm, placement.clearance_tightest_nm) != (clearance, tightest):
        yield "the clearance does not follow from the readings"
    if placement.within_limits != within:
        yield "the verdict on its limits does not follow from the readings"


def _stock(plans: Sequence[tuple[Job, Sequence[Placement]]], known: Mapping[ShellKey, Shell]) -> Iterator[str]:
    """Every shell is in one place, whichever job it went to."""
    placed = [(i, p, s) for i, (_, placements) in enumerate(plans) for p in placements for s in (p.upper, p.lower)]
    used = Counter(s.key for _, _, s in placed)
    yield from (f"shell {box}/{name} is used {n} times" for (box, name), n in used.items() if n > 1)
    locks = {lock: (i, p.name) for i, (job, _) in enumerate(plans) for p, lock in _locks(job)}
    for i, p, s in placed:
        if known.get(s.key) != s:
            yield f"shell {full_name(s.key)} is not of this job"
        if locks.get(s.key, (i, p.position.name)) != (i, p.position.name) or s.key in plans[i][0].reserved:
            yield f"shell {full_name(s.key)} is locked elsewhere"
        one = (plans[i][0].shelved or {}).get(s.key)
        if one is not None and one.barred is not None and s.key not in locks:
            yield f"shell {full_name(s.key)} is not for this job to have"


def _locks(job: Job) -> Iterator[tuple[Position, ShellKey]]:
    yield from ((p, lock) for p in job.positions for lock in (p.upper, p.lower) if lock is not None)


def _leftovers(plan: Plan, known: Mapping[ShellKey, Shell]) -> Iterator[str]:
    """All jobs have the same shells, and the leftover and held shells are the right ones."""
    away = {s.key for one in plan.plans for p in one.placements for s in (p.upper, p.lower)}
    away |= {lock for one in plan.plans for _, lock in _locks(one.job)}
    free = {key for key, s in known.items() if s.wall_nm is not None and s.hold is None}
    if not all(_each_once(one.job.shells, known.keys()) for one in plan.plans):
        yield "the jobs do not hold the same shells"
    if not _each_once(plan.leftover, free - away):
        yield "the leftovers are not what was left over"
    if not _each_once(plan.held, {key for key, s in known.items() if s.hold is not None}):
        yield "the held shells are not those on hold"


def _each_once(shells: Sequence[Shell], wanted: Set[ShellKey]) -> bool:
    return len(shells) == len(wanted) and {s.key for s in shells} == wanted


def _housings(job: Job, before: Job, known: Mapping[ShellKey, Shell]) -> Iterator[str]:
    """Each position has one housing, and what belongs to a housing came with it, and nothing else."""
    read = {p.name: p for p in before.positions}
    if [p.name for p in job.positions] != list(read):
        yield "the positions are not those that were read"
        return
    used = Counter(p.housing or p.name for p in job.positions)
    yield from (f"the housing of {name} is in {n} places" for name, n in used.items() if n > 1 or name not in read)
    for p in job.positions:
        mine, its = read[p.name], read.get(p.housing or p.name, read[p.name])
        fitted = replace(
            mine, housing_bore=its.housing_bore, seating_nm=its.seating_nm, accept=its.accept, housing=p.housing
        )
        if p != fitted:
            yield f"{p.name} is not its journal with the housing of {its.name}"
        if p.housing is None:
            continue
        if not any(mine.kind in r.kinds for r in _rules(job, Movable)) or its.kind != mine.kind:
            yield f"the housing of {its.name} may not move to {p.name}"
        elif p.housing == p.name or not (_measured(mine, known) and _measured(its, known)):
            yield f"the housing of {its.name} has no reason to be at {p.name}"
        elif not all(map(marks_agree, mine.within, its.within)):
            yield f"the housing of {its.name} does not agree with {p.name}"


def _books(plan: JobPlan, known: Mapping[ShellKey, Shell]) -> Iterator[str]:
    """Every position is accounted for once."""
    job = plan.job
    told = Counter([p.position.name for p in plan.placements] + [u.position.name for u in plan.unfilled])
    if told != Counter(p.name for p in job.positions if _measured(p, known)):
        yield "placed and unfilled positions are not the measured ones"
    rows = {p.name: (i, p) for i, p in enumerate(job.positions)}
    found = [(p.position, *rows.get(p.position.name, (-1, None))) for p in plan.placements]
    yield from (f"{mine.name} is not the job's own" for mine, _, own in found if mine != own)
    places = [i for _, i, _ in found]
    if places != sorted(places):
        yield "positions are not in file order"


def _figures(plan: JobPlan) -> Iterator[str]:
    """The figures of each kind of one job, worked out again from the clearances."""
    for kind, figures in plan.figures.items():
        if figures != _worked_out([(plan.job, [p for p in plan.placements if p.position.kind == kind])]):
            yield f"the figures of {kind} do not follow from its clearances"


def _groups(plan: Plan) -> Iterator[str]:
    """Every kind of every job is answered once, and the figures follow from the clearances."""
    told = Counter((i, g.group.kind) for g in plan.groups for i in g.group.members)
    if told != Counter((i, kind) for i, one in enumerate(plan.plans) for kind in one.job.kinds):
        yield "the kinds that were proven are not those of the jobs"
        return
    for g in plan.groups:
        kind = g.group.kind
        mine = [plan.plans[i] for i in g.group.members]
        placements = [(one.job, [p for p in one.placements if p.position.kind == kind]) for one in mine]
        if g.figures != _worked_out(placements):
            yield f"the figures of {g.group.label} do not follow from its clearances"
        wanted = [{p.name for p in one.job.positions if p.kind == kind} for one in mine]
        inside = [{p.position.name for p in some if p.within_limits} for _, some in placements]
        if g.complete != sum(one == other for one, other in zip(wanted, inside, strict=True)):
            yield f"the jobs that are complete in {g.group.label} are not as many as stated"


def _worked_out(jobs: Sequence[tuple[Job, Sequence[Placement]]]) -> KindFigures:
    """Figures of one job, or of several, with the largest of their spreads."""
    short, over, too_tight, too_loose, clearances = [], [], [], [], []
    deviations: dict[str, list[int]] = {}
    placed = [(job, p) for job, placements in jobs for p in placements]
    for job, p in placed:
        position, (low, high) = p.position, _margin(job, p)
        assert position.target_nm is not None
        short.append(_below(position.min_nm, p.clearance_tightest_nm - low))
        over.append(_above(position.max_nm, p.clearance_nm + high))
        if not (position.want_min_nm is None and position.want_max_nm is None):
            too_tight.append(_below(position.want_min_nm, p.clearance_nm))
            too_loose.append(_above(position.want_max_nm, p.clearance_nm))
        if not (short[-1] or over[-1] or _fixed(p)):
            deviations.setdefault(job.name, []).append(p.clearance_nm - position.target_nm)
            clearances.append(p.clearance_nm)
    off = [d for some in deviations.values() for d in some]
    n = len(off)
    mean = None
    if n:
        whole, rest = divmod(sum(clearances), n)
        mean = whole + (1 if 2 * rest > n or (2 * rest == n and whole % 2 == 1) else 0)
    return KindFigures(
        filled=len(placed),
        below=sum(map(bool, short)),
        shortfall_nm=sum(short),
        above=sum(map(bool, over)),
        excess_nm=sum(over),
        counted=n,
        worst_deviation_nm=max(map(abs, off)) if n else None,
        sum_squared_deviation_nm2=sum(d**2 for d in off) if n else None,
        spread_nm=max(max(some) - min(some) for some in deviations.values()) if n else None,
        mean_clearance_nm=mean,
        boxes=len({s.box for _, p in placed for s in (p.upper, p.lower)}),
        below_want=sum(map(bool, too_tight)) if too_tight else None,
        want_shortfall_nm=sum(too_tight) if too_tight else None,
        above_want=sum(map(bool, too_loose)) if too_loose else None,
        want_excess_nm=sum(too_loose) if too_loose else None,
    )


def _below(least_nm: int | None, nm: int) -> int:
    """By how much a length is below a limit; 0 if it is not."""
    return 0 if least_nm is None or nm >= least_nm else least_nm - nm


def _above(most_nm: int | None, nm: int) -> int:
    return 0 if most_nm is None or nm <= most_nm else nm - most_nm


def _margin(job: Job, placement: Placement) -> tuple[int, int]:
    """How far the guard draws in min and max for this pair, from its readings."""
    guard = sum(r.factor for r in _rules(job, Guard))
    if not guard:
        return 0, 0
    from fitmatch.gauging.uncertainty.error_model import ErrorModel

    model, how = ErrorModel(job), (placement.position, placement.upper.measured_as, placement.lower.measured_as)
    low, high = (0 if u is None else ceil(guard * u.expanded_nm) for u in (model.tightest(*how), model.combined(*how)))
    return low, high


def _measured(position: Position, known: Mapping[ShellKey, Shell]) -> bool:
    locks = [known[lock] for lock in (position.upper, position.lower) if lock is not None]
    return None not in (position.journal, position.housing_bore, *(shell.wall_nm for shell in locks))


def _rules(job: Job, sort: type[R], kind: str | None = None) -> list[R]:
    """The settings of one rule, for this kind if it is set kind by kind."""
    return [r for r in job.rules if isinstance(r, sort) and (kind is None or getattr(r, "of_kind", kind) == kind)]


def _fixed(placement: Placement) -> bool:
    return placement.position.upper is not None and placement.position.lower is not None


def _wall(shell: Shell) -> int:
    assert shell.wall_nm is not None
    return shell.wall_nm
