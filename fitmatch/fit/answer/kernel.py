"""One kind of a job, or of several that decide it together, solved as often as you like: read and sorted into classes
once."""

from collections.abc import Callable, Iterable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, replace
from functools import cached_property
from typing import TYPE_CHECKING

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.groups import choice_of, kind_for, placed, shares_placed, turns
from fitmatch.fit.model.naming import name_shells
from fitmatch.fit.model.order import (
    BOXES,
    QUALITY,
    SINGLES_FIRST,
    SLACK_NM,
    STRATEGIES,
    TRADE_OFFS,
    WITHIN_SLACK,
    Figure,
    Filled,
    Share,
    order_of,
    value,
)
from fitmatch.fit.proof.filling import Long, NoPlan
from fitmatch.fit.proof.levels import prove
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Proof
from fitmatch.records.job import Job, Rule
from fitmatch.records.keys import PositionKey, full_name
from fitmatch.records.parts import Position
from fitmatch.records.pools import TOGETHER

if TYPE_CHECKING:
    from fitmatch.fit.proof.few_pairs import Trial

_Variant = tuple[frozenset[str] | None, tuple[Rule, ...] | None]  # boxes and rules; None: those of the job


@dataclass(eq=False)
class Solved:
    """What was found and how far it is proven; the actual shells are chosen only when requested."""

    proof: Proof
    _place: Callable[[], tuple[Kind, list[Placement]]]
    _order: Sequence[Figure]
    _figures: Mapping[str, int] | None = None

    @cached_property
    def figures(self) -> Mapping[str, int]:
        """By level name and in level order, over all filled positions."""
        return self._figures or _figures(*self.placed, self._order)

    @cached_property
    def placed(self) -> tuple[Kind, list[Placement]]:
        """The placements, and the kind whose jobs have their positions, with the housings where they were put."""
        return self._place()

    @property
    def placements(self) -> list[Placement]:
        return self.placed[1]


class Kernel:
    """Solves one kind of a job, or of several jobs that hold the same shells, by levels 0 to 2.

    `moving`: housings may move where the rules let them. Of several jobs `priority` is as in `fitmatch.assign`.
    """

    def __init__(self, jobs: Job | Sequence[Job], kind: str, *, moving: bool = True, priority: str = TOGETHER) -> None:
        given = (jobs,) if isinstance(jobs, Job) else tuple(jobs)
        self._sorted = kind_for if moving else Kind
        self.kind = self._sorted(given, kind)
        self._priority = priority
        self._kinds: dict[_Variant, Kind] = {(None, None): self.kind}
        self._trials: dict[_Variant, Trial | None] = {}

    def solve(
        self,
        strategy: str = "target",
        *,
        slack_nm: int | None = None,
        target_nm: int | Mapping[str, int] | None = None,
        boxes: Iterable[str] | None = None,
        rules: Iterable[Rule] | None = None,
        ties: bool = False,
        stop: Stop | None = None,
        start: Sequence[Placement] = (),
        long: Long | None = None,
    ) -> Solved:
        """The best choice by levels 0 to 2, with `ties` by level 3 too; without, any of several equal plans may be
        given. `start`: a plan that leaves all housings where they are, to be no worse than. `long` is
        called with the window of |deviation| before what takes long.

        `target_nm`: for all positions, or by their names (JOB/POSITION where there are several jobs). `boxes`: shells
        are drawn from these alone. `rules` replace those of every job; they can only compare columns that the job's own
        rules compare. `strategy` may also be the order of a trade-off, which needs no limits. Raises ValueError for a
        strategy that is unknown or, for "even", lacks limits, for a target outside the limits of its position, and for
        boxes without a shell of a position that is locked in both halves.
        """
        if strategy not in (*TRADE_OFFS, SINGLES_FIRST):
            check_strategy(strategy, (p for job in self.kind.jobs for p in job.positions if p.kind == self.kind.name))
        slack_nm = default_slack(strategy) if slack_nm is None else slack_nm
        targets = {} if target_nm is None else _targets(self.kind, target_nm)
        opened, stop = None if boxes is None else frozenset(boxes), stop or Stop()
        variant = opened, None if rules is None else tuple(rules)
        kind = self._kind(variant)
        if strategy == "target" and not slack_nm and not ties:
            with suppress(Stopped):  # if stopped, the other way reports how far the proof got
                tried = self._try_out(variant, targets, stop)
                if tried is not None:
                    return tried
        kind = kind.with_targets(targets) if targets else kind
        work = turns(kind, self._priority)
        begun = choice_of(kind, start, kind.jobs) if start else None
        try:
            proven = prove(kind, strategy, slack_nm, stop, work, ties=ties, start=begun, long=long)
        except NoPlan:
            raise ValueError("what is locked in both halves cannot be drawn from these boxes") from None
        order = order_of(strategy, slack_nm, kind.bores, several=len(work[0]) > 1)
        figures = (*order.fit, *order.rest, *order.quality, *(order.ties if ties else ()))
        return Solved(proven.proof, lambda: placed(kind, proven.choice), figures)

    def _kind(self, variant: _Variant) -> Kind:
        if variant not in self._kinds:
            opened, rules = variant
            kind = self.kind
            if rules is not None:
                kind = self._sorted([replace(job, rules=rules) for job in kind.jobs], kind.name)
            self._kinds[variant] = kind if opened is None else kind.from_boxes([opened] * len(kind.jobs))
        return self._kinds[variant]

    def _try_out(self, variant: _Variant, targets: Mapping[PositionKey, int], stop: Stop) -> Solved | None:
        """The same for few pairs, if that is possible."""
        from fitmatch.fit.proof.few_pairs import trial_of

        kind = self._kinds[variant]
        order = order_of("target", 0, kind.bores)
        if variant not in self._trials:
            self._trials[variant] = trial_of(kind, stop)
        trial = self._trials[variant]
        found = trial and trial.best(targets)
        if not found:
            return None
        filled: list[Filled] = [*kind.fixed, *found.plan.values()]
        figures = {f.name: abs(value(f, [Share([(p, 1) for p in filled], None)])) for f in (*order.fit, *order.rest)}
        figures |= zip((figure.name for figure in QUALITY["target"]), found[:3], strict=True)
        aimed = kind.with_targets(targets) if targets else kind
        return Solved(Proof(), lambda: _placed(aimed, found.plan), (), figures)


