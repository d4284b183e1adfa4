"""Draws kept in a file while they are worked, so that a run that was ended goes on where it was.

One line a draw, in draw order from 0, below one that says of which inputs. Each line is written at once: a process that
is killed leaves at most its last line incomplete, which is dropped, and that draw worked again.
"""

import os
import re
from collections.abc import Iterator, Mapping, Set
from contextlib import contextmanager
from dataclasses import fields, is_dataclass
from errno import EINVAL
from hashlib import sha256
from io import FileIO
from pathlib import Path, PurePath
from stat import S_ISREG
from typing import Final

from fitmatch.facts import Fact
from fitmatch.intake.writing.locking import HeldError, lock
from fitmatch.problems import NotPossible
from fitmatch.study.workers.working import Draw, Hiring, Outcome, Outcomes, Task, work_through
from fitmatch.version import __version__

_OPEN: Final = (
    os.O_RDWR
    | os.O_CREAT
    | os.O_APPEND
    | getattr(os, "O_NOFOLLOW", 0)
    | getattr(os, "O_NONBLOCK", 0)
    | getattr(os, "O_NOCTTY", 0)
    | getattr(os, "O_BINARY", 0)
)
_KIND: Final = b"fitmatch draws "  # begins every such file
_LINE: Final = re.compile(rb"\d{1,18}(?: -?\d{1,30})*")


def digest_of(task: object) -> str:
    """Of all that outcomes depend on: the task, and this version of the program."""
    return sha256(f"{__version__}\n{_text(task)}".encode()).hexdigest()


def _text(value: object) -> str:
    """All that a record says, the same in every process: sets in order, without the folder that a job happens to be
    in."""
    match value:
        case PurePath():
            return ""
        case Set():
            return f"{{{','.join(sorted(map(_text, value)))}}}"
        case Mapping():
            return f"{{{','.join(f'{_text(key)}:{_text(one)}' for key, one in value.items())}}}"
        case tuple() | list():
            return f"{type(value).__name__}({','.join(map(_text, value))})"
        case _ if is_dataclass(value):
            return f"{type(value).__name__}({','.join(_text(getattr(value, one.name)) for one in fields(value))})"
    return repr(value)


def work_on(path: Path, hire: Hiring, draw: Draw[Task], task: Task, numbers: range) -> Outcomes:
    """As `work_through` of draws from 0 on, but those that the file has are taken from it, and others added to it, one
    by one.

    The file is made if there is none, and belongs to one run at a time. Raises NotPossible where it holds anything but
    draws of this task, or cannot be written, and what `work_through` raises.
    """
    with _opened(path) as file:
        with _usable(path):
            known = _known(file, path, digest_of(task))
        yield from zip(numbers, known, strict=False)
        for number, outcome in work_through(hire, draw, task, numbers[len(known) :]):
            with _usable(path):
                _write(file, " ".join(map(str, (number, *outcome))).encode() + b"\n")
            yield number, outcome


@contextmanager
def _opened(path: Path) -> Iterator[FileIO]:
    """The file, for nobody else meanwhile; never what a link leads to, nor a pipe or a device."""
    with _usable(path):
        if path.is_symlink():
            raise OSError(EINVAL, "it is a link")
        file = FileIO(os.open(path, _OPEN, 0o666), "r+")
    with file:
        with _usable(path):
            found = os.fstat(file.fileno())
            if not S_ISREG(found.st_mode):
                raise OSError(EINVAL, "it is no ordinary file")
            if found.st_nlink > 1:
                raise OSError(EINVAL, "it has another name elsewhere")
            lock(file.fileno())
        yield file


def _known(file: FileIO, path: Path, digest: str) -> list[Outcome]:
    """The outcomes in the file; it is then ready for the next line."""
    header = _KIND + f"1 {digest}\n".encode()
    head = file.read(len(header)) or b""
    if head != header and header.startswith(head):  # new, or killed while it was made
        file.truncate(0)
        _write(file, header)
        return []
    if head != header:
        raise NotPossible(Fact("draws-of-others" if head.startswith(_KIND) else "no-draws", {"file": str(path)}))
    rest = file.readall()
    *lines, torn = rest.split(b"\n")
    outcomes = []
    for number, line in enumerate(lines):
        figures = tuple(map(int, line.split(b" "))) if _LINE.fullmatch(line) else ()
        if not figures or figures[0] != number:
            raise NotPossible(Fact("draws-damaged", {"file": str(path), "row": number + 2}))
        outcomes.append(figures[1:])
    if torn:
        file.truncate(len(header) + len(rest) - len(torn))
    return outcomes


def _write(file: FileIO, line: bytes) -> None:
    if file.write(line) != len(line):
        raise OSError(EINVAL, "there is no room for more")


@contextmanager
def _usable(path: Path) -> Iterator[None]:
    """What the system or another run refuses about the file is told as what it is."""
    try:
        yield
    except HeldError as error:
        raise NotPossible(Fact("draws-in-use", {"file": str(path)})) from error
    except OSError as error:
        reason = error.strerror or f"{error}"
        raise NotPossible(Fact("draws-unusable", {"file": str(path), "reason": reason})) from error
