"""A lock on a job that ends with its process, however that ends, and that leaves no file behind."""

import sys
from pathlib import Path
from typing import BinaryIO

if sys.platform == "win32":
    import msvcrt
else:
    import fcntl

_FAR_BYTE = 2**30  # beyond the end: what is locked on Windows cannot be read meanwhile


class HeldError(Exception):
    """Somebody else holds the lock."""


def lock(path: Path) -> BinaryIO:
    """Lock an existing file without changing it; the lock lasts until what is returned is closed.

    Raises HeldError if it is held, OSError if it cannot be locked at all.
    """
    file = path.open("rb")
    try:
        if sys.platform == "win32":
            file.seek(_FAR_BYTE)
            msvcrt.locking(file.fileno(), msvcrt.LK_NBLCK, 1)
        else:
            fcntl.flock(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except (BlockingIOError, PermissionError) as error:
        file.close()
        raise HeldError from error
    except BaseException:
        file.close()
        raise
    return file
