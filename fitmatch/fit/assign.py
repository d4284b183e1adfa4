"""Candidates, model, proof, checked plan: which shell goes where, and proof that these readings allow nothing
better."""

from collections.abc import Callable
from dataclasses import replace
from typing import Concatenate, ParamSpec

from fitmatch.fit.answer.best_plan import best_plan, preferring
from fitmatch.fit.model.order import STRATEGIES
from fitmatch.fit.solver.stopping import Stop
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.records.pools import TOGETHER, Pool

__all__ = ["STRATEGIES", "Stop", "assign"]
P = ParamSpec("P")


def assign(
    task: Job | Pool,
    strategy: str = "target",
    *,
    slack_nm: int | None = None,
    stop: Stop | None = None,
    priority: str = TOGETHER,
    alternatives: int = 0,
    explain: str | None = None,
    insist: tuple[str, str] | None = None,
    prefer: str | None = None,
) -> Plan:
    """The best assignment of shells to positions, proven level by level and independently checked, with the reasons of
    positions that are empty or outside their limits.

    `task` is one job, or a `Pool` as `fitmatch.read_jobs` makes it. `strategy` is "target", "even" or "keep-sets";
    `slack_nm` is how much worse the strategy's first figure may become to improve the later ones (None: 0, for
    keep-sets 2540 nm). With several jobs `priority` is "together" or "in-order": the first job comes before the second,
    and so on. A `stop` with a time limit may leave the proof incomplete: the plan then says so.

    With `prefer` "singles" as many single shells of the shelf are used as a worst deviation within the slack allows
    (None: 2540 nm).

    `alternatives`: how many next best plans of each kind to find as well. `explain` names a position to explain as
    well, JOB/POSITION with several jobs; `insist` adds the best plan in which it has these shells, upper and lower,
    NAME or BOX/NAME.

    Raises ValueError for a strategy that is unknown or, for "even", lacks limits, and for a position or shells that do
    not exist or cannot go together, and InputError for a guard that leaves some position no clearance. What fails its
    check beside the answer is left out and told in `faults`.
    """
    stop = stop or Stop()
    question = None
    if explain is not None:
        from fitmatch.fit.beside.explanations import asked

        question = asked(preferring(task, strategy, prefer), explain, insist)
    plan = best_plan(task, strategy, slack_nm=slack_nm, stop=stop, priority=priority, prefer=prefer)
    if plan.unfilled or not all(p.within_limits for p in plan.placements):
        from fitmatch.fit.why.conflicts import with_reasons

        plan = _beside(plan, "reasons", with_reasons, stop)
    if alternatives:
        from fitmatch.fit.beside.alternatives import with_alternatives

        plan = with_alternatives(plan, alternatives, stop)
    if question is not None:
        from fitmatch.fit.beside.explanations import explained

        plan = _beside(plan, f"explanation of {explain}", explained, question, stop)
    return plan


def _beside(
    plan: Plan, what: str, look: Callable[Concatenate[Plan, P], Plan], *more: P.args, **named: P.kwargs
) -> Plan:
    """The plan with what was looked into besides; a fault in that never takes the answer along."""
    try:
        return look(plan, *more, **named)
    except FaultInFitmatch as fault:
        return replace(plan, faults={**plan.faults, what: str(fault)})
