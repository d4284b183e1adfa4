"""Text for messages: lists of words, and what was read, cut to one line."""

from collections.abc import Sequence
from pathlib import Path
from typing import Final

_BARE: Final = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")
_PLAIN: Final = "-_./\\:,+@%="
_SPECIAL: Final = frozenset('"$`!\\')  # within double quotes


def listed(words: Sequence[str], last: str = "and") -> str:
    """`a, b and c`."""
    return words[0] if len(words) == 1 else f"{', '.join(words[:-1])} {last} {words[-1]}"


def as_argument(text: str) -> str:
    """A path as it must be typed behind a command: quoted where it holds a blank or another mark that the command line
    would take for its own, in a way that any system takes unless the path is very odd."""
    if text and all(c.isalnum() or c in _PLAIN for c in text):
        return text
    if _SPECIAL.isdisjoint(text):
        return f'"{text}"'
    from shlex import quote

    return quote(text)


def seen_from_here(path: Path) -> str:
    """A folder, given in full, as it is typed here."""
    here = Path.cwd()
    return as_argument(str(path.relative_to(here) if path != here and path.is_relative_to(here) else path))


def printable(text: object) -> str:
    """A text or a path on one line: marks that a terminal obeys or hides instead of showing them become `?`."""
    shown = str(text)
    return shown if shown.isprintable() else "".join(c if c.isprintable() else "?" for c in shown)


def shorten(text: str) -> str:
    """What was read, made fit for one line of a message."""
    shown = printable(text.strip())
    return shown if len(shown) <= 40 else shown[:37] + "..."


def dotted(path: tuple[str, ...]) -> str:
    """A key of TOML, such as `fit.rod.target`; a part that TOML wants quoted is quoted."""
    shown = [(part, shorten(part)) for part in path]
    return ".".join(
        short if part and part == short and _BARE.issuperset(part) else f'"{short}"' for part, short in shown
    )
