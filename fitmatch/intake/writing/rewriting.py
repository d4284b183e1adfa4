"""New figures for three keys of job.toml, every other byte left as it is: a kind's `seating` and how certain it is.

In: the text of a job.toml that was read without a mistake. Out: the text with the figures in it, or what prevents it.
The text is scanned for where keys and values are, however they are written: under a header, dotted, in braces, with
quoted names. The result is then checked by parsing old and new: they may differ in these keys alone.
"""

import re
import tomllib
from collections.abc import Mapping
from typing import Any, Final, NamedTuple

from fitmatch.intake.job_toml.key_rows import STRING, Path, innermost, statements
from fitmatch.wording import dotted, listed

KEYS: Final = ("seating", "seating_u", "seating_readings")

_NAME: Final = r"""(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')[ \t]*"""
_KEY: Final = re.compile(rf"((?:{_NAME}\.[ \t]*)*){_NAME}=[ \t]*")
_PLAIN: Final = re.compile(rf"{STRING}|[^,\]}}#\r\n]*[^,\]}}#\s]", re.DOTALL)
_NESTED: Final = re.compile(rf"{STRING}|[\[{{]|[\]}}]|#[^\n]*|[^\[\]{{}}\"'#]+", re.DOTALL)
_GAP: Final = re.compile(r"[ \t]*,?[ \t]*")
_ONE_LINE: Final = re.compile(r"[^\r\n]*")
_BOM: Final = "\ufeff"


class CannotRewrite(Exception):
    """The layout does not allow it; the message says what prevents it."""


class _Entry(NamedTuple):
    """One `key = value`: where it starts and where its value is. `prefix` is the text of a dotted key up to its
    last part; `in_braces`: it is inside an inline table."""

    path: Path
    prefix: str
    start: int
    value: tuple[int, int]
    in_braces: bool


_Edit = tuple[int, int, str]  # what a part of the text becomes
Figures = tuple[str, str, str]  # the values of KEYS, as they are to be written


def with_seatings(text: str, figures: Mapping[str, Figures]) -> str:
    """The text with the figures of each kind in its `[fit.KIND]`.

    Raises CannotRewrite.
    """
    new = text.removeprefix(_BOM)
    mark = text[: len(text) - len(new)]
    for kind, values in figures.items():
        new = _with_seating(new, kind, dict(zip(KEYS, values, strict=True)))
    return mark + new


def _with_seating(text: str, kind: str, figures: Mapping[str, str]) -> str:
    headers, entries = _scan(text)
    inside = [e for e in entries if e.path[:2] == ("fit", kind) and len(e.path) == 3]
    written = [e for e in inside if e.path[2] in KEYS]
    edits = [(*e.value, figures[e.path[2]]) for e in written]
    missing = [f"{key} = {figure}" for key, figure in figures.items() if key not in {e.path[2] for e in written}]
    if missing and inside:
        edits.append(_beside(text, (written or inside)[-1], missing))
    elif missing:
        edits.append(_into_empty(text, ("fit", kind), headers, entries, missing))
    new = text
    for start, end, figure in sorted(edits, reverse=True):
        new = new[:start] + figure + new[end:]
    _check(text, new, kind, figures)
    return new


def _beside(text: str, last: _Entry, pairs: list[str]) -> _Edit:
    """Missing keys go after the last seating key, otherwise after the table's last key."""
    pairs = [last.prefix + pair for pair in pairs]
    place = last.value[1]
    if last.in_braces:
        return place, place, "".join(f", {pair}" for pair in pairs)
    return _lines(text, place, _indent(text, last.start), pairs)


def _into_empty(
    text: str, table: Path, headers: list[tuple[Path, int]], entries: list[_Entry], pairs: list[str]
) -> _Edit:
    """The keys of a table without any go after its header, or into its braces."""
    header = next((start for path, start in headers if path == table), None)
    if header is not None:
        return _lines(text, header, _indent(text, header), pairs)
    empty = next((e for e in entries if e.path == table and text[e.value[0]] == "{"), None)
    if empty is None:
        raise CannotRewrite("it has no place of its own")
    place = empty.value[0] + 1
    return place, place, f" {', '.join(pairs)}" + ("" if text[place] == " " else " ")


def _lines(text: str, place: int, indent: str, pairs: list[str]) -> _Edit:
    """New lines below the one that contains `place`, with its own line ends."""
    end = _match(_ONE_LINE, text, place).end()
    returns = text.startswith("\r\n", end) if end < len(text) else "\r\n" in text
    ending = "\r\n" if returns else "\n"
    return end, end, "".join(f"{ending}{indent}{pair}" for pair in pairs)


def _indent(text: str, start: int) -> str:
    line = text.rfind("\n", 0, start) + 1
    return text[line:start] if not text[line:start].strip(" \t") else ""


def _check(old: str, new: str, kind: str, figures: Mapping[str, str]) -> None:
    """Old and new say the same apart from the figures: whatever was scanned wrongly shows here."""
    wanted = _parsed(old)
    try:
        wanted["fit"][kind] |= {key: _parsed(f"x = {figure}")["x"] for key, figure in figures.items()}
        same = _parsed(new) == wanted
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        raise CannotRewrite("its layout is not understood")


def _parsed(text: str) -> dict[str, Any]:
    # Numbers as they are typed, so that no difference is lost to floating point.
    return tomllib.loads(text, parse_float=str)


def _scan(text: str) -> tuple[list[tuple[Path, int]], list[_Entry]]:
    """Every header, with where it starts, and every entry of the file, those inside braces included, in the order of
    the text."""
    headers: list[tuple[Path, int]] = []
    entries: list[_Entry] = []
    table: Path = ()
    end = 0
    for _, statement in statements(text):
        content = statement.lstrip(" \t\r\n")
        end += len(statement)
        start = end - len(content)
        if content.startswith("[["):
            table = ("",)  # a list of tables has no kind; its entries are ignored
        elif content.startswith("["):
            table = innermost(tomllib.loads(content))
            headers.append((table, start))
        elif content and not content.startswith("#"):
            _entry(text, start, table, entries, in_braces=False)
    return headers, entries


def _entry(text: str, start: int, table: Path, entries: list[_Entry], *, in_braces: bool) -> int:
    """Note the entry that starts here, and those inside its braces; returns where it ends."""
    key = _match(_KEY, text, start)
    place = key.end()
    path = (*table, *innermost(tomllib.loads(f"{key.group()}0")))
    end = _value_end(text, place)
    entries.append(_Entry(path, key.group(1), start, (place, end), in_braces))
    if text[place] == "{" and path[0] == "fit" and len(path) <= 2:
        inner = _match(_GAP, text, place + 1).end()
        while text[inner] != "}":
            inner = _match(_GAP, text, _entry(text, inner, path, entries, in_braces=True)).end()
    return end


def _value_end(text: str, place: int) -> int:
    """Where the value that starts here ends."""
    if text[place] not in "[{":
        return _match(_PLAIN, text, place).end()
    depth = 0
    while True:
        match = _match(_NESTED, text, place)
        place = match.end()
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(match.group(), 0)
        if not depth:
            return place


def _match(pattern: re.Pattern[str], text: str, place: int) -> re.Match[str]:
    match = pattern.match(text, place)
    if match is None:
        raise CannotRewrite("its layout is not understood")
    return match


def lines_to_add(kind: str, figures: Figures) -> str:
    """What is to be written by hand if the program cannot."""
    pairs = listed([f"`{key} = {figure}`" for key, figure in zip(KEYS, figures, strict=True)])
    return f"write {pairs} into [{dotted(('fit', kind))}]"
