"""The part of a report about housings that move: which goes where, and what that gains."""

from collections.abc import Iterator

from fitmatch.records.placements import KindFigures
from fitmatch.records.plans import JobPlan
from fitmatch.report.shared.layout import clean, paragraph, whole
from fitmatch.report.shared.scale import Scale

TOGETHER = (
    "A rod and its cap are one part and must never be separated: the cap goes with its rod, the same "
    "way round, with its "
    "own bolts. Mark both before anything is moved, and move a rod only where the engine maker allows it: weight, "
    "offset, oil hole and the side it faces must suit its new pin."
)


def moves(plan: JobPlan, kind: str) -> list[tuple[str, str]]:
    """Which row each housing comes from and which it goes to, in file order of where they go."""
    return [(p.housing, p.name) for p in plan.job.positions if p.kind == kind and p.housing is not None]


def moves_text(plan: JobPlan, kind: str, scale: Scale, *, boxes: bool) -> list[str]:
    """Empty if the housings of the kind may not move; `boxes`: whether the number of boxes counts."""
    if kind not in plan.staying:
        return []
    moved, stayed = moves(plan, kind), plan.staying[kind]
    if not moved:
        return paragraph(f"{clean(kind).upper()}: every housing stays where it is; no other arrangement does better.")
    places = [f"the housing of {whole(housing)} to journal {whole(name)}" for housing, name in moved]
    lines = paragraph(f"{clean(kind).upper()}: {'; '.join(places)}. All others stay.")
    gained = list(_gained(stayed, plan.figures[kind], scale, boxes=boxes))
    return [*lines, *paragraph(f"Against staying: {'; '.join(gained)}."), *paragraph(TOGETHER)]


def _gained(stayed: KindFigures, moved: KindFigures, scale: Scale, *, boxes: bool) -> Iterator[str]:
    """Every figure that differs, before and after."""
    for name, before, after in (
        ("filled", stayed.filled, moved.filled),
        ("inside and counted", stayed.counted, moved.counted),
        ("below min", stayed.below, moved.below),
        ("above max", stayed.above, moved.above),
        ("below the wanted band", stayed.below_want or 0, moved.below_want or 0),
        ("above the wanted band", stayed.above_want or 0, moved.above_want or 0),
        *([("boxes", stayed.boxes, moved.boxes)] if boxes else []),
    ):
        if before != after:
            yield f"{name} {before} -> {after}"
    for name, one, other in (
        ("worst off", stayed.worst_deviation_nm, moved.worst_deviation_nm),
        ("spread", stayed.spread_nm, moved.spread_nm),
    ):
        if one is not None and other is not None and one != other:
            yield f"{name} {scale.amount(one)} -> {scale.amount(other)} {scale.step}"
    one, other = stayed.sum_squared_deviation_nm2, moved.sum_squared_deviation_nm2
    if one is not None and other is not None and one != other:
        yield f"the sum of squared deviations is {'less' if other < one else 'more'}"
