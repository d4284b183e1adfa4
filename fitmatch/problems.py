"""Mistakes in the input as data: each with its place and a stable code, collected, ordered and reported all at once."""

from collections.abc import Iterable
from typing import Final, NamedTuple

from fitmatch.facts import Fact

_LONGEST_PATH: Final = 300  # characters shown, so that every message stays on one line


class Problem(NamedTuple):
    """One mistake. `text` reads "what is wrong; what to do"; rows are counted as an editor counts lines, starting at 1.

    `file` is relative to the job folder; `column` is a column's name or, in job.toml, the dotted key.
    `rank` orders problems for the reader: job.toml, positions, shell files; then row, then column.
    """

    code: str
    text: str
    file: str
    row: int | None = None
    column: str | None = None
    rank: tuple[int, ...] = ()

    def __str__(self) -> str:
        file = "".join(c if c.isprintable() else "?" for c in self.file)
        file = file if len(file) <= _LONGEST_PATH else f"...{file[-_LONGEST_PATH:]}"
        place = file if self.row is None else f"{file}:{self.row}"
        return f"{place}: {self.text}" if self.column is None else f"{place}: {self.column}: {self.text}"


class InputError(Exception):
    """Bad input; `problems` holds every mistake that was found, in reading order, `warnings` what else was noticed."""

    def __init__(self, problems: Iterable[Problem], warnings: Iterable[str] = ()) -> None:
        self.problems = tuple(sorted(problems, key=lambda p: p.rank))
        self.warnings = tuple(warnings)
        super().__init__("\n".join(str(p) for p in self.problems))


class NotPossible(ValueError):
    """What was requested does not exist or is impossible: `why`, with the names needed to say what to do."""

    def __init__(self, why: Fact) -> None:
        super().__init__(why)
        self.why = why


class ExtraMissing(Exception):
    """What was asked for needs a library that is not installed."""

    def __init__(self, what: str, library: str, extra: str) -> None:
        todo = f"install it with: pip install 'fitmatch[{extra}]'"
        super().__init__(f"{what} need {library}, which is not installed; {todo}")


class FaultInFitmatch(Exception):
    """An answer that failed its independent check: a defect in this program, never in the user's files."""
