"""Write a file, or several, whole or not at all, and only inside the job folder."""

import os
from collections.abc import Mapping
from contextlib import suppress
from errno import EEXIST
from glob import escape
from pathlib import Path
from stat import S_IMODE
from typing import Final

from fitmatch.intake.common.files import inside, read_file

_DRAFT: Final = (
    os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_BINARY", 0)
)  # a new file or none: what somebody else has put there is neither followed nor written to
_MOST_DRAFTS: Final = 100
_MARK: Final = ".fitmatch-draft-"  # in the name of every draft, and of nothing that somebody else would make


def write_whole(path: Path, data: bytes, folder: Path) -> None:
    """Make `path` contain `data`, with the owner and the permissions it had. A reader, a kill or a power failure finds
    either the old file or the new one. If `path` is a link, its target is replaced, as far as `inside` allows it. An
    OSError names `path`, whatever could not be written."""
    try:
        _write_whole(inside(path, folder), data)
    except OSError as error:
        error.filename, error.filename2 = str(path), None
        raise


def _write_whole(path: Path, data: bytes) -> None:
    before = path.stat() if path.exists() else None
    handle, draft = _new_draft(path, 0o666 if before is None else 0o600)
    try:
        with open(handle, "wb") as file:  # noqa: PTH123 (it is open already)
            if before is not None:
                _keep(handle if os.name == "posix" else draft, before)
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    except BaseException:
        with suppress(OSError):
            draft.unlink()
        raise
    sync_folder(path.parent)


def _new_draft(path: Path, mode: int) -> tuple[int, Path]:
    """A file beside `path` that was not there before, open for writing."""
    for number in range(_MOST_DRAFTS):
        draft = path.with_name(f".{path.name}{_MARK}{os.getpid()}{number or ''}")
        with suppress(FileExistsError):
            return os.open(draft, _DRAFT, mode), draft
    raise OSError(EEXIST, f"files named .{path.name}{_MARK}NUMBER are in the way; remove them", str(path))


def _keep(draft: int | Path, before: os.stat_result) -> None:
    """Give the draft the owner, as far as the system lets this user, and the permissions of the file it replaces."""
    mine = os.stat(draft)  # noqa: PTH116 (it may be a handle)
    if (mine.st_uid, mine.st_gid) != (before.st_uid, before.st_gid):
        for owner in ((-1, before.st_gid), (before.st_uid, -1)):
            with suppress(PermissionError):
                os.chown(draft, *owner)
    os.chmod(draft, S_IMODE(before.st_mode))  # noqa: PTH101 (the same)


def write_all(files: Mapping[Path, bytes]) -> None:
    """Write every file, each in its own job folder, whole, or leave all as they were."""
    before = {path: read_file(path) if inside(path, path.parent).exists() else None for path in files}
    written: list[Path] = []
    try:
        for path, data in files.items():
            write_whole(path, data, path.parent)
            written.append(path)
    except BaseException:
        for path in written:
            old = before[path]
            if old is None:
                path.unlink()
            else:
                write_whole(path, old, path.parent)
        raise


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on disk too; systems without such a call do not need it."""
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def remove_drafts(path: Path) -> None:
    """Remove what was left by killed attempts to write `path`; only for the sole writer of the file."""
    for draft in path.parent.glob(f".{escape(path.name)}{_MARK}*"):
        if draft.name.rpartition("-")[2].isdecimal() and (draft.is_file() or draft.is_symlink()):
            draft.unlink(missing_ok=True)
