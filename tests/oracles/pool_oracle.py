"""What "best" means for several jobs that share their shells, by looking at every plan there is.

As `oracle`, whose arithmetic and rules of one bore it uses: each bore is judged by its own job. Only for tiny jobs.
"""

from collections import Counter
from collections.abc import Callable, Sequence
from itertools import product
from typing import NamedTuple

from oracles import oracle
from oracles.oracle import Pair
from oracles.rulebook import rules_of

from fitmatch.records.answers import plans
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job

PLACES = {
    "target": ("worst", "squares", "spread"),
    "even": ("spread", "worst", "squares"),
    "keep-sets": ("worst", "boxes", "worst", "squares", "spread"),  # the first as far as it is beyond the slack
}


class Figures(NamedTuple):
    """Of one job or of several together; smaller is better but for `clearance`."""

    incomplete: int
    rest: tuple[int, ...]  # outside or empty, and so on to the excess over the wish
    worst: int
    squares: int
    spread: int
    boxes: int
    clearance: int
    difference: int


Plan = tuple["oracle._Sum", ...]  # one for each job


def figures(jobs: Sequence[Job], kind: str, plan: Plan) -> Figures:
    """Of these jobs together; the spread is the largest of theirs."""
    each = [oracle._levels(one) for one in plan]
    unmeasured = [any(p.kind == kind and not oracle.measured(job, p) for p in job.positions) for job in jobs]
    return Figures(
        sum(one.outside_or_empty > 0 or waits for one, waits in zip(each, unmeasured, strict=True)),
        tuple(map(sum, zip(*(one[:9] for one in each), strict=True))),
        max(one.worst_nm for one in each),
        sum(one.sum_squared_nm2 for one in each),
        max(one.spread_nm for one in each),
        len(frozenset().union(*(one.boxes for one in plan))),
        sum(one.clearance_nm for one in each),
        sum(one.wall_difference_nm for one in each),
    )


Demand = tuple[str, str, Callable[[Pair], bool]]  # a job and its position, and whether a pair will do there


def every_plan(jobs: Sequence[Job], kind: str, demand: Demand | None = None) -> set[Plan]:
    """The figures, job by job, of every plan of these jobs. `demand`: that fills this position with such a pair."""
    classes: dict[object, int] = {}
    stock: Counter[int] = Counter()
    class_of: dict[tuple[str, str], int] = {}
    reserved = set().union(*(oracle.locked_keys(job) for job in jobs))
    for s in jobs[0].shells:
        alike = (s.kind, s.half, s.wall_nm, s.marks, s.family, s.hold, s.box)
        number = classes.setdefault(s.key if s.key in reserved else alike, len(classes))
        stock[number] += 1
        class_of[s.key] = number
    nothing = oracle._Sum()
    reached = {((), (None,) * len(jobs), (oracle._Row(),) * len(jobs)): {(nothing,) * len(jobs)}}
    for i, job in enumerate(jobs):
        for p in job.positions:
            if p.kind != kind:
                continue
            if not oracle.measured(job, p):  # the two beside it are no neighbours
                parted = {}
                for (used, sides, rows), plans in reached.items():
                    now_rows = (*rows[:i], rows[i]._replace(neighbour=None), *rows[i + 1 :])
                    parted.setdefault((used, sides, now_rows), set()).update(plans)
                reached = parted
                continue
            choices = {oracle._EMPTY}
            for pair in oracle.possible_pairs(job, p):
                if demand is not None and demand[:2] == (job.name, p.name) and not demand[2](pair):
                    continue
                drawn = tuple(sorted(class_of[s.key] for s in pair))
                share = oracle._share(job, p, pair, True)
                choices.add(oracle._Choice(drawn, oracle.deciding_side(job, p, pair), share, oracle.axis(p, pair)))
            if demand is not None and demand[:2] == (job.name, p.name):
                choices.discard(oracle._EMPTY)
            if oracle.locked_twice(p) and len(choices) > 1:
                choices.discard(oracle._EMPTY)
            fresh: dict[object, set[Plan]] = {}
            for (used, sides, rows), plans in reached.items():
                for choice in choices:
                    row = oracle._row_with(job, kind, rows[i], choice.axis)
                    if row is None:
                        continue
                    if kind not in rules_of(job).neighbour_step_nm and kind not in rules_of(job).line_nm:
                        row = rows[i]
                    drawn = tuple(sorted(used + choice.drawn))
                    other = choice.side and sides[i] and choice.side != sides[i]
                    if other or any(drawn.count(number) > stock[number] for number in choice.drawn):
                        continue
                    now = (*sides[:i], sides[i] or choice.side, *sides[i + 1 :])
                    found = {(*plan[:i], oracle._added(plan[i], choice.share), *plan[i + 1 :]) for plan in plans}
                    fresh.setdefault((drawn, now, (*rows[:i], row, *rows[i + 1 :])), set()).update(found)
            reached = fresh
    return set().union(*reached.values())


