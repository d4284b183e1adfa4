"""What if only these boxes had been opened: every choice of a few, or of many each left out, and the cheapest two."""

from collections.abc import Iterator, Sequence
from itertools import combinations

from fitmatch.stages import now
from fitmatch.study.comparison.compared import BoxesRow, LeftOut
from fitmatch.study.comparison.decision import Decision, Ranked

MOST_BOXES = 8  # of more, not every choice is tried


def box_rows(decision: Decision) -> Iterator[BoxesRow | LeftOut]:
    """Choices that leave out the box of a locked shell are only named."""
    boxes = decision.boxes()
    if len(boxes) > MOST_BOXES:
        return _left_out(decision, boxes)
    choices = [some for size in range(1, len(boxes) + 1) for some in combinations(boxes, size)]
    return _each(decision, boxes, choices)


def _each(decision: Decision, boxes: Sequence[str], choices: Sequence[tuple[str, ...]]) -> Iterator[BoxesRow | LeftOut]:
    for at, opened in enumerate(choices, 1):
        if not decision.has_time():
            return
        locked = decision.locked_boxes() - set(opened)
        if locked:
            yield LeftOut(decision.name, decision.group.label, opened, tuple(sorted(locked)))
        else:
            now(f"{decision.group.label}: boxes, choice {at} of {len(choices)}")
            without = tuple(box for box in boxes if box not in opened)
            yield BoxesRow(opened, without, decision.ask(boxes=opened).found)


def _left_out(decision: Decision, boxes: Sequence[str]) -> Iterator[BoxesRow | LeftOut]:
    """Each box left out alone, then the pair that costs least: leaving out two is never better than leaving out one of
    them, so pairs are tried by the worse of their two until none can be better."""
    locked = decision.locked_boxes()
    alone: dict[str, Ranked] = {}
    for at, box in enumerate(boxes, 1):
        if not decision.has_time():
            return
        opened = tuple(other for other in boxes if other != box)
        if box in locked:
            yield LeftOut(decision.name, decision.group.label, opened, (box,))
            continue
        now(f"{decision.group.label}: without box {at} of {len(boxes)}")
        alone[box] = decision.ask(boxes=opened)
        yield BoxesRow(opened, (box,), alone[box].found)
    best: tuple[BoxesRow, Ranked] | None = None
    for worse, pair in sorted((max(alone[a].rank, alone[b].rank), (a, b)) for a, b in combinations(alone, 2)):
        if (best is not None and worse >= best[1].rank) or not decision.has_time():
            break
        now(f"{decision.group.label}: without boxes {' and '.join(pair)}")
        opened = tuple(other for other in boxes if other not in pair)
        found = decision.ask(boxes=opened)
        if best is None or found.rank < best[1].rank:
            best = BoxesRow(opened, pair, found.found), found
    if best is not None:
        yield best[0]
