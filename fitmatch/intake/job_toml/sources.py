"""The files of a job: which ones [sources] names, in what order, and their bytes.

Paths stay inside the job folder, whether by `..`, by an absolute path or through a link; only `shared` may leave it.
"""

import os
from collections.abc import Iterable, Iterator
from dataclasses import replace
from glob import escape, has_magic
from itertools import accumulate
from pathlib import Path
from typing import Final, NamedTuple

from fitmatch.intake.common.files import (
    LARGEST,
    LARGEST_PLAN,
    NOWHERE,
    ROUND,
    TooLargeError,
    leads_nowhere,
    leads_round,
    read_file,
)
from fitmatch.intake.common.findings import (
    ASSEMBLED,
    POSITIONS,
    READINGS,
    SAVED_PLAN,
    SETTINGS,
    SHELLS,
    Findings,
    Paper,
)
from fitmatch.intake.job_toml.globbing import Allowance, TooMuchError, matches, matches_if_few
from fitmatch.intake.job_toml.key_rows import JOB_FILE, JobFile
from fitmatch.intake.job_toml.settings import DEFAULT_SHELLS, Settings
from fitmatch.intake.job_toml.unread import TABLES, warn_of_unread
from fitmatch.names import natural
from fitmatch.wording import listed, shorten

_LARGEST_JOB: Final = 4_000_000  # bytes of job.toml
_MOST_BYTES: Final = {SETTINGS: _LARGEST_JOB, SAVED_PLAN: LARGEST_PLAN}
_SMALLER: Final = {
    SETTINGS: "take out what does not belong to this job",
    SAVED_PLAN: "save the plan again with `fitmatch assign --save`, or remove the file",
}
_PLACES: Final = {"positions": POSITIONS, "readings": READINGS, "assembled": ASSEMBLED}
# Nobody means a glob with more, and it could take hours: each `**` multiplies the ways to the same file.
_LONGEST: Final = 1_000
_DEEPEST: Final = 50
_MOST_STARS: Final = 4


class Source(NamedTuple):
    """A file of the job, read once, so that what is checked, used and digested are the same bytes."""

    paper: Paper
    data: bytes


def read_bytes(folder: Path, paper: Paper, findings: Findings, *, may_leave: bool = False) -> bytes | None:
    """A file's bytes; None, with a problem noted, if it cannot be read."""
    path = folder / paper.name
    try:
        if leads_round(path):
            findings.report("unreadable-file", ROUND, paper)
        elif not may_leave and not path.resolve().is_relative_to(folder.resolve()):
            text = "leads out of the job folder; only paths under `shared` in [sources] may do that"
            findings.report("outside-folder", text, paper)
        elif leads_nowhere(path):
            findings.report("unreadable-file", NOWHERE, paper)
        elif not path.exists():
            findings.report("missing-file", _missing(folder, paper), paper)
        elif path.is_dir():
            findings.report("unreadable-file", "is a folder; name a file", paper)
        elif not path.is_file():
            findings.report("unreadable-file", "is a pipe, a device or the like; put a file in its place", paper)
        else:
            return read_file(path, _MOST_BYTES.get(paper.rank[0], LARGEST))
    except TooLargeError as error:
        todo = _SMALLER.get(paper.rank[0], "split it into several files")
        findings.report("too-large", f"is too large: {error.strerror}; {todo}", paper)
    except (OSError, ValueError) as error:  # ValueError: NUL in a path
        reason = getattr(error, "strerror", None) or "not a valid path on this system"
        findings.report("unreadable-file", f"cannot be read ({reason}); check the file and its permissions", paper)
    return None


def named_files(folder: Path, settings: Settings) -> Iterator[str]:
    """The files that [sources] names, and those that its globs find; a file that is named need not be there."""
    yield from filter(None, (settings.positions, settings.readings, settings.assembled))
    for key, patterns in (("shells", settings.shells or ()), ("shared", settings.shared)):
        for pattern in patterns:
            yield from _matches(folder, pattern, key, settings.file, Allowance()) or ()


