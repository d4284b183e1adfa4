"""What is decided together, with its kernel kept from one question to the next."""

from collections.abc import Iterator, Sequence
from functools import cached_property
from typing import Any, NamedTuple

from fitmatch.fit.answer.baselines import by_hand
from fitmatch.fit.answer.kernel import Kernel
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.groups import by_job, movable, shares_placed
from fitmatch.fit.model.order import LEVELS_0_AND_1, SPREAD, SQUARES, WORST, value
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.names import natural
from fitmatch.records.answers.placements import KindFigures, Placement, figures_of_several
from fitmatch.records.answers.plans import Proof
from fitmatch.records.job import Job, Jobs
from fitmatch.records.keys import full_name
from fitmatch.records.parts import Position
from fitmatch.records.pools import Group
from fitmatch.rules.registry import SETTINGS
from fitmatch.study.comparison.compared import Found

_RANKED = (*LEVELS_0_AND_1, WORST, SQUARES, SPREAD)


class Ranked(NamedTuple):
    """An answer, its place among others of the same group by the strategy `target`, where smaller is better, the
    positions that are not inside their limits in it, and its placements job by job."""

    found: Found
    rank: tuple[int, ...]
    outside: tuple[str, ...]
    placements: Sequence[Sequence[Placement]]


class Decision:
    """One kind of a job, or of several that decide it together; `name` is the job's where each has the shells alone."""

    def __init__(self, jobs: Sequence[Job], group: Group, name: str, stop: Stop) -> None:
        self.jobs: Jobs = tuple(jobs[i] for i in group.members)
        self.group = group
        self.name = name
        self.stop = stop
        self.cut_short = False  # whether a question was not asked for lack of time

    @cached_property
    def kernel(self) -> Kernel:
        return Kernel(self.jobs, self.group.kind)

    def ask(
        self, strategy: str = "target", *, jobs: Sequence[Job] | None = None, ties: bool = True, **how: Any
    ) -> Ranked:
        """What `Kernel.solve` gives when asked `how`, of these jobs if they are not the group's own. If time runs out
        the plan by hand may be better than what was found."""
        kernel = self.kernel if jobs is None else Kernel(jobs, self.group.kind)
        solved = kernel.solve(strategy, ties=ties, stop=self.stop, **how)
        kind, placements = solved.placed
        if not solved.proof.proven and not movable(self.jobs, self.group.kind):
            placements = min(placements, by_hand(kind), key=lambda some: _rank(kind, some))
        placed = by_job(kind, placements)
        figures = figures_of_several(placed)
        inside = {p.position.key for p in placements if p.within_limits}
        outside = tuple(full_name(p.key) for p in self.positions() if p.key not in inside)
        return Ranked(self.found(figures, solved.proof), _rank(kind, placements), outside, placed)

    def positions(self) -> list[Position]:
        """All positions of the group, measured or not, in file order."""
        return [p for job in self.jobs for p in job.positions if p.kind == self.group.kind]

    def found(self, figures: KindFigures, proof: Proof) -> Found:
        """These figures as those of the group."""
        return Found(self.name, self.group.label, len(self.positions()), figures, proof)

    def has_time(self) -> bool:
        """Whether another question can be asked."""
        try:
            self.stop.seconds_left()
        except Stopped:
            self.cut_short = True
        return not self.cut_short

    def rules(self) -> Iterator[tuple[str, Jobs]]:
        """The shop's own rules in force, by their keys in [rules], each with the jobs without it."""
        for sort in SETTINGS:
            bonds = list(sort.bonds(self.jobs, self.group.kind)) if sort.offered else []
            jobs = self.jobs
            for bond in bonds:
                jobs = bond.off(jobs)
            if bonds:
                yield sort.key, jobs

    def boxes(self) -> list[str]:
        """The boxes with measured shells that may go into the kind, in natural order."""
        fits = [job.fits[self.group.kind].family for job in self.jobs]
        shells = (s for s in self.jobs[0].shells if s.kind == self.group.kind and s.hold is None)
        names = {s.box for s in shells if s.wall_nm is not None and any(f is None or s.family in f for f in fits)}
        return sorted(names | self.locked_boxes(), key=natural)

    def locked_boxes(self) -> set[str]:
        """The boxes of the shells that positions of the kind are locked to."""
        return {lock[0] for p in self.positions() for lock in (p.upper, p.lower) if lock is not None}


def _rank(kind: Kind, placements: Sequence[Placement]) -> tuple[int, ...]:
    shares = shares_placed(kind, placements)
    return tuple(value(figure, shares) for figure in _RANKED)
