"""A plan that was saved, put together again: its shells in their positions, all figures worked out anew and checked."""

from collections.abc import Collection, Mapping
from typing import NamedTuple

from fitmatch.facts import Fact
from fitmatch.fit.answer.checker import faults_of
from fitmatch.fit.answer.strays import strays
from fitmatch.fit.classes.candidates import Kind, ready
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.why.arithmetic import Reasons, flags
from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.gauging.sizes.form_limits import form_flags
from fitmatch.names import natural
from fitmatch.records.answers.doubted import but_of_held
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan, Unfilled
from fitmatch.records.housings import with_housings
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.parts import SIDES, Position, Shell


class Contradiction(Exception):
    """A saved plan that does not follow from the job as it is; `faults` says why, each naming its place."""

    def __init__(self, faults: list[str]) -> None:
        super().__init__("; ".join(faults))
        self.faults = faults


class Rebuilt(NamedTuple):
    """The plan, and by box and name the shells of its own files that are left over and those on hold."""

    plan: JobPlan
    leftover: tuple[Shell, ...]
    held: tuple[Shell, ...]


def rebuilt(
    job: Job,
    shells: Mapping[tuple[str, str], ShellKey],
    housings: Mapping[str, str],
    *,
    elsewhere: Collection[ShellKey] = (),
    waits_for: Mapping[str, tuple[str, ...]] | None = None,
) -> Rebuilt:
    """The plan that puts these shells, by position and side, into the job, and the housings of these rows where they
    moved, by where they went. `elsewhere`: shells that went to other jobs; `waits_for` as in `JobPlan`. Raises
    Contradiction with everything that is wrong with it."""
    rows, stock = {p.name: p for p in job.positions}, {s.key: s for s in job.shells}
    where = "in the files" if job.shelved is None else "in the files, nor on the shelf for this job"
    _check_names(rows, stock, shells, housings, where)
    moved = with_housings(job, {name: rows[housing] for name, housing in housings.items()})
    terms = {kind: Terms(moved, kind) for kind in job.kinds}
    placements = []
    for p in moved.positions:
        upper, lower = (shells.get((p.name, side)) for side in SIDES)
        if upper is not None and lower is not None:
            placements.append(terms[p.kind].place(p, stock[upper], stock[lower]))
    plan = _with_reasons(job, moved, tuple(placements), waits_for or {})
    if faults := faults_of(plan):
        raise Contradiction(faults)
    used = {s.key for p in placements for s in (p.upper, p.lower)} | set(elsewhere)
    used |= {lock for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
    own = job.shells if job.own_shells is None else job.own_shells
    left = [s for s in own if s.wall_nm is not None and s.hold is None and s.key not in used]
    return Rebuilt(plan, _in_order(left), _in_order([s for s in own if s.hold is not None]))


def _check_names(
    rows: Mapping[str, Position],
    stock: Mapping[ShellKey, Shell],
    shells: Mapping[tuple[str, str], ShellKey],
    housings: Mapping[str, str],
    where: str,
) -> None:
    faults = [f"{name}: there is no such position any more" for name in {n for n, _ in shells} if name not in rows]
    for (name, side), key in shells.items():
        if key not in stock:
            faults.append(f"{name}: its {side} shell {full_name(key)} is no longer {where}")
        elif stock[key].wall_nm is None:
            faults.append(f"{name}: its {side} shell {full_name(key)} has no reading any more")
        if name in rows and rows[name].missing:
            faults.append(f"{name}: its {' and '.join(rows[name].missing).replace('_', ' ')} has no reading any more")
    faults += [f"{name}: the housing {h} that moved there is gone" for name, h in housings.items() if h not in rows]
    faults += [f"{name}: no longer a position that had a housing moved" for name in housings if name not in rows]
    if faults:
        raise Contradiction(sorted(set(faults), key=natural))


def _with_reasons(
    read: Job, job: Job, placements: tuple[Placement, ...], waits_for: Mapping[str, tuple[str, ...]]
) -> JobPlan:
    placed, stock = {p.position.key for p in placements}, {s.key: s for s in job.shells}
    reasons: dict[str, Reasons] = {}

    def why(position: Position) -> Fact:
        if position.kind not in reasons:
            reasons[position.kind] = Reasons(job, Kind((job,), position.kind))
        return reasons[position.kind].why(position)

    return JobPlan(
        job,
        placements,
        tuple(Unfilled(p, why(p)) for p in job.positions if p.key not in placed and ready(p, stock)),
        flags=(*flags(job, placements, why), *form_flags(job, placements)),
        doubts=but_of_held(read, doubts_of(read)),
        moved_from=None if job is read else read,
        strays=tuple(stray for _, stray in strays((read,))),
        waits_for=waits_for,
    )


def _in_order(shells: list[Shell]) -> tuple[Shell, ...]:
    return tuple(sorted(shells, key=lambda s: (natural(s.box), natural(s.name))))
