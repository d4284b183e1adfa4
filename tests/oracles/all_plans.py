"""An answer held against every plan there is: figures, proof and both baselines, as `oracle` has them."""

from made.jobs import describe
from oracles import oracle

from fitmatch.records.job import Job
from fitmatch.records.plans import Plan, Status


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
