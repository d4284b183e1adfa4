"""The next best plans: for one kind, the next values that its figures of levels 0 to 2 can have, one plan each.

Plans are ordered by their figures as words in a dictionary are by their letters. The next word after (a, b, c) keeps as
much of its beginning as it can: (a, b, more than c) if there is one, else (a, more than b, any), else (more than a,
any, any); and what is not kept is as small as it can be, figure by figure.
"""

from collections.abc import Iterable, Sequence
from dataclasses import replace

from fitmatch.fit.answer.checker import check_bores
from fitmatch.fit.answer.expected import standings
from fitmatch.fit.beside.next_values import Walk, walk
from fitmatch.fit.beside.regions import Ground, Region, ground_filled, ground_of_all
from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.groups import Decided, by_job, choice_of, decided, kind_for, placed, shares_placed, turns
from fitmatch.fit.model.order import ENGINES, WISH, Figure, Order, Unit, order_of, value
from fitmatch.fit.model.pairs import Choice, Work
from fitmatch.fit.proof.filling import fill_at_best
from fitmatch.fit.proof.search import Search
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.answers.placements import Placement, figures_of_several
from fitmatch.records.answers.plans import Alternatives, OtherPlan, Plan
from fitmatch.records.job import Job


def with_alternatives(plan: Plan, count: int, stop: Stop) -> Plan:
    """The same answer with up to `count` next best plans of each kind, best first; several jobs have them for each kind
    as decided together.

    A kind that is not proven has none: without a proven best the next best is unknown. One that fails its check is
    told among the faults, and those before it stand.
    """
    found: dict[str, Alternatives] = {}
    faults = dict(plan.faults)
    for one in decided(plan):
        found[one.label], fault = _alternatives(one, count, stop) if one.proof.proven else (Alternatives((), False), "")
        if fault:
            faults[f"alternatives of {one.label}"] = fault
    return replace(plan, alternatives=found, faults=faults)


def _alternatives(one: Decided, count: int, stop: Stop) -> tuple[Alternatives, str]:
    """What was found, and the fault that ended it, if one did."""
    found: list[OtherPlan] = []
    complete, fault = True, ""
    try:
        order = _Order(one, stop)
        while len(found) < count and complete:
            choice = order.next()
            if choice is None:
                break
            complete = not order.stopped
            found.append(other_plan(one, order.kind, choice, proven=complete))
    except Stopped:
        complete = False
    except FaultInFitmatch as error:
        complete, fault = False, str(error)
    return Alternatives(tuple(found), complete), fault


def other_plan(one: Decided, kind: Kind, choice: Choice, *, proven: bool) -> OtherPlan:
    """A choice of this kind's pairs as a plan beside the answer, checked."""
    settled, placements = placed(kind, choice)
    split = by_job(settled, placements)
    check_bores(settled.jobs, one.jobs, split)
    complete = -value(ENGINES, shares_placed(settled, placements))
    return _set_beside(one, settled.jobs, split, complete, proven=proven)


def the_answer(one: Decided) -> OtherPlan:
    """The answer itself, where it is the plan asked for."""
    answer = next(g for g in one.plan.groups if g.group.label == one.label)
    return _set_beside(one, one.final, one.placements, answer.complete, proven=one.proof.proven)


def _set_beside(
    one: Decided, jobs: Sequence[Job], split: Sequence[Sequence[Placement]], complete: int, *, proven: bool
) -> OtherPlan:
    return OtherPlan(
        figures_of_several(split),
        complete if len(one.jobs) > 1 else None,
        tuple(p for some in split for p in some),
        proven,
        standings(jobs, [split, one.placements])[0, 1],
    )


# Naming cannot bring the halves of a bore from one box if boxes are kept apart.
_TOGETHER = Figure("bores_from_two_boxes", Unit.COUNT, measure=lambda p: int(p.filled and p.upper.box != p.lower.box))


