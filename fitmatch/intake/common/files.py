"""Files of a job, read and written only where an ordinary file is: no pipe, no device, no link that leads astray."""

import os
from errno import EINVAL, ELOOP, ENOENT
from pathlib import Path
from stat import S_ISDIR, S_ISREG
from typing import Final

from fitmatch.wording import printable

LARGEST: Final = 64_000_000  # bytes of a table: more than a million shells
# Bytes of a saved plan. One of 1,000 positions and 20,000 shells has 4 million, and twice that with alternatives; what
# is not a plan may take thirty times its size in memory.
LARGEST_PLAN: Final = 16_000_000
_READ: Final = os.O_RDONLY | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_NOCTTY", 0) | getattr(os, "O_BINARY", 0)


ROUND: Final = "links lead round in a circle there; remove the link"
NOWHERE: Final = "is a link that leads nowhere; remove it or put the file there"


class TooLargeError(OSError):
    """A file with more bytes than any file of its kind."""


class OtherNameError(OSError):
    """A file to be written that is a link to a file of another name, which may be one that somebody needs."""


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
    """Where `path`, a file of the job folder, is really written: through links, but not out of the folder, not into a
    file of another name, such as another file of the job, and not into anything but a file. Raises OSError."""
    if leads_round(path):
        raise OSError(ELOOP, ROUND, str(path))
    real = path.resolve()
    if not real.is_relative_to(folder.resolve()):
        raise OSError(ELOOP, "a link leads out of the job folder there; remove the link", str(path))
    if leads_nowhere(path):
        raise OSError(ENOENT, f"it {NOWHERE}", str(path))
    if real.name.casefold() != path.name.casefold():  # a disk may not tell small letters from capitals
        text = f"it is a link to {printable(real.name)}; remove the link, or put the file itself there"
        raise OtherNameError(ELOOP, text, str(path))
    if real.exists():
        _must_be_file(path, real.stat())
    return real


def leads_round(path: Path) -> bool:
    """Whether links on the way to a path, or there, lead round in a circle."""
    try:
        path.stat()
    except OSError as error:
        return error.errno == ELOOP
    return False


def leads_nowhere(path: Path) -> bool:
    """Whether there is a link to something that does not exist."""
    return path.is_symlink() and not path.exists()


def _must_be_file(path: Path, found: os.stat_result) -> None:
    if not S_ISREG(found.st_mode):
        what = "a folder" if S_ISDIR(found.st_mode) else "a pipe, a device or the like"
        raise OSError(EINVAL, f"it is not a file but {what}; put a file in its place", str(path))
