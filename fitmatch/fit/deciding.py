"""What is decided together: the jobs of a group as they were read, their kind in classes, and the choice made of it as
placements, job by job. Everything that looks at an answer once more (alternatives, explanations, reasons) starts here.
"""

from collections.abc import Iterable, Iterator, Sequence
from typing import NamedTuple

from fitmatch.fit.bores import Bore
from fitmatch.fit.candidates import Kind
from fitmatch.fit.model import Choice
from fitmatch.fit.moving import MovingKind, settle
from fitmatch.fit.naming import name_shells
from fitmatch.fit.order import Share
from fitmatch.fit.terms import Terms
from fitmatch.housings import with_housings
from fitmatch.parts import Job, Position
from fitmatch.placements import Placement
from fitmatch.plans import Plan, Proof
from fitmatch.pools import IN_ORDER
from fitmatch.rules.movable import is_movable

Place = tuple[str, str]  # the key of a position


class Decided(NamedTuple):
    """One group of an answer. `label` is its kind, with the families where the kind has several groups."""

    label: str
    kind: str
    jobs: tuple[Job, ...]  # as they were read
    final: tuple[Job, ...]  # with their housings where they were put
    placements: tuple[tuple[Placement, ...], ...]  # job by job
    proof: Proof
    strategy: str
    slack_nm: int
    priority: str

    def fresh(self, *, by_box: bool = False) -> Kind:
        """The kind in classes, its housings free to move where they may."""
        return kind_for(self.jobs, self.kind, by_box=by_box)

    def split(self, placements: Iterable[Placement], jobs: Sequence[Job]) -> tuple[tuple[Placement, ...], ...]:
        """Placements of this kind's positions in these jobs, job by job in file order."""
        by_position = {p.position.key: p for p in placements}
        return tuple(tuple(by_position[p.key] for p in job.positions if p.key in by_position) for job in jobs)

    def by_place(self) -> dict[Place, Placement]:
        """What the answer gives each of its positions."""
        return {p.position.key: p for some in self.placements for p in some}

    def positions(self) -> Iterator[Position]:
        """Those of the kind, as they were read."""
        return (p for job in self.jobs for p in job.positions if p.kind == self.kind)


def decided(plan: Plan) -> list[Decided]:
    """The groups of an answer, in file order."""
    return [
        Decided(
            g.group.label,
            g.group.kind,
            tuple(one.read for one in plan.members(g.group)),
            tuple(one.job for one in plan.members(g.group)),
            tuple(one.of_kind(g.group.kind) for one in plan.members(g.group)),
            g.proof,
            plan.strategy,
            plan.slack_nm,
            plan.priority,
        )
        for g in plan.groups
    ]


def movable(jobs: Sequence[Job], kind: str) -> bool:
    """Whether housings of the kind may move in any of the jobs."""
    return any(is_movable(job, kind) for job in jobs)


def kind_for(jobs: Sequence[Job], kind: str, *, by_box: bool = False) -> Kind:
    return (MovingKind if movable(jobs, kind) else Kind)(jobs, kind, by_box=by_box)


def turns(kind: Kind, priority: str) -> list[list[Terms]]:
    """Which jobs are worked for together, and in which order."""
    return [[terms] for terms in kind.terms] if priority == IN_ORDER else [kind.terms]


def by_job(kind: Kind, placements: Iterable[Placement]) -> list[tuple[Placement, ...]]:
    some: dict[str, list[Placement]] = {job.name: [] for job in kind.jobs}
    for p in placements:
        some[p.position.job].append(p)
    return [tuple(found) for found in some.values()]


def shares_placed(kind: Kind, placements: Iterable[Placement]) -> list[Share]:
    """What each of the jobs of a kind has of a plan."""
    return [
        Share([(p, 1) for p in some], sum(p.kind == kind.name for p in job.positions))
        for job, some in zip(kind.jobs, by_job(kind, placements), strict=True)
    ]


def placed(kind: Kind, choice: Choice) -> tuple[Kind, list[Placement]]:
    """The shells that a choice puts in, and the kind of whose jobs the positions are: with the housings moved where it
    says so."""
    seats, housings = settle(kind, choice)
    if not isinstance(kind, MovingKind):
        return kind, kind.fixed + name_shells(kind, seats)
    jobs = []
    for job in kind.jobs:
        mine = {p.name: housings[p.key] for p in job.positions if p.key in housings}
        jobs.append(with_housings(job, mine))
    settled = Kind(jobs, kind.name)
    now = {p.key: p for job in jobs for p in job.positions}
    free = [(now[position.key], pair) for position, pair in seats if pair.bore.counts]
    return settled, settled.fixed + name_shells(settled, free)


def choice_of(kind: Kind, one: Decided) -> Choice:
    """The answer as a choice of this fresh kind's pairs; where housings may move, of those that stay empty too."""
    class_of = {s.key: c for c in kind.classes for s in c.members}
    seat_of = {p.key: bore.seat for bore in kind.seats for p in bore.positions}
    bores: dict[int, list[Bore]] = {}
    for bore in kind.bores:
        bores.setdefault(bore.seat, []).append(bore)
    choice: Choice = Choice()
    for terms, final, placements in zip(kind.terms, one.final, one.placements, strict=True):
        filled = {p.position.key: p for p in placements}
        housings = {p.name: p.housing or p.name for p in final.positions}
        for position in terms.job.positions:
            seat, p = seat_of.get(position.key), filled.get(position.key)
            if seat is None:
                continue
            housing = housings[position.name]
            if p is not None:
                wanted = class_of[p.upper.key], class_of[p.lower.key]
                here = (b for b in bores[seat] if _holds(b, housing))
                pairs = (pair for b in here for pair in kind.pairs(b, p.wall_sum_nm, p.wall_sum_nm))
                choice[next(pair for pair in pairs if (pair.upper, pair.lower) == wanted)] += 1
            else:
                choice.update(v for v in kind.vacancies if v.bore.seat == seat and _holds(v.bore, housing))
    return choice


def _holds(bore: Bore, housing: str) -> bool:
    return bore.house is None or any(p.name == housing for p in bore.house.members)
