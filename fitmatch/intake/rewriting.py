"""New figures for two keys of job.toml, every other byte left as it is: `seating` and `seating_u` of a kind.

In: the text of a job.toml that was read without a mistake. Out: the text with the figures in it, or what hinders it.
The text is scanned for where keys and values stand, however they are written: under a header, dotted, in braces, with
quoted names. What the scan makes of it is then checked by parsing old and new: they may differ in these keys alone.
"""

import re
import tomllib
from collections.abc import Mapping
from copy import deepcopy
from typing import Any, Final, NamedTuple

from fitmatch.intake.keyrows import Path, dotted

KEYS: Final = ("seating", "seating_u")

_BLANK: Final = re.compile(r"(?:[ \t\r\n]|#[^\n]*)*")
_SPACE: Final = re.compile(r"[ \t]*")
_KEY_PART: Final = re.compile(r"""[ \t]*(?:[A-Za-z0-9_-]+|"(?:[^"\\\n]|\\.)*"|'[^'\n]*')[ \t]*""")
_STRING: Final = re.compile(
    r'''"""(?:[^\\]|\\.)*?"{3,5}(?!")|\'\'\'.*?'{3,5}(?!')|"(?:[^"\\\n]|\\.)*"|'[^'\n]*\'''', re.DOTALL
)
_SCALAR: Final = re.compile(r"[^,\]}#\r\n]*[^,\]}#\s]")
_NESTED: Final = re.compile(r"[\[{]|[\]}]|#[^\n]*|[^\[\]{}\"'#]+")
_ONE_LINE: Final = re.compile(r"[^\r\n]*")
_BOM: Final = "\ufeff"


class CannotRewrite(Exception):
    """The layout does not allow it; the message says what hinders it."""


class _Entry(NamedTuple):
    """One `key = value`: where it starts and where its value stands. `prefix` is the text of a dotted key up to its
    last part; `in_braces`: it stands inside an inline table."""

    path: Path
    prefix: str
    start: int
    value: tuple[int, int]
    in_braces: bool


class _Header(NamedTuple):
    path: Path
    start: int
    end: int


def with_seatings(text: str, figures: Mapping[str, tuple[str, str]]) -> str:
    """The text with each kind's seating and its standard uncertainty, numbers in the job's unit, in its `[fit.KIND]`.

    Raises CannotRewrite.
    """
    for kind, pair in figures.items():
        text = _with_seating(text, kind, dict(zip(KEYS, pair, strict=True)))
    return text


def _with_seating(text: str, kind: str, figures: Mapping[str, str]) -> str:
    headers, entries = _scan(text)
    table = ("fit", kind)
    inside = [e for e in entries if e.path[:2] == table and len(e.path) == 3]
    written = {e.path[2]: e for e in inside if e.path[2] in KEYS}
    edits = [(*written[key].value, figures[key]) for key in written]
    missing = {key: figure for key, figure in figures.items() if key not in written}
    if missing:
        edits.append(_insertion(text, table, headers, entries, inside, list(written.values()), missing))
    new = text
    for start, end, figure in sorted(edits, reverse=True):
        new = new[:start] + figure + new[end:]
    _check(text, new, kind, figures)
    return new


def _insertion(
    text: str,
    table: Path,
    headers: list[_Header],
    entries: list[_Entry],
    inside: list[_Entry],
    written: list[_Entry],
    missing: Mapping[str, str],
) -> tuple[int, int, str]:
    """Where the missing keys go, and the text for it: behind the other seating key, else behind the table's last key,
    else behind its header."""
    if inside:
        last = written[-1] if written else inside[-1]
        pairs = [f"{last.prefix}{key} = {figure}" for key, figure in missing.items()]
        place = last.value[1]
        if last.in_braces:
            return place, place, "".join(f", {pair}" for pair in pairs)
        return _lines(text, place, _indent(text, last.start), pairs)
    pairs = [f"{key} = {figure}" for key, figure in missing.items()]
    header = next((h for h in headers if h.path == table), None)
    if header is not None:
        return _lines(text, header.end, _indent(text, header.start), pairs)
    empty = next((e for e in entries if e.path == table and text[e.value[0]] == "{"), None)
    if empty is None:
        raise CannotRewrite("it stands nowhere by itself")
    place = empty.value[0] + 1
    return place, place, f" {', '.join(pairs)}" + ("" if text[place] == " " else " ")


def _lines(text: str, place: int, indent: str, pairs: list[str]) -> tuple[int, int, str]:
    """New lines below the one that `place` lies in, with its own line ends."""
    end = _end_of(_ONE_LINE, text, place)
    if end < len(text):
        ending = "\r\n" if text.startswith("\r\n", end) else "\n"
    else:
        ending = "\r\n" if "\r\n" in text else "\n"
    return end, end, "".join(f"{ending}{indent}{pair}" for pair in pairs)


