"""What only the shelf wants to know of boxes and shells: how they were bought and where they lie, columns of any name,
and files of sealed boxes."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final, NamedTuple

from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.intake.tables.columns import SHELL_FORM, STOCK_COLUMNS, Form, names_in, split_header
from fitmatch.intake.tables.opening import open_table
from fitmatch.intake.tables.table import UNREAD, Table
from fitmatch.lengths import LengthError, parse_length, parse_number
from fitmatch.records.shelf.stock import Bought, Printed, StockBox
from fitmatch.wording import shorten

_BOUGHT: Final = tuple(name for name in STOCK_COLUMNS if name != "measured_on")
_PRINTED: Final = ("family", "part", "series", "undersize", "step")
SEALED_FORM: Final = Form(
    name="sealed boxes",
    needed=("part",),
    optional=("box", "kind", *(name for name in _PRINTED if name != "part"), *_BOUGHT, "note"),
    readings=(),
    lengths=frozenset(),
    filled=("part",),
)
STANDARD: Final = frozenset(("std", "standard"))  # printed where nothing was taken off
_PER_UNIT: Final = 1_000


class Told(NamedTuple):
    """What the further cells of one row say."""

    printed: Printed
    bought: Bought
    condition: str
    gauge: str
    measured_on: str
    marks: Mapping[str, str]


@dataclass(slots=True)
class FurtherCells:
    """The cells of a shell file that its own reader does not keep, by row; equal ones are looked at once. There is a
    place for every row of the file: a list is a tenth of what a mapping of a million would be."""

    names: tuple[str, ...]
    rows: Sequence[tuple[str, ...]]
    paper: Paper
    decimal_comma: bool
    unit: str
    findings: Findings
    _known: dict[tuple[str, ...], Told] = field(default_factory=dict)

    def told(self, row: int) -> Told:
        """What a row says; mistakes are noted."""
        cells = self.rows[row]
        if cells not in self._known:
            cell = dict(zip(self.names, cells, strict=True))
            values = _Values(self.paper, row, self.decimal_comma, self.unit, self.findings)
            marks = {name: text for name, text in cell.items() if text and name not in _NAMED and not _is_wall(name)}
            self._known[cells] = Told(
                _printed(cell, values),
                _bought(cell, values),
                cell.get("condition", ""),
                cell.get("wall_gauge", "") or cell.get("gauge", ""),
                values.date(cell.get("measured_on", ""), "measured_on"),
                marks,
            )
        return self._known[cells]

    @property
    def gauges(self) -> set[str]:
        """The gauges that rows name."""
        columns = [at for at, name in enumerate(self.names) if name in ("gauge", "wall_gauge")]
        return {cells[at] for cells in set(self.rows) if cells for at in columns} - {""}


_NAMED: Final = frozenset((*SHELL_FORM.needed, *SHELL_FORM.optional, *STOCK_COLUMNS))
_READ_ELSEWHERE: Final = frozenset(
    ("shell", "kind", "half", "box", "grade", "coating", "hold", "wall_confirmed", "copy_confirmed")
)


def _is_wall(name: str) -> bool:
    return name == "wall" or (name.startswith("wall_") and name[5:].isdigit())


def further_cells(data: bytes, paper: Paper, unit: str, findings: Findings) -> FurtherCells | None:
    """The further cells of a shell file whose own reader notes what is wrong with it as a table."""
    table = open_table(data, paper, Findings())
    if table is None:
        return None
    header = [split_header(cell)[0] for cell in table.header]
    kept = [at for at, name in enumerate(header) if name and name not in _READ_ELSEWHERE and not _is_wall(name)]
    alike: dict[tuple[str, ...], tuple[str, ...]] = {}
    rows: list[tuple[str, ...]] = []
    for row, cells in table.rows:
        found = tuple([_cell(cells, at) for at in kept])
        rows += [()] * (row - len(rows))
        rows.append(alike.setdefault(found, found))
    return FurtherCells(tuple(header[at] for at in kept), rows, paper, table.decimal_comma, unit, findings)


def _cell(cells: list[str], at: int) -> str:
    text = cells[at].strip() if at < len(cells) else ""
    return "" if text.startswith(UNREAD) else text


def describes_sealed_boxes(table: Table) -> bool:
    """Whether a table lists boxes that nobody has opened: parts, and no shells."""
    names = names_in(table)
    return "part" in names and names.isdisjoint(("shell", "half"))


def sealed_boxes(sheet: Sheet, unit: str) -> Iterator[StockBox]:
    """The boxes of a file, each with a name: its own, otherwise its part, numbered where that has several."""
    seen: dict[str, int] = {}
    for row, cells in sheet.table.rows:
        cell = {name: sheet.cell(cells, name) for name in (*SEALED_FORM.needed, *SEALED_FORM.optional)}
        values = _Values(sheet.paper, row, sheet.table.decimal_comma, unit, sheet.findings)
        column = "box" if cell["box"] else "part"
        name = cell[column]
        if not sheet.name_will_do(name, row, column):
            continue
        seen[name] = seen.get(name, 0) + 1
        if seen[name] > 1 and column == "box":
            text = f"`{shorten(name)}` stands in two rows; give each sealed box its own name"
            sheet.report("duplicate-shell", text, row, "box")
        own = name if seen[name] == 1 else f"{name}-{seen[name]}"
        yield StockBox(own, True, cell["kind"], _printed(cell, values), _bought(cell, values))


class _Values(NamedTuple):
    """Reads the cells of one row that are more than text."""

    paper: Paper
    row: int
    decimal_comma: bool
    unit: str
    findings: Findings

    def size(self, text: str) -> int | None:
        """An undersize or step; None if it is only a label."""
        if text.casefold() in STANDARD:
            return 0
        try:
            return parse_length(text, self.unit, inch_job=self.unit == "in", decimal_comma=self.decimal_comma)[0]
        except LengthError:
            return None

    def price(self, text: str) -> int | None:
        if not text:
            return None
        if "e" in text.casefold():
            self._report("not-a-number", f"`{shorten(text)}` is not a price; write it plainly, such as 80.50", "price")
            return None
        try:
            thousandths = parse_number(text, decimal_comma=self.decimal_comma) * _PER_UNIT
        except LengthError as error:
            self._report("not-a-number", str(error), "price")
            return None
        if thousandths < 0 or thousandths.denominator != 1:
            text = f"`{shorten(text)}` is not a price; write what the box cost, with three decimals at most"
            self._report("not-a-number", text, "price")
            return None
        return int(thousandths)

    def date(self, text: str, column: str) -> str:
        try:
            return date.fromisoformat(text).isoformat() if text else ""
        except ValueError:
            self._report("unknown-value", f"`{shorten(text)}` is not a date; write it as 2026-03-31", column)
            return ""

    def _report(self, code: str, text: str, column: str) -> None:
        self.findings.report(code, text, self.paper, self.row, column)


def _printed(cell: Mapping[str, str], values: _Values) -> Printed:
    undersize, step = values.size(cell.get("undersize", "")), values.size(cell.get("step", ""))
    return Printed(**{name: cell.get(name, "") for name in _PRINTED}, undersize_nm=undersize, step_nm=step)


def _bought(cell: Mapping[str, str], values: _Values) -> Bought:
    price, opened = values.price(cell.get("price", "")), values.date(cell.get("opened", ""), "opened")
    said = {name: cell.get(name, "") for name in ("lot", "seller", "location", "note")}
    return Bought(**said, price_thousandths=price, opened=opened)
