"""A box opened at the bench: its shells named, its file written whole where the job looks for shell files."""

import csv
from fnmatch import fnmatch
from glob import has_magic
from io import StringIO
from typing import Final, NamedTuple

from fitmatch.intake.common.files import inside
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.intake.job_toml.unread import OF_THE_JOB
from fitmatch.intake.writing.whole_files import write_whole
from fitmatch.names import composed, fault_in_name
from fitmatch.records.job import Job
from fitmatch.wording import shorten

MOST_SHELLS: Final = 999
_NO_FILE_NAME: Final = frozenset('<>:"\\|?*')  # what some system does not allow in a file name


class BoxError(Exception):
    """A box that cannot be made; the message says what is wrong and what to do."""


class NewBox(NamedTuple):
    """What was requested."""

    name: str
    kind: str
    uppers: int
    lowers: int


def write_box(box: NewBox, job: Job, settings: Settings) -> str:
    """Write the file of a new box; its path in the job folder. Raises BoxError, OSError."""
    _check(box, job)
    path = _path(box.name, settings)
    file = inside(job.folder / path, job.folder)
    place = file.parent
    there = next((p.name for p in place.glob("*") if _on_disk(p.name) == _on_disk(file.name)), None)
    if there is not None:
        raise BoxError(f"{path.rpartition('/')[0]}/{there} already exists; give the box another name".lstrip("/"))
    names = shell_names(box)
    taken = {shell.name for shell in job.shells}.intersection(names)
    if taken:
        raise BoxError(f"there is already a shell `{min(taken)}`; give the box another name")
    families = job.fits[box.kind].family
    family = families[0] if families and len(families) == 1 else ""
    halves = ["upper"] * box.uppers + ["lower"] * box.lowers
    text = StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(["shell", "kind", "half", *(["family"] if family else []), "wall"])
    for name, half in zip(names, halves, strict=True):
        writer.writerow([name, box.kind, half, *([family] if family else []), ""])
    place.mkdir(parents=True, exist_ok=True)
    write_whole(file, text.getvalue().encode(), job.folder)
    return path


def shell_names(box: NewBox) -> list[str]:
    """`C1`, `C2` and so on in box C: names that can be told apart when all boxes are on one bench."""
    stem = f"{box.name}-" if box.name[-1].isdigit() else box.name
    return [f"{stem}{number}" for number in range(1, box.uppers + box.lowers + 1)]


def _check(box: NewBox, job: Job) -> None:
    fault = fault_in_name(box.name)
    if fault is not None:
        raise BoxError(fault)
    if not _NO_FILE_NAME.isdisjoint(box.name) or box.name[0] in ".~" or box.name[-1] == "." or "," in box.name:
        raise BoxError(f"`{shorten(box.name)}` cannot be a file name; write letters, digits and hyphens")
    same = next((shell.box for shell in job.shells if _on_disk(shell.box) == _on_disk(box.name)), None)
    if same is not None:
        alike = (
            "" if composed(same) == composed(box.name) else ", and capitals alone do not tell files apart everywhere"
        )
        raise BoxError(f"there is already a box `{shorten(same)}`{alike}; give this one another name")
    if box.kind not in job.fits:
        raise BoxError(f"`{shorten(box.kind)}` is not a kind of this job; write {' or '.join(job.fits)}")
    if not 1 <= box.uppers + box.lowers <= MOST_SHELLS:
        raise BoxError(f"a box holds 1 to {MOST_SHELLS} shells; write how many uppers and how many lowers")


def _on_disk(name: str) -> str:
    """What is the same for all names that some disk takes for one."""
    return composed(name).casefold()


def _path(name: str, settings: Settings) -> str:
    """Where the first glob would match a file of this name."""
    for pattern in settings.shells or ():
        place, slash, last = pattern.rpartition("/")
        if has_magic(last) and not has_magic(place) and fnmatch(f"{name}.csv", last):
            path = f"{place}{slash}{name}.csv"
            if slash or name.casefold() not in OF_THE_JOB:
                return path
    todo = 'add a glob such as "shells/*.csv"'
    raise BoxError(f"no glob under shells in [sources] of job.toml would find a file {name}.csv; {todo}")
