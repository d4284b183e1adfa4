"""Write a file, or several, whole or not at all."""

import os
from collections.abc import Mapping
from contextlib import suppress
from pathlib import Path
from stat import S_IMODE


def write_whole(path: Path, data: bytes) -> None:
    """Make `path` contain `data`, with the permissions it had. A reader, a kill or a power failure finds either the old
    file or the new one. If `path` is a link, its target is replaced."""
    path = path.resolve()
    draft = path.with_name(f".{path.name}.{os.getpid()}")
    try:
        with draft.open("wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        if path.exists():
            draft.chmod(S_IMODE(path.stat().st_mode))
        draft.replace(path)
    except BaseException:
        with suppress(OSError):
            draft.unlink()
        raise
    sync_folder(path.parent)


def write_all(files: Mapping[Path, bytes]) -> None:
    """Write every file whole, or leave all as they were."""
    before = {path: path.read_bytes() if path.exists() else None for path in files}
    written: list[Path] = []
    try:
        for path, data in files.items():
            write_whole(path, data)
            written.append(path)
    except BaseException:
        for path in written:
            old = before[path]
            if old is None:
                path.unlink()
            else:
                write_whole(path, old)
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
    for draft in path.parent.glob(f".{path.name}.*"):
        if draft.suffix[1:].isdecimal():
            draft.unlink(missing_ok=True)
