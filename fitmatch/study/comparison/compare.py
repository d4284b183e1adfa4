"""`compare`: the same job solved in other ways, for other targets, without its rules, from fewer boxes."""

from collections.abc import Sequence
from typing import Final

from fitmatch.facts import Fact
from fitmatch.fit.solver.stopping import Stop
from fitmatch.intake.bearings import check_running
from fitmatch.intake.pooling import names_of
from fitmatch.problems import NotPossible
from fitmatch.records.job import Job
from fitmatch.records.pools import Pool, groups_of
from fitmatch.study.comparison.boxes import box_rows
from fitmatch.study.comparison.compared import BY_STRATEGY, BoxesRow, Compared, LeftOut
from fitmatch.study.comparison.decision import Decision
from fitmatch.study.comparison.let_go import rule_rows
from fitmatch.study.comparison.plans import answers, check_limits, only, plan_rows
from fitmatch.study.comparison.targets import check_targets, target_rows
from fitmatch.study.comparison.trade_off import BOXES, SPREAD, trade_off
from fitmatch.study.film.films import check_extra

AGAINST: Final = (BOXES, SPREAD)


def compare(
    task: Job | Pool | Sequence[Job],
    *,
    kind: str | None = None,
    strategy: str = "target",
    targets_nm: Sequence[int] = (),
    rules: bool = False,
    boxes: bool = False,
    against: str | Sequence[str] = (),
    films: bool = False,
    stop: Stop | None = None,
) -> Compared:
    """The strategies and the baselines side by side and, where asked for, further tables.

    `task` is one job, a `Pool` of jobs that share their shells, or a list of jobs, each then answered as if it had its
    shells alone. `kind`: this kind only. `strategy`: of the plans that are shown position by position and, of several
    jobs, beside each other. `targets_nm`: aim every position at each of these in turn. `rules`: let each of the shop's
    own rules go in turn. `boxes`: what if only some boxes had been opened. `against`: the trade-off between the worst
    deviation and "boxes", "spread" or both in turn, exactly. `films`: the oil film of each plan beside it, of the kinds
    that have a [film] table. A `stop` with a time limit may leave proofs, and the further tables, incomplete.

    Raises ValueError for a kind that does not exist, for `even` where a kind lacks limits, for targets outside the
    limits of a position, and for one sweep of targets over kinds that aim at different things; InputError for what
    [film] lacks.
    """
    traded = tuple(dict.fromkeys([against] if isinstance(against, str) else against))
    if unknown := [figure for figure in traded if figure not in AGAINST]:
        raise ValueError(f"unknown trade-off {unknown[0]!r}; choose from {', '.join(AGAINST)}")
    if strategy not in BY_STRATEGY:
        raise ValueError(f"unknown strategy {strategy!r}; choose one of {', '.join(BY_STRATEGY)}")
    stop = stop or Stop()
    parts = [task] if isinstance(task, Job | Pool) else list(task)
    names = names_of([job.folder for part in parts for job in part.jobs]) if len(parts) > 1 else [""]
    if kind is not None:
        kinds = tuple(dict.fromkeys(name for part in parts for job in part.jobs for name in job.kinds))
        if kind not in kinds:
            raise NotPossible(Fact("no-kind", {"name": kind, "kinds": kinds}))
        parts = [only(part, [kind]) for part in parts]
    if strategy == "even":
        check_limits([job for part in parts for job in part.jobs])
    if targets_nm:
        check_targets([job for part in parts for job in part.jobs], targets_nm)
    if films:
        check_extra()
        called = [name or job.name for part, name in zip(parts, names, strict=True) for job in part.jobs]
        check_running(dict(zip(called, (job for part in parts for job in part.jobs), strict=True)))
    plans = [answers(part, stop) for part in parts]
    decisions = [
        [Decision(part.jobs, group, name, stop) for group in groups_of(part.jobs)]
        for part, name in zip(parts, names, strict=True)
    ]
    rows = [plan_rows(one, some, films=films) for mine, some in zip(decisions, plans, strict=True) for one in mine]
    every = [one for mine in decisions for one in mine]
    chosen = [row for one in every for row in box_rows(one)] if boxes else []
    return Compared(
        answers=tuple(some[strategy] for some in plans),
        names=tuple(name for name in names if name),
        plans=tuple(row for some in rows for row in some),
        targets=tuple(row for one in every for row in target_rows(one, targets_nm)) if targets_nm else None,
        rules=tuple(row for one in every for row in rule_rows(one)) if rules else None,
        boxes=tuple(row for row in chosen if isinstance(row, BoxesRow)) if boxes else None,
        left_out=tuple(row for row in chosen if isinstance(row, LeftOut)),
        trade_off=tuple(row for sort in traded for one in every for row in trade_off(one, sort)) if traded else None,
        films=films,
        complete=not any(one.cut_short for one in every),
    )