def best(jobs: Sequence[Job], kind: str, strategy: str, slack: int, *, turn_by_turn: bool) -> list[Figures]:
    """The figures of the best plan, of each job where they come one by one, else of all together."""
    plans: dict[Plan, list[Figures]] = {}
    for plan in every_plan(jobs, kind):
        plans[plan] = [figures([job], kind, (one,)) for job, one in zip(jobs, plan, strict=True)]
    together = {plan: figures(jobs, kind, plan) for plan in plans}
    left = set(plans)
    for turn in range(len(jobs)) if turn_by_turn else [None]:
        scores = together if turn is None else {plan: plans[plan][turn] for plan in left}
        left = _best_of(left, scores, strategy, slack)
    loosest = max(together[plan].clearance for plan in left)
    evenest = min((together[plan].difference, plan) for plan in left if together[plan].clearance == loosest)[1]
    return plans[evenest] if turn_by_turn else [together[evenest]]


def first(
    jobs: Sequence[Job], kind: str, strategy: str, *, turn_by_turn: bool, demand: Demand
) -> tuple[object, ...] | None:
    """Levels 0 to 2 of the best plan that meets a demand, without slack; None where there is none."""
    every_order = product(*([so for so, _ in oracle.every_housing(job, kind)] for job in jobs))
    plans = set().union(*(every_plan(housed, kind, demand) for housed in every_order))
    return min((key_of(jobs, kind, strategy, plan, turn_by_turn=turn_by_turn) for plan in plans), default=None)


def key_of(jobs: Sequence[Job], kind: str, strategy: str, plan: Plan, *, turn_by_turn: bool) -> tuple[object, ...]:
    """Levels 0 to 2 in the order in which plans are compared without slack."""
    turns = [([job], (one,)) for job, one in zip(jobs, plan, strict=True)] if turn_by_turn else [(jobs, plan)]
    key: list[object] = []
    for some, part in turns:
        score = figures(some, kind, part)
        key += [score.incomplete, score.rest, *(getattr(score, name) for name in PLACES[strategy])]
    return tuple(key)


def sums_of(jobs: Sequence[Job], kind: str, placements: Sequence[Placement]) -> Plan:
    """The figures, job by job, of placements."""
    sums = []
    for job in jobs:
        total, placed = oracle._Sum(), {p.position.name: p for p in placements if p.position.job == job.name}
        for position in job.positions:
            if position.kind == kind and oracle.measured(job, position):
                p = placed.get(position.name)
                share = oracle._EMPTY.share
                if p is not None:
                    share = oracle._share(job, p.position, Pair(p.upper, p.lower), True)
                total = oracle._added(total, share)
        sums.append(total)
    return tuple(sums)


def in_turn(
    jobs: Sequence[Job], kind: str, strategy: str, slack: int, *, turn_by_turn: bool
) -> list[tuple[object, ...]]:
    """The values that levels 0 to 2 can have, best first: of each job in turn, else of all together. What the slack
    allows depends on the smallest first figure among plans that are alike in all that comes before."""
    every_order = product(*([so for so, _ in oracle.every_housing(job, kind)] for job in jobs))
    plans = set().union(*(every_plan(housed, kind) for housed in every_order))
    keys: dict[Plan, tuple[object, ...]] = dict.fromkeys(plans, ())
    for turn in range(len(jobs)) if turn_by_turn else [None]:
        some = jobs if turn is None else [jobs[turn]]
        scores = {plan: figures(some, kind, plan if turn is None else (plan[turn],)) for plan in plans}
        before = {plan: (*keys[plan], scores[plan].incomplete, scores[plan].rest) for plan in plans}
        allowed: dict[tuple[object, ...], int] = {}
        first = PLACES[strategy][0]
        for plan in plans:
            here = getattr(scores[plan], first) + slack
            allowed[before[plan]] = min(here, allowed.get(before[plan], here))
        for plan in plans:
            names = PLACES[strategy]
            values = [getattr(scores[plan], name) for name in names]
            keys[plan] = (*before[plan], max(values[0], allowed[before[plan]]), *values[1:], values[0])
    return sorted(set(keys.values()))


def _best_of(left: set[Plan], scores: dict[Plan, Figures], strategy: str, slack: int) -> set[Plan]:
    def least(name: str, most: int = 0) -> set[Plan]:
        smallest = min(getattr(scores[plan], name) for plan in left)
        if isinstance(smallest, int):
            smallest += most
        return {plan for plan in left if getattr(scores[plan], name) <= smallest}

    left = least("incomplete")
    left = least("rest")
    if strategy == "keep-sets":
        near = least("worst", slack)
        left = near
        left = least("boxes")
        order, slack = PLACES["target"], 0
    else:
        order = PLACES[strategy]
    left = least(order[0], slack)
    for name in (*order[1:], order[0]):
        left = least(name)
    return left


def found(plan: plans.Plan, members: Sequence[int], kind: str) -> Plan:
    """The same for a given plan, from its shells alone."""
    sums = []
    for i in members:
        job, total = plan.plans[i].job, oracle._Sum()
        placed = {p.position.key: p for p in plan.plans[i].placements}
        for position in job.positions:
            if position.kind == kind and oracle.measured(job, position):
                p = placed.get(position.key)
                share = oracle._EMPTY.share if p is None else oracle._share(job, position, Pair(p.upper, p.lower), True)
                total = oracle._added(total, share)
        sums.append(total)
    return tuple(sums)
