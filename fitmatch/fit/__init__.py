"""Candidates, model, proof, checked plan: which shell goes where, and that nothing better exists in these readings."""

from collections.abc import Iterable

from fitmatch.fit.baselines import as_boxed, by_hand, rules_broken_by
from fitmatch.fit.candidates import Kind, ready
from fitmatch.fit.checker import check
from fitmatch.fit.guards import check_guard
from fitmatch.fit.levels import KEEP_SETS_SLACK_NM, STRATEGIES, prove
from fitmatch.fit.naming import name_shells
from fitmatch.fit.reasons import Reasons, flags
from fitmatch.fit.stopping import Stop
from fitmatch.fit.worth import worth
from fitmatch.naturalorder import natural
from fitmatch.parts import Baseline, Flag, Job, Placement, Plan, Proof, Shell, Status, Unfilled, Worth, figures_of

__all__ = ["STRATEGIES", "Stop", "assign"]


def assign(
    job: Job,
    strategy: str = "target",
    *,
    slack_nm: int | None = None,
    stop: Stop | None = None,
) -> Plan:
    """The best assignment of the job's shells to its positions, proven level by level and independently checked.

    `strategy` is "target", "even" or "keep-sets"; `slack_nm` is how much of the strategy's first figure may be given up
    for the later ones (None: 0, for keep-sets 2540 nm). A `stop` with a time limit may leave the proof incomplete:
    the plan then says so. Raises ValueError for a strategy that is unknown or, for "even", lacks limits, and
    InputError for a guard that leaves some position no clearance.
    """
    if strategy not in STRATEGIES:
        raise ValueError(f"unknown strategy {strategy!r}; known are {', '.join(STRATEGIES)}")
    if strategy == "even" and any(p.min_nm is None or p.max_nm is None for p in job.positions):
        raise ValueError("the strategy `even` needs min and max at every position: it knows no target by itself")
    check_guard(job)
    if slack_nm is None:
        slack_nm = KEEP_SETS_SLACK_NM if strategy == "keep-sets" else 0
    stop = stop or Stop()

    placements: list[Placement] = []
    proofs: dict[str, Proof] = {}
    worths: dict[str, Worth] = {}
    reasons: dict[str, Reasons] = {}
    baselines: dict[str, dict[str, Baseline]] = {"as-boxed": {}, "by-hand": {}}
    for name in job.kinds:
        kind = Kind(job, name)
        reasons[name] = Reasons(job, kind)
        boxed, handmade = as_boxed(job, kind), by_hand(job, kind)
        baselines["as-boxed"][name] = Baseline(figures_of(tuple(boxed)), rules_broken_by(job, boxed))
        baselines["by-hand"][name] = Baseline(figures_of(tuple(handmade)), rules_broken_by(job, handmade))
        proven = prove(job, kind, strategy, slack_nm, stop)
        assert proven is not None, "without a demand there is always a plan"
        proofs[name] = proven.proof
        best = kind.fixed + name_shells(job, kind, proven.choice)
        if not proven.proof.proven:  # stopped so early that a careful builder may be ahead
            best = min(best, handmade, key=_levels_0_and_1)
        placements += best
        expected = worth(job, best, handmade)
        if expected is not None:
            worths[name] = expected

    order = {p.name: i for i, p in enumerate(job.positions)}
    placements.sort(key=lambda p: order[p.position.name])
    by_key = {s.key: s for s in job.shells}
    placed = {p.position.name for p in placements}
    used = {s.key for p in placements for s in (p.upper, p.lower)}
    reserved = {lock for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
    unproven = not all(proof.proven for proof in proofs.values())
    plan = Plan(
        job=job,
        strategy=strategy,
        status=Status.UNPROVEN if unproven else Status.PROVEN if placements else Status.NONE,
        placements=tuple(placements),
        unfilled=tuple(
            Unfilled(p, reasons[p.kind].why(p)) for p in job.positions if p.name not in placed and ready(p, by_key)
        ),
        figures={name: figures_of(tuple(p for p in placements if p.position.kind == name)) for name in job.kinds},
        proofs=proofs,
        leftover=_on_the_shelf(
            s for s in job.shells if s.wall_nm is not None and s.hold is None and s.key not in used | reserved
        ),
        held=_on_the_shelf(s for s in job.shells if s.hold is not None),
        flags=(*flags(job, placements, lambda p: reasons[p.kind].why(p)), *_form_flags(job, placements)),
        baselines=baselines,
        slack_nm=slack_nm,
        worth=worths,
    )
    check(plan)
    return plan


def _levels_0_and_1(placements: list[Placement]) -> tuple[int, ...]:
    """Smaller is better."""
    figures = figures_of(tuple(placements))
    inside = sum(p.within_limits for p in placements)
    return -inside, -figures.filled, figures.below, figures.shortfall_nm, figures.excess_nm


def _form_flags(job: Job, placements: list[Placement]) -> Iterable[Flag]:
    if not job.measuring.form_limits:
        return ()
    from fitmatch.gauging.formlimits import form_flags

    return form_flags(job, placements)


def _on_the_shelf(shells: Iterable[Shell]) -> tuple[Shell, ...]:
    return tuple(sorted(shells, key=lambda s: (natural(s.box), natural(s.name))))
