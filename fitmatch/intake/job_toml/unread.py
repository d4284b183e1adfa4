"""Files beside the shell files, or beside job.toml, that are not read: a box left out of the answer must not go
unnoticed."""

from collections.abc import Collection, Iterator
from contextlib import suppress
from glob import has_magic
from pathlib import Path
from typing import Final

from fitmatch.intake.common.files import read_file
from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.job_toml.globbing import matches_if_few
from fitmatch.intake.tables.columns import names_in
from fitmatch.intake.tables.opening import open_table
from fitmatch.wording import listed

TABLES: Final = (".csv", ".xlsx")
# What is in the job folder itself apart from shells.
OF_THE_JOB: Final = frozenset(("job", "positions", "readings", "assembled", "assignment"))
_COLUMNS: Final = frozenset(("shell", "half", "wall", "wall_1"))  # two of them make a table of shells
_LARGEST: Final = 1_000_000  # bytes; no box is as large, and a large workbook would take long in every run
_MOST_NAMES: Final = 10


def warn_of_unread(
    folder: Path, shells: Collection[str], shared: Collection[str], read: Collection[str | None], findings: Findings
) -> None:
    """Warn of files in the folders of the globs that no glob matches, and of tables of shells beside job.toml. A path
    that names one file wants no other in its folder; in a shared folder only files count that differ from the glob's
    matches in nothing but their ending."""
    for key, globs in (("shells", shells), ("shared", shared)):
        lost: dict[str, str] = {}  # name -> the glob that would match it
        for pattern in filter(has_magic, globs):
            place, slash, name = pattern.rpartition("/")
            wide = f"{place}{slash}*" if key == "shells" else f"{pattern.rpartition('.')[0]}.*"
            for path in sorted(matches_if_few(wide, folder)):
                if path not in read and path not in lost and _may_hold_shells(folder, path):
                    ending = Path(path).suffix
                    lost[path] = path if name.endswith(ending) else f"{place}{slash}*{ending}"
        if key == "shells":
            lost |= {path: path for path in _boxes_beside_the_job(folder, {*read, *lost})}
        tables = [path for path in lost if path.lower().endswith(TABLES)]
        if tables:
            more = dict.fromkeys((*globs, *(lost[path] for path in tables)))
            items = ", ".join(f'"{pattern}"' for pattern in more)
            it = "it" if len(tables) == 1 else "them"
            todo = f"to use {it} write {key} = [{items}] in [sources] of job.toml"
            findings.warnings.append(f"{_are_not_read(tables)}; {todo}")
        others = [path for path in lost if path not in tables]
        if others:
            it, holds = ("it", "it holds") if len(others) == 1 else ("them", "they hold")
            todo = f"if {holds} shells, save {it} as .csv or .xlsx, otherwise move {it} elsewhere"
            findings.warnings.append(f"{_are_not_read(others)}; {todo}")


def _boxes_beside_the_job(folder: Path, known: Collection[str | None]) -> Iterator[str]:
    """Tables in the job folder itself that have columns of shells."""
    for path in sorted(folder.glob("[!.]*")):
        name = path.name
        if name in known or not name.lower().endswith(TABLES) or not _may_hold_shells(folder, name):
            continue
        with suppress(OSError):
            table = None if path.is_symlink() else open_table(read_file(path, _LARGEST), Paper(name, ()), Findings())
            if table is not None and len(_COLUMNS & names_in(table)) > 1:
                yield name


def _may_hold_shells(folder: Path, path: str) -> bool:
    """Not a folder, not the lock file of a spreadsheet program, and not one of the job's other files."""
    own = "/" not in path and Path(path).stem.casefold() in OF_THE_JOB
    return not own and not Path(path).name.startswith("~$") and not (folder / path).is_dir()


def _are_not_read(paths: list[str]) -> str:
    names = paths if len(paths) <= _MOST_NAMES else [*paths[:_MOST_NAMES], f"{len(paths) - _MOST_NAMES} more"]
    return f"{listed(names)} {'is' if len(paths) == 1 else 'are'} not read"
