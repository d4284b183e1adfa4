"""The best plan: each group of jobs is proven by itself, its jobs get their shares, and everything is checked."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import Final, NamedTuple

from fitmatch.facts import Fact
from fitmatch.fit.answer.baselines import as_boxed, by_hand, rules_broken_by
from fitmatch.fit.answer.checker import check
from fitmatch.fit.answer.expected import worth
from fitmatch.fit.answer.kernel import Kernel, check_strategy, default_slack
from fitmatch.fit.answer.one_box import one_box
from fitmatch.fit.answer.stopped import Early, best_of, left_open
from fitmatch.fit.answer.strays import strays
from fitmatch.fit.classes.candidates import Kind, ready
from fitmatch.fit.classes.guards import check_guard
from fitmatch.fit.model.groups import by_job, movable, placed, shares_placed
from fitmatch.fit.model.order import ENGINES, SINGLES_FIRST, value
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.fit.why.arithmetic import Reasons, flags
from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.gauging.sizes.form_limits import form_flags
from fitmatch.names import natural
from fitmatch.records.answers.doubted import but_of_held
from fitmatch.records.answers.placements import KindFigures, Placement, figures_of, figures_of_several
from fitmatch.records.answers.plans import Baseline, GroupAnswer, JobPlan, Plan, Stray, Unfilled, Worth
from fitmatch.records.housings import with_housings
from fitmatch.records.job import Job
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import Position, Shell
from fitmatch.records.pools import PRIORITIES, TOGETHER, Group, Pool, groups_of
from fitmatch.rules.positions.movable import is_movable
from fitmatch.stages import go_on, now

# Positions and shells of a job that is looked through for mistakes in any case: before anybody could wait for it.
_FEW: Final = 2_000


def best_plan(
    task: Job | Pool,
    strategy: str = "target",
    *,
    slack_nm: int | None = None,
    stop: Stop | None = None,
    priority: str = TOGETHER,
    prefer: str | None = None,
    expected: bool = True,
) -> Plan:
    """The plan that `fitmatch.assign` gives, without reasons and whatever else is added afterwards; `expected`: with
    what to expect of it once the errors of the readings are included."""
    jobs = preferring(task, strategy, prefer)
    way = prefer or strategy
    if priority not in PRIORITIES:
        raise ValueError(f"unknown priority {priority!r}; choose one of {', '.join(PRIORITIES)}")
    check_strategy(strategy, (p for job in jobs for p in job.positions))
    check_guard(jobs)
    if slack_nm is None:
        slack_nm = default_slack(way)
    stop = stop or Stop()

    now("doubts about readings")
    # Before the search: whoever stops it does not wait for them.
    doubts = [doubts_in_time(job, stop) for job in jobs]
    searching = not stop.is_due
    found = [_solve(jobs, group, way, slack_nm, stop, priority) for group in groups_of(jobs)]
    astray = list(strays(jobs))
    plans = tuple(
        _job_plan(
            job,
            [share for _, shares in found for share in shares if share.at == at],
            tuple(stray for whose, stray in astray if whose == at),
            doubts[at],
            # Of a plan by hand there is nothing that could have been chosen for its errors.
            expected=expected and searching,
        )
        for at, job in enumerate(jobs)
    )
    if len(plans) > 1:
        plans = _waiting(plans, [answer.group for answer, _ in found])
    used = {s.key for one in plans for p in one.placements for s in (p.upper, p.lower)}
    used |= {lock for job in jobs for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
    shells = jobs[0].shells
    plan = Plan(
        plans,
        tuple(answer for answer, _ in found),
        strategy,
        leftover=_on_the_shelf(s for s in shells if s.wall_nm is not None and s.hold is None and s.key not in used),
        held=_on_the_shelf(s for s in shells if s.hold is not None),
        slack_nm=slack_nm,
        priority=priority,
        prefer=prefer,
    )
    now("checking the answer")
    check(plan)
    return plan


def preferring(task: Job | Pool, strategy: str, prefer: str | None) -> tuple[Job, ...]:
    """The jobs with the shells marked that come first; raises ValueError where that is not possible."""
    if prefer is None:
        return task.jobs
    if prefer != SINGLES_FIRST or strategy != "target" or len(task.jobs) > 1:
        raise ValueError(f"singles can be preferred in one job, with the strategy `target`; not {prefer!r} here")
    return (task.jobs[0].preferring_singles(),)


def doubts_in_time(job: Job, stop: Stop) -> tuple[Doubt, ...] | None:
    """The open doubts of a job; None if time ran out before all its readings were looked through."""
    few = len(job.positions) + len(job.shells) <= _FEW
    try:
        return but_of_held(job, doubts_of(job, go_on if few else stop.seconds_left))
    except Stopped:
        return None


class _Share(NamedTuple):
    """One job's share of a group, the job being number `at`: its placements, chosen among those of `kind`, and those by
    hand; `staying`: the best with no housing moved, if they may move."""

    at: int
    kind: Kind
    job: Job  # with the housings of the kind where they were put
    placements: tuple[Placement, ...]
    by_hand: tuple[Placement, ...]
    staying: KindFigures | None


def _solve(
    jobs: Sequence[Job], group: Group, strategy: str, slack_nm: int, stop: Stop, priority: str
) -> tuple[GroupAnswer, list[_Share]]:
    """Prove one group: the answer, and each job's share of it."""
    mine = [jobs[i] for i in group.members]
    kernel = Kernel(mine, group.kind, moving=False, priority=priority)
    kind = kernel.kind

    now(f"{group.label}: as boxed and by hand, for comparison")
    boxed, handmade = as_boxed(kind), by_hand(kind)
    stop.has_answer = True
    early = Early(kind, handmade, stop)
    solved = kernel.solve(strategy, slack_nm=slack_nm, ties=True, stop=stop, long=early.look if early.open else None)
    now(f"{group.label}: choosing the actual shells")
    found = solved.placed
    staying: dict[str, KindFigures] = {}  # by the names of jobs
    others = [(kind, handmade)]  # to be no worse than, where the search is stopped
    if movable(mine, group.kind):
        stayed = zip(mine, by_job(*found), strict=True)
        staying = {job.name: figures_of(some) for job, some in stayed if is_movable(job, group.kind)}
        kernel = Kernel(mine, group.kind, priority=priority)
        solved = kernel.solve(strategy, slack_nm=slack_nm, ties=True, stop=stop, start=found[1])
        others.append(found)
        found = solved.placed
    proof = solved.proof
    if not proof.proven:
        if early.choice is not None:
            others.append(placed(kind, early.choice))
        found = best_of([found, *others], strategy, slack_nm, priority)
        if priority == TOGETHER or len(mine) == 1:
            proof = left_open(proof, found, strategy, slack_nm)

    settled, chosen = found[0], by_job(*found)
    simple = {"as-boxed": by_job(kind, boxed), "by-hand": by_job(kind, handmade)}
    baselines = {
        name: Baseline(figures_of_several(some), sum(map(rules_broken_by, mine, some))) for name, some in simple.items()
    }
    complete = -value(ENGINES, shares_placed(*found))
    single = one_box(kernel.kind, found, stop) if strategy == "target" and proof.proven else ()
    answer = GroupAnswer(group, complete, figures_of_several(chosen), proof, baselines, tuple(single))
    shares = [
        _Share(at, settled, job, own, hand, staying.get(job.name))
        for at, job, own, hand in zip(group.members, settled.jobs, chosen, simple["by-hand"], strict=True)
    ]
    return answer, shares


