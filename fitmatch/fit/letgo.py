"""What binds the shells of a kind (rules, columns, family, holds, locks, guard), each with the same job without it.

Names of bonds: `wall_difference`, `thick_half`, `same_in_bore`, `match COLUMN`, `family`, `holds`, `locks`, `guard`,
`drawing`; and, as they bind no job but a single question, `min`, `max`, `uppers`, `lowers` (see `asking`).
"""

from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial
from typing import NamedTuple

from fitmatch.fit.candidates import bore_refused
from fitmatch.fit.checker import locks_excuse
from fitmatch.parts import Job, Placement, Position, Rules, Shell


class Bond(NamedTuple):
    """Something that keeps pairs of shells out of a kind, and how to let it go."""

    name: str
    off: Callable[[Job], Job]


def bonds(job: Job, kind: str) -> Iterator[Bond]:
    """Every bond that is in force for this kind. A new rule that keeps plans out gets its line here."""
    if any(p.kind == kind and not p.missing and bore_refused(job, p) for p in job.positions):
        yield Bond("drawing", partial(_accepted, kind))
    locked = [p for p in job.positions if p.kind == kind and (p.upper or p.lower)]
    if locked:
        # A lock that excuses its shells from a rule stays: its position might have no other right to them, and letting
        # something go must take nothing away.
        names = frozenset(p.name for p in locked if not lock_excuses(job, p))
        yield Bond("locks", partial(_unlocked, names))
    held = held_shells(job, kind)
    if held:
        yield Bond("holds", partial(released, held))
    rules = job.rules
    if rules.wall_difference_nm is not None:
        yield Bond("wall_difference", lambda j: with_rules(j, wall_difference_nm=None))
    if kind in rules.thick_half:
        others = {k: side for k, side in rules.thick_half.items() if k != kind}
        yield Bond("thick_half", lambda j: with_rules(j, thick_half=others))
    if rules.same_in_bore:
        yield Bond("same_in_bore", lambda j: with_rules(j, same_in_bore=()))
    for at, column in enumerate(job.matched_columns):
        yield Bond(f"match {column}", partial(_without_column, at))
    if job.fits[kind].family is not None:
        yield Bond("family", partial(_without_family, kind))
    if rules.guard:
        yield Bond("guard", lambda j: with_rules(j, guard=0.0))


def held_shells(job: Job, kind: str) -> list[Shell]:
    """Measured shells of the kind that are on hold."""
    return [s for s in job.shells if s.hold is not None and s.kind == kind and s.wall_nm is not None]


def released(held: list[Shell], job: Job) -> Job:
    keys = {s.key for s in held}
    return replace(job, shells=tuple(replace(s, hold=None) if s.key in keys else s for s in job.shells))


def with_rules(job: Job, **changes: object) -> Job:
    rules: Rules = replace(job.rules, **changes)  # type: ignore[arg-type]  # names are checked when it runs
    return replace(job, rules=rules)


def with_position(job: Job, name: str, **changes: object) -> Job:
    """The job with one position changed from what it is in it."""
    positions = (
        replace(p, **changes) if p.name == name else p  # type: ignore[arg-type]  # as above
        for p in job.positions
    )
    return replace(job, positions=tuple(positions))


def _accepted(kind: str, job: Job) -> Job:
    positions = (replace(p, accept=p.accept or "let go") if p.kind == kind else p for p in job.positions)
    return replace(job, positions=tuple(positions))


def _unlocked(names: frozenset[str], job: Job) -> Job:
    positions = (replace(p, upper=None, lower=None) if p.name in names else p for p in job.positions)
    return replace(job, positions=tuple(positions))


def lock_excuses(job: Job, position: Position) -> bool:
    """Whether the position's locked shells break a rule and are excused for being locked. Not where it is not yet
    measured: there is nothing then that could be taken away."""
    known = {s.key: s for s in job.shells}
    locked = [known[lock] for lock in (position.upper, position.lower) if lock is not None]
    if not locked or position.missing or any(shell.wall_nm is None for shell in locked):
        return False
    pair = Placement(position, locked[0], locked[-1])
    one_side = job.rules.thick_half.get(position.kind) == "same"  # which a locked bore neither decides nor obeys
    return any(locks_excuse(job, pair)) or (
        one_side and pair.locked and pair.wall_difference_nm > job.rules.thick_half_from_nm
    )


def _without_column(at: int, job: Job) -> Job:
    def blanked(wants: tuple[str, ...]) -> tuple[str, ...]:
        return (*wants[:at], "any", *wants[at + 1 :])

    positions = (
        replace(p, wants_upper=blanked(p.wants_upper), wants_lower=blanked(p.wants_lower)) for p in job.positions
    )
    return replace(job, positions=tuple(positions))


def _without_family(kind: str, job: Job) -> Job:
    return replace(job, fits={**job.fits, kind: replace(job.fits[kind], family=None)})
