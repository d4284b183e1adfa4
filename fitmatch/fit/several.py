"""The moves of a proof that only several jobs need: most of them complete, and the largest of their spreads."""

from collections import Counter
from collections.abc import Iterable

from fitmatch.fit.bores import Pair
from fitmatch.fit.candidates import Kind
from fitmatch.fit.jobrows import complete_rows
from fitmatch.fit.program import exact_bound
from fitmatch.fit.search import Choice, Model, Search
from fitmatch.fit.solve import relax
from fitmatch.fit.sources import Listed
from fitmatch.fit.stopping import Stopped
from fitmatch.fit.terms import Terms


def most_complete(search: Search, level: str) -> None:
    """Prove how many of the jobs can have all their positions inside their limits at once, and keep it.

    Jobs are completed one after the other as far as that goes, which is quick and a plan to start from; multipliers
    give what no plan can exceed. Only what lies between needs a search over which jobs.
    """
    search.level = level
    (field,) = search.fields
    least, search.choice = _one_by_one(search, field)
    most = _complete_at_most(search, field)
    while least < most:
        search.complete = (least + most + 1) // 2
        try:
            found = search.feasible(field)
        except Stopped:
            search.complete = least
            raise Stopped(-most) from None
        if found is None:
            most = search.complete - 1
        else:
            search.choice, least = found, search.complete
    search.complete = least
    search.proved(least)


def _one_by_one(search: Search, field: list[Pair]) -> tuple[int, Choice]:
    """How many jobs are complete once each in turn was completed beside those before, where it can be."""
    done: list[Terms] = []
    fixed = 0  # jobs that are complete whatever is chosen
    choice = search.choice
    for terms in search.work:
        if not terms.may_be_complete:
            continue
        trial = Search(search.kind, search.stop)
        trial.limits, trial.fields = list(search.limits), [search.demanded]
        trial.take([*done, terms])
        seats = {bore.seat for bore in search.kind.seats if bore.terms in trial.work}
        trial.fields = [[*trial.kept, *(p for p in field if p.inside and p.bore.seat in seats)]]
        trial.require_full()
        if not any(bore.terms is terms for bore in search.kind.seats):
            fixed += 1
        elif {p.bore.seat for p in trial.fields[0]} >= seats:
            found = trial.feasible(trial.fields[0])
            if found is not None:
                done.append(terms)
                choice = found
    return len(done) + fixed, choice


def _complete_at_most(search: Search, field: list[Pair]) -> int:
    """What no plan can exceed, by the exact bound of a relaxation."""
    able = sum(terms.may_be_complete for terms in search.work)
    model = Model(search, field)
    complete = set(complete_rows(model.program, field, search.kind, 0))
    cost = [-(j in complete) for j in range(len(model.program.upper))]
    relaxed = relax(model.program, cost, search.stop)
    return able if relaxed is None else min(able, -exact_bound(model.program, cost, relaxed.multipliers).least)


def narrow_spreads(search: Search, level: str, slack: int = 0) -> None:
    """Prove the smallest largest spread of the jobs in work and keep it, widened by `slack`. Each job may lie where it
    likes."""
    search.level = level
    (field,) = search.fields
    best, least = _widest(search), _widest_at_least(search, field)
    before, middle = dict(search.spreads), best - 1  # most often nothing is left to gain
    while least < best:
        search.spreads = before | dict.fromkeys(search.work, middle)
        try:
            found = search.feasible(field)
        except Stopped:
            raise Stopped(least) from None
        if found is None:
            least = middle + 1
        else:
            search.choice = found
            best = _widest(search)
        middle = (least + best) // 2
    search.spreads = before | dict.fromkeys(search.work, best + slack)
    search.proved(best)


def widest_spread(pairs: Iterable[Pair]) -> int:
    """The largest spread of any job in these pairs."""
    found: dict[Terms, list[int]] = {}
    for p in pairs:
        found.setdefault(p.bore.terms, []).append(p.deviation_nm)
    return max((max(values) - min(values) for values in found.values()), default=0)


def complete_jobs(kind: Kind, choice: Choice) -> int:
    """How many jobs have every position of the kind inside its limits by this choice."""
    inside: Counter[Terms] = Counter()
    for p, times in choice.items():
        inside[p.bore.terms] += times * p.inside
    seats: Counter[Terms] = Counter()
    for seat in kind.seats:
        seats[seat.terms] += seat.count
    return sum(terms.may_be_complete and inside[terms] == seats[terms] for terms in kind.terms)


def _widest(search: Search) -> int:
    return widest_spread(p for p in search.choice if search.judged(p))


def _widest_at_least(search: Search, field: list[Pair]) -> int:
    """No plan of this field has a smaller largest spread: each job by itself spreads that much."""
    least = [0]
    for terms in search.work if search.must_fill else ():
        mine = [p for p in field if p.bore.terms is terms]
        may_be_outside = {p.bore.seat for p in mine if not p.counted}
        sure = [p for p in mine if p.bore.seat not in may_be_outside]
        if sure:
            positions = sum(bore.count for bore in {p.bore.seat: p.bore for p in sure}.values())
            least.append(min(width for _, width in Listed(sure).least_widths(positions)))
    return max(least)
