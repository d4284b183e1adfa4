"""The long file of readings while it is being written: every change is on disk, or is not made at all, and what another
program writes to the file meanwhile is not lost."""

import os
from errno import EINVAL
from pathlib import Path
from stat import S_ISREG
from typing import Final

from fitmatch.intake.common.files import LARGEST, inside, read_file
from fitmatch.intake.writing.log_rows import HEADER, LogRows, split_torn
from fitmatch.intake.writing.whole_files import remove_drafts, sync_folder, write_whole

_PLAIN: Final = getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0)
_APPEND: Final = os.O_RDWR | os.O_APPEND | _PLAIN
_ENDS: Final = (b"\n", b"\r")


class ChangedError(Exception):
    """Another program has changed the file."""


class LogFile:
    """One long file of a job folder, written by nobody else meanwhile. `data` are its bytes without an incomplete last
    row, or those of a new file if there is none. Until `settle` nothing on disk is touched. System errors are raised as
    OSError: the change was then not made.

    Another program may write the file all the same. Its rows stay, and the next change here raises ChangedError.
    """

    def __init__(self, path: Path, folder: Path) -> None:
        self.path, self._folder = inside(path, folder), folder
        self._stamp = self._stamp_now()
        self.data, self._torn = split_torn(read_file(self.path)) if self._stamp else (HEADER, b"")
        self._rows: LogRows | None = None
        self._replaced: list[tuple[int, int]] = []  # files that had this name, open, and how much of each is known

    @property
    def rows(self) -> LogRows:
        if self._rows is None:
            self._rows = LogRows(self.data)
        return self._rows

    def settle(self) -> Path | None:
        """Write the file if it did not exist; move an incomplete last row to a file beside it, and return where."""
        self.path.parent.mkdir(parents=True, exist_ok=True)
        remove_drafts(self.path)
        if self._stamp is None:
            self._check()
            write_whole(self.path, self.data, self._folder)
            self._stamp = self._stamp_now()
        if not self._torn:
            return None
        self._check()
        aside = inside(self.path.with_suffix(".torn"), self._folder)
        with open(_opened(aside, _APPEND | os.O_CREAT), "ab") as file:
            file.write(self._torn + b"\n")
            file.flush()
            os.fsync(file.fileno())
        sync_folder(aside.parent)
        self._replace(self.data, self.data + self._torn)
        self._torn = b""
        return aside

    def append(self, row: bytes) -> None:
        """Add a row in one write, and have it on disk."""
        self._check()
        added = self.rows.glued(row)
        start = end = len(self.data)
        handle = _opened(self.path, _APPEND)
        try:
            written = os.write(handle, added)
            end = os.lseek(handle, 0, os.SEEK_CUR)
            start = end - written
            if written < len(added):
                raise OSError(0, "there is no room for it")
            if start != len(self.data) and not _ends_a_line(handle, start):
                raise ChangedError  # the row stands in one line with another program's, and neither can be read
            os.fsync(handle)
            self._know(os.fstat(handle), len(self.data) + len(added))
        except (OSError, ChangedError):
            self._take_back(start, end)
            self._know(os.fstat(handle), len(self.data))
            raise
        finally:
            os.close(handle)
        self._hold(self.data + added)

    def replace(self, data: bytes) -> None:
        """Replace all rows."""
        self._check()
        self._replace(data, self.data)

    def close(self) -> None:
        """Nothing more is written here: what came late to files that were replaced is carried over."""
        self._carry_over()
        for handle, _ in self._replaced:
            os.close(handle)
        self._replaced.clear()

    def _replace(self, data: bytes, old: bytes) -> None:
        """Replace what is on disk, which is `old` unless another program writes to it just now."""
        handle = _opened(self.path, os.O_RDONLY | _PLAIN)
        try:
            write_whole(self.path, data, self._folder)
        except BaseException:
            os.close(handle)
            raise
        self._know(self.path.stat(), len(data))
        theirs = _all_of(handle)
        if not theirs.startswith(old):  # rewritten, not added to: that stands, and this change is not made
            os.close(handle)
            write_whole(self.path, theirs, self._folder)
            raise ChangedError
        self._replaced.append((handle, len(old)))
        self._hold(data)
        self._carry_over()

    def _carry_over(self) -> None:
        """Add to the file what another program, which had opened it before, has written to one that it replaced."""
        for at, (handle, known) in enumerate(self._replaced):
            late = _all_of(handle, known)
            if late:
                target = _opened(self.path, _APPEND)
                try:
                    glue = b"" if _ends_a_line(target, os.fstat(target).st_size) else b"\n"
                    os.write(target, glue + late)
                    os.fsync(target)
                finally:
                    os.close(target)
                self._replaced[at] = handle, known + len(late)

    def _take_back(self, start: int, end: int) -> None:
        """Remove what was just added: cut it off or, if another program has added to the file since, leave blanks in
        lines of their own."""
        handle = _opened(self.path, os.O_RDWR | _PLAIN)
        try:
            if os.fstat(handle).st_size == end:
                os.ftruncate(handle, start)
            elif start < end:
                os.lseek(handle, start, os.SEEK_SET)
                os.write(handle, (b"\n" + b" " * (end - start - 2) + b"\n")[: end - start])
        finally:
            os.close(handle)

    def _hold(self, data: bytes) -> None:
        self.data, self._rows = data, None

    def _check(self) -> None:
        self._carry_over()
        if self._stamp_now() != self._stamp:
            raise ChangedError

    def _know(self, found: os.stat_result, size: int) -> None:
        """The file was left with so many bytes; any others are another program's, which the next check must see."""
        self._stamp = found.st_ino, size, found.st_mtime_ns

    def _stamp_now(self) -> tuple[int, int, int] | None:
        """What distinguishes one state of the file from another; None if there is no file."""
        try:
            found = self.path.stat()
        except FileNotFoundError:
            return None
        return found.st_ino, found.st_size, found.st_mtime_ns


def _opened(path: Path, how: int) -> int:
    """An ordinary file, open; raises OSError for anything else in its place."""
    handle = os.open(path, how, 0o666)
    if not S_ISREG(os.fstat(handle).st_mode):
        os.close(handle)
        raise OSError(EINVAL, "something else than a file is in its place", str(path))
    return handle


def _all_of(handle: int, start: int = 0) -> bytes:
    """The bytes of an open file from `start` on."""
    os.lseek(handle, start, os.SEEK_SET)
    parts = []
    while part := os.read(handle, LARGEST):
        parts.append(part)
    return b"".join(parts)


def _ends_a_line(handle: int, place: int) -> bool:
    """Whether a line begins at this place of an open file."""
    if place == 0:
        return True
    os.lseek(handle, place - 1, os.SEEK_SET)
    return os.read(handle, 1) in _ENDS
