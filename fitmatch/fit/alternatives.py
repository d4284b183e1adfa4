"""The next best plans: for one kind, the next values that its figures of levels 0 to 2 can have, one plan each.

Plans are ordered by their figures as words in a dictionary are by their letters. The next word after (a, b, c) keeps as
much of its beginning as it can: (a, b, more than c) if there is one, else (a, more than b, any), else (more than a,
any, any); and what is not kept is as small as it can be, figure by figure.
"""

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

from fitmatch.fit.candidates import Bore, Kind
from fitmatch.fit.checker import check_bores
from fitmatch.fit.levels import fill_all, square
from fitmatch.fit.naming import name_shells
from fitmatch.fit.regions import Figure, Ground, Region, Spread, Sum, Worst, ground_filled, ground_of_all
from fitmatch.fit.search import Choice, Search
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.fit.worth import standing
from fitmatch.parts import Alternative, Alternatives, Placement, Plan, figures_of

_FIT_AND_REST: Final[tuple[Figure, ...]] = (
    Sum(lambda p: -p.inside),
    Sum(lambda _: -1),
    Sum(lambda p: p.below),
    Sum(lambda p: p.shortfall_nm),
    Sum(lambda p: p.excess_nm),
)
_SQUARES: Final = Sum(square)
_TIES: Final = (Sum(lambda p: -p.clearance_nm), Sum(lambda p: p.difference_nm))


def with_alternatives(plan: Plan, count: int, stop: Stop) -> Plan:
    """The same plan with up to `count` next best ones of each kind, best first.

    A kind that is not proven has none: what is not known to be the best has no known next. Raises ValueError for the
    strategy "keep-sets".
    """
    if plan.strategy == "keep-sets":
        raise ValueError("alternatives are known for the strategies `target` and `even` only")
    found: dict[str, Alternatives] = {}
    for name, proof in plan.proofs.items():
        kind = Kind(plan.job, name)
        mine = [p for p in plan.placements if p.position.kind == name]
        found[name] = _alternatives(plan, kind, mine, count, stop) if proof.proven else Alternatives((), False)
    return replace(plan, alternatives=found)


def _alternatives(plan: Plan, kind: Kind, mine: list[Placement], count: int, stop: Stop) -> Alternatives:
    found: list[Alternative] = []
    complete = True
    try:
        order = _Order(kind, plan.strategy, plan.slack_nm, _choice(kind, mine), stop)
        while len(found) < count and complete:
            choice = order.next()
            if choice is None:
                break
            complete = not order.stopped
            placements = _in_file_order(plan, kind.fixed + name_shells(plan.job, kind, choice))
            check_bores(plan.job, placements)
            figures = figures_of(tuple(placements))
            against = standing(plan.job, placements, mine)
            found.append(Alternative(figures, tuple(placements), complete, against))
    except Stopped:
        complete = False
    return Alternatives(tuple(found), complete)


def _choice(kind: Kind, placements: Sequence[Placement]) -> Choice:
    """The plan as a choice of pairs; bores locked in both halves are not chosen."""
    class_of = {s.key: c for c in kind.classes for s in c.members}
    bores: dict[str, list[Bore]] = {}
    for bore in kind.bores:
        for position in bore.positions:
            bores.setdefault(position.name, []).append(bore)
    choice: Choice = Choice()
    for p in placements:
        if p.locked:
            continue
        classes = class_of[p.upper.key], class_of[p.lower.key]
        pairs = (pair for b in bores[p.position.name] for pair in kind.pairs(b, p.wall_sum_nm, p.wall_sum_nm))
        choice[next(pair for pair in pairs if (pair.upper, pair.lower) == classes)] += 1
    return choice


def _in_file_order(plan: Plan, placements: list[Placement]) -> list[Placement]:
    order = {p.name: i for i, p in enumerate(plan.job.positions)}
    return sorted(placements, key=lambda p: order[p.position.name])


class _Order:
    """Walks up the values that the figures of one kind can have, beginning at those of its best plan.

    A slack makes the first figure of level 2 count only as far as it goes beyond what the slack allows, and puts it
    last besides; what it allows depends on levels 0 and 1.
    """

    def __init__(self, kind: Kind, strategy: str, slack_nm: int, best: Choice, stop: Stop) -> None:
        self._kind = kind
        self._stop = stop
        self._even = strategy == "even"
        self._slack_nm = slack_nm
        search = Search(kind, stop)
        # Of use as long as levels 0 and 1 are the best there are.
        self._filled = ground_filled(search) if fill_all(search) else None
        self._everything: Ground | None = None
        self._figures: list[Figure] = [*_FIT_AND_REST]
        first = self._quality(0)[0]
        least = first.value(best)
        if slack_nm:
            ground, regions = self._kept(len(_FIT_AND_REST), [figure.value(best) for figure in _FIT_AND_REST])
            least = first.value(first.smallest(ground, regions, best)[0])
        self._figures += self._quality(least + slack_nm)
        self._values = [figure.value(best) for figure in self._figures]
        self.stopped = False  # the last plan may not be the very next

    def next(self) -> Choice | None:
        """The best of the plans with other figures that come later; None where there is none; raises Stopped."""
        for kept in reversed(range(len(self._figures))):
            ground, regions = self._kept(kept, self._values)
            regions = self._figures[kept].above(ground, regions, self._values[kept])
            found = ground.some_plan(regions)
            if found is not None:
                return self._best_of(ground, regions, found, kept)
        return None

    def _kept(self, count: int, values: list[int]) -> tuple[Ground, list[Region]]:
        """The plans whose first figures have these values."""
        done = 0
        if count >= len(_FIT_AND_REST) and self._filled is not None:
            ground, done = self._filled, len(_FIT_AND_REST)
        else:
            self._everything = self._everything or ground_of_all(self._kind, self._stop)
            ground = self._everything
        regions = ground.start
        for figure, value in zip(self._figures[done:count], values[done:count], strict=True):
            regions = figure.exactly(ground, regions, value)
        return ground, regions

    def _best_of(self, ground: Ground, regions: list[Region], found: Choice, kept: int) -> Choice:
        """The best plan of the regions by the figures from `kept` on; `found` is one of theirs."""
        fit_and_rest = len(_FIT_AND_REST)
        try:
            for figure in self._figures[kept:fit_and_rest]:
                found, regions = figure.smallest(ground, regions, found)
            if kept < fit_and_rest:
                self._filled = None
                first = self._quality(0)[0]
                least = first.value(first.smallest(ground, regions, found)[0])
                self._figures[fit_and_rest:] = self._quality(least + self._slack_nm)
            for figure in (*self._figures[max(kept, fit_and_rest) :], *_TIES):
                found, regions = figure.smallest(ground, regions, found)
        except Stopped:
            self.stopped = True
        self._values = [figure.value(found) for figure in self._figures]
        return found

    def _quality(self, forgiven: int) -> list[Figure]:
        """The figures of level 2 in their order; up to `forgiven` the first one does not count."""
        if self._even:
            return [Spread(forgiven), Worst(), _SQUARES, *([Spread()] if self._slack_nm else [])]
        return [Worst(forgiven), _SQUARES, Spread(), *([Worst()] if self._slack_nm else [])]
