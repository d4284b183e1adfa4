"""Candidates, model, proof, checked plan: which shell goes where, and that nothing better exists in these readings."""

from collections.abc import Iterable, Sequence
from dataclasses import replace
from typing import overload

from fitmatch.fit.baselines import as_boxed, by_hand, rules_broken_by
from fitmatch.fit.candidates import Kind, ready
from fitmatch.fit.checker import check
from fitmatch.fit.deciding import by_job, movable, shares_placed
from fitmatch.fit.guards import check_guard
from fitmatch.fit.kernel import Kernel, check_strategy, default_slack
from fitmatch.fit.order import SQUARES, STRATEGIES, WORST, order_of, value
from fitmatch.fit.reasons import Reasons, flags
from fitmatch.fit.stopping import Stop
from fitmatch.fit.worth import worth
from fitmatch.gauging.doubts import doubts_of
from fitmatch.gauging.formlimits import form_flags
from fitmatch.naturalorder import natural
from fitmatch.parts import Job, Shell
from fitmatch.plans import Baseline, KindFigures, Placement, Plan, Proof, Status, Unfilled, Worth, figures_of
from fitmatch.pools import (
    PRIORITIES,
    TOGETHER,
    Group,
    GroupAnswer,
    Pool,
    PoolPlan,
    figures_of_several,
    groups_of,
    is_complete,
)
from fitmatch.stages import now

__all__ = ["STRATEGIES", "Stop", "assign"]


@overload
def assign(
    jobs: Job,
    strategy: str = "target",
    *,
    slack_nm: int | None = None,
    stop: Stop | None = None,
) -> Plan: ...
@overload
def assign(
    jobs: Pool,
    strategy: str = "target",
    *,
    slack_nm: int | None = None,
    stop: Stop | None = None,
    priority: str = TOGETHER,
) -> PoolPlan: ...
def assign(
    jobs: Job | Pool,
    strategy: str = "target",
    *,
    slack_nm: int | None = None,
    stop: Stop | None = None,
    priority: str = TOGETHER,
) -> Plan | PoolPlan:
    """The best assignment of shells to positions, proven level by level and independently checked.

    `jobs` is one job, or a `Pool` as `fitmatch.read_jobs` makes it. `strategy` is "target", "even" or "keep-sets";
    `slack_nm` is how much of the strategy's first figure may be given up for the later ones (None: 0, for keep-sets
    2540 nm). With several jobs `priority` is "together" or "in-order": the first job comes before the second, and so
    on. A `stop` with a time limit may leave the proof incomplete: the plan then says so. Raises ValueError for a
    strategy that is unknown or, for "even", lacks limits, and InputError for a guard that leaves some position no
    clearance.
    """
    given = (jobs,) if isinstance(jobs, Job) else jobs.jobs
    if priority not in PRIORITIES:
        raise ValueError(f"unknown priority {priority!r}; known are {', '.join(PRIORITIES)}")
    check_strategy(strategy, (p for job in given for p in job.positions))
    check_guard(given)
    if slack_nm is None:
        slack_nm = default_slack(strategy)
    stop = stop or Stop()

    answers = [_Answer(job, strategy, slack_nm) for job in given]
    found = [_solve(given, group, answers, strategy, slack_nm, stop, priority) for group in groups_of(given)]
    used = {s.key for answer in answers for p in answer.placements for s in (p.upper, p.lower)}
    plans = tuple(answer.plan(used) for answer in answers)
    now("checking the answer")
    check(plans)
    if isinstance(jobs, Job):
        return plans[0]
    return PoolPlan(
        plans,
        tuple(g._replace(complete=sum(is_complete(plans[i], g.group.kind) for i in g.group.members)) for g in found),
        priority,
    )


def _solve(
    jobs: Sequence[Job],
    group: Group,
    answers: "Sequence[_Answer]",
    strategy: str,
    slack_nm: int,
    stop: Stop,
    priority: str,
) -> GroupAnswer:
    """Prove one group, hand each of its jobs what is its own, and say what was found for all."""
    mine = [jobs[i] for i in group.members]
    kernel = Kernel(mine, group.kind, moving=False, priority=priority)
    kind = kernel.kind

    def rank(found: tuple[Kind, list[Placement]]) -> tuple[int, ...]:
        """Of plans that are not proven: by levels 0 and 1, then the first figures of the strategy `target`; smaller is
        better."""
        shares = shares_placed(*found)
        each = [shares] if priority == TOGETHER else [[share] for share in shares]
        order = order_of("target", 0, several=len(each[0]) > 1, wishes=True)
        levels = [value(figure, turn) for turn in each for figure in (*order.fit, *order.rest)]
        return *levels, value(WORST, shares), value(SQUARES, shares)

    now(f"{group.label}: as boxed and by hand, for comparison")
    boxed, handmade = as_boxed(kind), by_hand(kind)
    solved = kernel.solve(strategy, slack_nm=slack_nm, ties=True, stop=stop)
    now(f"{group.label}: which very shells")
    found = solved.placed
    staying = None
    if movable(mine, group.kind):
        staying = by_job(*found)
        kernel = Kernel(mine, group.kind, priority=priority)
        solved = kernel.solve(strategy, slack_nm=slack_nm, ties=True, stop=stop)
        found = solved.placed if solved.proof.proven else min(found, solved.placed, key=rank)
    if not solved.proof.proven:  # stopped so early that a careful builder may be ahead
        found = min(found, (kind, handmade), key=rank)

    settled, chosen = found[0], by_job(*found)
    other = {"as-boxed": by_job(kind, boxed), "by-hand": by_job(kind, handmade)}
    for at, i in enumerate(group.members):
        stayed = None if staying is None or group.kind not in mine[at].rules.movable else figures_of(staying[at])
        answers[i].add(settled, at, chosen[at], solved.proof, {name: some[at] for name, some in other.items()}, stayed)
    baselines = {
        name: Baseline(
            figures_of_several(some),
            sum(rules_broken_by(t.job, part) for t, part in zip(kind.terms, some, strict=True)),
        )
        for name, some in other.items()
    }
    return GroupAnswer(group, 0, figures_of_several(chosen), solved.proof, baselines)


