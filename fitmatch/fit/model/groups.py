"""What is decided together: the jobs of a group as they were read, their kind in classes, and the choice as placements,
job by job. Everything that looks at an answer again (alternatives, explanations, reasons) starts here.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.moved_housings import MovingKind, settle
from fitmatch.fit.model.naming import name_shells
from fitmatch.fit.model.order import Share
from fitmatch.fit.model.pairs import Choice
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Plan, Proof
from fitmatch.records.housings import with_housings
from fitmatch.records.job import Job
from fitmatch.records.keys import PositionKey
from fitmatch.records.parts import Position
from fitmatch.records.pools import IN_ORDER
from fitmatch.rules.positions.movable import is_movable


class Decided(NamedTuple):
    """One group of an answer. `label` is its kind, with the families where the kind has several groups."""

    label: str
    kind: str
    jobs: tuple[Job, ...]  # as they were read
    final: tuple[Job, ...]  # with their housings where they were put
    placements: tuple[tuple[Placement, ...], ...]  # job by job
    proof: Proof
    plan: Plan  # all of the answer

    def by_place(self) -> dict[PositionKey, Placement]:
        """What the answer gives each of its positions."""
        return {p.position.key: p for some in self.placements for p in some}

    def positions(self) -> Iterator[Position]:
        """The positions of the kind, as they were read."""
        return (p for job in self.jobs for p in job.positions if p.kind == self.kind)


def decided(plan: Plan) -> list[Decided]:
    """The groups of an answer, in file order."""
    found = []
    for g in plan.groups:
        mine, kind = plan.members(g.group), g.group.kind
        read, final = tuple(one.read for one in mine), tuple(one.job for one in mine)
        placements = tuple(one.of_kind(kind) for one in mine)
        found.append(Decided(g.group.label, kind, read, final, placements, g.proof, plan))
    return found


def movable(jobs: Sequence[Job], kind: str) -> bool:
    """Whether housings of the kind may move in any of the jobs."""
    return any(is_movable(job, kind) for job in jobs)


def kind_for(jobs: Sequence[Job], kind: str, *, by_box: bool = False) -> Kind:
    """The kind in classes, its housings free to move if they may."""
    return (MovingKind if movable(jobs, kind) else Kind)(jobs, kind, by_box=by_box)


def turns(kind: Kind, priority: str) -> list[list[Terms]]:
    """Which jobs are solved together, and in which order."""
    return [[terms] for terms in kind.terms] if priority == IN_ORDER else [kind.terms]


def by_job(kind: Kind, placements: Iterable[Placement]) -> list[tuple[Placement, ...]]:
    """Placements of this kind's positions, job by job in file order."""
    found = {p.position.key: p for p in placements}
    return [tuple(found[p.key] for p in job.positions if p.key in found) for job in kind.jobs]


def shares_placed(kind: Kind, placements: Iterable[Placement]) -> list[Share]:
    """Each job's part of a plan for a kind."""
    return [
        Share([(p, 1) for p in some], sum(p.kind == kind.name for p in job.positions))
        for job, some in zip(kind.jobs, by_job(kind, placements), strict=True)
    ]


def placed(kind: Kind, choice: Choice) -> tuple[Kind, list[Placement]]:
    """The shells of a choice, and the kind whose jobs have the positions, with housings moved as the choice says."""
    seats, housings = settle(kind, choice)
    if not isinstance(kind, MovingKind):
        return kind, kind.fixed + name_shells(kind, seats)
    chosen = [{p.name: housings[p.key] for p in job.positions if p.key in housings} for job in kind.jobs]
    jobs = list(map(with_housings, kind.jobs, chosen))
    settled = Kind(jobs, kind.name)
    now = {p.key: p for job in jobs for p in job.positions}
    free = [(now[position.key], pair) for position, pair in seats if pair.bore.counts]
    return settled, settled.fixed + name_shells(settled, free)


def choice_of(kind: Kind, placements: Iterable[Placement], jobs: Iterable[Job]) -> Choice:
    """A plan as a choice among this new kind's pairs, with the housings where these jobs have them; if housings may
    move, including the positions that stay empty."""
    class_of = {s.key: c for c in kind.classes for s in c.members}
    placed, final = ({p.position.key: p for p in placements}, {p.key: p for job in jobs for p in job.positions})
    bores: dict[int, list[Bore]] = {}
    for bore in kind.bores:
        bores.setdefault(bore.seat, []).append(bore)
    choice: Choice = Choice()
    for seat, position in ((bore.seat, p) for bore in kind.seats for p in bore.positions):
        p, housing = placed.get(position.key), final[position.key].housing or position.name
        if p is None:
            choice.update(v for v in kind.vacancies if v.bore.seat == seat and _holds(v.bore, housing))
            continue
        wanted = class_of[p.upper.key], class_of[p.lower.key]
        here = (b for b in bores[seat] if _holds(b, housing))
        pairs = (pair for b in here for pair in kind.pairs(b, p.wall_sum_nm, p.wall_sum_nm))
        choice[next(pair for pair in pairs if (pair.upper, pair.lower) == wanted)] += 1
    return choice


def _holds(bore: Bore, housing: str) -> bool:
    return bore.house is None or any(p.name == housing for p in bore.house.members)
