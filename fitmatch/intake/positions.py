"""positions.csv to rows: every cell checked by itself, nothing yet compared with kinds' tables or shells."""

from dataclasses import dataclass, field

from fitmatch.intake.columns import Columns
from fitmatch.intake.findings import Findings, Paper, shorten
from fitmatch.intake.names import fault_in_name, nearest
from fitmatch.intake.quantities import HOUSING_BORE, JOURNAL, LIMIT, SEATING, TARGET, CellError, LengthReader
from fitmatch.intake.settings import Settings
from fitmatch.intake.tables import UNREAD, Table

_QUANTITIES = {
    "journal": JOURNAL,
    "housing_bore": HOUSING_BORE,
    "target": TARGET,
    "min": LIMIT,
    "max": LIMIT,
    "seating": SEATING,
}
OWN = ("target", "min", "max", "seating")


@dataclass(slots=True)
class PositionRow:
    """One row as read. What is missing from `own` is the kind's; None there is a cell that could not be read."""

    row: int
    name: str
    kind: str
    kind_known: bool
    journal: tuple[int, ...]
    housing_bore: tuple[int, ...]
    sizes_sound: bool  # whether every cell of the two could be read
    own: dict[str, int | None] = field(default_factory=dict)
    locks: dict[str, str] = field(default_factory=dict)  # side -> the cell
    wants: dict[str, tuple[str, ...]] = field(default_factory=dict)  # side -> cells to match
    accept: str | None = None
    pin: int | None = None


class PositionReader:
    """Reads the rows of one positions file."""

    def __init__(self, table: Table, columns: Columns, settings: Settings, findings: Findings) -> None:
        self.paper: Paper = table.paper
        self._table = table
        self._columns = columns
        self._settings = settings
        self._findings = findings
        self._readers = self._length_readers()

    def rows(self, matched: tuple[str, ...]) -> list[PositionRow]:
        """Every row that could be read at all; `matched` are the columns to match with shells."""
        found: list[PositionRow] = []
        first: dict[str, int] = {}
        for row, cells in self._table.rows:
            position = self._row(row, cells, matched)
            if position.name in first and position.name:
                text = f"`{shorten(position.name)}` stands in row {first[position.name]} already"
                self._report("duplicate-position", f"{text}; give each position its own name", row, "position")
            first.setdefault(position.name, row)
            found.append(position)
        if not found and self._table.complete:
            self._findings.report(
                "no-rows", "has a header and nothing below it; write a row for each position", self.paper
            )
        return found

    def _row(self, row: int, cells: list[str], matched: tuple[str, ...]) -> PositionRow:
        name = self._name(row, cells)
        kind, known = self._kind(row, cells)
        sound = True
        sizes: dict[str, tuple[int, ...]] = {}
        for feature, columns in self._columns.readings.items():
            readings = []
            for column in columns:
                if cells[column.index].strip():
                    nm = self._length(row, cells, column.name)
                    if nm is None:
                        sound = False
                    else:
                        readings.append(nm)
            sizes[feature] = tuple(readings)
        own = {key: self._length(row, cells, key) for key in OWN if self._cell(cells, key)}
        return PositionRow(
            row=row,
            name=name,
            kind=kind,
            kind_known=known,
            journal=sizes["journal"],
            housing_bore=sizes["housing_bore"],
            sizes_sound=sound,
            own=own,
            locks={side: self._cell(cells, side) for side in ("upper", "lower") if self._cell(cells, side)},
            wants={side: self._wants(cells, matched, side) for side in ("upper", "lower")},
            accept=self._cell(cells, "accept") or None,
            pin=self._pin(row, cells),
        )

    def _cell(self, cells: list[str], column: str) -> str:
        """A trimmed cell; empty as well where it could not be read."""
        text = cells[self._columns.index(column)].strip()
        return "" if text == UNREAD else text

    def _name(self, row: int, cells: list[str]) -> str:
        text = cells[self._columns.index("position")].strip()
        if text == UNREAD:
            return ""
        if not text:
            self._report("empty-cell", "is empty; name the position", row, "position")
        fault = fault_in_name(text)
        if fault is not None:
            self._report("bad-name", fault, row, "position")
        return text

    def _kind(self, row: int, cells: list[str]) -> tuple[str, bool]:
        text = cells[self._columns.index("kind")].strip()
        if text == UNREAD:
            return "", False
        fits = self._settings.fits
        if not text:
            self._report("empty-cell", f"is empty; {kinds_to_write(self._settings)}", row, "kind")
        elif fits and text not in fits:
            self._report("unknown-kind", unknown_kind(text, self._settings), row, "kind")
        return text, text in fits

    def _wants(self, cells: list[str], matched: tuple[str, ...], side: str) -> tuple[str, ...]:
        return tuple(
            (self._cell(cells, f"{column}_{side}") or self._cell(cells, column)).casefold() for column in matched
        )

    def _pin(self, row: int, cells: list[str]) -> int | None:
        text = self._cell(cells, "pin")
        if not text:
            return None
        if not (text.isascii() and text.isdecimal() and len(text) <= 6 and int(text) >= 1):
            text = f"`{shorten(text)}` is no number of a pin; count from the front: 1, 2, 3 and so on"
            self._report("not-a-whole-number", text, row, "pin")
            return None
        return int(text)

    def _length_readers(self) -> dict[str, LengthReader]:
        """By column; empty where the job names no unit, and without columns whose header names a wrong one."""
        readers: dict[str, LengthReader] = {}
        if self._settings.unit is None:
            return readers
        features = {column.name: feature for feature, columns in self._columns.readings.items() for column in columns}
        for name, column in self._columns.known.items():
            quantity = _QUANTITIES.get(features.get(name, name))
            if quantity is not None and name not in self._columns.bad_units:
                readers[name] = LengthReader(
                    quantity,
                    column.unit or self._settings.unit,
                    inch_job=self._settings.inch_job,
                    decimal_comma=self._table.decimal_comma,
                )
        return readers

    def _length(self, row: int, cells: list[str], column: str) -> int | None:
        """A length, noting what is wrong with it; None if it could not be read."""
        reader = self._readers.get(column)
        text = cells[self._columns.index(column)]
        if reader is None or text == UNREAD:
            return None
        try:
            nm = reader.read(text)
        except CellError as error:
            self._report(error.code, str(error), row, column)
            return None
        if reader.finer:
            self._findings.rounded(text, self.paper, row, column)
        return nm

    def _report(self, code: str, text: str, row: int, column: str) -> None:
        self._findings.report(code, text, self.paper, row, column, self._columns.order(column))


def kinds_to_write(settings: Settings) -> str:
    """What can stand in a column `kind`."""
    if not settings.fits:
        return "write the kind, such as rod"
    return "write one of the kinds with a [fit.KIND] table: " + ", ".join(settings.fits)


def unknown_kind(kind: str, settings: Settings) -> str:
    """That a kind has no table, and the nearest that has one."""
    return f"there is no [fit.{shorten(kind)}]; add it, or write the nearest kind `{nearest(kind, settings.fits)}`"
