"""What reading finds, collected as it goes on: mistakes, warnings, and whether a number had to be rounded."""

from dataclasses import dataclass, field
from typing import Final, NamedTuple

from fitmatch.intake.common.catalogue import CODES
from fitmatch.problems import MOST_PROBLEMS, Problem
from fitmatch.wording import listed, shorten

# Order of the files in a report: job.toml, positions, shell files as they are read, the long file of readings, a saved
# plan, readings with the shells in.
SETTINGS, POSITIONS, SHELLS, READINGS, SAVED_PLAN, ASSEMBLED = 0, 1, 2, 3, 4, 5

_ALSO: Final = "; the same in "
_MOST_NAMES: Final = 5
LAST: Final = 1_000_000  # puts what belongs to no column after what does


class Paper(NamedTuple):
    """A file of the job: its path as the user knows it, and its place in reading order."""

    name: str
    rank: tuple[int, ...]


@dataclass(slots=True)
class Findings:
    """Collects mistakes and warnings."""

    problems: list[Problem] = field(default_factory=list)  # of a great many at least the first, see `number`
    number: int = 0  # of all mistakes
    warnings: list[str] = field(default_factory=list)
    alike: list[str] = field(default_factory=list)  # files named by the first that has the same mistake
    _last: tuple[int, ...] | None = None  # rank of the last mistake that is kept, once later ones are only counted
    first_rounded: str | None = None  # place and text of the first number finer than a nanometre

    def beyond(self, paper: Paper, row: int) -> bool:
        """Whether mistakes in this row are only counted, as so many come before it."""
        return self._last is not None and (*paper.rank, row) > self._last

    def report(
        self, code: str, text: str, paper: Paper, row: int | None = None, column: str | None = None, order: int = 0
    ) -> None:
        """Note one mistake; `order` is the column's place in its row."""
        assert code in CODES, code
        self.number += 1
        rank = (*paper.rank, row or 0, order)
        if self._last is not None and rank >= self._last:
            return
        self.problems.append(Problem(code, text, paper.name, row, column, rank))
        if len(self.problems) >= 2 * MOST_PROBLEMS:
            self.problems.sort(key=lambda problem: problem.rank)
            del self.problems[MOST_PROBLEMS:]
            self._last = self.problems[-1].rank

    def report_once(self, code: str, text: str, paper: Paper, row: int) -> None:
        """Note a mistake that several files may have for one reason: once, at the first, which names the others."""
        first = next((at for at, problem in enumerate(self.problems) if problem.code == code), None)
        if first is None:
            self.report(code, text, paper, row)
            return
        self.alike.append(paper.name)
        names = self.alike
        if len(names) > _MOST_NAMES:
            names = [*names[:_MOST_NAMES], f"{len(names) - _MOST_NAMES} more"]
        noted = self.problems[first]
        said = noted.text.partition(_ALSO)[0]
        self.problems[first] = noted._replace(text=f"{said}{_ALSO}{listed(names)}")

    def rounded(self, text: str, paper: Paper, row: int | None, column: str) -> None:
        """Note that a number is finer than a nanometre; only the first one is kept."""
        if self.first_rounded is None:
            place = paper.name if row is None else f"{paper.name}:{row}"
            self.first_rounded = f"{place}: {column}: `{shorten(text)}`"
