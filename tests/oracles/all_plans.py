"""An answer held against every plan there is, as `oracle` has it: figures, proof, baselines and what comes next."""

from made.jobs import describe
from oracles import oracle

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.fit.beside.alternatives import with_alternatives
from fitmatch.fit.solver.stopping import Stop
from fitmatch.records.answers.plans import Plan, Status
from fitmatch.records.job import Job

COUNT = 4  # of alternatives


def assert_baselines(job: Job, plan: Plan, seed: int) -> None:
    """Both baselines are what the definition makes of them."""
    for kind in job.kinds:
        boxed, broken = oracle.as_boxed(job, kind)
        for name, filled, rules_broken in (("as-boxed", boxed, broken), ("by-hand", oracle.by_hand(job, kind), 0)):
            baseline = plan.baselines[name][kind]
            wanted = oracle.kind_figures(job, filled)
            found = {field: getattr(baseline.figures, field) for field in wanted}
            assert found == wanted, f"seed {seed}, {name}, {kind}\n{describe(job)}"
            assert baseline.rules_broken == rules_broken, f"seed {seed}, {name}, {kind}\n{describe(job)}"


def assert_best(job: Job, plan: Plan, strategy: str, slack_nm: int, seed: int) -> None:
    """Every kind of the plan has the figures of the best plan, ties included, and is called proven."""
    for kind in job.kinds:
        with_boxes = strategy == "keep-sets"
        found = oracle.levels_of(plan, kind, with_boxes=with_boxes)
        wanted = oracle.best(job, kind, strategy, slack_nm)
        assert found == wanted, f"seed {seed}, {strategy}, slack {slack_nm}, {kind}\n{describe(job)}"
        assert plan.proofs[kind].proven, f"seed {seed}: {kind} is not proven"
    assert plan.status is (Status.PROVEN if plan.placements else Status.NONE), f"seed {seed}"


def assert_in_turn(job: Job, strategy: str, slack_nm: int, what: str) -> None:
    """Each kind's alternatives have the figures that come next, one after another, and no more than there are."""
    best = best_plan(job, "target", slack_nm=slack_nm, prefer=strategy) if strategy == "singles" else None
    plan = with_alternatives(best or best_plan(job, strategy, slack_nm=slack_nm), COUNT, Stop())
    job = plan.plans[0].read
    for kind in job.kinds:
        wanted = oracle.in_turn(job, kind, strategy, slack_nm, COUNT + 1)
        assert oracle.levels_of(plan, kind, with_boxes=strategy == "keep-sets") == wanted[0]
        others = plan.alternatives[kind]
        assert others.complete
        sets = strategy == "keep-sets"
        found = [oracle.levels_of_bores(job, kind, a.placements, with_boxes=sets) for a in others.plans]
        assert found == [values._replace(moved=0) for values in wanted[1:]], (
            f"{what}, {strategy}, slack {slack_nm}, {kind}\n{describe(job)}"
        )
        for a in others.plans:
            assert a.proven
            pairs = [(p.position, oracle.Pair(p.upper, p.lower)) for p in a.placements]
            assert a.figures._asdict() == oracle.kind_figures(job, pairs)
            assert all(pair in set(oracle.possible_pairs(job, p)) for p, pair in pairs)
            assert len({p.housing or p.name for p, _ in pairs}) == len(pairs)