class _Order:
    """Walks up the values that the figures of one kind can have, starting at those of its best plan.

    With a slack, the first figure of level 2 counts only as far as it exceeds what the slack allows, and comes again in
    full later; what the slack allows depends on the figures before.
    """

    def __init__(self, one: Decided, stop: Stop) -> None:
        self.kind = kind_for(one.jobs, one.kind, by_box=one.plan.strategy == "keep-sets")
        self.stopped = False  # the last plan may not be the next one
        self._stop = stop
        self._strategy, self._slack_nm = one.plan.way, one.plan.slack_nm
        self._figures: list[Walk] = []
        self._quality: dict[int, Work] = {}  # where the figures of level 2 start, and whose jobs they are
        for work in turns(self.kind, one.plan.priority):
            order = self._order(work)
            self._figures += self._walks((*order.fit, *order.rest), work)
            self._quality[len(self._figures)] = work
            self._figures += self._walks(order.quality, work)
        self._everything: Ground | None = None
        # Useful as long as this many figures are at their best: those of levels 0 and 1, of all jobs at once.
        self._filled: Ground | None = None
        self._filled_figures = min(self._quality) if len(self._quality) == 1 else len(self._figures) + 1
        self._try_to_fill()
        self._values: list[int] = []
        self._take(choice_of(self.kind, one.by_place().values(), one.final))

    def next(self) -> Choice | None:
        """The best of the plans with other, later figures; None if there is none; raises Stopped."""
        for kept in reversed(range(len(self._figures))):
            ground, regions = self._kept(kept)
            regions = self._figures[kept].above(ground, regions, self._values[kept])
            found = ground.some_plan(regions)
            if found is not None:
                return self._best_of(ground, regions, found, kept)
        return None

    def _try_to_fill(self) -> None:
        if len(self._quality) > 1:
            return
        wishes = len(WISH) if any(bore.wishes for bore in self.kind.bores) else 0
        search = Search(self.kind, self._stop)
        windows = fill_at_best(search, None, wished=True)
        if windows is None and wishes:
            windows = fill_at_best(search, None, wished=False)
            self._filled_figures -= wishes
        self._filled = None if windows is None else ground_filled(windows)

    def _kept(self, count: int) -> tuple[Ground, list[Region]]:
        """The plans whose first figures have the current values."""
        done = 0
        if count >= self._filled_figures and self._filled is not None:
            ground, done = self._filled, self._filled_figures
        else:
            self._everything = self._everything or ground_of_all(self.kind, self._stop)
            ground = self._everything
        regions = ground.start
        for figure, reached in zip(self._figures[done:count], self._values[done:count], strict=True):
            regions = figure.exactly(ground, regions, reached)
        return ground, regions

    def _best_of(self, ground: Ground, regions: list[Region], found: Choice, kept: int) -> Choice:
        """The best plan of the regions by the figures from `kept` on; `found` is one of their plans."""
        if kept < self._filled_figures:
            self._filled = None
        try:
            for at in range(kept, len(self._figures)):
                if at > kept:
                    self._forgive(ground, regions, found, at)
                found, regions = self._figures[at].smallest(ground, regions, found)
            ties = self._order(self.kind.terms).ties + ((_TOGETHER,) if self._strategy == "keep-sets" else ())
            for figure in self._walks(ties, self.kind.terms):
                found, regions = figure.smallest(ground, regions, found)
        except Stopped:
            self.stopped = True
        self._values = [figure.value(found) for figure in self._figures]
        return found

    def _take(self, best: Choice) -> None:
        """The values of the answer, each quality with what its slack allows."""
        for at in range(len(self._figures)):
            if at in self._quality and self._slack_nm:
                self._forgive(*self._kept(at), best, at)
            self._values.append(self._figures[at].value(best))

    def _forgive(self, ground: Ground, regions: list[Region], known: Choice, at: int) -> None:
        """Where a quality starts: what its slack allows among the plans of these regions."""
        if at in self._quality and self._slack_nm:
            work = self._quality[at]
            figures = self._order(work).quality
            first = walk(figures[0], self.kind, work)
            least = first.value(first.smallest(ground, regions, known)[0])
            fresh = [walk(figures[0], self.kind, work, least + self._slack_nm), *self._walks(figures[1:], work)]
            self._figures[at : at + len(fresh)] = fresh

    def _order(self, work: Work) -> Order:
        bores = [bore for bore in self.kind.bores if bore.terms in work]
        return order_of(self._strategy, self._slack_nm, bores, several=len(work) > 1)

    def _walks(self, figures: Iterable[Figure], work: Work) -> list[Walk]:
        return [walk(figure, self.kind, work) for figure in figures]
