"""Housings that move to another journal: what goes with them and what stays.

The housing takes along its bore and how that was read, its seating and its `accept`; journal, target, limits, locks and
pin stay.
"""

import re
from collections.abc import Mapping
from dataclasses import replace

from fitmatch.records.job import Job
from fitmatch.records.parts import Position, marks_agree


def in_one_block(kind: str) -> bool:
    """Whether these are mains, judging by the name of their kind: bored in line in one block, they never move."""
    return not {"main", "mains"}.isdisjoint(re.split(r"[\W\d_]+", kind.casefold()))


def may_move(journal: Position, housing: Position) -> bool:
    """Whether the housing of one row may go to the journal of another."""
    return all(map(marks_agree, journal.within, housing.within))


def rehoused(journal: Position, housing: Position) -> Position:
    """The position of one row with the housing of another."""
    if journal is housing:
        return journal
    return replace(
        journal,
        housing_bore=housing.housing_bore,
        seating_nm=housing.seating_nm,
        accept=housing.accept,
        housing=housing.name,
        unsized=housing.unsized,
    )


def with_housings(job: Job, housings: Mapping[str, Position]) -> Job:
    """The job with these housings in these positions."""
    moved = {name: housing for name, housing in housings.items() if name != housing.name}
    if not moved:
        return job
    return replace(job, positions=tuple(rehoused(p, moved[p.name]) if p.name in moved else p for p in job.positions))
