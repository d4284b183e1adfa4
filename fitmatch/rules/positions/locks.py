"""Locks: shells that positions.csv puts in a certain place. They outrank other rules, and excuse their shells from
them."""

from collections.abc import Iterator, Sequence, Set
from dataclasses import replace
from functools import partial
from typing import ClassVar

from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Bond, Job, Jobs, Rule, Single
from fitmatch.records.keys import PositionKey, ShellKey, full_name
from fitmatch.records.parts import SIDES, Position
from fitmatch.rules.in_force import broken, in_force, row_rules
from fitmatch.rules.two_halves.thick_half import ThickHalf


class Locks(Rule):
    """A locked shell goes nowhere else, and no other goes there."""

    key: ClassVar = "locks"
    phrases: ClassVar = {"bond": "the locks"}

    @classmethod
    def bonds(cls, jobs: Jobs, kind: str) -> Iterator[Bond]:
        """All locks of the kind. A lock that excuses its shells from a rule stays: without it the position might not be
        allowed them, and dropping a bond must take nothing away."""
        locked = [(job, p) for job in jobs for p in job.positions if p.kind == kind and (p.upper or p.lower)]
        if locked:
            places = frozenset((job.name, p.name) for job, p in locked if not lock_excuses(job, p))
            yield Bond(cls.key, partial(without_locks, places=places))

    @classmethod
    def singles(cls, jobs: Jobs, kind: str, place: PositionKey, bonds: Sequence[str]) -> Iterator[Single]:
        """One lock removed, including locks that excuse their shells from a rule, which belong to no bond."""
        for job in jobs:
            for other in job.positions:
                for side in SIDES:
                    lock: ShellKey | None = getattr(other, side)
                    if other.kind == kind and lock is not None:
                        free = without_locks(jobs, {(job.name, other.name)}, (side,))
                        yield Single("lock", full_name(lock), lock, free)


def without_locks(jobs: Jobs, places: Set[PositionKey], sides: Sequence[str] = SIDES) -> Jobs:
    """The jobs with these sides of some positions unlocked; a shell without its lock may go to other
    jobs."""
    none = dict.fromkeys(sides)

    def unlocked(job: Job) -> Job:
        rows = (replace(p, **none) if (job.name, p.name) in places else p for p in job.positions)  # type: ignore[arg-type]  # names of sides
        return replace(job, positions=tuple(rows))

    changed = tuple(map(unlocked, jobs))
    freed = _locks(jobs) - _locks(changed)
    return tuple(replace(job, reserved=job.reserved - freed) for job in changed)


def lock_excuses(job: Job, position: Position) -> bool:
    """Whether the position's locked shells break a rule and are excused because they are locked. Not if it is not yet
    measured: then there is nothing that could be taken away."""
    pair = _locked(job, position)
    if pair is None:
        return False
    rules = in_force(job, position.kind)
    if any(fault.excused for fault in broken(rules, position, pair.upper, pair.lower)):
        return True
    if not pair.locked:
        return False
    # A bore locked in both halves neither decides nor obeys the side of the thicker halves.
    if any(isinstance(rule, ThickHalf) and rule.one_side and pair.wall_difference_nm > rule.from_nm for rule in rules):
        return True
    others = [_locked(job, p) for p in job.positions if p.kind == position.kind]
    fixed = [other for other in others if other is not None and other.locked]
    return any(True for one in row_rules(job, position.kind) for _ in one.apart(fixed))


def _locked(job: Job, position: Position) -> Placement | None:
    """The locked shells of a position, a single one standing for both sides; None if there is none or something is not
    yet measured."""
    known = {s.key: s for s in job.shells}
    locked = [known[lock] for lock in (position.upper, position.lower) if lock is not None]
    if not locked or position.missing or any(shell.wall_nm is None for shell in locked):
        return None
    return Placement(position, locked[0], locked[-1])


def _locks(jobs: Jobs) -> set[ShellKey]:
    return {lock for job in jobs for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
