"""A job together with its saved plan, and with what was read with the shells in, if that was."""

from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import NamedTuple

from fitmatch.intake.common.findings import Findings
from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import FolderReader
from fitmatch.intake.saved.saved_figures import Said, said
from fitmatch.intake.saved.saved_plan import PAPER, SavedPlan, plan_in, read_saved_plan
from fitmatch.intake.saved.shared_plan import cure, no_longer_shared, sharers
from fitmatch.problems import InputError
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.shelf.shelved import Holdings, ShelvedShell, Supply, digest_of_readings
from fitmatch.wording import printable, shorten


class Planned(NamedTuple):
    """`plan` is None where none was saved; `said` is what it says of itself. `void`: why it is not to be used any more;
    `cure`: what to do about that."""

    job: Job
    plan: SavedPlan | None = None
    said: Said | None = None
    void: tuple[str, ...] = ()
    cure: str = ""


class Kept(NamedTuple):
    """The plan that a folder has, what is wrong with its document, and the shelf that was named, if one was."""

    folder: Path
    plan: SavedPlan | None
    findings: Findings
    db: str | None

    @property
    def has_the_shelf_s_shells(self) -> bool:
        return self.plan is not None and self.plan.readings is not None

    @property
    def folders(self) -> tuple[Path, ...]:
        """The folder, and those of the jobs that share its plan, unless all of its shells are on the shelf."""
        others = () if self.plan is None or self.plan.is_of_the_shelf else self.plan.beside
        return (self.folder, *(self.folder / other for other in others))

    def cure(self, holdings: Holdings | None) -> str:
        """What to do about a plan that is not to be used any more."""
        return "" if self.plan is None else cure(self.folder, self.plan, self.db, holdings=holdings)


def kept_plan(folder: Path, db: str | None = None) -> Kept:
    """The saved plan of a folder, if there is one, before the job is read. `db`: the shelf, if one was named."""
    findings = Findings()
    return Kept(folder, read_saved_plan(folder, findings) if folder.is_dir() else None, findings, db)


def read_planned(kept: Kept, supplies: Sequence[Supply] = ()) -> Planned:
    """Read a job folder with its saved plan and its assembled readings, where there are any, and with the shells of a
    shelf if there are `supplies`, one for each of the folders. Where several jobs share the plan, with the shells of
    all. Raises InputError with every mistake."""
    findings = kept.findings
    if kept.plan is not None and len(kept.folders) > 1:
        return _shared(kept, kept.plan, supplies)
    reader = FolderReader(kept.folder, supply=supplies[0] if supplies else None)
    try:
        job = reader.job(reader.compared(frozenset()), assembled=reader.is_assembled)
    except InputError as error:
        if reader.is_assembled:  # the plan was read with it
            raise
        raise InputError(
            [*error.problems, *findings.problems], error.warnings, error.number + findings.number
        ) from None
    return planned_for(job, kept, supplies)


def planned_for(job: Job, kept: Kept, supplies: Sequence[Supply] = ()) -> Planned:
    """A job that is read, with the saved plan of its folder, if that has one; raises InputError if it cannot be
    read."""
    plan, findings = kept.plan, kept.findings
    if findings.problems:
        raise InputError(findings.problems, job.warnings)
    if plan is None:
        return Planned(job)
    plan = by_number(plan, job.shelved or {})
    holdings = supplies[0] if supplies else None
    void = [
        *no_longer_shared(kept.folder, plan, holdings),
        *_changed_files(plan, job),
        *_since_on_the_shelf(plan, job, supplies),
    ]
    return Planned(job, plan, said(plan, job), tuple(void), kept.cure(holdings))


def _changed_files(plan: SavedPlan, job: Job) -> Iterator[str]:
    if not plan.is_of(job.digest):
        whose = f" of {printable(job.name)}" if job.name else ""
        yield f"the inputs{whose} have changed since this plan was saved"


def _since_on_the_shelf(plan: SavedPlan, job: Job, supplies: Sequence[Supply]) -> Iterator[str]:
    """What became of the shells that the plan has from the shelf."""
    if plan.readings is None:
        return
    from fitmatch.intake.together.supplied import why_not_offered

    usable = {shell.key for shell in job.shells if shell.hold is None}
    names = {number: plan.shells[where] for where, number in plan.numbers.items()}
    there = {one.number: one for one in (job.shelved or {}).values() if one.number in names}
    if missing := names.keys() - there.keys():
        boxes = {names[number][0] for number in missing}
        there |= {one.number: one for s in supplies[:1] for one in s.in_boxes(boxes) if one.number in missing}
    for number, one in sorted(there.items()):
        is_barred = (one.hold or one.barred is not None) and names[number] not in usable
        if is_barred or number in missing:
            settled = f"; `fitmatch shelf release {number} REASON` once that is settled" if one.hold else ""
            yield f"{printable(shorten(full_name(names[number])))} is {printable(why_not_offered(one))}{settled}"
    readings = digest_of_readings((number, [r.nm for r in one.readings]) for number, one in there.items())
    if supplies and there.keys() == names.keys() and plan.readings != readings:
        yield "shells of this plan were measured again since it was saved"


def by_number(plan: SavedPlan, shelved: Mapping[ShellKey, ShelvedShell]) -> SavedPlan:
    """The plan with the shelf's shells by the names that they have now: of two boxes of one name one is called
    otherwise as long as the other is there."""
    now = {one.number: key for key, one in shelved.items()}
    shells = {where: now.get(plan.numbers.get(where, 0), key) for where, key in plan.shells.items()}
    return plan._replace(shells=shells)


def _shared(kept: Kept, plan: SavedPlan, supplies: Sequence[Supply]) -> Planned:
    holdings = supplies[0] if supplies else None
    apart = no_longer_shared(kept.folder, plan, holdings)
    if not all(other.is_there for other in sharers(kept.folder, plan)):
        raise _refused(apart, kept.cure(holdings))
    jobs = read_jobs(kept.folders, supplies=supplies, assembled=True).jobs
    pairs = zip(kept.folders, jobs, strict=True)
    parts = [by_number(_part_of(plan, folder), job.shelved or {}) for folder, job in pairs]
    own, *others = parts
    void = [*apart, *(why for part, job in zip(parts, jobs, strict=True) for why in _changed_files(part, job))]
    # What became of other jobs' shells of the shelf since makes no difference to this one.
    void += _since_on_the_shelf(own, jobs[0], supplies)
    told = said(own, jobs[0])._replace(elsewhere=frozenset(key for other in others for key in other.shells.values()))
    return Planned(jobs[0], own, told, tuple(void), kept.cure(holdings))


def _part_of(plan: SavedPlan, folder: Path) -> SavedPlan:
    """What the plan says of the job in one of the folders that share it."""
    found = plan_in(plan.data, folder, Findings())
    assert found is not None  # it was read before
    return found


def refused_plan(planned: Planned, faults: Sequence[str]) -> InputError:
    """What to raise where the saved plan cannot be shown for its job; `faults` are the reasons."""
    return _refused([*planned.void, *faults], planned.cure, planned.job.warnings)


def _refused(faults: Sequence[str], cure: str, warnings: Sequence[str] = ()) -> InputError:
    findings = Findings()
    for fault in faults:
        findings.report("contradicted-plan", f"cannot be shown: {fault}; {cure}", PAPER)
    return InputError(findings.problems, warnings)
