"""A lock on a job folder or a file that ends with its process, however that ends, and that leaves no file behind."""

import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fitmatch.intake.job_toml.key_rows import JOB_FILE

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_FAR_BYTE = 2**30  # beyond the end: what is locked on Windows cannot be read meanwhile


class HeldError(Exception):
    """Somebody else holds the lock."""


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Lock a job folder without changing it; other programs may read and write all the same.

    The folder itself is locked, as job.toml may be replaced by another file meanwhile; on Windows, which locks no
    folders and replaces no open file, job.toml. Raises HeldError if it is held, OSError if it cannot be locked at all.
    """
    handle = os.open(folder / JOB_FILE.name if sys.platform == "win32" else folder, os.O_RDONLY)
    try:
        lock(handle)
        yield
    finally:
        os.close(handle)


def lock(handle: int) -> None:
    """Lock what is open here until it is closed. Raises HeldError if it is held, OSError if it cannot be locked."""
    try:
        if sys.platform == "win32":
            before = os.lseek(handle, 0, os.SEEK_CUR)
            os.lseek(handle, _FAR_BYTE, os.SEEK_SET)
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
            os.lseek(handle, before, os.SEEK_SET)
        else:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError) as error:
        raise HeldError from error
