"""A kind of an answer solved again with its jobs changed, and whether that helps a position and harms no other."""

from collections.abc import Sequence
from functools import cached_property
from operator import le

from fitmatch.fit.answer.kernel import Kernel, Solved
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Bore
from fitmatch.fit.model.groups import Decided, by_job, movable
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.fit.why.questions import badness
from fitmatch.records.answers.placements import Placement, figures_of_several
from fitmatch.records.job import Job, Jobs
from fitmatch.records.keys import PositionKey
from fitmatch.study.advice.advised import Reached


def solved(jobs: Sequence[Job], kind: str, stop: Stop) -> Solved:
    """What `fitmatch assign` finds for these jobs."""
    found = Kernel(jobs, kind, moving=False).solve(ties=True, stop=stop)
    if movable(jobs, kind):
        found = Kernel(jobs, kind).solve(ties=True, stop=stop, start=found.placements)
    return found


class Trial:
    """One kind of an answer; changes of its jobs are tried one by one."""

    def __init__(self, one: Decided, stop: Stop) -> None:
        self.jobs: Jobs = one.jobs
        self.kind = one.kind
        self.stop = stop
        self.placed = one.by_place()
        self.cut_short = False  # whether something could not be tried in time

    @cached_property
    def sorted(self) -> Kind:
        """The kind in classes, each housing where it was."""
        return Kind(self.jobs, self.kind)

    def job_of(self, place: PositionKey) -> Job:
        return next(job for job in self.jobs if job.name == place[0])

    def bore_of(self, place: PositionKey, kind: Kind | None = None) -> Bore | None:
        """With all shells of the position; None where there is nothing to choose for it."""
        return next((b for b in (kind or self.sorted).seats if any(p.key == place for p in b.positions)), None)

    def has_time(self) -> bool:
        """Whether another change can be tried."""
        try:
            self.stop.seconds_left()
        except Stopped:
            self.cut_short = True
        return not self.cut_short

    def reached(self, jobs: "Jobs | None", place: PositionKey) -> Reached | None:
        """What solving these changed jobs gives; None if the position is not inside its limits then, or another one is
        worse off on levels 0 and 1 than in the answer. No jobs: the change cannot be made."""
        if jobs is None or not self.has_time():
            return None
        found = solved(jobs, self.kind, self.stop)
        if not found.proof.proven:
            self.cut_short = True
            return None
        kind, placements = found.placed
        now = {p.position.key: p for p in placements}
        mine = now.get(place)
        if mine is None or not mine.within_limits or not no_worse(self.placed, now, place):
            return None
        return Reached(mine, figures_of_several(by_job(kind, placements)))


def no_worse(
    before: dict[PositionKey, Placement], now: dict[PositionKey, Placement], but: PositionKey | None = None
) -> bool:
    """Whether every position, `but` one, is filled if it was, and misses nothing by more than it did."""
    return all(
        key in now and all(map(le, badness(now[key]), badness(placement)))
        for key, placement in before.items()
        if key != but
    )
