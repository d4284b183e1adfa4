"""The part of a report about bores in a row: how the axis of the bearings runs from one to the next.

The axis shift comes from walls of unequal thickness; together with the offset of the housing it says where the axis is.
"""

from collections.abc import Iterable, Iterator
from itertools import pairwise

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.housings import in_one_block
from fitmatch.records.job import Job
from fitmatch.report.shared.layout import Column, clean, paragraph, table, whole
from fitmatch.report.shared.scale import Scale
from fitmatch.rules.in_force import row_rules

_HALF_WIDTH = 12  # of the drawn line, in characters


def in_a_row(job: Job, kind: str) -> bool:
    """Whether the bores of this kind are in one block, or something asks how they line up."""
    ruled = bool(row_rules(job, kind))
    return in_one_block(kind) or ruled or any(p.offset_nm is not None for p in job.positions if p.kind == kind)


def row_of(plan: JobPlan, kind: str) -> tuple[int | None, int | None]:
    """The largest step from one filled bore to the next, and the range over all of them, both in twice the length; None
    if too few bores are filled."""
    placements = plan.of_kind(kind)
    steps = [_step(one, other) for one, other in next_to(plan.job, placements, kind)]
    places = [lies(p) for p in placements]
    return max(map(abs, steps), default=None), max(places) - min(places) if places else None


def along_the_line(plan: JobPlan, kind: str, scale: Scale) -> list[str]:
    """Every bore of the kind with its place, drawn beside it; empty if nothing asks for it or only one is filled."""
    placements = plan.of_kind(kind)
    if len(placements) < 2 or not in_a_row(plan.job, kind):
        return []
    before = {other.position.key: _step(one, other) for one, other in next_to(plan.job, placements, kind)}
    offsets = any(p.position.offset_nm for p in placements)
    reach = max(abs(lies(p)) for p in placements)
    rows = table(
        placements,
        Column("position", lambda p: whole(p.position.name), "left", wraps=True),
        Column("offset", lambda p: scale.axis(2 * (p.position.offset_nm or 0)), shown=offsets),
        Column("axis shift", lambda p: scale.axis(p.twice_axis_shift_nm)),
        Column("together", lambda p: scale.axis(lies(p)), shown=offsets),
        Column("step of\nthe shift", lambda p: scale.axis(before.get(p.position.key))),
        Column(f"-{' ' * (2 * _HALF_WIDTH - 1)}+", lambda p: _drawn(lies(p), reach), "left"),
    )
    step, line = row_of(plan, kind)
    words = [] if step is None else [f"largest step {scale.axis(step).lstrip('+')}"]
    words += [] if line is None else [f"all within {scale.axis(line).lstrip('+')}"]
    return [*paragraph(f"{clean(kind).upper()} ({scale.step}): {', '.join(words)}"), *rows]


def lies(p: Placement) -> int:
    """Twice how far the bearing's axis is off the line: offset + axis shift."""
    return 2 * (p.position.offset_nm or 0) + p.twice_axis_shift_nm


def next_to(job: Job, placements: Iterable[Placement], kind: str) -> Iterator[tuple[Placement, Placement]]:
    """Neighbouring rows of the kind that are both filled."""
    filled = {p.position.name: p for p in placements}
    for one, other in pairwise([p.name for p in job.positions if p.kind == kind]):
        if one in filled and other in filled:
            yield filled[one], filled[other]


def _step(one: Placement, other: Placement) -> int:
    return other.twice_axis_shift_nm - one.twice_axis_shift_nm


def _drawn(place: int, reach: int) -> str:
    """A bore's place as a mark left or right of the middle."""
    at = _HALF_WIDTH + (round(_HALF_WIDTH * place / reach) if reach else 0)
    line = ["."] * (2 * _HALF_WIDTH + 1)
    line[_HALF_WIDTH] = "|"
    line[at] = "o"
    return "".join(line)
