"""`advise`: what each position wants of its shells, and what to do next where one is not inside its limits."""

from collections.abc import Iterator, Mapping

from fitmatch.facts import Fact
from fitmatch.fit.answer.best_plan import doubts_in_time
from fitmatch.fit.answer.kernel import Kernel
from fitmatch.fit.assign import assign
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.groups import Decided, decided, movable
from fitmatch.fit.solver.stopping import Stop
from fitmatch.problems import NotPossible
from fitmatch.records.answers.doubted import Doubted, doubted
from fitmatch.records.answers.placements import KindFigures
from fitmatch.records.answers.plans import Plan, Reason
from fitmatch.records.job import Job, Jobs
from fitmatch.records.keys import PositionKey, full_name
from fitmatch.records.measuring import DIAMETERS
from fitmatch.records.parts import Position, room
from fitmatch.records.pools import Pool
from fitmatch.stages import now
from fitmatch.study.advice.advised import (
    MEASURE,
    OTHER_PIN,
    Advice,
    Advised,
    AdvisedJobs,
    Reached,
    Wanted,
)
from fitmatch.study.advice.grinding import Ground, by_grinding, widest_run
from fitmatch.study.advice.halves import Stock, both_halves, from_a_box, nearest_steps, one_half, stocks
from fitmatch.study.advice.metal import by_honing, by_polishing, by_resizing
from fitmatch.study.advice.orders import boxes_together, orders
from fitmatch.study.advice.solving import Trial, no_worse


def advise(task: Job | Pool, *, stop: Stop | None = None) -> AdvisedJobs:
    """What each position of a job, or of several that share their shells, wants; and for each that is not inside its
    limits what would help, in the order of the trade, each change solved as `fitmatch.assign` would solve it.

    A job may have no shells yet (`read_job` with `needs_shells=False`); then only what is wanted is told. A `stop` with
    a time limit may leave changes untried, and readings not looked through. Raises NotPossible for jobs that have
    shells and no limits at all.
    """
    stop = stop or Stop()
    jobs = task.jobs
    if jobs[0].shells:
        check_limits(jobs)
    answer = assign(task, stop=stop) if jobs[0].shells else None
    if answer is None:
        looked = [(job, doubts_in_time(job, stop)) for job in jobs]
    else:
        looked = [(one.read, one.doubts if one.looked_through else None) for one in answer.plans]
    in_doubt = doubted((job, doubts or ()) for job, doubts in looked)
    found: dict[PositionKey, Advised] = {}
    for one in decided(answer) if answer is not None else ():
        found |= _Group(one, answer, in_doubt, stop).advised()
    known = {(job.name, kind): stocks([job], kind) for job in jobs for kind in job.kinds}
    rows = []
    for job in jobs if answer is None else (one.job for one in answer.plans):
        for p in job.positions:
            advised = found.get(p.key) or Advised(p, None, None, in_doubt.concerns(p, None), ())
            advised = advised._replace(wanted=_wanted(job, p, known[job.name, p.kind]))
            if advised.in_doubt or (not advised.is_inside and (answer is not None or p.missing)):
                advised = advised._replace(advice=(_measure(advised, in_doubt), *advised.advice))
            rows.append(advised)
    needed = tuple(orders(rows))
    together = tuple(boxes_together(jobs, needed))
    through = all(doubts is not None for _, doubts in looked)
    return AdvisedJobs(tuple(jobs), answer, tuple(rows), needed, together, through)


def check_limits(jobs: Jobs) -> None:
    """Raise NotPossible where no position has a limit that it could be inside or outside of."""
    positions = [p for job in jobs for p in job.positions]
    if positions and all(p.min_nm is None and p.max_nm is None for p in positions):
        raise NotPossible(Fact("advise-needs-limits", {"tables": tuple(dict.fromkeys(p.kind for p in positions))}))


def _wanted(job: Job, p: Position, known: list[Stock]) -> Wanted | None:
    if p.missing or p.target_nm is None:
        return None
    space = room(p)
    ideal = space - p.target_nm
    low, high = (None if limit is None else space - limit for limit in (p.max_nm, p.min_nm))
    return Wanted(ideal, low, high, nearest_steps(known, ideal, Terms(job, p.kind).differences) if known else None)