def with_positions(folder: Path, settings: Settings) -> Settings:
    """The settings with the name of the one table that a glob for the positions finds; None in its place, with a
    problem noted, where there is none or more than one. A plain path stays as it is."""
    pattern = (settings.positions or "").strip()
    if not has_magic(pattern) or (folder / pattern).exists():
        return settings
    matching = _matches(folder, pattern, "positions", settings.file, Allowance())
    found = [name for name in matching or () if name.lower().endswith(TABLES)]
    if len(found) == 1:
        return replace(settings, positions=found[0])
    if found:
        text = f"`{shorten(pattern)}` finds {listed([shorten(name) for name in found])}; keep one of them, or name it"
        settings.file.report("several-positions", text, "sources", "positions")
    elif matching is not None:
        text = f"no file matches `{shorten(pattern)}`; save the positions as .csv or .xlsx, or correct the path"
        settings.file.report("nothing-found", text, "sources", "positions")
    return replace(settings, positions=None)


def table_source(folder: Path, settings: Settings, key: str, findings: Findings) -> Source | None:
    """The one file that a key of [sources] names: positions, readings or assembled."""
    name: str | None = getattr(settings, key)
    if name is None:
        return None
    if not settings.readable and not (folder / name).exists():
        return None  # job.toml may name another file
    if not _may_be_followed(name, key, settings.file):
        return None
    return _read_table(folder, Paper(name, (_PLACES[key],)), findings)


def readings_source(folder: Path, settings: Settings, findings: Findings, data: bytes | None = None) -> Source | None:
    """The long file of readings, if there is to be one; with `data` in place of what is on disk."""
    if settings.readings is None or not settings.readable:
        return None
    name = settings.readings
    if not os.path.lexists(folder / name):
        if data is not None:
            paper = Paper(name, (READINGS,))
            return Source(paper, data) if _may_be_followed(name, "readings", settings.file) else None
        if not settings.readings_written:
            return None
    found = table_source(folder, settings, "readings", findings)
    return found if found is None or data is None else found._replace(data=data)


def _read_table(folder: Path, paper: Paper, findings: Findings, *, may_leave: bool = False) -> Source | None:
    if not paper.name.lower().endswith(TABLES):
        findings.report("wrong-ending", "is neither .csv nor .xlsx; save it as one of them", paper)
        return None
    data = read_bytes(folder, paper, findings, may_leave=may_leave)
    return None if data is None else Source(paper, data)


def shell_sources(
    folder: Path, settings: Settings, findings: Findings, *, needed: bool = True
) -> tuple[list[Source], bool]:
    """The shell files in order, and whether all of them could be read. If they are not `needed`, globs may all find
    nothing."""
    complete = settings.readable and settings.shells is not None
    names: dict[str, bool] = {}  # path as shown -> whether it may lead out of the folder
    followed: dict[str, list[str]] = {"shells": [], "shared": []}
    missed: list[tuple[str, str]] = []  # key and glob
    allowance = Allowance()
    for key, patterns in (("shells", settings.shells or ()), ("shared", settings.shared)):
        found = {pattern: _matches(folder, pattern, key, settings.file, allowance) for pattern in patterns}
        wanted = settings.readable and (key == "shared" or settings.shells_written or not settings.shared)
        for pattern, some in found.items():
            if some is None:
                complete = False
                continue
            followed[key].append(pattern)
            for name in some:
                names.setdefault(name, key == "shared")
            if not some and wanted and not any(other for alike, other in found.items() if _but_ending(alike, pattern)):
                missed.append((key, pattern))
    if needed or names or not all(has_magic(pattern) for _, pattern in missed):
        complete = complete and not missed
        for key, pattern in missed:
            settings.file.report("nothing-found", _nothing(folder, pattern), "sources", key)
    if settings.shells == () and not settings.shared:
        text = 'names no shell file; write a list, such as ["shells/*.csv"]'
        settings.file.report("nothing-found", text, "sources", "shells")
    read = {*names, settings.positions, settings.readings, settings.assembled}
    warn_of_unread(folder, followed["shells"], followed["shared"], read, findings)
    papers = _each_once(folder, names)
    sources = [_read_table(folder, paper, findings, may_leave=names[paper.name]) for paper in papers]
    read_well = [source for source in sources if source is not None]
    return read_well, complete and len(read_well) == len(sources)


def _but_ending(one: str, other: str) -> bool:
    """Whether two globs differ in the ending alone: tables and workbooks in the same place, of which either will do."""
    return one.strip().rpartition(".")[0] == other.strip().rpartition(".")[0]


def _each_once(folder: Path, names: Iterable[str]) -> Iterator[Paper]:
    """Each file once, even if two paths lead to it: its shells exist only once."""
    seen: set[Path] = set()
    for number, name in enumerate(names):
        try:
            resolved = (folder / name).resolve()
        except (OSError, RuntimeError):
            resolved = folder / name  # reading it will show what is wrong
        if resolved not in seen:
            seen.add(resolved)
            yield Paper(name, (SHELLS, number))


