"""The rules about the row of bores, `neighbour_step` and `line`, judged on bores that are filled: by the checker, for
the flags of locks that break them, and for the baselines. Written from their definition; the search does not use it.
"""

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise

from fitmatch.lengths import exact
from fitmatch.parts import Job
from fitmatch.placements import Placement


def broken_in_rows(job: Job, placements: Sequence[Placement]) -> Iterator[str]:
    """What is wrong between bores that are not both locked in both halves."""
    for one, other in _steps(job, placements):
        if not (one.locked and other.locked):
            yield _step(job, one, other)
    for kind, line in job.rules.line_nm.items():
        mine = _of(placements, kind)
        free = [p for p in mine if not p.locked]
        for some in (free, *([*free, p] for p in mine if p.locked)):
            if free and (ends := _beyond(some, line)):
                yield _line(job, kind, *ends)


def excused_in_rows(job: Job, placements: Sequence[Placement]) -> Iterator[tuple[Placement, str]]:
    """What locked shells alone break and are excused for: the bore, and what is wrong with it."""
    for one, other in _steps(job, placements):
        if one.locked and other.locked:
            yield other, _step(job, one, other)
    for kind, line in job.rules.line_nm.items():
        ends = _beyond([p for p in _of(placements, kind) if p.locked], line)
        if ends:
            yield ends[1], _line(job, kind, *ends)


def steps_broken(job: Job, placements: Sequence[Placement]) -> int:
    """How many bores lie too far from the one before them; of two locked ones neither."""
    return sum(not (one.locked and other.locked) for one, other in _steps(job, placements))


def off_line(job: Job, placements: Sequence[Placement]) -> int:
    """The fewest bores without which the others would lie in line; those locked in both halves have to stay."""
    count = 0
    for kind, line in job.rules.line_nm.items():
        mine = _of(placements, kind)
        fixed = [lies(p) for p in mine if p.locked]
        free = [lies(p) for p in mine if not p.locked]
        near = [v for v in free if all(abs(v - f) <= 2 * line for f in fixed)]
        together = max((sum(low <= v <= low + 2 * line for v in near) for low in near), default=0)
        count += len(free) - together
    return count


def lies(p: Placement) -> int:
    """Twice how far the bearing's axis lies off the line: offset + axis shift."""
    return 2 * (p.position.offset_nm or 0) + p.twice_axis_shift_nm


def next_to(job: Job, placements: Iterable[Placement], kind: str) -> Iterator[tuple[Placement, Placement]]:
    """Neighbouring rows of the kind that are both filled."""
    filled = {p.position.key: p for p in placements}
    for one, other in pairwise([p.key for p in job.positions if p.kind == kind]):
        if one in filled and other in filled:
            yield filled[one], filled[other]


def _steps(job: Job, placements: Sequence[Placement]) -> Iterator[tuple[Placement, Placement]]:
    """Neighbours whose axis shifts differ by too much."""
    for kind, most in job.rules.neighbour_step_nm.items():
        for one, other in next_to(job, placements, kind):
            if abs(other.twice_axis_shift_nm - one.twice_axis_shift_nm) > 2 * most:
                yield one, other


def _beyond(placements: Sequence[Placement], line: int) -> tuple[Placement, Placement] | None:
    """The two that lie farthest apart, if that is too far."""
    if not placements:
        return None
    low, high = min(placements, key=lies), max(placements, key=lies)
    return (low, high) if lies(high) - lies(low) > 2 * line else None


def _of(placements: Iterable[Placement], kind: str) -> list[Placement]:
    return [p for p in placements if p.position.kind == kind]


def _step(job: Job, one: Placement, other: Placement) -> str:
    step = _half(job, abs(other.twice_axis_shift_nm - one.twice_axis_shift_nm))
    allowed = _half(job, 2 * job.rules.neighbour_step_nm[one.position.kind])
    names = f"from {one.position.name} to {other.position.name}"
    return f"its axis shift changes by {step} {names}, and neighbour_step allows {allowed}"


def _line(job: Job, kind: str, low: Placement, high: Placement) -> str:
    apart, allowed = _half(job, lies(high) - lies(low)), _half(job, 2 * job.rules.line_nm[kind])
    names = f"{low.position.name} and {high.position.name}"
    return f"offset and axis shift of {names} differ by {apart}, and line allows {allowed}"


def _half(job: Job, twice_nm: int) -> str:
    return f"{exact(twice_nm, job.unit)} {job.unit}"
