"""positions.csv to rows: every cell checked by itself, nothing yet compared with kinds' tables or shells."""

from collections.abc import Mapping, Set
from dataclasses import dataclass, field

from fitmatch.intake.columns import Columns
from fitmatch.intake.findings import Findings, Paper, shorten
from fitmatch.intake.gauges import GaugeCells
from fitmatch.intake.names import fault_in_name, nearest, other_case
from fitmatch.intake.quantities import HOUSING_BORE, JOURNAL, LIMIT, OFFSET, SEATING, TARGET, CellError, LengthReader
from fitmatch.intake.settings import Settings
from fitmatch.intake.sizing import Sized
from fitmatch.intake.tables import UNREAD, Table
from fitmatch.measuring import Form, Reading
from fitmatch.parts import ANY

QUANTITIES = {
    "journal": JOURNAL,
    "housing_bore": HOUSING_BORE,
    "target": TARGET,
    "min": LIMIT,
    "max": LIMIT,
    "seating": SEATING,
    "offset": OFFSET,
}
OWN = ("target", "min", "max", "seating", "offset")


@dataclass(frozen=True, slots=True)
class PositionRow:
    """One row as read. What is missing from `own` is the kind's; None there is a cell that could not be read."""

    row: int
    name: str
    kind: str
    kind_known: bool
    readings: dict[str, tuple[Reading, ...]]  # feature -> its wide columns
    sizes_sound: bool  # whether every reading could be read
    own: dict[str, int | None]
    locks: dict[str, str]  # side -> the cell
    wants: dict[str, tuple[str, ...]]  # side -> cells to match
    accept: str | None
    pin: int | None
    undersize: str
    within: tuple[str, ...]  # cells in which a housing and its journal must agree
    offset_told: bool  # whether there is an offset, readable or not
    sized: Mapping[str, Sized] = field(default_factory=dict)  # feature -> its size, once the long file is read too
    unsized: Form | None = None  # as in `Position`


