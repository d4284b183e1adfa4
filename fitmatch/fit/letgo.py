"""What binds the shells of a kind (rules, columns, family, holds, locks, guard), each with the same jobs without it.

Names of bonds: `drawing`, `locks`, `holds`, `wall_difference`, `thick_half`, `neighbour_step`, `line`, `same_in_bore`,
`match COLUMN`, `family`, `movable_within`, `guard`; and, as they bind no job but a single question, `min`, `max`,
`uppers`, `lowers` (see `asking`). Of several jobs that decide a kind together, a bond is let go in all of them.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from functools import partial
from typing import NamedTuple

from fitmatch.fit.candidates import bore_refused
from fitmatch.fit.checker import locks_excuse
from fitmatch.fit.deciding import Place
from fitmatch.fit.rowrules import excused_in_rows
from fitmatch.parts import ANY, Job, Position, Rules, Shell
from fitmatch.placements import Placement

Jobs = tuple[Job, ...]


class Bond(NamedTuple):
    """Something that keeps pairs of shells out of a kind, and how to let it go."""

    name: str
    off: Callable[[Jobs], Jobs]


def bonds(jobs: Jobs, kind: str) -> Iterator[Bond]:
    """Every bond that is in force for this kind. A new rule that keeps plans out gets its line here."""
    mine = [(job, p) for job in jobs for p in job.positions if p.kind == kind]
    if any(not p.missing and bore_refused(job, p) for job, p in mine):
        yield Bond("drawing", _each(partial(_accepted, kind)))
    locked = [(job, p) for job, p in mine if p.upper or p.lower]
    if locked:
        # A lock that excuses its shells from a rule stays: its position might have no other right to them, and letting
        # something go must take nothing away.
        places = frozenset((job.name, p.name) for job, p in locked if not lock_excuses(job, p))
        yield Bond("locks", partial(_unlocked, places))
    held = held_shells(jobs[0], kind)
    if held:
        yield Bond("holds", partial(released, held))
    every = [job.rules for job in jobs]
    if any(rules.wall_difference_nm is not None for rules in every):
        yield Bond("wall_difference", _each(partial(with_rule, "wall_difference_nm", None)))
    if any(kind in rules.thick_half for rules in every):
        yield Bond("thick_half", _each(partial(_not_for, kind, "thick_half")))
    if any(kind in rules.neighbour_step_nm for rules in every):
        off = _each(partial(_not_for, kind, "neighbour_step_nm"))
        yield Bond("neighbour_step", off)
    if any(kind in rules.line_nm for rules in every):
        yield Bond("line", _each(partial(_not_for, kind, "line_nm")))
    if any(rules.same_in_bore for rules in every):
        yield Bond("same_in_bore", _each(partial(with_rule, "same_in_bore", ())))
    for column in dict.fromkeys(column for job in jobs for column in job.matched_columns):
        yield Bond(f"match {column}", _each(partial(_without_column, column)))
    if any(job.fits[kind].family is not None for job in jobs):
        yield Bond("family", _each(partial(_without_family, kind)))
    if any(kind in rules.movable and rules.movable_within for rules in every):
        yield Bond("movable_within", _each(partial(_moving_anywhere, kind)))
    if any(rules.guard for rules in every):
        yield Bond("guard", _each(partial(with_rule, "guard", 0.0)))


def held_shells(job: Job, kind: str) -> list[Shell]:
    """Measured shells of the kind that are on hold."""
    return [s for s in job.shells if s.hold is not None and s.kind == kind and s.wall_nm is not None]


def released(held: list[Shell], jobs: Jobs) -> Jobs:
    keys = {s.key for s in held}
    return tuple(
        replace(job, shells=tuple(replace(s, hold=None) if s.key in keys else s for s in job.shells)) for job in jobs
    )


def with_rule(name: str, value: object, job: Job) -> Job:
    rules: Rules = replace(job.rules, **{name: value})  # type: ignore[arg-type]  # the name is checked when it runs
    return replace(job, rules=rules)


def with_position(jobs: Jobs, place: Place, **changes: object) -> Jobs:
    """The jobs with one position changed from what it is in them."""
    return _with_positions(
        jobs,
        lambda job, p: replace(p, **changes) if (job.name, p.name) == place else p,  # type: ignore[arg-type]  # as above
    )


def lock_excuses(job: Job, position: Position) -> bool:
    """Whether the position's locked shells break a rule and are excused for being locked. Not where it is not yet
    measured: there is nothing then that could be taken away."""
    pair = _locked(job, position)
    if pair is None:
        return False
    one_side = job.rules.thick_half.get(position.kind) == "same"  # which a locked bore neither decides nor obeys
    if any(locks_excuse(job, pair)) or (
        one_side and pair.locked and pair.wall_difference_nm > job.rules.thick_half_from_nm
    ):
        return True
    if not pair.locked:
        return False
    others = (_locked(job, p) for p in job.positions if p.kind == position.kind)
    return any(excused_in_rows(job, [other for other in others if other is not None and other.locked]))


def _locked(job: Job, position: Position) -> Placement | None:
    """The locked shells of a position, one of them on both sides where it is alone; None where there is none or
    something is not yet measured."""
    known = {s.key: s for s in job.shells}
    locked = [known[lock] for lock in (position.upper, position.lower) if lock is not None]
    if not locked or position.missing or any(shell.wall_nm is None for shell in locked):
        return None
    return Placement(position, locked[0], locked[-1])


def _each(off: Callable[[Job], Job]) -> Callable[[Jobs], Jobs]:
    return lambda jobs: tuple(map(off, jobs))


def _not_for(kind: str, rule: str, job: Job) -> Job:
    """The job without a rule that is given kind by kind."""
    limits: Mapping[str, object] = getattr(job.rules, rule)
    return with_rule(rule, {k: limit for k, limit in limits.items() if k != kind}, job)


def _with_positions(jobs: Jobs, change: Callable[[Job, Position], Position]) -> Jobs:
    """Every position changed; a shell whose lock goes is no longer kept from the other jobs."""
    changed = tuple(replace(job, positions=tuple(change(job, p) for p in job.positions)) for job in jobs)
    freed = _locks(jobs) - _locks(changed)
    return tuple(replace(job, reserved=job.reserved - freed) for job in changed)


def _locks(jobs: Jobs) -> set[tuple[str, str]]:
    return {lock for job in jobs for p in job.positions for lock in (p.upper, p.lower) if lock is not None}


def _unlocked(places: frozenset[Place], jobs: Jobs) -> Jobs:
    return _with_positions(
        jobs, lambda job, p: replace(p, upper=None, lower=None) if (job.name, p.name) in places else p
    )


def _accepted(kind: str, job: Job) -> Job:
    positions = (replace(p, accept=p.accept or "let go") if p.kind == kind else p for p in job.positions)
    return replace(job, positions=tuple(positions))


def _without_column(column: str, job: Job) -> Job:
    if column not in job.matched_columns:
        return job
    at = job.matched_columns.index(column)

    def blanked(wants: tuple[str, ...]) -> tuple[str, ...]:
        return (*wants[:at], ANY, *wants[at + 1 :])

    positions = (
        replace(p, wants_upper=blanked(p.wants_upper), wants_lower=blanked(p.wants_lower)) for p in job.positions
    )
    return replace(job, positions=tuple(positions))


def _without_family(kind: str, job: Job) -> Job:
    return replace(job, fits={**job.fits, kind: replace(job.fits[kind], family=None)})


def _moving_anywhere(kind: str, job: Job) -> Job:
    return replace(job, positions=tuple(replace(p, within=()) if p.kind == kind else p for p in job.positions))
