"""Marked shells that no position of their kind asks for: one that was forgotten there, or is written in other words."""

from collections.abc import Iterator, Sequence

from fitmatch.records.answers.plans import Stray
from fitmatch.records.job import Job
from fitmatch.records.parts import SIDES, Shell, marks_agree


def strays(jobs: Sequence[Job]) -> Iterator[tuple[int, Stray]]:
    """Those of several jobs that share their shells, each beside the place of the first job whose files name them: of
    each kind and mark one, with all the shells that have it. Locked shells are left aside, and so are kinds without a
    position; a held one bears its mark all the same."""
    columns = jobs[0].matched_columns
    if not columns:
        return
    locked = {lock for job in jobs for p in job.positions for lock in (p.upper, p.lower) if lock is not None}
    wanted = _wanted(jobs)
    seen: set[tuple[str, str]] = set()
    for at, job in enumerate(jobs):
        found: dict[tuple[str, str, str], list[Shell]] = {}
        for shell in job.shells if job.own_shells is None else job.own_shells:
            if shell.kind not in wanted or shell.key in locked or shell.key in seen:
                continue
            for place, (column, mark) in enumerate(zip(columns, shell.marks, strict=False)):
                sides = SIDES if shell.half == "either" else (shell.half,)
                asked = set[str]().union(*(wanted[shell.kind][side][place] for side in sides))
                if mark and not any(marks_agree(want, mark) for want in asked):
                    found.setdefault((shell.kind, column, mark), []).append(shell)
        seen |= {shell.key for some in found.values() for shell in some}
        for (kind, column, mark), shells in found.items():
            asked = set[str]().union(*(wanted[kind][side][columns.index(column)] for side in SIDES))
            yield at, Stray(kind, column, mark, tuple(shells), tuple(sorted(asked)))


def _wanted(jobs: Sequence[Job]) -> dict[str, dict[str, list[set[str]]]]:
    """By kind and side, what positions ask for in each matched column."""
    wanted: dict[str, dict[str, list[set[str]]]] = {}
    for job in jobs:
        for p in job.positions:
            sides = wanted.setdefault(p.kind, {side: [set() for _ in job.matched_columns] for side in SIDES})
            for side, wants in zip(SIDES, (p.wants_upper, p.wants_lower), strict=True):
                for some, want in zip(sides[side], wants, strict=False):
                    some.add(want)
    return wanted
