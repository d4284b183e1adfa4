"""Five ways of choosing from the same shells: the three strategies and the two baselines."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import chain, combinations, islice
from typing import NamedTuple

from fitmatch.facts import Fact
from fitmatch.fit.answer.baselines import as_boxed, by_hand
from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.expected import EQUAL, standings
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.groups import by_job
from fitmatch.fit.solver.stopping import Stop
from fitmatch.problems import NotPossible
from fitmatch.records.answers.placements import KindFigures, Placement
from fitmatch.records.answers.plans import Plan, Proof
from fitmatch.records.job import Job
from fitmatch.records.keys import full_name
from fitmatch.records.pools import Pool
from fitmatch.records.study.bearings import Bearing, Running
from fitmatch.stages import now
from fitmatch.study.comparison.certainties import Certainties
from fitmatch.study.comparison.compared import BY_STRATEGY, PlanFilms, PlanRow
from fitmatch.study.comparison.decision import Decision
from fitmatch.study.comparison.leftover_sets import leftover_sets
from fitmatch.study.film.films import film


def check_limits(jobs: Sequence[Job]) -> None:
    """Raise NotPossible for kinds that `even` cannot decide."""
    if without := _unlimited(jobs):
        raise NotPossible(Fact("even-needs-limits", {"kinds": tuple(without)}))


def _unlimited(jobs: Sequence[Job]) -> list[str]:
    """The kinds that lack min or max at some position."""
    open_ended = (p.kind for job in jobs for p in job.positions if p.min_nm is None or p.max_nm is None)
    return list(dict.fromkeys(open_ended))


def answers(task: Job | Pool, stop: Stop) -> dict[str, Plan]:
    """The plan of each strategy. `even` decides only the kinds with min and max at every position, and is left out if
    there are none."""
    unlimited = _unlimited(task.jobs)
    limited = [kind for job in task.jobs for kind in job.kinds if kind not in unlimited]
    asked = {strategy: only(task, limited) if strategy == "even" else task for strategy in BY_STRATEGY}
    return {
        strategy: best_plan(some, strategy, stop=stop, expected=False)
        for strategy, some in asked.items()
        if strategy != "even" or limited
    }


def only(task: Job | Pool, kinds: Sequence[str]) -> Job | Pool:
    """The same with the positions and shells of these kinds alone, and what was read of them."""
    return _cut(task, kinds) if isinstance(task, Job) else replace(task, jobs=tuple(_cut(j, kinds) for j in task.jobs))


def _cut(job: Job, kinds: Sequence[str]) -> Job:
    positions = tuple(p for p in job.positions if p.kind in kinds)
    shells = tuple(s for s in job.shells if s.kind in kinds)
    own = None if job.own_shells is None else tuple(s for s in job.own_shells if s.kind in kinds)
    names, keys = {p.name for p in positions}, {s.key for s in shells}
    log = tuple(r for r in job.measuring.log if (r.item in names if r.shell is None else r.shell in keys))
    return replace(job, positions=positions, shells=shells, own_shells=own, measuring=replace(job.measuring, log=log))


class _Way(NamedTuple):
    """One way of choosing for a group, its placements job by job."""

    name: str
    figures: KindFigures
    proof: Proof
    placements: Sequence[tuple[Placement, ...]]
    rules_broken: int = 0


def plan_rows(decision: Decision, plans: Mapping[str, Plan], *, films: bool) -> Iterator[PlanRow]:
    """A row for each way of choosing that there is for the group, if asked for with its films."""
    ways = list(_ways(decision, plans))
    filmed = _films(decision, ways) if films else [None] * len(ways)
    certainties = Certainties(decision.jobs)
    same = _same(ways)
    equal = _equal(decision.jobs, ways, same)
    for at, (way, films_of_it) in enumerate(zip(ways, filmed, strict=True)):
        placed = [p for some in way.placements for p in some]
        found = decision.found(way.figures, way.proof)
        yield PlanRow(
            way.name,
            found,
            None if found.unfilled else certainties.joint_chance(way.placements),
            leftover_sets(decision.jobs, decision.group.kind, placed, decision.stop),
            way.rules_broken,
            tuple(other.name for other in ways if {way.name, other.name} in equal),
            tuple(other.name for n, other in enumerate(ways) if n != at and same[n] == same[at]),
            films_of_it,
        )


def _ways(decision: Decision, plans: Mapping[str, Plan]) -> Iterator[_Way]:
    label, kind = decision.group.label, decision.group.kind
    for strategy, plan in plans.items():
        for answer in plan.groups:
            if answer.group.label == label:
                placed = [one.of_kind(kind) for one in plan.members(answer.group)]
                yield _Way(strategy, answer.figures, answer.proof, placed)
    classed = Kind(decision.jobs, kind)
    baselines = next(answer.baselines for answer in plans["target"].groups if answer.group.label == label)
    for name, chosen in (("as-boxed", as_boxed(classed)), ("by-hand", by_hand(classed))):
        figures, broken = baselines[name]
        yield _Way(name, figures, Proof(), by_job(classed, chosen), broken)


def _films(decision: Decision, ways: Sequence[_Way]) -> Sequence[PlanFilms | None]:
    """Of each way; none where one of the jobs does not say how the kind runs."""
    running = [job.running.get(decision.group.kind) for job in decision.jobs]
    if None in running:
        return [None] * len(ways)
    now(f"{decision.group.label}: films")
    bearings = [
        [_bearing(runs, p) for runs, some in zip(running, way.placements, strict=True) if runs for p in some]
        for way in ways
    ]
    rows = iter(film(chain.from_iterable(bearings)).rows)
    return [PlanFilms(tuple(islice(rows, len(some)))) for some in bearings]


def _bearing(running: Running, placement: Placement) -> Bearing:
    position = placement.position
    assert position.journal is not None
    return running.bearing(
        placement.clearance_over_coating_nm,
        position.journal.mean_nm,
        full_name(position.key),
        position.kind,
        within_limits=placement.within_limits,
    )


def _same(ways: Sequence[_Way]) -> list[int]:
    """For each plan the first that places the same shells."""
    plans = [[frozenset(map(_shells, some)) for some in way.placements] for way in ways]
    return [plans.index(plan) for plan in plans]


def _equal(jobs: Sequence[Job], ways: Sequence[_Way], first: Sequence[int]) -> list[set[str]]:
    """The pairs of plans that measurement cannot tell apart, and those that are one and the same: `first` is the first
    of those."""
    different = list(dict.fromkeys(first))
    told = standings(jobs, [ways[at].placements for at in different])
    number = {at: n for n, at in enumerate(different)}
    found = []
    for one, other in combinations(range(len(ways)), 2):
        pair = number[first[one]], number[first[other]]
        if pair[0] == pair[1] or told[min(pair), max(pair)] == EQUAL:
            found.append({ways[one].name, ways[other].name})
    return found


def _shells(placement: Placement) -> tuple[object, ...]:
    return placement.position.key, placement.position.housing, placement.upper.key, placement.lower.key
