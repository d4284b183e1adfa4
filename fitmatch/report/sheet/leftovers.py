"""The part for the store: what goes back where, and a label for every shell that does."""

from collections.abc import Sequence
from typing import NamedTuple

from fitmatch.records.job import Job
from fitmatch.records.parts import Shell
from fitmatch.report.shared.states import marks_of
from fitmatch.report.sheet.amounts import Amount, Run, amount, coating_of, runs
from fitmatch.report.sheet.source import Shown


class Tag(NamedTuple):
    """What a label says of a shell; what is not known is empty. `when` it was measured, and `by` what, is written in by
    hand then. `held`: why it is not to be used."""

    name: tuple[Run, ...]
    box: str
    half: str
    kind: str
    wall: Amount
    about: tuple[tuple[str, str], ...]
    when: str
    by: str
    held: str


class Box(NamedTuple):
    """What goes back into one box."""

    box: str
    shells: tuple[Tag, ...]


class Leftovers(NamedTuple):
    """The whole part; boxes in natural order."""

    boxes: tuple[Box, ...]
    number: int


def leftovers(shown: Shown) -> Leftovers:
    """Every shell that is left over or held, by its box."""
    job = shown.plan.job
    when = {row.shell: row.time for row in job.measuring.log if row.shell is not None and row.time}
    boxes: dict[str, list[Tag]] = {}
    told = [s for s in (*shown.leftover, *shown.held) if s.wall_nm is not None]
    for shell in told:
        boxes.setdefault(shell.box, []).append(_tag(job, shell, when.get(shell.key, "")))
    return Leftovers(tuple(Box(box, tuple(tags)) for box, tags in boxes.items()), len(told))


def _tag(job: Job, shell: Shell, when: str) -> Tag:
    assert shell.wall_nm is not None
    gauges: Sequence[str] = shell.measured.gauges if shell.measured else ()
    marks = ", ".join(f"{column} {mark}" for column, mark in marks_of(job, shell).items())
    about = (
        ("family", job.spelled.get(shell.family, shell.family)),
        ("part", shell.part),
        ("step", shell.step),
        ("coating", coating_of(shell, job.unit).removeprefix("coated ")),
        ("marks", marks),
        ("grade", shell.grade or ""),
    )
    said = tuple((name, text) for name, text in about if text)
    wall = amount(shell.wall_nm, job.unit)
    return Tag(
        runs(shell.name), shell.box, shell.half, shell.kind, wall, said, when, " and ".join(gauges), shell.hold or ""
    )
