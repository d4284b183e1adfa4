"""Standard output has the answer and nothing else; everything else goes to standard error."""

import os
import shutil
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from errno import EFBIG, EIO, ENOSPC
from typing import TextIO

import click

from fitmatch.stages import listen
from fitmatch.wording import printable

_RED = "\x1b[1;31m"
_PLAIN = "\x1b[0m"
_WIPE = "\r\x1b[K"
_LONG_S = 2.0  # seconds after which progress shows more
_BETWEEN_S = 0.2


class Notes:
    """What goes to standard error: nothing when quiet, progress only on a terminal."""

    def __init__(self, *, quiet: bool) -> None:
        self._quiet = quiet

    def say(self, text: str) -> None:
        if not self._quiet:
            tell(visible(text))

    def warn(self, *texts: str) -> None:
        for text in texts:
            self.say(f"warning: {text}")

    @contextmanager
    def progress(self, text: str, hint: str = "") -> Iterator[None]:
        """Show what is being done and clear it again when done. If it takes long its stages are shown instead of
        `text`; `hint` follows either."""
        if self._quiet or not _is_terminal(sys.stderr):
            yield
            return
        line = _Line(text, hint)
        listen(line.tell)
        try:
            yield
        finally:
            listen(None)
            line.write(_WIPE)


class _Line:
    """One line of a terminal: what is being done and, if that takes long, its stage and the seconds so far."""

    def __init__(self, text: str, hint: str) -> None:
        self._hint = hint
        self._began = self._shown = time.monotonic()
        self.write(text + hint)

    def tell(self, stage: str) -> None:
        at = time.monotonic()
        if at - self._began >= _LONG_S and at - self._shown >= _BETWEEN_S:
            self._shown = at
            text = f"{at - self._began:.0f} s, {stage}{self._hint}"
            self.write(_WIPE + text[: shutil.get_terminal_size().columns - 1])

    @staticmethod
    def write(text: str) -> None:
        tell(text, nl=False, colour=True)


def tell(text: str, *, nl: bool = True, colour: bool | None = None) -> None:
    """Text on standard error. Where that cannot be written there is nobody to tell, and the answer comes all the
    same."""
    try:
        click.echo(text, err=True, nl=nl, color=colour)
    except OSError:
        _abandon(sys.stderr)


@contextmanager
def fitted() -> Iterator[None]:
    """Reports written inside are as wide as the terminal."""
    from fitmatch.report.shared.layout import WIDTH, page

    with page(_columns() or WIDTH):
        yield


def _columns() -> int:
    """What COLUMNS says, else the terminal that reads the report or, behind a pipe, the one that it was asked for on;
    0 where there is neither."""
    with suppress(ValueError):
        if (columns := int(os.environ.get("COLUMNS", ""))) > 0:
            return columns
    for stream in (sys.stdout, sys.stderr):
        with suppress(OSError, ValueError):  # no terminal, or no file at all
            if columns := os.get_terminal_size(stream.fileno()).columns:
                return columns
    return 0


def print_report(text: str, in_red: tuple[str, ...] = ()) -> None:
    """Text for a reader: the words in `in_red` are coloured on a terminal; what it cannot show becomes `?`."""
    text = visible(text)
    if _wants_colour(sys.stdout):
        for words in in_red:
            text = text.replace(words, _RED + words + _PLAIN)
    _put(_printable(text), colour=_wants_colour(sys.stdout))


def visible(text: str) -> str:
    """Lines of text without marks that a terminal would obey, such as those in the name of a file."""
    return "\n".join(map(printable, text.split("\n")))


def show(text: str) -> None:
    """Text for a user who is waiting for it, and marks that move the cursor: shown at once, or the command ends."""
    try:
        click.echo(_printable(text), nl=False)
    except OSError as error:
        _abandon(sys.stdout)
        raise click.ClickException(f"no more output can be shown: {error.strerror}") from error


def print_data(text: str) -> None:
    """A document for another program: UTF-8 and line feeds on every system."""
    _put(text.encode(), colour=False)


def _printable(text: str) -> str:
    encoding = sys.stdout.encoding or "utf-8"
    return text.encode(encoding, "replace").decode(encoding)


def _put(message: str | bytes, *, colour: bool) -> None:
    try:
        click.echo(message, nl=False, color=colour)
    except OSError as error:
        _abandon(sys.stdout)
        if not isinstance(error, BrokenPipeError):  # a reader that stops early is not an error
            raise click.ClickException(f"the answer cannot be written: {error.strerror}") from error


def output_is_lost(error: OSError) -> bool:
    """Whether this is standard output that takes no more, which is then given up: no file of the job, which an error
    would name."""
    lost = error.filename is None and error.errno in (ENOSPC, EFBIG, EIO)
    if lost:
        _abandon(sys.stdout)
    return lost


def _abandon(stream: TextIO) -> None:
    """Otherwise the interpreter tries again to write what is left when it exits, and complains."""
    os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _is_terminal(stream: TextIO) -> bool:
    return stream.isatty() and os.environ.get("TERM") != "dumb"


def _wants_colour(stream: TextIO) -> bool:
    return _is_terminal(stream) and not os.environ.get("NO_COLOR")
