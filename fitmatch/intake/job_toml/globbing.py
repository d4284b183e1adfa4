"""Globs inside a folder, as the standard library understands them, but bounded: no glob takes long, whatever it says
and whatever the folder holds."""

import os
from collections.abc import Iterator
from fnmatch import translate
from glob import has_magic
from pathlib import Path
from re import compile as compiled
from typing import Final

_MOST_ENTRIES: Final = 50_000  # looked at; a job has some thousands at the very most
_ANY_DEPTH: Final = "**"


class TooMuchError(Exception):
    """A glob that would have to look at more entries than any job has."""


class Allowance:
    """How many more entries globs may look at."""

    def __init__(self) -> None:
        self._left = _MOST_ENTRIES

    def use(self) -> None:
        """One entry more is looked at; raises TooMuchError if that is one too many."""
        self._left -= 1
        if self._left < 0:
            raise TooMuchError


def matches(pattern: str, folder: Path, allowance: Allowance) -> list[str]:
    """The paths in the folder that a pattern matches, as the pattern leads to them, each once and in no order.

    `**` is any number of folders, links to folders not among them. Hidden entries match only a pattern that begins with
    a point. Raises TooMuchError.
    """
    anchor = Path(pattern).anchor
    parts = [part for part in pattern[len(anchor) :].split("/") if part]
    while parts[-2:] == [_ANY_DEPTH, _ANY_DEPTH]:
        parts.pop()
    # What the parts so far lead to, each path once, so that no `**` multiplies the ways to it.
    found = {anchor: None}
    for number, part in enumerate(parts):
        if part == _ANY_DEPTH and parts[number - 1 : number] == [part]:
            continue  # twice is the same as once
        last = number == len(parts) - 1
        new: dict[str, None] = {}
        for before in found:
            allowance.use()
            new |= dict.fromkeys(_step(before, part, folder, allowance, last=last))
        found = new
    return [path.rstrip("/") for path in found if path]


def matches_if_few(pattern: str, folder: Path) -> list[str]:
    """The same for a hint or a warning; none if it would take long."""
    try:
        return matches(pattern, folder, Allowance())
    except TooMuchError:
        return []


def _step(before: str, part: str, folder: Path, allowance: Allowance, *, last: bool) -> Iterator[str]:
    """The paths that one part of a pattern makes of one path; with a `/` behind them unless the part is the last."""
    end = "" if last else "/"
    if part == _ANY_DEPTH:
        yield from (path if not last else path.rstrip("/") for path in _below(before, folder, allowance, files=last))
    elif has_magic(part):
        fits = compiled(translate(os.path.normcase(part))).match
        for entry in _entries(before, folder, allowance):
            hidden = entry.name.startswith(".") and not part.startswith(".")
            if not hidden and fits(os.path.normcase(entry.name)) and (last or _is_folder(entry)):
                yield f"{before}{entry.name}{end}"
    elif os.path.lexists(folder / before / part):
        yield f"{before}{part}{end}"


def _below(before: str, folder: Path, allowance: Allowance, *, files: bool) -> Iterator[str]:
    """A folder and all that is below it."""
    waiting = [before]
    while waiting:
        place = waiting.pop()
        yield place
        for entry in _entries(place, folder, allowance):
            if entry.name.startswith("."):
                continue
            if entry.is_dir(follow_symlinks=False):
                waiting.append(f"{place}{entry.name}/")
            elif files:
                yield f"{place}{entry.name}"


def _entries(place: str, folder: Path, allowance: Allowance) -> Iterator["os.DirEntry[str]"]:
    try:
        with os.scandir(folder / place) as entries:
            for entry in entries:
                allowance.use()
                yield entry
    except OSError:  # not a folder, not allowed, or a path too long for the system
        return


def _is_folder(entry: "os.DirEntry[str]") -> bool:
    try:
        return entry.is_dir()
    except OSError:
        return False
