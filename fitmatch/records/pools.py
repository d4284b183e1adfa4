"""Several jobs that share their shells, and what is decided together. A single job is a pool of one.

A *group* is what is decided together: the positions of one kind, in all jobs with overlapping families for it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, NamedTuple

from fitmatch.records.job import Job

TOGETHER: Final = "together"
IN_ORDER: Final = "in-order"
PRIORITIES: Final = (TOGETHER, IN_ORDER)


@dataclass(frozen=True, slots=True)
class Pool:
    """Jobs in the order they were named, each with its own name; each one's `shells` are the shells of all."""

    jobs: tuple[Job, ...]


class Group(NamedTuple):
    """One kind of the jobs `members`, given by their places. `label` is the kind, with its families where the kind has
    several groups."""

    label: str
    kind: str
    members: tuple[int, ...]


def groups_of(jobs: Sequence[Job]) -> list[Group]:
    """Every kind of a single job is a group; with several jobs, those linked by a family, in file order."""
    found = []
    for kind in dict.fromkeys(kind for job in jobs for kind in job.kinds):
        linked = list(_linked(jobs, kind))
        for members, families in linked:
            label = kind if len(linked) == 1 else f"{kind} {' or '.join(families)}"
            found.append(Group(label, kind, members))
    return found


def _linked(jobs: Sequence[Job], kind: str) -> Iterator[tuple[tuple[int, ...], list[str]]]:
    """The jobs with this kind, in sets with no family in common, each set with its families."""
    sets: list[tuple[list[int], set[str]]] = []
    for i, job in enumerate(jobs):
        if kind in job.kinds:
            members, families = [i], set(job.fits[kind].family or ())
            for other in [s for s in sets if s[1] & families]:
                sets.remove(other)
                members, families = other[0] + members, other[1] | families
            sets.append((members, families))
    for members, families in sorted(sets, key=lambda s: min(s[0])):
        yield tuple(sorted(members)), sorted(families)
