"""Tables and paragraphs that never run wider than the page. In: rows, columns, texts. Out: lines of at most its width.

A long name is wrapped, never cut: two names that differ only at the end must not look alike. It is broken only if it
alone is too long for a line.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from textwrap import shorten, wrap
from typing import Final, Generic, NamedTuple, TypeVar
from unicodedata import east_asian_width

from tabulate import tabulate

from fitmatch.report.shared.states import one_line
from fitmatch.wording import printable

WIDTH: Final = 100  # of a page of which nothing is known
NARROWEST: Final = 80
WIDEST: Final = 120
_GAP: Final = 2
_NARROWEST_COLUMN: Final = 6
NO_BREAK: Final = "\u00a0"  # stands for a space inside a name until the line is cut
_BELOW: Final = "    "  # before what stands below a row
_width: ContextVar[int] = ContextVar("width of the page", default=WIDTH)


@contextmanager
def page(width: int) -> Iterator[None]:
    """A page of so many columns, within reason, for every table and paragraph made inside."""
    before = _width.set(min(max(width, NARROWEST), WIDEST))
    try:
        yield
    finally:
        _width.reset(before)


RowT = TypeVar("RowT")


class Column(NamedTuple, Generic[RowT]):
    """One column: what it shows of a row, if it is `shown` at all. When the page is too narrow a `below` column goes
    first, its cells to lines of their own below their rows; then `wraps` columns become narrower. Where that is not
    enough the last columns go on below all rows, beside the first column again or, if there are any, the `key` ones,
    which are to come first."""

    head: str
    show: Callable[[RowT], str]
    align: str = "right"
    wraps: bool = False
    shown: bool = True
    below: bool = False
    key: bool = False


class _Room(NamedTuple):
    """How much of the page's width a column needs, and how much its heading alone needs."""

    widest: int  # when nothing is wrapped
    unbroken: int  # the narrowest that breaks no word and no name
    narrowest: int
    head: int
    is_wide: bool  # it contains characters that take two columns

    def characters(self, width: int) -> int:
        """How many characters of a cell go on one line. Cells are padded by number of characters, so in a column with
        wide ones a narrow cell is padded to the same number, and a wide one takes up to twice the width."""
        if not self.is_wide:
            return width
        return width // 2 if 2 * self.head <= width else width - self.head


