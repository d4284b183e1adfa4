"""The part of a report about housings that move: which goes where, and what that gains."""

from collections.abc import Iterator

from fitmatch.records.answers.placements import KindFigures
from fitmatch.records.answers.plans import JobPlan
from fitmatch.report.shared.layout import clean, paragraph, whole
from fitmatch.report.shared.scale import Scale

TOGETHER = (
    "A rod and its cap are never separated: same way round, own bolts; mark both before anything is moved. Move a rod "
    "only where the engine maker allows it: weight, offset, oil hole and the side it faces must suit its new pin."
)


def moves(plan: JobPlan, kind: str) -> list[tuple[str, str]]:
    """Which row each housing comes from and which it goes to, in file order of where they go."""
    return [(p.housing, p.name) for p in plan.job.positions if p.kind == kind and p.housing is not None]


def moves_text(plan: JobPlan, kind: str, scale: Scale, *, boxes: bool) -> list[str]:
    """Empty if the housings of the kind may not move; `boxes`: whether the number of boxes counts."""
    if kind not in plan.staying:
        return []
    moved, stayed, head = moves(plan, kind), plan.staying[kind], f"{clean(kind).upper()} HOUSINGS"
    if not moved:
        return paragraph(f"{head}: every housing stays where it is; no other arrangement does better.")
    places = [whole(f"{housing} to journal {name}") for housing, name in moved]
    gained = list(_gained(stayed, plan.figures[kind], scale, boxes=boxes))
    return paragraph(f"{head}: {', '.join(places)}; the others stay. Against staying: {'; '.join(gained)}. {TOGETHER}")


def _gained(stayed: KindFigures, moved: KindFigures, scale: Scale, *, boxes: bool) -> Iterator[str]:
    """Every figure that differs, before and after; the sum of squares only where it alone does."""
    differs = False
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
            differs = True
            yield f"{name} {before} -> {after}"
    for name, one, other in (
        ("worst off", stayed.worst_deviation_nm, moved.worst_deviation_nm),
        ("spread", stayed.spread_nm, moved.spread_nm),
    ):
        if one is not None and other is not None and one != other:
            differs = True
            yield f"{name} {scale.amount(one)} -> {scale.amount(other)} {scale.step}"
    one, other = stayed.sum_squared_deviation_nm2, moved.sum_squared_deviation_nm2
    if not differs and one is not None and other is not None and one != other:
        yield f"the sum of squared deviations is {'less' if other < one else 'more'}"
