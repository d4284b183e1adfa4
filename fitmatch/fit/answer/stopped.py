"""What a search that is stopped answers with: a plan that is looked for once it turns out to be long, and the best of
all that are known then, in the order in which the proof would have ranked them."""

from collections.abc import Sequence
from contextlib import suppress
from itertools import pairwise, product

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.model.groups import shares_placed
from fitmatch.fit.model.order import BOXES, LEVELS_0_AND_1, Figure, Share, order_of, value
from fitmatch.fit.model.pairs import Choice
from fitmatch.fit.proof.windows import MANY_LISTED
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Proof
from fitmatch.records.pools import TOGETHER

Placed = tuple[Kind, list[Placement]]


class Early:
    """Looks for a good plan where a search is long: that of exchanges of shells, beginning with the one by hand.
    `choice` is None until there is one."""

    def __init__(self, kind: Kind, by_hand: Sequence[Placement], stop: Stop) -> None:
        self.choice: Choice | None = None
        self._kind, self._by_hand, self._stop = kind, by_hand, stop
        # Few pairs are solved in less time. And only where each is judged by itself can shells be exchanged: no rule
        # binds several bores, no housing may move, and a guard draws the limits in alike for all shells.
        many = sum(len(bore.upper.walls) * len(bore.lower.walls) for bore in kind.seats) > MANY_LISTED
        bound = kind.vacancies or any(terms.one_thick_side or terms.shifts.on for terms in kind.terms)
        self.open = many and not bound and len(kind.bores) == len(kind.seats)

    def look(self, window: int) -> None:
        """Where the search is long in this window of |deviation|. Once is enough, and a plan by hand that is inside it
        and all limits leaves little to gain."""
        near = all(p.within_limits and abs(p.deviation_nm) <= window for p in self._by_hand)
        if self.open and not (near and len(self._by_hand) == len(self._kind.positions)):
            from fitmatch.fit.answer.exchanges import Exchanges

            self.open = False
            exchanges = Exchanges(self._kind, self._by_hand, self._stop)
            with suppress(Stopped):  # as far as they came
                exchanges.improve()
            self.choice = exchanges.choice()


def best_of(plans: Sequence[Placed], strategy: str, slack_nm: int, priority: str) -> Placed:
    """The first of the best by levels 0 to 2, job by job where they have turns. What is within the slack of the
    smallest first figure among them counts as reaching it."""
    first, *others = order_of(strategy, slack_nm).quality
    figures = [*((figure, 0) for figure in LEVELS_0_AND_1), (first, slack_nm), *((figure, 0) for figure in others)]
    left = [(one, shares_placed(*one)) for one in plans]
    turns = [slice(None)] if priority == TOGETHER else [slice(at, at + 1) for at in range(len(left[0][1]))]
    for turn, (figure, slack) in product(turns, figures):
        reached = [_value(figure, shares[turn]) for _, shares in left]
        left = [one for one, nm in zip(left, reached, strict=True) if nm <= min(reached) + slack]
        if len(left) == 1:
            break
    return left[0][0]


def left_open(proof: Proof, plan: Placed, strategy: str, slack_nm: int) -> Proof:
    """Where this plan reaches the bound of the figure that was being proven, that figure is proven; what is then left
    open is the first that a better plan could improve."""
    kind, _ = plan
    order = order_of(strategy, slack_nm, kind.bores, several=len(kind.terms) > 1)
    figures = [*order.fit, *order.rest, order.quality[0]]
    shares = shares_placed(*plan)
    for figure, following in pairwise(figures):
        reached = _value(figure, shares)
        if proof.level == figure.name and proof.bound == (-reached if figure.more else reached):
            proof = Proof(False, following.name, len(kind.positions) if following.more else 0)
    return proof


def _value(figure: Figure, shares: Sequence[Share]) -> int:
    """The figure of placements, boxes included."""
    if figure is not BOXES:
        return value(figure, shares)
    return len({shell.box for some, _ in shares for p, _ in some for shell in (p.upper, p.lower)})
