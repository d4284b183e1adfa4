"""In which line of job.toml a key stands, and how it is written in a message."""

import tomllib
from collections.abc import Mapping
from typing import Any, Final

from fitmatch.intake.findings import SETTINGS, Findings, Paper, shorten

JOB_FILE: Final = Paper("job.toml", (SETTINGS,))
_BARE: Final = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789_-")
_DEEPEST: Final = 4  # no key of job.toml lies deeper, and a hostile one must not exhaust the stack

Path = tuple[str, ...]


class JobFile:
    """The text of job.toml, for reporting problems at its keys. Rows are looked up only once there is a problem."""

    def __init__(self, text: str, findings: Findings) -> None:
        self._text = text
        self._findings = findings
        self._rows: dict[Path, int] | None = None

    def report(self, code: str, text: str, *path: str) -> None:
        """Note a mistake at a dotted key; a key that is not written is reported at its table's row."""
        self._findings.report(code, text, JOB_FILE, self.row(*path), dotted(path))

    def row(self, *path: str) -> int | None:
        """The row of a dotted key, or of the innermost table around it that is written."""
        if self._rows is None:
            self._rows = _rows_of_keys(self._text)
        return next((self._rows[path[:n]] for n in range(len(path), 0, -1) if path[:n] in self._rows), None)


def dotted(path: Path) -> str:
    """`fit.rod.target`; a part that TOML wants quoted is quoted."""
    return ".".join(part if part and _BARE.issuperset(part) else f'"{shorten(part)}"' for part in path)


def _rows_of_keys(text: str) -> dict[Path, int]:
    """Every key and table of a text that is valid TOML, with the row where it is first written.

    A statement of TOML is complete as soon as it is valid by itself: lines are gathered until it is.
    """
    rows: dict[Path, int] = {}
    table: Path = ()
    start, gathered = 1, ""
    for number, line in enumerate(text.replace("\r\n", "\n").split("\n"), 1):
        gathered += line + "\n"
        try:
            found = tomllib.loads(gathered)
        except ValueError:
            continue
        if gathered.lstrip().startswith("["):
            table = _innermost(found)
            for depth in range(1, len(table) + 1):
                rows.setdefault(table[:depth], start)
        else:
            _note(found, table, start, rows)
        start, gathered = number + 1, ""
    return rows


def _innermost(found: Mapping[str, Any]) -> Path:
    path: list[str] = []
    inner: Any = found
    while isinstance(inner, dict) and inner:
        ((name, inner),) = inner.items()
        path.append(name)
    return tuple(path)


def _note(found: Mapping[str, Any], path: Path, row: int, rows: dict[Path, int]) -> None:
    for name, value in found.items():
        rows.setdefault((*path, name), row)
        if isinstance(value, dict) and len(path) < _DEEPEST:
            _note(value, (*path, name), row, rows)