class _Answer:
    """The plan of one job, kind by kind."""

    def __init__(self, job: Job, strategy: str, slack_nm: int) -> None:
        self.placements: list[Placement] = []
        self._job = self._read = job
        self._strategy = strategy
        self._slack_nm = slack_nm
        self._proofs: dict[str, Proof] = {}
        self._worths: dict[str, Worth] = {}
        self._staying: dict[str, KindFigures] = {}
        self._reasons: dict[str, Reasons] = {}
        self._baselines: dict[str, dict[str, Baseline]] = {}

    def add(
        self,
        kind: Kind,
        at: int,
        best: Sequence[Placement],
        proof: Proof,
        others: dict[str, tuple[Placement, ...]],
        staying: KindFigures | None,
    ) -> None:
        """What was found for one kind, in which this job is the one `at`; `others`: what was chosen in other ways;
        `staying`: the best with no housing moved, where they may."""
        mine = kind.terms[at].job
        moved = {p.name: p for p in mine.positions if p.kind == kind.name}
        if any(p.housing is not None for p in moved.values()):
            forms = dict(self._job.measuring.position_forms)
            forms |= {name: mine.measuring.position_forms[name] for name in moved if name in forms}
            self._job = replace(
                self._job,
                positions=tuple(moved.get(p.name, p) for p in self._job.positions),
                measuring=replace(self._job.measuring, position_forms=forms),
            )
        if staying is not None:
            self._staying[kind.name] = staying
        job = self._job
        self.placements += best
        self._proofs[kind.name] = proof
        self._reasons[kind.name] = Reasons(job, kind)
        for name, placements in others.items():
            baseline = Baseline(figures_of(placements), rules_broken_by(job, placements))
            self._baselines.setdefault(name, {})[kind.name] = baseline
        now(f"{kind.name}: what to expect with the errors of the readings")
        expected = worth(job, best, others["by-hand"])
        if expected is not None:
            self._worths[kind.name] = expected

    def plan(self, used: set[tuple[str, str]]) -> Plan:
        """`used`: the shells that this job and others were given."""
        job, placements = self._job, self.placements
        order = {id(p): i for i, p in enumerate(job.positions)}
        placements.sort(key=lambda p: order[id(p.position)])
        by_key = {s.key: s for s in job.shells}
        placed = {id(p.position) for p in placements}
        locked = {lock for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
        away = used | job.reserved | locked
        now("doubts about readings")
        unproven = not all(proof.proven for proof in self._proofs.values())
        return Plan(
            job=job,
            strategy=self._strategy,
            status=Status.UNPROVEN if unproven else Status.PROVEN if placements else Status.NONE,
            placements=tuple(placements),
            unfilled=tuple(
                Unfilled(p, self._reasons[p.kind].why(p))
                for p in job.positions
                if id(p) not in placed and ready(p, by_key)
            ),
            figures={name: figures_of(tuple(p for p in placements if p.position.kind == name)) for name in job.kinds},
            proofs={name: self._proofs[name] for name in job.kinds},
            leftover=_on_the_shelf(
                s for s in job.shells if s.wall_nm is not None and s.hold is None and s.key not in away
            ),
            held=_on_the_shelf(s for s in job.shells if s.hold is not None),
            flags=(
                *flags(job, placements, lambda p: self._reasons[p.kind].why(p)),
                *form_flags(job, placements),
            ),
            baselines={name: {kind: kinds[kind] for kind in job.kinds} for name, kinds in self._baselines.items()},
            slack_nm=self._slack_nm,
            moved_from=None if job is self._read else self._read,
            staying=self._staying,
            worth={name: self._worths[name] for name in job.kinds if name in self._worths},
            doubts=doubts_of(self._read),
        )


def _on_the_shelf(shells: Iterable[Shell]) -> tuple[Shell, ...]:
    return tuple(sorted(shells, key=lambda s: (natural(s.box), natural(s.name))))
