"""Several jobs that draw on the same shells: against every plan there is, and by hand."""

import random
from collections.abc import Callable
from dataclasses import replace

import pytest
from made.jobs import STEP, TARGET, WALL, describe, make_job, make_position, make_shells, named
from made.pools import random_pool
from made.seeds import seeds
from oracles import oracle, pool_oracle
from oracles.rulebook import Rules

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.model import pairs as model
from fitmatch.fit.proof import filling, levels
from fitmatch.fit.proof.search import Search
from fitmatch.records.parts import Fit
from fitmatch.records.pools import Pool


def assert_best(pool: Pool, strategy: str, slack: int, priority: str, seed: object) -> None:
    """Every group has the figures of the best plan, ties included, and is called proven."""
    plan = best_plan(pool, strategy, slack_nm=slack, priority=priority)
    for answer in plan.groups:
        kind, members = answer.group.kind, answer.group.members
        jobs = [pool.jobs[i] for i in members]
        one_by_one = priority == "in-order"
        wanted = pool_oracle.best(jobs, kind, strategy, slack, turn_by_turn=one_by_one)
        sums = pool_oracle.found(plan, members, kind)
        if one_by_one:
            found = [pool_oracle.figures([job], kind, (one,)) for job, one in zip(jobs, sums, strict=True)]
        else:
            found = [pool_oracle.figures(jobs, kind, sums)]
        shown = "\n".join(map(describe, jobs))
        if strategy != "keep-sets":
            wanted, found = ([f._replace(boxes=0) for f in some] for some in (wanted, found))
        if one_by_one:  # ties are for all together
            assert sum(f.clearance for f in found) == sum(f.clearance for f in wanted), f"seed {seed}\n{shown}"
            assert sum(f.difference for f in found) == sum(f.difference for f in wanted), f"seed {seed}\n{shown}"
            wanted, found = ([f._replace(clearance=0, difference=0) for f in some] for some in (wanted, found))
        assert found == wanted, f"seed {seed}, {strategy}, {priority}, slack {slack}, {kind}\n{shown}"
        assert answer.proof.proven
        incomplete = pool_oracle.figures(jobs, kind, sums).incomplete
        assert answer.complete == len(jobs) - incomplete


@pytest.mark.parametrize("priority", ["together", "in-order"])
@pytest.mark.parametrize("strategy", ["target", "even", "keep-sets"])
@seeds(10, 40)
def test_pools_get_the_best_of_all_plans(seeds: list[int], strategy: str, priority: str) -> None:
    """Two or three tiny jobs have the figures of the best plan for all, or for one after the other."""
    for seed in seeds:
        rng = random.Random(f"pool {strategy} {priority} {seed}")
        pool = random_pool(rng, both_limits=strategy == "even")
        assert_best(pool, strategy, rng.choice([0, 0, STEP, 2 * STEP]), priority, seed)


# --- a part of the definition switched off --------------------------------------------------------------------------


def without_complete_engines(patch: pytest.MonkeyPatch) -> None:
    """As many positions as possible, whosever they are."""
    patch.setattr(filling, "most_complete", lambda *_: None)


def without_spreads(patch: pytest.MonkeyPatch) -> None:
    """The spread decides nothing."""
    patch.setattr(levels, "narrow_spreads", lambda *_: None)


def without_rows_for_spreads(patch: pytest.MonkeyPatch) -> None:
    """A spread once proven is forgotten."""
    honest = levels.narrow_spreads

    def forgetful(search: Search, *arguments: object) -> None:
        honest(search, *arguments)
        search.bounds = search.bounds._replace(spreads={})

    patch.setattr(levels, "narrow_spreads", forgetful)


def without_rows_for_engines(patch: pytest.MonkeyPatch) -> None:
    """A number of complete engines once proven is forgotten."""
    patch.setattr(model, "complete_rows", lambda *_: None)


def all_in_one_turn(patch: pytest.MonkeyPatch) -> None:
    """The engines named first come no sooner than others."""
    honest = Search.take
    patch.setattr(Search, "take", lambda self, _work: honest(self, self.kind.terms))


