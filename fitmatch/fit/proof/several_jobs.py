"""The moves of a proof that only several jobs need: the most jobs complete, and the largest of their spreads."""

from bisect import bisect_right
from collections import Counter
from collections.abc import Sequence
from itertools import accumulate

from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.classes.demands import Terms
from fitmatch.fit.model.job_rows import complete_rows
from fitmatch.fit.model.order import ENGINES, SPREAD
from fitmatch.fit.model.pairs import Bounds, Choice, Model
from fitmatch.fit.proof.field.at_sight import most_filled
from fitmatch.fit.proof.field.pair_sources import Listed
from fitmatch.fit.proof.search import Search
from fitmatch.fit.solver.adapter import relax
from fitmatch.fit.solver.program import exact_bound
from fitmatch.fit.solver.stopping import Stopped

_FEW_WINDOWS = 4  # for each job; more are left to the solver


def most_complete(search: Search) -> None:
    """Prove how many of the jobs can have all their positions inside their limits at once, and keep it.

    The number of shells, and multipliers, give what no plan can exceed. Unless the plan in hand has as many, jobs are
    completed one after the other as far as possible, which is quick and gives a plan to start from. Only the numbers in
    between need a search over which jobs.
    """
    search.figure = ENGINES
    (field,) = search.fields
    least, most = -search.value(ENGINES), _at_most_by_shells(search, field)
    if least < most:
        most = min(most, _complete_at_most(search, field))
    if least < most:
        reached, choice = _one_by_one(search, field)
        if reached >= least:
            least, search.choice = reached, choice
    while least < most:
        middle = (least + most + 1) // 2
        try:
            found = search.feasible(field, search.bounds._replace(complete=middle))
        except Stopped:
            raise Stopped(-most) from None
        if found is None:
            most = middle - 1
        else:
            search.choice = found
            least = middle
    search.bounds = search.bounds._replace(complete=least)
    search.proved(least)


def _one_by_one(search: Search, field: list[Pair]) -> tuple[int, Choice]:
    """How many jobs are complete once each in turn has been completed beside those before, if possible."""
    done: list[Terms] = []
    fixed = 0  # jobs that are complete whatever is chosen
    choice = search.choice
    for terms in search.work:
        if terms in search.kind.incomplete:
            continue
        trial = Search(search.kind, search.stop, Bounds(search.bounds.limits), demanded=search.demanded)
        trial.take([*done, terms])
        seats = {bore.seat for bore in search.kind.seats if bore.terms in trial.work}
        inside = [*trial.kept, *(p for p in field if p.within_limits and p.bore.seat in seats)]
        if not any(bore.terms is terms for bore in search.kind.seats):
            fixed += 1
        elif {p.bore.seat for p in inside} >= seats:
            found = trial.feasible(inside, trial.filling(inside))
            if found is not None:
                done.append(terms)
                choice = found
    return len(done) + fixed, choice


def _at_most_by_shells(search: Search, field: list[Pair]) -> int:
    """What no plan can exceed, by the number of shells there are for all positions of the smallest jobs."""
    places = most_filled(field)
    seats = Counter[Terms]()
    for bore in search.kind.seats:
        seats[bore.terms] += bore.count
    able = sorted(seats[terms] for terms in search.work if terms not in search.kind.incomplete)
    return sum(total <= places for total in accumulate(able))


def _complete_at_most(search: Search, field: list[Pair]) -> int:
    """What no plan can exceed, by the exact bound of a relaxation."""
    able = sum(terms not in search.kind.incomplete for terms in search.work)
    model = Model(search.kind, field, search.bounds, search.stop)
    complete = set(complete_rows(model.program, field, search.kind, 0))
    cost = [-(j in complete) for j in range(len(model.program.upper))]
    relaxed = relax(model.program, cost, search.stop)
    return (
        able
        if relaxed is None
        else min(able, -exact_bound(model.program, cost, relaxed.multipliers, search.stop).least)
    )


def narrow_spreads(search: Search, slack: int = 0) -> None:
    """Prove the smallest largest spread of the jobs in work and keep it, widened by `slack`. The jobs' deviations need
    not be alike."""
    search.figure = SPREAD
    (field,) = search.fields
    best, least = search.value(SPREAD), _widest_at_least(search, field)
    middle = best - 1  # most often nothing is left to gain
    while least < best:
        try:
            found = _no_wider(search, field, middle)
        except Stopped:
            raise Stopped(least) from None
        if found is None:
            least = middle + 1
        else:
            search.choice = found
            best = search.value(SPREAD)
        middle = (least + best) // 2
    search.bounds = search.bounds.and_spreads(search.work, best + slack)
    search.proved(best)


def _no_wider(search: Search, field: list[Pair], most: int) -> Choice | None:
    """A plan from these pairs in which no job in work spreads more than this, or None if there is none."""
    each = [(terms, _windows(search, field, terms, most)) for terms in search.work]
    if any(len(windows) > _FEW_WINDOWS for _, windows in each):
        return search.feasible(field, search.bounds.and_spreads(search.work, most))
    return _in_windows(search, field, [(terms, windows) for terms, windows in each if windows])


def _windows(search: Search, field: list[Pair], terms: Terms, most: int) -> list[tuple[int, int]]:
    """The ranges of deviations of which each plan of a job that spreads no more keeps to one."""
    values = sorted({p.deviation_nm for p in field if p.bore.terms is terms and search.judged(p)})
    found: list[tuple[int, int]] = []
    for low in values:
        high = values[bisect_right(values, low + most) - 1]
        if not found or high > found[-1][1]:
            found.append((low, high))
    return found


def _in_windows(
    search: Search, field: list[Pair], windows: Sequence[tuple[Terms, list[tuple[int, int]]]]
) -> Choice | None:
    """A plan with each of these jobs in one of its windows, or None. That a window is of no use is mostly seen in a
    relaxation with one job in it, much less so with the jobs in any of theirs."""
    if not windows:
        return search.feasible(field)
    (terms, some), *others = windows
    for low, high in some:
        near = [p for p in field if p.bore.terms is not terms or not search.judged(p) or low <= p.deviation_nm <= high]
        if not search.fills_all(near, field):
            continue
        if search.out_of_reach(Model(search.kind, near, search.bounds, search.stop)):
            continue
        found = _in_windows(search, near, others)
        if found is not None:
            return found
    return None


def _widest_at_least(search: Search, field: list[Pair]) -> int:
    """No plan of this field has a smaller largest spread: some job by itself spreads that much."""
    least = [0]
    for terms in search.work:
        mine = [p for p in field if p.bore.terms is terms]
        may_be_outside = {p.bore.seat for p in mine if not p.counted}
        sure = [p for p in mine if p.bore.seat not in may_be_outside and search.bounds.fills(p.bore)]
        if sure:
            positions = sum(bore.count for bore in {p.bore.seat: p.bore for p in sure}.values())
            least.append(min(width for _, width in Listed(sure, search.stop).least_widths(positions)))
    return max(least)
