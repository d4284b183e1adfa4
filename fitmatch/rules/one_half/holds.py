"""Holds: shells that are not to be used, for whatever reason."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import ClassVar

from fitmatch.records.job import Bond, Job, Jobs, Rule, Single
from fitmatch.records.keys import PositionKey, full_name
from fitmatch.records.parts import Shell


class Holds(Rule):
    """A held shell is not used."""

    key: ClassVar = "holds"
    phrases: ClassVar = {"bond": "the holds"}
    most_singles: ClassVar = 40
    offered: ClassVar = False

    @classmethod
    def bonds(cls, jobs: Jobs, kind: str) -> Iterator[Bond]:
        """The holds on measured shells."""
        held = _held(jobs[0], kind)
        if held:
            yield Bond(cls.key, lambda some: _released(held, some))

    @classmethod
    def singles(cls, jobs: Jobs, kind: str, place: PositionKey, bonds: Sequence[str]) -> Iterator[Single]:
        """One hold removed, unless the shell has run elsewhere; of identical held shells the first is named."""
        alike: dict[object, Shell] = {}
        for s in _held(jobs[0], kind) if cls.key in bonds else ():
            if _has_run(jobs[0], s):
                continue
            alike.setdefault((s.half, s.wall_nm, s.marks, s.family, s.measured_as), s)
        for s in alike.values():
            yield Single("hold", full_name(s.key), s.key, _released([s], jobs), s.hold)


def _held(job: Job, kind: str) -> list[Shell]:
    return [s for s in job.shells if s.hold is not None and s.kind == kind and s.wall_nm is not None]


def _has_run(job: Job, shell: Shell) -> bool:
    """Such a shell would not do, whatever its wall: it may only go back to where it ran."""
    one = (job.shelved or {}).get(shell.key)
    return one is not None and one.barred is not None and one.barred.code == "used"


def _released(held: list[Shell], jobs: Jobs) -> Jobs:
    keys = {s.key for s in held}
    return tuple(
        replace(job, shells=tuple(replace(s, hold=None) if s.key in keys else s for s in job.shells)) for job in jobs
    )
