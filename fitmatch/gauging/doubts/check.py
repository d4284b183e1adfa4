"""Doubts about raw readings: which are likely mistakes, what kind of mistake, and what to measure again. Nothing is
corrected.

`groups` sorts readings into groups that ought to agree, `differences` splits those that differ as they should,
`scatter` says how far they may differ, `explanations` what would explain more, `series` the same one reading after
another, `odd` finds what is off; `sessions` looks for errors that a whole session shares, `boxes` at labels, `repeats`
at repeats and copies; `naming` turns what was found into doubts.
"""

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from fitmatch.gauging.doubts.boxes import halves_apart, mislabelled
from fitmatch.gauging.doubts.differences import parted
from fitmatch.gauging.doubts.groups import Group, grouped
from fitmatch.gauging.doubts.odd import Odd, odd_ones, outside, told_apart
from fitmatch.gauging.doubts.repeats import astray, copied
from fitmatch.gauging.doubts.sessions import shared
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.records.job import Job
from fitmatch.records.keys import ItemKey
from fitmatch.records.measuring import FEATURES, Doubt
from fitmatch.records.parts import Position, Shell
from fitmatch.stages import Ask, go_on

if TYPE_CHECKING:
    import pandas

__all__ = ["Checked", "check", "doubts_of"]


@dataclass(frozen=True, slots=True)
class Checked:
    """Whether the readings of a job are believable."""

    job: Job
    readings: int  # how many were judged
    doubts: tuple[Doubt, ...]  # in reading order

    @property
    def needs_attention(self) -> bool:
        """Whether exit status 1 is due."""
        return bool(self.doubts or self.unmeasured_locks)

    @property
    def unmeasured_locks(self) -> tuple[tuple[Position, Shell], ...]:
        """Locked shells that have no wall yet, each with its position, in file order."""
        unread = {s.key: s for s in self.job.shells if s.wall_nm is None}
        locks = ((p, lock) for p in self.job.positions for lock in (p.upper, p.lower))
        return tuple((p, unread[lock]) for p, lock in locks if lock in unread)

    def to_frame(self, unit: str | None = None) -> "pandas.DataFrame":
        """One row per doubt, the reading as a float in `unit`, else the job's; pandas is imported here."""
        import pandas

        columns = ("file", "row", "item", "feature", "column", "reading", "signatures")
        per_unit = NM_PER_UNIT[unit or self.job.unit]
        rows = [
            (d.file, d.row, d.item, d.feature, d.column, d.reading_nm / per_unit, ", ".join(d.signatures))
            for d in self.doubts
        ]
        return pandas.DataFrame(rows, columns=list(columns))


def check(job: Job) -> Checked:
    """Judge every reading of the job. Nothing is changed."""
    return Checked(job, sum(len(group.entries) for group in grouped(job)), doubts_of(job))


def doubts_of(job: Job, ask: Ask = go_on) -> tuple[Doubt, ...]:
    """Every open doubt about a reading of the job, in reading order; readings confirmed with a reason are left out.

    If several jobs share their shells, each is judged by its own files. `ask` is asked all the time; what it raises
    ends the work.
    """
    if job.own_shells is not None:
        job = replace(job, shells=job.own_shells)
    found = list(_found(job, parted(job, grouped(job, ask), ask), ask))
    if not found:
        return ()
    files = job.measuring.positions_file, *dict.fromkeys(s.file for s in job.shells), job.measuring.log_file
    order = {file: at for at, file in reversed([*enumerate(files)])}
    return tuple(sorted(found, key=lambda d: (order[d.file], d.row, FEATURES.index(d.feature))))


def _found(job: Job, groups: Sequence[Group], ask: Ask) -> Iterator[Doubt]:
    odd = list(astray(groups)) if job.measuring.log else []
    some, scales = odd_ones(groups, ask)
    odd += [*some, *outside(job, groups, scales)]
    ask()
    parts = told_apart(groups, odd)
    sittings = list(shared(job, parts))
    if not sittings and ("wall", True) in scales:
        for finding, strays in halves_apart(job, parts, scales["wall", True]):
            sittings.append(finding)
            odd = [(group, one) for group, one in odd if not _within(group, one, strays)]
    others = [*sittings, *mislabelled(job, parts, ask), *copied(job, groups, odd)]
    if odd or others:
        from fitmatch.gauging.doubts.naming import named

        yield from named(job, groups, odd, others)


def _within(group: Group, odd: Odd, items: Collection[ItemKey]) -> bool:
    """Whether all that is off are some of these shells."""
    return group.key.feature == "wall" and all(group.entries[k].item in items for k in odd.members)