def default_slack(strategy: str) -> int:
    return SLACK_NM if strategy in WITHIN_SLACK else 0


def check_strategy(strategy: str, positions: Iterable[Position]) -> None:
    """Raises ValueError where the strategy is unknown or these positions lack limits for it."""
    if strategy not in STRATEGIES:
        raise ValueError(f"unknown strategy {strategy!r}; choose one of {', '.join(STRATEGIES)}")
    if strategy == "even" and any(p.min_nm is None or p.max_nm is None for p in positions):
        raise ValueError("the strategy `even` needs min and max at every position: it uses no target")


def _figures(kind: Kind, placements: Sequence[Placement], order: Iterable[Figure]) -> dict[str, int]:
    shares, boxes = shares_placed(kind, placements), {shell.box for p in placements for shell in (p.upper, p.lower)}
    return {f.name: len(boxes) if f is BOXES else abs(value(f, shares)) for f in order}


def _targets(kind: Kind, target_nm: int | Mapping[str, int]) -> dict[PositionKey, int]:
    """The requested targets, by position."""
    mine = [(job, p) for job in kind.jobs for p in job.positions if p.kind == kind.name]
    named = {full_name((job.name, p.name)): (job, p) for job, p in mine}
    wanted = dict.fromkeys(named, target_nm) if isinstance(target_nm, int) else target_nm
    found: dict[PositionKey, int] = {}
    for name, nm in wanted.items():
        if name not in named:
            raise ValueError(f"there is no position {name!r} of kind {kind.name}")
        job, p = named[name]
        if not (p.min_nm is None or p.min_nm <= nm) or not (p.max_nm is None or nm <= p.max_nm):
            raise ValueError(f"the target of {name} is outside its limits")
        found[job.name, p.name] = nm
    return found


def _placed(kind: Kind, plan: Mapping[PositionKey, Pair]) -> tuple[Kind, list[Placement]]:
    """Actual shells for the pairs of a plan, by position, in a kind with the same classes as the pairs."""
    return kind, kind.fixed + name_shells(kind, [(p, plan[p.key]) for p in kind.positions if p.key in plan])