def _job_plan(
    read: Job,
    shares: Sequence[_Share],
    astray: tuple[Stray, ...],
    doubts: tuple[Doubt, ...] | None,
    *,
    expected: bool,
) -> JobPlan:
    """What one job is given, from its shares of all its kinds; `astray`: its shells that no position takes."""
    rows = {p.name: p for p in read.positions}
    housings = {p.name: rows[p.housing] for share in shares for p in share.job.positions if p.housing is not None}
    job = with_housings(read, housings)
    given = {p.position.key: p for share in shares for p in share.placements}
    placements = tuple(given[p.key] for p in job.positions if p.key in given)
    by_key = {s.key: s for s in job.shells}
    reasons = {share.kind.name: Reasons(job, share.kind) for share in shares}

    def why(position: Position) -> Fact:
        return reasons[position.kind].why(position)

    worths: dict[str, Worth] = {}
    for share in shares if expected else ():
        now(f"{share.kind.name}: what to expect with the errors of the readings")
        found = worth(job, share.placements, share.by_hand)
        if found is not None:
            worths[share.kind.name] = found
    return JobPlan(
        job,
        placements,
        tuple(Unfilled(p, why(p)) for p in job.positions if p.key not in given and ready(p, by_key)),
        flags=(*flags(job, placements, why), *form_flags(job, placements)),
        worth=worths,
        doubts=doubts or (),
        looked_through=doubts is not None,
        moved_from=None if job is read else read,
        staying={share.kind.name: share.staying for share in shares if share.staying is not None},
        strays=astray,
    )


def _waiting(plans: Sequence[JobPlan], groups: Sequence[Group]) -> tuple[JobPlan, ...]:
    """Each plan with the jobs that share a kind with it and are not ready in it: what they lack may change it too."""
    waits: list[dict[str, tuple[str, ...]]] = [{} for _ in plans]
    for g in groups:
        late = [i for i in g.members if not plans[i].is_ready(g.kind)]
        for i in g.members:
            if others := tuple(plans[j].job.name for j in late if j != i):
                waits[i][g.kind] = others
    return tuple(replace(one, waits_for=some) for one, some in zip(plans, waits, strict=True))


def _on_the_shelf(shells: Iterable[Shell]) -> tuple[Shell, ...]:
    return tuple(sorted(shells, key=lambda s: (natural(s.box), natural(s.name))))
