"""Answers that were stopped early: what they say of what is not proven."""

import random

import pytest
from made.jobs import random_job
from made.stops import StopAfter

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.proof import levels
from fitmatch.fit.solver.stopping import Stopped


@pytest.mark.parametrize(
    "strategy",
    ["target", pytest.param("even", marks=pytest.mark.deep), pytest.param("keep-sets", marks=pytest.mark.deep)],
)
def test_bounds_hold_wherever_a_proof_is_stopped(strategy: str) -> None:
    """What an unproven answer says its level cannot be better than is no better than the proven answer has it."""
    seen = set()
    for seed in range(4):
        job = random_job(random.Random(f"stopped {seed}"), both_limits=True)
        best = best_plan(job, strategy)
        for times in range(0, 400, 7):
            plan = best_plan(job, strategy, stop=StopAfter(times))
            for kind, proof in plan.proofs.items():
                figures = best.figures[kind]
                known = {
                    "worst_deviation": figures.worst_deviation_nm,
                    "spread": figures.spread_nm,
                    "boxes": figures.boxes,
                }
                if proof.level in known and proof.bound is not None:
                    seen.add(proof.level)
                    assert proof.bound <= (known[proof.level] or 0), f"seed {seed}, {times}, {proof}"
    assert seen


def test_the_bound_of_another_figure_is_not_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """keep-sets looks at certain boxes at a time; what a stop there has proven of them is no bound of the whole."""

    def stopped(_: object) -> None:
        raise Stopped(2_039_000)

    monkeypatch.setattr(levels, "_ties", stopped)
    stopped_at = set()
    for seed in range(20):
        job = random_job(random.Random(f"stopped {seed}"), both_limits=True)
        plan = best_plan(job, "keep-sets")
        for kind, proof in plan.proofs.items():
            stopped_at.add(proof.level)
            assert proof.bound is None or proof.bound <= (plan.figures[kind].worst_deviation_nm or 0)
    assert "worst_deviation" in stopped_at
