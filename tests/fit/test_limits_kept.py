"""Time limits on jobs that no limit suffices for: how soon work ends, and what is then in hand."""

import random
import time

import pytest
from hard_jobs import rods, stock
from made.jobs import make_job

from fitmatch.fit.answer.baselines import by_hand
from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.records.job import Job

LONGEST_S = 0.5  # of processor time from one question whether to stop to the next


class Watching(Stop):
    """Stops after so much processor time, and knows the longest time in which nobody asked."""

    def __init__(self, seconds: float) -> None:
        super().__init__()
        self.longest = 0.0
        self._end_of_it, self._asked = time.process_time() + seconds, time.process_time()

    def seconds_left(self) -> float:
        now = time.process_time()
        self.longest, self._asked = max(self.longest, now - self._asked), now
        if now >= self._end_of_it:
            raise Stopped
        return max(0.1, self._end_of_it - now)  # no solver works for longer than what is left


def lot(count: int, each: int) -> Job:
    """Every size another to the nanometre."""
    rng = random.Random(f"lot {count} {each}")
    return make_job(rods(rng, count, 1, width=20_000), stock(rng, each, 1, boxes=10), unit="mm")


@pytest.mark.parametrize(
    "strategy",
    ["target", pytest.param("even", marks=pytest.mark.deep), pytest.param("keep-sets", marks=pytest.mark.deep)],
)
def test_somebody_asks_all_the_time(strategy: str) -> None:
    """On 250 positions with a thousand shells of each half off the grid nobody works for long without asking whether to
    stop; what is then in hand is no worse than what is chosen by hand."""
    job, stop = lot(250, 1_000), Watching(1.5)
    start = time.process_time()
    plan = best_plan(job, strategy, stop=stop)
    assert stop.longest < LONGEST_S
    assert time.process_time() - start < 1.5 + 2 * LONGEST_S
    figures, hand = plan.figures["rod"], plan.baselines["by-hand"]["rod"].figures
    assert figures.filled == 250 and figures.counted >= hand.counted
    proof = plan.proofs["rod"]
    assert not proof.proven and proof.level is not None


def test_by_hand_is_there_before_any_limit() -> None:
    """With no time at all the plan is the one by hand, and that takes no look at every pair there is."""
    job = lot(500, 2_000)
    start = time.process_time()
    plan = best_plan(job, stop=Stop(0.0))
    assert time.process_time() - start < 4 * LONGEST_S
    assert list(plan.placements) == by_hand(Kind([job], "rod"))
    assert not plan.proven