class PositionReader:
    """Reads the rows of one positions file."""

    def __init__(self, table: Table, columns: Columns, settings: Settings, findings: Findings) -> None:
        self.paper: Paper = table.paper
        self._table = table
        self._columns = columns
        self._settings = settings
        self._findings = findings
        self._gauges = GaugeCells(settings, self._report)
        self._readers: dict[tuple[str, str | None], LengthReader | None] = {}
        self._features = {c.name: feature for feature, some in columns.readings.items() for c in some}

    def rows(self, matched: tuple[str, ...], asked: Set[str]) -> list[PositionRow]:
        """Every row that could be read at all; `matched` are the columns to match with shells; in those
        that this job has not `asked` for anything will do."""
        found: list[PositionRow] = []
        first: dict[str, int] = {}
        for row, cells in self._table.rows:
            position = self._row(row, cells, matched, asked)
            if position.name in first and position.name:
                text = f"`{shorten(position.name)}` stands in row {first[position.name]} already"
                self._report("duplicate-position", f"{text}; give each position its own name", row, "position")
            first.setdefault(position.name, row)
            found.append(position)
        self._check_offsets(found)
        if not found and self._table.complete:
            self._findings.report(
                "no-rows", "has a header and nothing below it; write a row for each position", self.paper
            )
        return found

    def _check_offsets(self, rows: list[PositionRow]) -> None:
        """All rows of a kind tell an offset, or none: a blank beside others may be nought or not measured."""
        told = {row.kind: row for row in reversed(rows) if row.offset_told}
        for row in rows:
            if row.kind in told and not row.offset_told:
                other = told[row.kind]
                text = f"is empty, and {shorten(other.name)} (row {other.row}) of the same kind has one"
                self._report("empty-cell", f"{text}; write 0 where the axis lies in line", row.row, "offset")

    def _row(self, row: int, cells: list[str], matched: tuple[str, ...], asked: Set[str]) -> PositionRow:
        name = self._name(row, cells)
        kind, known = self._kind(row, cells)
        sound = True
        readings: dict[str, tuple[Reading, ...]] = {}
        gauges = self._gauges_of(row, cells, kind)
        for feature, columns in self._columns.readings.items():
            gauge, gauge_known = gauges[feature]
            confirmed = self._cell(cells, f"{feature}_confirmed")
            found = []
            for column in columns:
                if cells[column.index].strip():
                    nm = self._length(row, cells, column.name, self._gauges.unit(gauge)) if gauge_known else None
                    if nm is None:
                        sound = False
                    else:
                        found.append(Reading(nm, gauge=gauge, confirmed=confirmed))
            readings[feature] = tuple(found)
        own = {key: self._length(row, cells, key) for key in OWN if self._cell(cells, key)}
        return PositionRow(
            row=row,
            name=name,
            kind=kind,
            kind_known=known,
            readings=readings,
            sizes_sound=sound,
            own=own,
            locks={side: self._cell(cells, side) for side in ("upper", "lower") if self._cell(cells, side)},
            wants={side: self._wants(cells, matched, asked, side) for side in ("upper", "lower")},
            accept=self._cell(cells, "accept") or None,
            pin=self._pin(row, cells),
            undersize=self._cell(cells, "undersize"),
            within=tuple(self._cell(cells, c).casefold() for c in self._settings.rules.movable_within),
            offset_told=bool(cells[self._columns.index("offset")].strip()),
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

    def _wants(self, cells: list[str], matched: tuple[str, ...], asked: Set[str], side: str) -> tuple[str, ...]:
        return tuple(
            (self._cell(cells, f"{column}_{side}") or self._cell(cells, column)).casefold() if column in asked else ANY
            for column in matched
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

    def _gauges_of(self, row: int, cells: list[str], kind: str) -> dict[str, tuple[str | None, bool]]:
        """The gauge of each feature, and whether it is known: its own column's, else the row's, else the kind's."""
        common = self._cell(cells, "gauge")
        column = {
            feature: f"{feature}_gauge" if self._cell(cells, f"{feature}_gauge") else "gauge"
            for feature in self._columns.readings
        }
        found = {
            feature: self._gauges.name(row, self._cell(cells, name), name, kind, feature)
            for feature, name in column.items()
            if name != "gauge"
        }
        if common and len(found) < len(column):
            one = self._gauges.name(row, common, "gauge", kind, "")
            return {feature: found.get(feature, one) for feature in column}
        return {feature: found.get(feature) or self._gauges.name(row, "", "", kind, feature) for feature in column}

    def _reader(self, name: str, gauge_unit: str | None) -> LengthReader | None:
        """The reader of a column; None where the job names no unit, or the header a wrong one."""
        key = (name, gauge_unit)
        if key not in self._readers:
            column, unit = self._columns.known.get(name), self._settings.unit
            quantity = QUANTITIES.get(self._features.get(name, name))
            self._readers[key] = (
                None
                if column is None or unit is None or quantity is None or name in self._columns.bad_units
                else LengthReader(
                    quantity,
                    column.unit or gauge_unit or unit,
                    inch_job=self._settings.inch_job,
                    decimal_comma=self._table.decimal_comma,
                )
            )
        return self._readers[key]

    def _length(self, row: int, cells: list[str], column: str, gauge_unit: str | None = None) -> int | None:
        """A length, noting what is wrong with it; None if it could not be read."""
        reader = self._reader(column, gauge_unit)
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
    kinds = [*settings.fits] if len(settings.fits) < 8 else [*list(settings.fits)[:7], "or another"]
    return "write one of the kinds with a [fit.KIND] table: " + ", ".join(kinds)


def unknown_kind(kind: str, settings: Settings) -> str:
    """That a kind has no table, and the nearest that has one."""
    meant = other_case(kind, settings.fits)
    if meant is not None:
        return f"there is no [fit.{shorten(kind)}]; write the kind with its own capitals, `{meant}`"
    return f"there is no [fit.{shorten(kind)}]; add it, or write the nearest kind `{nearest(kind, settings.fits)}`"
