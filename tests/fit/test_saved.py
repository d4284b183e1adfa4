"""A saved plan put together again is the plan that was saved, and one that was tampered with is refused."""

import random
from collections.abc import Callable, Sequence

import pytest
from made.jobs import guarded_job, moving_job, random_job, row_job, wishing_job
from made.seeds import seeds as looked_at

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.answer.saved import Contradiction, rebuilt
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.parts import SIDES

MAKERS = (random_job, wishing_job, row_job, moving_job, guarded_job)
Shells = dict[tuple[str, str], ShellKey]


def plans(seeds: Sequence[int], *makers: Callable[[random.Random], Job]) -> list[Plan]:
    """The best plans of random jobs of every sort."""
    return [best_plan(make(random.Random(seed))) for seed in seeds for make in makers or MAKERS]


def what_is_saved(plan: Plan) -> tuple[Shells, dict[str, str]]:
    """The shells of a plan by position and side, and the housings that moved."""
    (one,) = plan.plans
    shells = {(p.position.name, side): getattr(p, side).key for p in one.placements for side in SIDES}
    return shells, {p.name: p.housing for p in one.job.positions if p.housing is not None}


@looked_at(5, 60)
def test_it_is_the_plan_that_was_saved(seeds: Sequence[int]) -> None:
    """Of random jobs with locks, limits, guards, rows and housings that move: placements with all their figures, what
    is empty and why, flags, doubts, strays, what is left over and held are those of the plan."""
    seen = plans(seeds)
    assert any(p.plans[0].unfilled for p in seen) and any(p.plans[0].moved_from for p in seen)
    for plan in seen:
        (one,) = plan.plans
        found = rebuilt(one.read, *what_is_saved(plan))
        again = found.plan
        assert (again.job, again.read, again.placements) == (one.job, one.read, one.placements)
        assert [u.position for u in again.unfilled] == [u.position for u in one.unfilled]
        assert [(f.position, f.code) for f in again.flags] == [(f.position, f.code) for f in one.flags]
        assert (again.doubts, again.strays, again.figures) == (one.doubts, one.strays, one.figures)
        assert (found.leftover, found.held) == (plan.leftover, plan.held)


def spoilt(draw: random.Random, job: Job, shells: Shells) -> Shells | None:
    """The plan with one shell in two places, one of another kind or half, one on hold, or one that nobody has; None
    where this one cannot be spoilt so."""
    place = draw.choice(list(shells))
    kind = next(p.kind for p in job.positions if p.name == place[0])
    way = draw.choice(["twice", "kind", "half", "held", "nobody"])
    other = {
        "twice": [key for at, key in shells.items() if at != place and key != shells[place]],
        "kind": [s.key for s in job.shells if s.kind != kind and s.wall_nm is not None],
        "half": [s.key for s in job.shells if s.half not in (place[1], "either") and s.wall_nm is not None],
        "held": [s.key for s in job.shells if s.hold is not None and s.wall_nm is not None],
        "nobody": [("no box", "no shell")],
    }[way]
    return {**shells, place: draw.choice(other)} if other else None


def test_a_plan_that_was_tampered_with_is_refused() -> None:
    """Whatever is wrong with one shell of a plan, it is refused, and the reason names a position or a shell."""
    draw, count = random.Random(5), 0
    for plan in plans(range(12), random_job, row_job):
        shells, housings = what_is_saved(plan)
        read = plan.plans[0].read
        for bad in filter(None, (spoilt(draw, read, shells) for _ in range(4 if shells else 0))):
            with pytest.raises(Contradiction) as refused:
                rebuilt(read, bad, housings)
            assert refused.value.faults
            count += 1
    assert count > 50


def test_what_is_gone_is_named() -> None:
    """A position, a shell or a housing of the plan that the job no longer has is named."""
    each = (plan for seed in range(20) for plan in plans([seed], moving_job))
    plan = next(p for p in each if what_is_saved(p)[1])
    shells, housings = what_is_saved(plan)
    read = plan.plans[0].read
    name, side = next(iter(shells))
    for bad, moved, told in (
        ({**shells, ("X9", "upper"): shells[name, side]}, housings, "X9: there is no such position any more"),
        (
            {**shells, (name, side): ("away", "7")},
            housings,
            f"{name}: its {side} shell away/7 is no longer in the files",
        ),
        (shells, {**housings, name: "X9"}, f"{name}: the housing X9 that moved there is gone"),
    ):
        with pytest.raises(Contradiction) as refused:
            rebuilt(read, bad, moved)
        assert told in refused.value.faults