def _measure(one: Advised, in_doubt: Doubted) -> Advice:
    """Which readings to take for the first time, and which again: those in doubt, otherwise, if none is missing, all
    that the position rests on."""
    p, placed = one.position, one.placed
    readings = p.missing or DIAMETERS
    walls = [] if placed is None else [placed.upper.key, placed.lower.key]
    if one.in_doubt:
        bore = p.job, (placed.position if placed else p).housing or p.name
        doubtful = {"journal": p.key in in_doubt.journals, "housing_bore": bore in in_doubt.bores}
        readings = (*p.missing, *(feature for feature, is_so in doubtful.items() if is_so))
        walls = [key for key in walls or in_doubt.shells if in_doubt.shells.get(key) == p.kind]
    return Advice(MEASURE, {"readings": readings, "missing": p.missing, "shells": tuple(map(full_name, walls))})


class _Group:
    """What would help the positions of one kind that are not inside their limits."""

    def __init__(self, one: Decided, plan: Plan | None, in_doubt: Doubted, stop: Stop) -> None:
        self._one = one
        self._trial = Trial(one, stop)
        self._in_doubt = in_doubt
        self._reasons: Mapping[PositionKey, Reason] = {} if plan is None else {r.position.key: r for r in plan.reasons}
        self._final = {p.key: p for job in one.final for p in job.positions}
        self._ground: dict[str, Ground] = {}

    def advised(self) -> dict[PositionKey, Advised]:
        """By position; without what it wants and what to measure."""
        moved = self._moved()
        found = {}
        for position in self._one.positions():
            placed = self._trial.placed.get(position.key)
            final = self._final[position.key]
            doubtful = self._in_doubt.concerns(final, placed)
            one = Advised(final, None, placed, doubtful, ())
            if not doubtful and not position.missing and self._one.proof.proven:
                if one.is_inside:
                    one = one._replace(advice=tuple(moved.get(position.key, ())))
                else:
                    now(f"{self._one.label}: what would help {position.name}")
                    self._trial.cut_short = False
                    advice = tuple(self._advice(position))
                    one = one._replace(advice=advice, complete=not self._trial.cut_short)
            elif not self._one.proof.proven and not one.is_inside:
                one = one._replace(complete=False)
            found[position.key] = one
        return found

    def _advice(self, position: Position) -> Iterator[Advice]:
        trial = self._trial
        reason = self._reasons.get(position.key)
        halves = list(one_half(trial, position, reason.cures if reason else ()))
        both = [advice for advice in both_halves(trial, position) if all(_nearer(advice, one) for one, _ in halves)]
        yield from from_a_box(trial, halves, both)
        yield from (advice for advice, _ in halves)
        yield from both
        housed = self._housed(position)
        yield from by_polishing(trial, position)
        yield from by_honing(trial, position, housed)
        yield from by_resizing(trial, position, housed)
        if self._one.kind in self._in_doubt.kinds:
            return  # one size for all rests on every reading of the kind
        if position.job not in self._ground:
            self._ground[position.job] = widest_run(trial, position) if trial.has_time() else Ground(None, False)
        ground = self._ground[position.job]
        trial.cut_short |= not ground.complete
        yield from by_grinding(trial, position, ground)

    def _housed(self, position: Position) -> Position:
        """The row of the housing that the answer puts there, as it was read."""
        housing = self._final[position.key].housing
        if housing is None:
            return position
        return next(p for p in self._one.positions() if p.key == (position.job, housing))

    def _moved(self) -> dict[PositionKey, list[Advice]]:
        """Where the answer moves housings: the positions that it so brings inside, and that would not be with every
        housing where it is."""
        one, trial = self._one, self._trial
        if not movable(one.jobs, one.kind) or not one.proof.proven:
            return {}
        staying = Kernel(one.jobs, one.kind, moving=False).solve(ties=True, stop=trial.stop)
        if not staying.proof.proven:
            return {}
        before = {p.position.key: p for p in staying.placements}
        goes_to = {(p.job, p.housing): p.name for p in self._final.values() if p.housing is not None}
        found: dict[PositionKey, list[Advice]] = {}
        for key, placed in trial.placed.items():
            was = before.get(key)
            good = placed.within_limits and not (was is not None and was.within_limits)
            if good and placed.position.housing is not None and no_worse(before, trial.placed, key):
                what = {"journal": goes_to.get(key), "housing": placed.position.housing}
                found[key] = [Advice(OTHER_PIN, what, reached=Reached(placed, self._figures()))]
        return found

    def _figures(self) -> KindFigures:
        return next(g.figures for g in self._one.plan.groups if g.group.label == self._one.label)


def _nearer(one: Advice, other: Advice) -> bool:
    """Whether one brings the position nearer to its target than the other."""
    assert one.reached is not None and other.reached is not None
    return abs(one.reached.placement.deviation_nm) < abs(other.reached.placement.deviation_nm)
