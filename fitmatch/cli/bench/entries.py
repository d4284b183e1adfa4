"""What is typed at the bench, or sent by a gauge that types: one entry per Enter or Tab, from a terminal or a pipe.

A terminal is read key by key, as Tab must end an entry. Keys wait unread until needed, so that readings sent while
something is being printed are shown and taken at the next prompts, in order.
"""

import os
import signal
import sys
from codecs import getincrementaldecoder
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from errno import EIO
from typing import Final, NamedTuple

import click

from fitmatch.cli.shared.console import show

if sys.platform == "win32":
    import msvcrt
else:
    import termios

    _ENDING: Final = (signal.SIGTERM, signal.SIGHUP, signal.SIGQUIT)

_ENDS: Final = "\r\n\t"
_RUBOUT: Final = "\x7f\b"
_WIPE_ALL: Final = "\x15"  # Ctrl-U
_END_OF_INPUT: Final = "\x04\x1a"  # Ctrl-D; Ctrl-Z on Windows
_ESCAPE: Final = "\x1b"
_CHUNK: Final = 4_096
_LONGEST: Final = 1_000  # characters kept of an entry: no reading and no reason needs more


class Entry(NamedTuple):
    """`line` counts as an editor counts lines. `ended`: whether it ended with Enter or Tab; otherwise with the end of
    the input."""

    text: str
    line: int = 1
    ended: bool = True


@contextmanager
def entries_of(handle: int, *, terminal: bool) -> Iterator[Iterator[Entry]]:
    """The entries of a terminal or a pipe; a terminal is restored afterwards."""
    if not terminal:
        yield _from_pipe(handle)
        return
    with _key_by_key(handle):
        yield _from_terminal(handle)


def _from_pipe(handle: int) -> Iterator[Entry]:
    """Entries that are not empty, up to the end of the input."""
    text, line, before = "", 1, ""
    for char in _decoded(handle):
        if char not in _ENDS:
            text = (text + char)[:_LONGEST]
        else:
            if text.strip():
                yield Entry(text.strip(), line)
            text = ""
            line += char == "\r" or (char == "\n" and before != "\r")
        before = char
    if text.strip():
        yield Entry(text.strip(), line, ended=False)


def _from_terminal(handle: int) -> Iterator[Entry]:
    """Entries that are not empty, each shown while it is typed; until Ctrl-D."""
    text = ""
    for char in _without_escapes(_keys(handle)):
        if char in _ENDS:
            if text.strip():
                show("\n")
                yield Entry(text.strip())
            text = ""
        elif char in _RUBOUT:
            show("\b \b" if text else "")
            text = text[:-1]
        elif char == _WIPE_ALL:
            show("\b \b" * len(text))
            text = ""
        elif char in _END_OF_INPUT:
            break
        elif char.isprintable() and len(text) < _LONGEST:
            text += char
            show(char)
    show("\n")


def _decoded(handle: int) -> Iterator[str]:
    decoder = getincrementaldecoder("utf-8")("replace")
    while chunk := _chunk(handle):
        yield from decoder.decode(chunk)
    yield from decoder.decode(b"", final=True)


def _chunk(handle: int) -> bytes:
    try:
        return os.read(handle, _CHUNK)
    except OSError as error:
        if error.errno != EIO:  # a closed terminal sends nothing more
            raise click.ClickException(f"the input cannot be read: {error.strerror}") from error
        return b""


def _without_escapes(chars: Iterator[str]) -> Iterator[str]:
    """The keys without what arrow keys and the like send: Escape, `[` or `O`, and what follows up to a letter or
    `~`."""
    for char in chars:
        if char != _ESCAPE:
            yield char
            continue
        second = next(chars, "")
        if second not in ("[", "O"):
            yield second
            continue
        for last in chars:
            if last.isalpha() or last == "~" or last in _ENDS:
                break


if sys.platform == "win32":

    def _keys(_handle: int) -> Iterator[str]:
        while True:
            char = msvcrt.getwch()
            if char == "\x03":
                raise KeyboardInterrupt
            if char in "\x00\xe0":  # an arrow or the like; its second half says which
                msvcrt.getwch()
            else:
                yield char

    @contextmanager
    def _key_by_key(_handle: int) -> Iterator[None]:
        yield

else:
    _keys = _decoded

    @contextmanager
    def _key_by_key(handle: int) -> Iterator[None]:
        """Keys come one by one and are not echoed by the terminal. What was typed before is kept: nothing is
        flushed."""
        before = termios.tcgetattr(handle)
        mode = termios.tcgetattr(handle)
        mode[3] &= ~(termios.ICANON | termios.ECHO)
        mode[6][termios.VMIN], mode[6][termios.VTIME] = 1, 0

        def restore() -> None:
            with suppress(termios.error):  # the terminal may be gone
                termios.tcsetattr(handle, termios.TCSADRAIN, before)

        with _restored_when_ended(restore):
            termios.tcsetattr(handle, termios.TCSADRAIN, mode)
            try:
                yield
            finally:
                restore()

    @contextmanager
    def _restored_when_ended(restore: Callable[[], None]) -> Iterator[None]:
        """Where a signal ends the process, `restore` comes first. A signal that is ignored already stays so."""

        def end(number: int, _frame: object) -> None:
            signal.signal(signal.SIGTTOU, signal.SIG_IGN)  # in the background that would stop the process here
            restore()
            signal.signal(number, signal.SIG_DFL)
            os.kill(os.getpid(), number)

        ending = [n for n in _ENDING if signal.getsignal(n) == signal.SIG_DFL]
        for number in ending:
            signal.signal(number, end)
        try:
            yield
        finally:
            for number in ending:
                signal.signal(number, signal.SIG_DFL)
