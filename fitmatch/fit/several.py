"""The moves of a proof that only several jobs need: most of them complete, and the largest of their spreads."""

from collections import Counter
from collections.abc import Iterable

from fitmatch.fit.candidates import Pair
from fitmatch.fit.search import Listed, Search
from fitmatch.fit.stopping import Stopped
from fitmatch.fit.terms import Terms


def most_complete(search: Search, level: str) -> None:
    """Prove how many of the jobs in work can have all their positions inside their limits at once, and keep it."""
    search.level = level
    (field,) = search.fields
    least, most = 0, sum(terms.may_be_complete for terms in search.work)
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


def complete_jobs(search: Search) -> int:
    """How many jobs have every position of the kind inside its limits by the plan in hand."""
    inside: Counter[Terms] = Counter()
    for p, times in search.choice.items():
        inside[p.bore.terms] += times * p.inside
    seats: Counter[Terms] = Counter()
    for seat in search.kind.seats:
        seats[seat.terms] += seat.count
    return sum(terms.may_be_complete and inside[terms] == seats[terms] for terms in search.kind.terms)


def _widest(search: Search) -> int:
    return widest_spread(p for p in search.choice if search.judged(p))


def _widest_at_least(search: Search, field: list[Pair]) -> int:
    """No plan of this field has a smaller largest spread: each job by itself spreads that much."""
    least = [0]
    for terms in search.work if search.must_fill else ():
        mine = [p for p in field if p.bore.terms is terms]
        may_be_outside = {p.bore.seat for p in mine if not p.inside}
        sure = [p for p in mine if p.bore.seat not in may_be_outside]
        if sure:
            positions = sum(bore.count for bore in {p.bore.seat: p.bore for p in sure}.values())
            least.append(min(width for _, width in Listed(sure).least_widths(positions)))
    return max(least)
