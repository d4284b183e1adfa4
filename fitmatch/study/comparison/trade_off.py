"""Exactly the plans of which none is beaten in both of two figures, one of them the worst deviation.

The method of bounds (epsilon-constraint): the best by one figure among plans in which the other stays below that of the
point before, then that other one made as small as it can be. Each point is proven like any answer; plans that are not
best on levels 0 and 1 are no points.
"""

from collections.abc import Iterator
from typing import Final

from fitmatch.fit.model.order import SPREAD_THEN_WORST, WORST_THEN_SPREAD
from fitmatch.stages import now
from fitmatch.study.comparison.compared import Found, Point
from fitmatch.study.comparison.decision import Decision

BOXES: Final = "boxes"
SPREAD: Final = "spread"
_ANY_NM: Final = 1 << 40  # a slack that rules nothing out


def trade_off(decision: Decision, against: str) -> Iterator[Point]:
    """The points one after the other; a point that could not be proven in time is the last."""
    for number, found in enumerate(_fewer_boxes(decision) if against == BOXES else _smaller_spread(decision), 1):
        yield Point(against, found)
        if not found.proof.proven or not decision.has_time():
            return
        now(f"{decision.group.label}: trade-off, after {number} points")


def _fewer_boxes(decision: Decision) -> Iterator[Found]:
    """From the fewest boxes to the smallest worst deviation."""
    least = decision.ask(ties=False).found
    if not least.proof.proven:
        yield least
        return
    slack = _ANY_NM
    while slack >= 0:
        found = decision.ask("keep-sets", slack_nm=slack, ties=False).found
        yield found
        slack = (found.figures.worst_deviation_nm or 0) - 1 - (least.figures.worst_deviation_nm or 0)


def _smaller_spread(decision: Decision) -> Iterator[Found]:
    """From the smallest worst deviation to the smallest spread."""
    found = decision.ask(WORST_THEN_SPREAD, ties=False).found
    yield found
    least = decision.ask(SPREAD_THEN_WORST, ties=False).found
    if not least.proof.proven:
        yield least
        return
    slack = (found.figures.spread_nm or 0) - 1 - (least.figures.spread_nm or 0)
    while slack >= 0:
        found = decision.ask(SPREAD_THEN_WORST, slack_nm=slack, ties=False).found
        yield found
        slack = (found.figures.spread_nm or 0) - 1 - (least.figures.spread_nm or 0)
