"""Several jobs that share the shelf: each of its shells has one kind and one name in all of them, and is offered where
it may go."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, TypeVar

from fitmatch.facts import Fact
from fitmatch.intake.common.findings import SETTINGS, Findings, Paper
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.intake.together.supplied import box_names, why_not
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.parts import ANY, KEPT_FOR, SIDES, Position, Shell
from fitmatch.records.shelf.shelved import ShelvedShell
from fitmatch.rules.one_half.match import Match
from fitmatch.rules.registry import in_order
from fitmatch.wording import shorten

T = TypeVar("T")


def check_kinds(jobs: Sequence[Job], settings: Sequence[Settings], findings: Findings) -> None:
    """Note a family that fits one kind in one job and another kind in another: it decides the kind of a shell."""
    kinds: dict[str, tuple[str, str]] = {}
    for at, (job, own) in enumerate(zip(jobs, settings, strict=True)):
        for kind, fit in job.fits.items():
            for family in fit.family or ():
                other, there = kinds.setdefault(family, (kind, job.name))
                if other != kind:
                    text = f"`{shorten(family)}` fits {shorten(other)} in {there}; of the shelf's shells the family"
                    text = f"{text} decides the kind, so name each family in one kind, called alike in all jobs"
                    paper, row = Paper(f"{job.name}/job.toml", (at, SETTINGS)), own.file.row("fit", kind, "family")
                    findings.report("family-twice", text, paper, row, f"fit.{kind}.family")


def named_alike(jobs: Sequence[Job]) -> list[Job]:
    """The jobs with each shell of the shelf under one name: that of a file, wherever one has it."""
    own = [{s.key for s in job.own_shells or ()} for job in jobs]
    files = {box for keys in own for box, _ in keys}
    known: dict[str, set[int]] = {}
    numbers = set[int]()
    for job, keys in zip(jobs, own, strict=True):
        for key, one in (job.shelved or {}).items():
            if key in keys:
                known.setdefault(key[0], set()).add(one.box_number)
                numbers.add(one.number)
    everyone = [one for job in jobs for one in (job.shelved or {}).values()]
    names = box_names((one for one in everyone if one.number not in numbers), files, known)
    of_file = {one.number: key for job, keys in zip(jobs, own, strict=True) for key, one in _some(job, keys).items()}
    key_of = {one.number: of_file.get(one.number) or (names[one.box_number], one.shell) for one in everyone}
    return [_renamed(job, {key: key_of[one.number] for key, one in (job.shelved or {}).items()}) for job in jobs]


def _some(job: Job, keys: set[ShellKey]) -> Mapping[ShellKey, ShelvedShell]:
    return {key: one for key, one in (job.shelved or {}).items() if key in keys}


def _renamed(job: Job, names: Mapping[ShellKey, ShellKey]) -> Job:
    if all(old == new for old, new in names.items()):
        return job

    def shell(one: Shell) -> Shell:
        box, name = names.get(one.key, one.key)
        return replace(one, box=box, name=name) if one.is_shelved else one

    def position(one: Position) -> Position:
        locks = {side: names.get(getattr(one, side), getattr(one, side)) for side in SIDES}
        return replace(one, **locks)

    return replace(
        job,
        shells=tuple(map(shell, job.shells)),
        positions=tuple(map(position, job.positions)),
        shelved={names[key]: one for key, one in (job.shelved or {}).items()},
    )


def offered_to_each(read: Sequence[Job], jobs: Sequence[Job]) -> list[Job]:
    """The jobs, which have the shells of all, with each shell of the shelf offered to those that may have it. `read`:
    the same as they were read, each with its own view of the shelf."""
    copies = [{s.key: s for s in job.shells if s.key in (job.shelved or {})} for job in read]
    known: dict[ShellKey, ShelvedShell] = {}
    holds: dict[ShellKey, str | None] = {}
    kept: dict[ShellKey, int] = {}
    for key in dict.fromkeys(key for some in copies for key in some):
        views = {at: (read[at].shelved or {})[key] for at, some in enumerate(copies) if key in some}
        free = [at for at, one in views.items() if not _is_barred(copies[at][key], one)]
        known[key] = views[(free or [*views])[0]]
        texts = [copies[at][key].hold for at in free or views]
        holds[key] = next((text for text in texts if text is not None), None)
        shell = copies[next(iter(views))][key]
        if free and any(shell.family in (fit.family or ()) for at, fit in _fits(read, shell.kind) if at not in free):
            kept[key] = free[0]
    shells = tuple(_held(s, holds[s.key]) if s.key in holds else s for s in jobs[0].shells)
    marks = [ANY if (at := kept.get(s.key)) is None else _mark(jobs[at]) for s in shells]
    if kept:
        shells = tuple(replace(s, marks=(*s.marks, mark)) for s, mark in zip(shells, marks, strict=True))
    found = []
    for job, own in zip(jobs, read, strict=True):
        mine = own.shelved or {}
        there = {key: mine.get(key) or _elsewhere(one, read, kept.get(key)) for key, one in known.items()}
        job = replace(job, shells=shells, shelved=there)
        found.append(_asking(job) if kept else job)
    return found


def _is_barred(shell: Shell, one: ShelvedShell) -> bool:
    """Whether it is the shelf that keeps it from the job; a used shell is free where a lock puts it back."""
    return one.barred is not None and shell.hold == why_not(one.barred)


def _fits(jobs: Sequence[Job], kind: str) -> list[tuple[int, Any]]:
    return [(at, job.fits[kind]) for at, job in enumerate(jobs) if kind in job.fits]


def _held(shell: Shell, hold: str | None) -> Shell:
    return shell if shell.hold == hold else replace(shell, hold=hold)


def _mark(job: Job) -> str:
    return f"{job.name}/" if job.name == ANY else job.name  # no name ends so


def _elsewhere(one: ShelvedShell, jobs: Sequence[Job], at: int | None) -> ShelvedShell:
    return one if at is None else one._replace(barred=Fact("set-aside", {"job": jobs[at].name}))


def _asking(job: Job) -> Job:
    """The job with positions that ask for shells set aside for it or for nobody."""
    columns = (*job.shell_columns, KEPT_FOR)
    gap = ("",) * (len(job.shell_columns) - len(job.matched_columns))
    asked = (*gap, _mark(job))
    positions = tuple(
        replace(p, wants_upper=(*p.wants_upper, *asked), wants_lower=(*p.wants_lower, *asked)) for p in job.positions
    )
    rules = tuple(in_order((*job.rules, Match(KEPT_FOR).located(columns))))
    return replace(job, shell_columns=columns, positions=positions, rules=rules)
