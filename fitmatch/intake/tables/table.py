"""A table as opened, from either type of file: its header, and its rows with their numbers in the file.

Rows are counted as an editor counts lines, so a quoted line break counts; blank rows are skipped but counted.
"""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from fitmatch.intake.common.findings import Paper

Row = tuple[int, list[str]]

# A cell that starts with this mark could not be read; what follows is the code of the problem. No text file and no
# workbook can contain the mark itself.
UNREAD: Final = "\0"
DATES: Final = frozenset(("opened", "measured_on"))  # columns in which a date is meant, so that a cell may hold one


@dataclass(slots=True)
class Table:
    """A table being read. `rows` can be iterated once; `complete` is final only after that. A row may lack cells at its
    end, as spreadsheets drop blank ones, but not one of the first `fewest`."""

    paper: Paper
    header_row: int
    header: list[str]
    rows: Iterator[Row]
    decimal_comma: bool = False
    may_be_unread: bool = False  # whether cells may have the mark UNREAD
    complete: bool = True  # False once a row could not be read at all
    fewest: int = 0  # cells of a row; known once the header is understood
    ends_open: bool = False  # whether the last line lacks its end