@pytest.mark.parametrize(
    ("switch", "strategy", "priority"),
    [
        (without_complete_engines, "target", "together"),
        (without_rows_for_engines, "target", "together"),
        (without_spreads, "even", "together"),
        (without_rows_for_spreads, "even", "together"),
        (without_rows_for_spreads, "even", "in-order"),
        (all_in_one_turn, "target", "in-order"),
        (all_in_one_turn, "keep-sets", "in-order"),
    ],
)
def test_what_is_switched_off_is_missed(
    switch: Callable[[pytest.MonkeyPatch], None], strategy: str, priority: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without this part some random pool is answered wrongly, and the comparison with all plans sees it."""
    switch(monkeypatch)
    with pytest.raises(AssertionError):
        for seed in range(2_000):
            rng = random.Random(f"switched {seed}")
            assert_best(random_pool(rng, both_limits=strategy == "even"), strategy, 0, priority, seed)


# --- by hand ---------------------------------------------------------------------------------------------------------


def engine(name: str, ideals: list[int], uppers: list[int], lowers: list[int], **more: object) -> object:
    """A job whose rods want walls of so many steps above the usual; a step either way is inside."""
    rods = [
        make_position(f"R{i}", 2 * WALL + TARGET + steps * STEP, min_nm=TARGET - STEP, max_nm=TARGET + STEP)
        for i, steps in enumerate(ideals, 1)
    ]
    shells = make_shells("upper", [WALL + u * STEP for u in uppers])
    shells += make_shells("lower", [WALL + v * STEP for v in lowers])
    shells = [replace(s, family="narrow-2") for s in shells]
    job = make_job(rods, shells, fits={"rod": Fit("rod", TARGET, family=("narrow-2",))}, **more)
    return named(job, name)


def test_a_complete_engine_comes_first() -> None:
    """Four positions can be filled in several ways; the one in which an engine is complete is chosen."""
    # Each lower fits one rod of B, the first two fit A's rods as well; B's last rod must stay empty in any case.
    uppers, lowers = [0, 0, 0, 0], [0, 20, 40, 60]
    first = engine("A", [0, 20], uppers, lowers, rules=Rules(wall_difference_nm=None))
    other = engine("B", [0, 20, 40, 60, 80], uppers, lowers, rules=Rules(wall_difference_nm=None))
    plan = best_plan(Pool((first, other)))
    assert plan.complete == ("A",) and plan.groups[0].complete == 1
    assert [len(one.placements) for one in plan.plans] == [2, 2]


def test_in_order_gives_the_first_engine_what_suits_it() -> None:
    """The engine named first is exactly on target, though both together would be nearer otherwise."""
    rules = Rules(wall_difference_nm=None)
    first, other = (engine(name, ideals, [0, 0], [0, 1], rules=rules) for name, ideals in (("A", [1]), ("B", [2])))
    together = best_plan(Pool((first, other)))
    assert together.groups[0].figures.worst_deviation_nm == STEP
    for jobs, wanted in (((first, other), [0, 2 * STEP]), ((other, first), [STEP, STEP])):
        plan = best_plan(Pool(jobs), priority="in-order")
        worst = [one.figures["rod"].worst_deviation_nm or 0 for one in plan.plans]
        placed = [p.deviation_nm for one in plan.plans for p in one.placements]
        assert (worst[0], abs(placed[0])) == (wanted[0], wanted[0]), placed


def test_engines_of_other_families_are_decided_apart() -> None:
    """Jobs that share no family for a kind form groups of their own, and one that shares with both links them."""
    rules = Rules(wall_difference_nm=None)
    first, other, link = (engine(name, [0], [0, 0, 0], [0, 0, 0], rules=rules) for name in "ABC")
    other = replace(other, fits={"rod": replace(other.fits["rod"], family=("wide-3",))})
    link = replace(link, fits={"rod": replace(link.fits["rod"], family=("wide-3", "narrow-2"))})
    apart = best_plan(Pool((first, other)))
    assert [(g.group.label, g.group.members) for g in apart.groups] == [("rod narrow-2", (0,)), ("rod wide-3", (1,))]
    assert apart.complete == ("A",) and not apart.plans[1].placements
    linked = best_plan(Pool((first, other, link)))
    assert [(g.group.label, g.group.members) for g in linked.groups] == [("rod", (0, 1, 2))]
    assert linked.complete == ("A", "C")


def test_the_spread_of_several_engines_is_the_largest_of_theirs() -> None:
    """Two engines that each have a single deviation have no spread, however different the two are."""
    rules = Rules(wall_difference_nm=None)
    first = engine("A", [1, 1], [0, 0, 0, 0], [0, 0, 0, 0], rules=rules)
    other = engine("B", [-1, -1], [0, 0, 0, 0], [0, 0, 0, 0], rules=rules)
    figures = best_plan(Pool((first, other))).groups[0].figures
    assert (figures.spread_nm, figures.worst_deviation_nm, figures.counted) == (0, STEP, 4)


def test_an_engine_with_nothing_inside_its_limits_has_no_spread() -> None:
    """It does not keep another from a smaller one."""
    rules = Rules(wall_difference_nm=None)
    first = engine("A", [0, 1], [1, 1, 2, 2], [0, 0, 0, 0], rules=rules)
    other = engine("B", [9], [1, 1, 2, 2], [0, 0, 0, 0], rules=rules)
    figures = best_plan(Pool((first, other)), "even").groups[0].figures
    assert (figures.spread_nm, figures.worst_deviation_nm, figures.counted) == (0, STEP, 2)


def test_baselines_of_pools() -> None:
    """Both baselines of all engines together are those of one file after the other, with the shells of all."""
    for seed in range(60):
        pool = random_pool(random.Random(f"baselines {seed}"))
        plan = best_plan(pool)
        for answer in plan.groups:
            kind, members = answer.group.kind, answer.group.members
            gone: set[tuple[str, str]] = set()
            filled = []
            for i in members:
                job = pool.jobs[i]
                left = replace(job, shells=tuple(s for s in job.shells if s.key not in gone))
                some = oracle.by_hand(left, kind)
                gone |= {s.key for _, pair in some for s in pair}
                filled.append(oracle.kind_figures(job, some))
            found = answer.baselines["by-hand"].figures
            for name in ("filled", "below", "shortfall_nm", "above", "excess_nm", "counted"):
                assert getattr(found, name) == sum(f[name] for f in filled), (seed, name)
            assert found.spread_nm == max((f["spread_nm"] for f in filled if f["counted"]), default=None)
