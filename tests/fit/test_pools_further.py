"""Several jobs with wanted bands, bores in a row and housings that may move, each by its own rules: against every plan
there is."""

import random
from itertools import product
from typing import Any

import pytest
from made.jobs import describe, with_rules
from made.pools import further_pool
from made.seeds import seeds
from oracles import oracle, pool_oracle

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.pairs import Choice, Measure, Model
from fitmatch.fit.proof import search
from fitmatch.fit.proof.field import near_plans
from fitmatch.fit.proof.search import Search
from fitmatch.records.job import Job
from fitmatch.records.pools import Pool


def levels_0_to_2(figures: pool_oracle.Figures, strategy: str) -> tuple[object, ...]:
    """`keep-sets` without slack: no box is saved at the cost of the worst deviation."""
    places = pool_oracle.PLACES | {"keep-sets": ("worst", "boxes", "squares", "spread")}
    return figures.incomplete, figures.rest, *(getattr(figures, name) for name in places[strategy])


def with_one_side(job: Job) -> Job:
    same = dict.fromkeys(job.kinds, "same")
    return with_rules(job, movable=job.kinds, thick_half=same, thick_half_from_nm=0)


def assert_best(seeds: list[int], strategy: str, priority: str, *, one_sided: bool = False) -> int:
    """On levels 0 to 2 the plan is the best over every order of the housings and every choice of shells; returns in how
    many jobs housings moved. `one_sided`: each job lets them move, and has its thicker halves on one side."""
    moved = 0
    for seed in seeds:
        pool = further_pool(random.Random(f"further {strategy} {seed}"), both_limits=strategy == "even")
        if one_sided:
            pool = Pool(tuple(with_one_side(job) for job in pool.jobs))
        plan = best_plan(pool, strategy, slack_nm=0, priority=priority)
        for one in plan.plans:
            moved += one.moved_from is not None
        for answer in plan.groups:
            kind, members = answer.group.kind, answer.group.members
            jobs = [pool.jobs[i] for i in members]
            one_by_one = priority == "in-order"
            wanted = min(
                tuple(
                    levels_0_to_2(f, strategy)
                    for f in pool_oracle.best(list(housed), kind, strategy, 0, turn_by_turn=one_by_one)
                )
                for housed in product(*([so for so, _ in oracle.every_housing(job, kind)] for job in jobs))
            )
            sums = pool_oracle.found(plan, members, kind)
            found = (
                [pool_oracle.figures([job], kind, (one,)) for job, one in zip(jobs, sums, strict=True)]
                if one_by_one
                else [pool_oracle.figures(jobs, kind, sums)]
            )
            shown = "\n".join(map(describe, jobs))
            assert tuple(levels_0_to_2(f, strategy) for f in found) == wanted, f"seed {seed}, {kind}\n{shown}"
            assert answer.proof.proven
    return moved


@pytest.mark.parametrize("priority", ["together", "in-order"])
@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(36, 70)
def test_pools_obey_each_job_s_own_rules(seeds: list[int], strategy: str, priority: str) -> None:
    """The answer is the best of all plans."""
    moved = assert_best(seeds, strategy, priority)
    assert moved >= 7 * len(seeds) // 250, "too few housings move to tell"


@pytest.mark.parametrize("strategy", ["target", "even"])
@seeds(24, 60)
def test_plans_with_settled_housings_lead_to_the_best(
    seeds: list[int], strategy: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The answer is the best of all plans if even the smallest programs are begun like large ones, with the housings
    settled first, whether that finds a plan or not; one that is found is whole and in its field and its bounds."""
    tried: list[bool] = []
    begin = near_plans.Nearby.settled

    def seen(self: near_plans.Nearby, model: Model, field: list[Pair], *how: Any) -> tuple[int, Choice] | None:
        found = begin(self, model, field, *how)
        if any(p.bore.house is not None for p in field):
            tried.append(found is not None)
        if found is not None:
            assert found[1].keys() <= set(field)
            counts = {p.bore.seat: p.bore.count for p in field if p.bore.house is not None}
            assert all(sum(n for p, n in found[1].items() if p.bore.seat == at) == many for at, many in counts.items())
            for limit in self.bounds.limits:
                total = sum(limit.measure(p) * n for p, n in found[1].items())
                assert (limit.most is None or total <= limit.most) and (limit.least is None or total >= limit.least)
        return found

    monkeypatch.setattr(near_plans, "FEW_PAIRS", 1)
    monkeypatch.setattr(Model, "whole", lambda *_: None)  # small relaxations mostly are, large ones are not
    monkeypatch.setattr(near_plans.Nearby, "settled", seen)
    assert_best(seeds, strategy, "together")
    assert set(tried) == {True, False}, "too few to tell"


@pytest.mark.parametrize("strategy", ["target", "even"])
@seeds(40, 110)
def test_fields_proven_part_by_part_lead_to_the_best(
    seeds: list[int], strategy: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The answer is the best of all plans if even the smallest fields are parted by the sides of the thicker halves,
    whether the first part has the best plan or another one, or several have."""
    ends: set[tuple[bool, bool]] = set()
    prove = Search._part_by_part

    def seen(
        self: Search, parts: list[list[Pair]], measure: Measure, cutoff: int, *, known: bool
    ) -> tuple[int, list[Pair]] | None:
        found = prove(self, parts, measure, cutoff, known=known)
        if found is not None:
            ends.add((found[0] < cutoff, len({p.thick for p in found[1]} - {0}) > 1))
        return found

    monkeypatch.setattr(near_plans, "FEW_PAIRS", 1)
    monkeypatch.setattr(search, "PARTED", 1)
    monkeypatch.setattr(Search, "_tried", lambda *_, **__: None)
    monkeypatch.setattr(Model, "whole", lambda *_: None)  # small relaxations mostly are, large ones are not
    monkeypatch.setattr(Search, "_part_by_part", seen)
    assert_best(seeds, strategy, "together", one_sided=True)
    for both in zip(*ends, strict=True):
        assert set(both) == {True, False}, "too few to tell"