def _room(title: str, cells: Sequence[str], *, wraps: bool) -> _Room:
    is_wide = any(map(_has_wide, cells))
    each = 2 if is_wide else 1
    head = _longest_line([title])
    widest = narrowest = max(head, _longest_line(cells)) * each
    if wraps:
        narrowest = min(widest, head + _NARROWEST_COLUMN // 2 if is_wide else max(head, _NARROWEST_COLUMN))
    longest = max((len(word) for cell in cells for word in cell.split(" ")), default=0)
    return _Room(widest, max(narrowest, min(widest, longest * each)), narrowest, head, is_wide)


def clean(text: str) -> str:
    """The user's own text, made fit to print: one line, no control characters."""
    return printable(one_line(text))


def whole(name: str) -> str:
    """A name that is not to be broken at the end of a line."""
    return clean(name).replace(" ", NO_BREAK)


def table(rows: Sequence[RowT], *columns: Column[RowT], ruled: bool = True) -> list[str]:
    """The columns side by side, names wrapped as far as needed; those for which there is no room go below the others.
    No rows give no lines. `ruled`: with a rule below the heads."""
    if not rows:
        return []
    beside, below = _beside([c for c in columns if c.shown], rows)
    keys = max(1, sum(c.key for c in beside))
    parted = len(beside) > keys + 1
    cells = [[c.show(row) for row in rows] for c in beside]
    rooms = [_room(c.head, column, wraps=c.wraps) for c, column in zip(beside, cells, strict=True)]
    width = _width.get()
    widths = [min(room.widest, max(width, room.unbroken)) for room in rooms]
    # Names are broken only where two columns alone are too wide.
    unbroken, narrowest = [room.unbroken for room in rooms], [room.narrowest for room in rooms]
    for least in (unbroken,) if parted else (unbroken, narrowest):
        while _across(widths) > width:
            give_way = [i for i, narrowest in enumerate(least) if widths[i] > narrowest]
            if not give_way:
                break
            widths[max(give_way, key=widths.__getitem__)] -= 1
    if _across(widths) > width and parted:  # the rest goes below, by the same names
        middle = keys + (len(beside) - keys + 1) // 2
        halves = beside[:middle], [*beside[:keys], *beside[middle:], *below]
        upper, lower = (table(rows, *half, ruled=ruled) for half in halves)
        return [*upper, "", *lower]
    cells = [
        _cut(column, room.characters(width)) if c.wraps else column
        for c, column, room, width in zip(beside, cells, rooms, widths, strict=True)
    ]
    heads = [c.head for c in beside]
    rules = ["-" * _longest_line([head, *column]) for head, column in zip(heads, cells, strict=True)]
    aligns = [c.align for c in beside]
    # The heads go in as a row like any other: as headers they would be padded beyond the width reckoned above. They are
    # laid out apart, as cells of one line each go twice as quick; the rules keep both to the same widths.
    lines = _laid_out([rules, *zip(*cells, strict=True)], aligns)[1:]
    if below:
        lines = _with_below(lines, list(zip(*cells, strict=True)), [_told(below, row) for row in rows])
    head = _laid_out([heads, rules], aligns)
    return (head if ruled else head[:-1]) + lines


def room_beside(rows: Sequence[RowT], *columns: Column[RowT]) -> int:
    """How much of the page is left for one more column beside these, with nothing wrapped; below 0 there is none."""
    return _width.get() - _together([c for c in columns if c.shown], rows, wrapped=False) - _GAP


def fits(rows: Sequence[RowT], *columns: Column[RowT]) -> bool:
    """Whether the columns stand side by side on the page with nothing wrapped."""
    return room_beside(rows, *columns) >= -_GAP


def _together(columns: Sequence[Column[RowT]], rows: Sequence[RowT], *, wrapped: bool) -> int:
    """How wide these columns are side by side; `wrapped`: between words and names, as far as that goes."""
    rooms = [_room(c.head, [c.show(row) for row in rows], wraps=c.wraps) for c in columns]
    return _across([room.unbroken if wrapped else room.widest for room in rooms])


def _beside(columns: list[Column[RowT]], rows: Sequence[RowT]) -> tuple[list[Column[RowT]], list[Column[RowT]]]:
    """The columns that stand side by side, and those that go below: the last gives way first, one that wraps only when
    that does not help."""
    beside, below = columns, list[Column[RowT]]()
    for last in [c for c in reversed(columns) if c.below]:
        if _together(beside, rows, wrapped=last.wraps) > _width.get():
            beside, below = [c for c in beside if c is not last], [last, *below]
    return beside, below


def _told(columns: Sequence[Column[RowT]], row: RowT) -> str:
    return "; ".join(filter(None, (c.show(row) for c in columns)))


def _with_below(lines: Sequence[str], rows: Sequence[Sequence[str]], texts: Sequence[str]) -> list[str]:
    """The lines of a table, with a text below each row that has one."""
    found, at = list[str](), 0
    for cells, text in zip(rows, texts, strict=True):
        height = max(cell.count("\n") + 1 for cell in cells)
        found += lines[at : at + height]
        found += paragraph(text, first=_BELOW) if text else []
        at += height
    return found


def _laid_out(rows: Sequence[Sequence[str]], aligns: Sequence[str]) -> list[str]:
    text = tabulate(
        rows,
        tablefmt="plain",
        colalign=aligns,
        rowalign=["bottom"],
        disable_numparse=True,  # a shell named 03 is not the number 3
    )
    return [line.rstrip().replace(NO_BREAK, " ") for line in text.splitlines()]


def paragraph(text: str, *, first: str = "", rest: str | None = None) -> list[str]:
    """`text` wrapped to the page; `first` and `rest` are put before the first line and before the lines after it."""
    indent = " " * len(first) if rest is None else rest
    room = _width.get() - max(len(first), len(indent))
    lines = wrapped(text, room // 2 if _has_wide(text) else room) or [""]
    return [first + lines[0], *(indent + line for line in lines[1:])]


def items(head: str, texts: Sequence[str], *, first: str = "  ", rest: str | None = "      ") -> list[str]:
    """Texts under a heading, each starting a paragraph; without texts there are no lines."""
    return (
        [*paragraph(head), *(line for text in texts for line in paragraph(text, first=first, rest=rest))]
        if texts
        else []
    )


def titled(title: str, blocks: list[list[str]]) -> list[list[str]]:
    """The title over the first block that has anything to say."""
    full = [block for block in blocks if block]
    return [[title, *full[0]], *full[1:]] if full else []


def columns_taken(text: str) -> int:
    """How many columns a terminal gives this text: East Asian wide characters take two."""
    return len(text) if text.isascii() else sum(2 if east_asian_width(c) in "WF" else 1 for c in text)


def shortened(text: str, room: int) -> str:
    """As many of its words as there is room for, and three points for the rest."""
    if columns_taken(text) <= room:
        return text
    return shorten(text, max(3, room // 2 if _has_wide(text) else room), placeholder=" ...")


def _has_wide(text: str) -> bool:
    return not (text.isascii() or text.replace(NO_BREAK, " ").isascii()) and columns_taken(text) > len(text)


def _longest_line(cells: Sequence[str]) -> int:
    return max(len(line) for cell in cells for line in cell.split("\n"))


def _across(widths: Sequence[int]) -> int:
    return sum(widths) + _GAP * (len(widths) - 1)


def _cut(cells: Sequence[str], width: int) -> list[str]:
    """Every cell wrapped; most are short and plain, and wrapping is slow."""
    return [
        cell
        if len(cell) <= width and cell.isprintable() and cell == cell.strip()
        else "\n".join(line for part in cell.split("\n") for line in wrapped(part, width))
        for cell in cells
    ]


def wrapped(text: str, width: int) -> list[str]:
    """Lines broken between words and names; inside one only if it is too long itself, preferably at a space or
    hyphen."""
    lines: list[str] = []
    for line in wrap(text, width, break_on_hyphens=False, break_long_words=False):
        lines += [line] if len(line) <= width else wrap(line.replace(NO_BREAK, " "), width)
    return [line.replace(NO_BREAK, " ") for line in lines]