def _indent(text: str, start: int) -> str:
    line = text.rfind("\n", 0, start) + 1
    return text[line:start] if not text[line:start].strip(" \t") else ""


def _check(old: str, new: str, kind: str, figures: Mapping[str, str]) -> None:
    """Old and new say the same but for the figures: whatever was scanned wrongly shows here."""
    wanted = deepcopy(_parsed(old))
    try:
        wanted["fit"][kind] |= {key: _parsed(f"x = {figure}")["x"] for key, figure in figures.items()}
        same = _parsed(new) == wanted
    except tomllib.TOMLDecodeError:
        same = False
    if not same:
        raise CannotRewrite("its layout is not understood")


def _parsed(text: str) -> dict[str, Any]:
    # Numbers as they are typed, so that no difference is lost to floating point.
    return tomllib.loads(text.removeprefix(_BOM), parse_float=str)


def _scan(text: str) -> tuple[list[_Header], list[_Entry]]:
    """Every header and every entry of the file, those inside braces included, in the order of the text."""
    headers: list[_Header] = []
    entries: list[_Entry] = []
    table: Path = ()
    place = _end_of(_BLANK, text, len(_BOM) if text.startswith(_BOM) else 0)
    while place < len(text):
        if text[place] == "[":
            brackets = 2 if text.startswith("[[", place) else 1
            start = place
            parts, place = _key(text, place + brackets)
            place += brackets
            table = _names(parts)
            # A list of tables holds no kind; its entries are left aside.
            headers.append(_Header(table if brackets == 1 else (), start, place))
            if brackets == 2:
                table = ("",)
        else:
            place = _entry(text, place, table, entries, in_braces=False)
        place = _end_of(_BLANK, text, place)
    return headers, entries


def _entry(text: str, start: int, table: Path, entries: list[_Entry], *, in_braces: bool) -> int:
    """Note the entry that starts here, and those inside its braces; where it ends."""
    parts, place = _key(text, start)
    path = (*table, *_names(parts))
    place = _end_of(_SPACE, text, _past(text, place, "="))
    end = _value_end(text, place)
    # The last part keeps the space before its name, as in `rod . min`.
    prefix = text[start : start + sum(map(len, parts[:-1])) + len(parts) - 1]
    if len(parts) > 1 and parts[-1][:1] in " \t":
        prefix += parts[-1][: len(parts[-1]) - len(parts[-1].lstrip())]
    entries.append(_Entry(path, prefix, start, (place, end), in_braces))
    if text[place] == "{" and path[0] == "fit" and len(path) <= 2:
        inner = _end_of(_SPACE, text, place + 1)
        while text[inner] != "}":
            inner = _end_of(_SPACE, text, _entry(text, inner, path, entries, in_braces=True))
            if text[inner] == ",":
                inner = _end_of(_SPACE, text, inner + 1)
    return end


def _key(text: str, place: int) -> tuple[list[str], int]:
    """The parts of a key as they are written, spaces included, and where it ends."""
    parts = []
    while True:
        match = _KEY_PART.match(text, place)
        if match is None:
            raise CannotRewrite("its layout is not understood")
        parts.append(match.group())
        place = match.end()
        if not text.startswith(".", place):
            return parts, place
        place += 1


def _names(parts: list[str]) -> Path:
    names = []
    for part in parts:
        ((name, _),) = tomllib.loads(f"{part.strip()} = 0").items()
        names.append(name)
    return tuple(names)


def _value_end(text: str, place: int) -> int:
    """Where the value that starts here ends."""
    if text[place] not in "[{":
        match = _STRING.match(text, place) or _SCALAR.match(text, place)
        if match is None:
            raise CannotRewrite("its layout is not understood")
        return match.end()
    depth = 0
    while True:
        match = _STRING.match(text, place) or _NESTED.match(text, place)
        if match is None:
            raise CannotRewrite("its layout is not understood")
        place = match.end()
        depth += {"[": 1, "{": 1, "]": -1, "}": -1}.get(match.group(), 0)
        if not depth:
            return place


def _end_of(pattern: re.Pattern[str], text: str, place: int) -> int:
    match = pattern.match(text, place)
    return match.end() if match else place


def _past(text: str, place: int, mark: str) -> int:
    if not text.startswith(mark, place):
        raise CannotRewrite("its layout is not understood")
    return place + len(mark)


def lines_to_add(kind: str, figures: tuple[str, str]) -> str:
    """What is to be written by hand where the program cannot."""
    pairs = " and ".join(f"`{key} = {figure}`" for key, figure in zip(KEYS, figures, strict=True))
    return f"write {pairs} into [{dotted(('fit', kind))}]"
