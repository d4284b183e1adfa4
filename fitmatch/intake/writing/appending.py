"""The long file of readings while it is being written: every change is on disk, or is not made at all."""

import os
from pathlib import Path
from typing import Final

from fitmatch.intake.writing.log_rows import HEADER, LogRows, split_torn
from fitmatch.intake.writing.whole_files import remove_drafts, sync_folder, write_whole

_APPEND: Final = os.O_WRONLY | os.O_APPEND | getattr(os, "O_BINARY", 0)


class ChangedError(Exception):
    """Another program has changed the file."""


class LogFile:
    """One long file, written by nobody else meanwhile. `data` are its bytes without an incomplete last row, or those of
    a new file if there is none. Until `settle` nothing on disk is touched. System errors are raised as OSError: the
    change was then not made."""

    def __init__(self, path: Path) -> None:
        self.path = path.resolve()
        self._stamp = self._stamp_now()
        self.data, self._torn = split_torn(self.path.read_bytes()) if self._stamp else (HEADER, b"")
        self._rows: LogRows | None = None

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
            write_whole(self.path, self.data)
            self._stamp = self._stamp_now()
        if not self._torn:
            return None
        self._check()
        aside = self.path.with_suffix(".torn")
        with aside.open("ab") as file:
            file.write(self._torn + b"\n")
            file.flush()
            os.fsync(file.fileno())
        sync_folder(aside.parent)
        self.replace(self.data)
        self._torn = b""
        return aside

    def append(self, row: bytes) -> None:
        """Add a row in one write, and have it on disk."""
        self._check()
        added = self.rows.glued(row)
        file = os.open(self.path, _APPEND)
        try:
            if os.write(file, added) < len(added):
                raise OSError(0, "there is no room for it")
            os.fsync(file)
        except OSError:
            os.ftruncate(file, len(self.data))
            raise
        finally:
            os.close(file)
            self._stamp = self._stamp_now()
        self._hold(self.data + added)

    def replace(self, data: bytes) -> None:
        """Replace all rows."""
        self._check()
        write_whole(self.path, data)
        self._stamp = self._stamp_now()
        self._hold(data)

    def _hold(self, data: bytes) -> None:
        self.data, self._rows = data, None

    def _check(self) -> None:
        if self._stamp_now() != self._stamp:
            raise ChangedError

    def _stamp_now(self) -> tuple[int, int, int] | None:
        """What distinguishes one state of the file from another; None if there is no file."""
        try:
            found = self.path.stat()
        except FileNotFoundError:
            return None
        return found.st_ino, found.st_size, found.st_mtime_ns
