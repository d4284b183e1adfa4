"""The rules that keep pairs of shells out of a kind, and the same job without one of them."""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import TypeVar

from fitmatch.parts import Job, Shell

T = TypeVar("T")
_MOST_HOLDS = 8  # more are not looked at one by one


def rules_off(job: Job, kind: str) -> Iterator[tuple[str, Callable[[Job], Job]]]:
    """Every rule that keeps pairs out of this kind, and how to take it away."""
    if job.rules.wall_difference_nm is not None:
        yield "the rule wall_difference", lambda j: replace(j, rules=replace(j.rules, wall_difference_nm=None))
    if kind in job.rules.thick_half:
        yield "the rule thick_half", partial(_without_thick_half, kind)
    if kind in job.rules.neighbour_step_nm:
        yield "the rule neighbour_step", partial(_without_neighbour_step, kind)
    if kind in job.rules.line_nm:
        yield "the rule line", partial(_without_line, kind)
    if job.rules.same_in_bore:
        yield "the rule same_in_bore", lambda j: replace(j, rules=replace(j.rules, same_in_bore=()))
    for at, column in enumerate(job.matched_columns):
        yield f"matching {column}", partial(_without_column, at)
    if job.fits[kind].family is not None:
        yield "the limit to its family", partial(_without_family, kind)
    held = [s for s in job.shells if s.hold is not None and s.kind == kind and s.wall_nm is not None]
    if len(held) > _MOST_HOLDS:
        yield f"the holds on {len(held)} shells", partial(_released, held)
    else:
        yield from ((f"the hold on {s.box}/{s.name}", partial(_released, [s])) for s in held)


def _without_thick_half(kind: str, job: Job) -> Job:
    return replace(job, rules=replace(job.rules, thick_half=_others(kind, job.rules.thick_half)))


def _without_neighbour_step(kind: str, job: Job) -> Job:
    return replace(job, rules=replace(job.rules, neighbour_step_nm=_others(kind, job.rules.neighbour_step_nm)))


def _without_line(kind: str, job: Job) -> Job:
    return replace(job, rules=replace(job.rules, line_nm=_others(kind, job.rules.line_nm)))


def _others(kind: str, limits: Mapping[str, T]) -> dict[str, T]:
    return {k: limit for k, limit in limits.items() if k != kind}


def _without_column(at: int, job: Job) -> Job:
    def blanked(wants: tuple[str, ...]) -> tuple[str, ...]:
        return (*wants[:at], "any", *wants[at + 1 :])

    positions = (
        replace(p, wants_upper=blanked(p.wants_upper), wants_lower=blanked(p.wants_lower)) for p in job.positions
    )
    return replace(job, positions=tuple(positions))


def _without_family(kind: str, job: Job) -> Job:
    return replace(job, fits={**job.fits, kind: replace(job.fits[kind], family=None)})


def _released(held: list[Shell], job: Job) -> Job:
    keys = {s.key for s in held}
    return replace(job, shells=tuple(replace(s, hold=None) if s.key in keys else s for s in job.shells))