def _matches(folder: Path, pattern: str, key: str, file: JobFile, allowance: Allowance) -> list[str] | None:
    """The files a glob matches, in natural order of path; None, with a problem noted, if it is not allowed."""
    if not _may_be_followed(pattern, key, file):
        return None
    if len(pattern) > _LONGEST or pattern.count("/") > _DEEPEST or pattern.count("**") > _MOST_STARS:
        text = f"`{shorten(pattern)}` is too long or has too many parts; write a shorter glob"
        file.report("nothing-found", text, "sources", key)
        return None
    # Hidden files, and the lock files that spreadsheet programs keep beside an open workbook, are not tables.
    try:
        found = [
            name
            for name in matches(pattern, folder, allowance)
            if not Path(name).name.startswith("~$") and not (folder / name).is_dir()
        ]
    except TooMuchError:
        text = f"`{shorten(pattern)}` looks through far more files than a job has; name a folder nearer to the shells"
        file.report("too-large", text, "sources", key)
        return None
    return sorted(sorted(found), key=natural)  # `1` and `01` are equal numbers: then by code point


def _may_be_followed(pattern: str, key: str, file: JobFile) -> bool:
    """Whether a path, as written, stays in the folder if it must; if not, that is noted."""
    if "\\" in pattern or "\0" in pattern:
        text = f"`{shorten(pattern)}` is not written with `/`; write `/` between folders"
    elif key != "shared" and _leaves(pattern):
        text = f"`{shorten(pattern)}` leaves the job folder; only paths under `shared` may do that"
    else:
        return True
    file.report("outside-folder", text, "sources", key)
    return False


def _leaves(pattern: str) -> bool:
    steps = [{"..": -1, ".": 0, "": 0}.get(part, 1) for part in pattern.split("/")]
    return min(accumulate(steps)) < 0 or pattern.startswith("/") or pattern[1:2] == ":"


def _missing(folder: Path, paper: Paper) -> str:
    """Reports that a file is missing, and what is there instead."""
    name, key = paper.name, next((key for key, place in _PLACES.items() if place == paper.rank[0]), "positions")
    wanted = folder / name
    hidden = next(
        (path.name for path in sorted(wanted.parent.glob(f"{escape(wanted.name)}.*")) if path.is_file()), None
    )
    if hidden is not None:
        it = f"the file is missing, though {hidden} is there, the end of whose name a file manager may hide"
        return f"{it}; rename that one to {wanted.name}"
    if paper is JOB_FILE:
        where = "this folder" if str(folder) == "." else f"the folder {folder}"
        return f"the file is missing in {where}; name the folder of a job, or let `fitmatch new` write one"
    others = sorted(path.name for path in wanted.parent.glob("*") if path.stem == wanted.stem and path.is_file())
    for other in others:
        path = f"{name.rpartition('/')[0]}/{other}".lstrip("/")
        if other.lower().endswith(TABLES):
            return f'the file is missing, though {path} is there; write {key} = "{path}" in [sources] of job.toml'
    if others:
        return f"the file is missing, though {others[0]} is there; save it as .csv or .xlsx and name it in [sources]"
    if key == "assembled":
        columns = "position,clearance,method"
        return f"the file is missing; write one row per position under the header {columns}, or correct the path to it"
    return "the file is missing; write it or correct the path to it"


def _nothing(folder: Path, pattern: str) -> str:
    """Reports that a glob matches nothing, and what may have been meant."""
    text = f"no file matches `{shorten(pattern)}`"
    folders = sorted(matches_if_few(pattern, folder))  # nothing else matches
    if folders:
        return f"{text}, and {shorten(folders[0])} is a folder; put a file in its place, or correct the glob"
    if pattern.endswith(".csv") and matches_if_few(f"{pattern[:-4]}.xlsx", folder):
        return f'{text}, though .xlsx files are there; write "{pattern[:-4]}.xlsx"'
    others = sorted(matches_if_few(f"{pattern.rpartition('/')[0]}/*", folder)) if "/" in pattern else []
    if others:
        return f"{text}, though {shorten(others[0])} is there; correct the glob, or save the file as .csv or .xlsx"
    if has_magic(pattern) or pattern in DEFAULT_SHELLS:
        return f"{text}; put shell files there or correct the glob"
    return f"{text}; put the file there or correct the path"
