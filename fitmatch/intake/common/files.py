"""Files of a job, read and written only where an ordinary file is: no pipe, no device, nothing behind a link."""

import os
from errno import EINVAL, ELOOP
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import Final

LARGEST: Final = 64_000_000  # bytes of a table or a saved plan: more than a million shells
_READ: Final = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_BINARY", 0)


class TooLargeError(OSError):
    """A file with more bytes than any file of its kind."""


def read_file(path: Path, most: int = LARGEST) -> bytes:
    """The bytes of an ordinary file. Raises TooLargeError if there are more than `most`, OSError for anything else."""
    # Asked before opening, as that alone may do something to a device; and again of what was opened.
    _must_be_file(path, path.stat())
    handle = os.open(path, _READ)
    with open(handle, "rb") as file:  # noqa: PTH123 (Path.open would wait for a pipe)
        found = os.fstat(handle)
        _must_be_file(path, found)
        data = b"" if found.st_size > most else file.read(most + 1)
        if max(found.st_size, len(data)) > most:
            size = -(-max(found.st_size, len(data)) // 10**6)
            text = f"it has {size} MB, and may have {most // 10**6} MB"
            raise TooLargeError(EINVAL, text, str(path))
        return data


def inside(path: Path, folder: Path) -> Path:
    """Where `path`, a file of the job folder, is really written: through links, but not out of the folder, and not
    into anything but a file. Raises OSError."""
    try:
        real = path.resolve()
    except RuntimeError as error:  # until Python 3.13
        raise OSError(ELOOP, "links lead round in a circle there", str(path)) from error
    if not real.is_relative_to(folder.resolve()):
        raise OSError(ELOOP, "a link leads out of the job folder there; remove the link", str(path))
    if real.exists():
        _must_be_file(path, real.stat())
    return real


def _must_be_file(path: Path, found: os.stat_result) -> None:
    if not S_ISREG(found.st_mode):
        what = "a folder" if S_ISDIR(found.st_mode) else "a pipe, a device or the like"
        raise OSError(EINVAL, f"it is not a file but {what}; put a file in its place", str(path))
