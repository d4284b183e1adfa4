"""Shells that are preferred: as many of them as the slack allows, and then the best plan with as many."""

import random
from dataclasses import replace

import pytest
from made.jobs import STEP, random_job
from made.seeds import seeds
from oracles import oracle
from oracles.all_plans import assert_best, assert_in_turn

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.proof import windows
from fitmatch.fit.proof.field import near_plans
from fitmatch.records.job import Job
from fitmatch.records.shelf.shelved import ShelvedShell

SLACKS = (0, STEP // 2, STEP, 3 * STEP)


def with_singles(rng: random.Random) -> Job:
    """A random job in which some shells are singles of the shelf."""
    job = random_job(rng)
    shelved = {s.key: shelved_shell(number, single=rng.random() < 0.4) for number, s in enumerate(job.shells)}
    return replace(job, shelved=shelved)


def shelved_shell(number: int, *, single: bool) -> ShelvedShell:
    return ShelvedShell(
        number,
        *(1, "box", str(number), "upper", "narrow-2", "", "", "", "", "", "", None, 0),
        measured_bare=False,
        off_nm=0,
        readings=(),
        day="",
        day_known=True,
        location="",
        hold="",
        note="",
        marks={},
        barred=None,
        single=single,
    )


@seeds(30, 150, 2)
def test_as_many_singles_as_the_slack_allows(seeds: list[int]) -> None:
    """No plan within the slack of the smallest worst deviation has more singles, and none with as many is better."""
    more = 0
    for seed in seeds:
        rng = random.Random(f"singles {seed}")
        job, slack_nm = with_singles(rng), rng.choice(SLACKS)
        plan = best_plan(job, prefer="singles", slack_nm=slack_nm)
        assert_best(job.preferring_singles(), plan, "singles", slack_nm, seed)
        assert not oracle.faults_of(plan), f"seed {seed}"
        usual = best_plan(job)
        singles = {key for key, one in (job.shelved or {}).items() if one.single}
        used = [
            sum(s.key in singles for p in some for s in (p.upper, p.lower))
            for some in (plan.placements, usual.placements)
        ]
        assert used[0] == sum(p.preferred for p in plan.placements)
        more += used[0] > used[1]
    assert 10 * more > len(seeds), "too few jobs in which preferring makes a difference"


@seeds(10, 40)
def test_narrowing_first_changes_nothing(seeds: list[int], monkeypatch: pytest.MonkeyPatch) -> None:
    """Where windows hold many pairs the search starts among few; the best plan stays the best plan."""
    monkeypatch.setattr(windows, "MANY_PAIRS", 0)
    monkeypatch.setattr(near_plans, "FEW_PAIRS", 1)
    for seed in seeds:
        rng = random.Random(f"narrow singles {seed}")
        job, slack_nm = with_singles(rng), rng.choice(SLACKS)
        assert_best(
            job.preferring_singles(), best_plan(job, prefer="singles", slack_nm=slack_nm), "singles", slack_nm, seed
        )


@seeds(6, 30)
def test_the_next_best_plans_follow_in_order(seeds: list[int]) -> None:
    """Alternatives keep to the same order: within the slack fewer singles come after more."""
    for seed in seeds:
        rng = random.Random(f"next singles {seed}")
        assert_in_turn(with_singles(rng), "singles", rng.choice(SLACKS), f"seed {seed}")


def test_what_cannot_be_preferred() -> None:
    """Only singles can be preferred, and only with the strategy `target`."""
    job = with_singles(random.Random(1))
    for strategy, prefer in (("target", "pairs"), ("keep-sets", "singles")):
        with pytest.raises(ValueError, match="preferred"):
            best_plan(job, strategy, prefer=prefer)
