"""The line of job.toml that a key is in."""

import re
import tomllib
from collections.abc import Iterator, Mapping
from typing import Any, Final

from fitmatch.intake.common.findings import SETTINGS, Findings, Paper
from fitmatch.wording import dotted

JOB_FILE: Final = Paper("job.toml", (SETTINGS,))
UNDECISIVE: Final = ("boxes", "film", "limits", "record")  # tables on which no plan depends
_DEEPEST: Final = 4  # no key of job.toml is deeper, and a hostile one must not exhaust the stack
# A TOML string. Groups are not possessive: before 3.11.5 Python matches too little with them.
STRING: Final = (
    r'"""(?:[^"\\]|\\.|"(?!""))*"{3,5}'
    r"|'''(?:[^']|'(?!''))*'{3,5}"
    r'|"(?:[^"\\\n]|\\.)*"'
    r"|'[^'\n]*+'"
)
# Strings and comments, inside which brackets and line ends mean nothing; then brackets and line ends that do.
_TOKEN: Final = re.compile(rf"{STRING}|#[^\n]*+|[\[\]{{}}\n]", re.DOTALL)

Path = tuple[str, ...]


class JobFile:
    """The text of job.toml, for reporting problems at its keys. Rows are looked up only once there is a problem."""

    def __init__(self, text: str, findings: Findings) -> None:
        self._text = text
        self._findings = findings
        self._rows: dict[Path, int] | None = None

    def report(self, code: str, text: str, *path: str) -> None:
        """Note a mistake at a dotted key; a key that is missing is reported at its table's row."""
        self._findings.report(code, text, JOB_FILE, self.row(*path), dotted(path))

    def row(self, *path: str) -> int | None:
        """The row of a dotted key, or of the innermost table around it that is present."""
        if self._rows is None:
            self._rows = _rows_of_keys(self._text)
        return next((self._rows[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self._rows), None)


def _rows_of_keys(text: str) -> dict[Path, int]:
    """Every key and table of valid TOML, with the row where it first appears."""
    rows: dict[Path, int] = {}
    table: Path = ()
    for row, statement in statements(text):
        try:
            found = tomllib.loads(statement)
        except (ValueError, RecursionError):  # nested too deep for the call stack here: its row stays unknown
            continue
        if statement.lstrip().startswith("["):
            table = innermost(found)
            for depth in range(1, len(table) + 1):
                rows.setdefault(table[:depth], row)
        else:
            _note(found, table, row, rows)
    return rows


def statements(text: str) -> Iterator[tuple[int, str]]:
    """Each statement with the row it starts in. It ends with its line, unless a bracket or a string is still open."""
    start, row, next_row, depth = 0, 1, 1, 0
    for token in _TOKEN.finditer(text):
        mark = token.group()
        next_row += mark.count("\n")
        depth += (mark in ("[", "{")) - (mark in ("]", "}"))
        if mark == "\n" and depth == 0:
            yield row, text[start : token.end()]
            start, row = token.end(), next_row
    yield row, text[start:]


def decisive(data: bytes) -> bytes:
    """job.toml without the tables that no plan depends on, with the comments right above them, so that writing one
    changes no digest; any other byte as it is."""
    if not any(name.encode() in data for name in UNDECISIVE):
        return data
    try:
        text = data.decode()
    except UnicodeDecodeError:
        return data
    kept: list[str] = []
    top, ended = "", False  # the table that it is in, and whether the last statement was left out
    for _, statement in statements(text):
        try:
            found = tomllib.loads(statement)
        except (ValueError, RecursionError):
            found = {}
        if statement.lstrip().startswith("["):
            top = next(iter(innermost(found)), "")
        ended = (top or next(iter(found), "")) in UNDECISIVE
        if ended:
            while top in UNDECISIVE and kept and kept[-1].lstrip().startswith("#"):
                kept.pop()
        else:
            kept.append(statement)
    while ended and kept and not kept[-1].strip():
        kept.pop()
    return "".join(kept).encode()


def innermost(found: Mapping[str, Any]) -> Path:
    """The path to the innermost of tables of one key each."""
    path: list[str] = []
    inner: Any = found
    while isinstance(inner, dict) and inner and len(path) <= _DEEPEST:
        ((name, inner),) = inner.items()
        path.append(name)
    return tuple(path)


def _note(found: Mapping[str, Any], path: Path, row: int, rows: dict[Path, int]) -> None:
    for name, value in found.items():
        rows.setdefault((*path, name), row)
        if isinstance(value, dict) and len(path) < _DEEPEST:
            _note(value, (*path, name), row, rows)
