"""positions.csv to rows: every cell checked by itself, not yet compared with kinds' tables or shells."""

from collections.abc import Set
from dataclasses import dataclass
from fractions import Fraction
from functools import partial

from fitmatch.intake.common import advice
from fitmatch.intake.common.quantities import QUANTITIES, count_of
from fitmatch.intake.rows.sheet import Sheet
from fitmatch.intake.tables.columns import HINT, OWN, per_half
from fitmatch.names import composed, fault_in_permission
from fitmatch.records.measuring import Reading
from fitmatch.records.parts import ANY, SIDES, Position
from fitmatch.rules.positions.movable import columns_within
from fitmatch.wording import shorten

_pin = partial(count_of, most=999_999, what="pin number; count")


@dataclass(frozen=True, slots=True)
class PositionRow:
    """One row as read. What is missing from `own` comes from the kind; None marks a cell that could not be read."""

    position: Position  # all that the row alone says; with its sizes once the long file is read too
    kind_known: bool
    readings: dict[str, tuple[Reading, ...]]  # feature -> its wide columns
    sizes_sound: bool  # whether every reading could be read
    own: dict[str, int | None]
    locks: dict[str, str]  # side -> the cell
    offset_told: bool  # whether there is an offset, readable or not
    journal_mean: Fraction | None = None  # as in `Sized`


class PositionReader:
    """Reads the rows of one positions file."""

    def __init__(self, sheet: Sheet) -> None:
        self._sheet = sheet
        self._settings = sheet.settings
        self.wanted: list[str] = []  # cells in matched columns, as typed

    def rows(self, matched: tuple[str, ...], asked: Set[str]) -> list[PositionRow]:
        """Every row that could be read at all; `matched` are the columns to match with shells; in those that are not in
        `asked` anything is accepted."""
        found: list[PositionRow] = []
        first: dict[str, tuple[str, int]] = {}
        for row, cells in self._sheet.table.rows:
            found.append(self._row(row, cells, matched, asked))
            name = found[-1].position.name
            before, at = first.setdefault(composed(name), (name, row))
            if name and at != row:
                coded = "" if before == name else advice.CODED
                text = f"`{shorten(name)}` is already in row {at}{coded}; give each position its own name"
                self._sheet.report("duplicate-position", text, row, "position")
        self._check_offsets(found)
        if not found and self._sheet.table.complete:
            text = "has a header and nothing below it; write a row for each position"
            self._sheet.findings.report("no-rows", text, self._sheet.paper)
        return found

    def _check_offsets(self, rows: list[PositionRow]) -> None:
        """All rows of a kind have an offset, or none: a blank among others could mean zero or not measured."""
        told = {row.position.kind: row.position for row in reversed(rows) if row.offset_told}
        for position in (row.position for row in rows if not row.offset_told):
            other = told.get(position.kind)
            if other:
                text = f"is empty, but {shorten(other.name)} (row {other.row}) of the same kind has one"
                self._sheet.report("empty-cell", f"{text}; write 0 where the axis is in line", position.row, "offset")

    def _row(self, row: int, cells: list[str], matched: tuple[str, ...], asked: Set[str]) -> PositionRow:
        sheet, sound = self._sheet, True
        name, kind = sheet.cell(cells, "position"), sheet.cell(cells, "kind")
        if not sheet.is_unread(cells, "position"):
            sheet.name_will_do(name, row, "position")
        if not sheet.is_unread(cells, "kind"):
            sheet.kind_will_do(kind, row)
        readings: dict[str, tuple[Reading, ...]] = {}
        for feature, gauge in self._gauges_of(row, cells, kind).items():
            confirmed = sheet.any_text(row, cells, f"{feature}_confirmed")
            found, whole = sheet.readings(row, cells, feature, QUANTITIES[feature], gauge)
            filled = (c.name for c in sheet.columns.readings[feature] if cells[c.index].strip())
            pairs = zip(found, filled, strict=False)  # as many of each, unless one could not be read
            readings[feature] = tuple(
                Reading(nm, None, None, gauge[0], confirmed, name, sheet.typed(cells, name, gauge[0]))
                for nm, name in pairs
            )
            sound = sound and whole
        own = {key: sheet.length(row, cells, key, QUANTITIES[key]) for key in OWN if sheet.cell(cells, key)}
        note = sheet.cell(cells, "note")
        self.wanted += [sheet.cell(cells, name) for column in matched for name in (column, *per_half([column]))]
        position = Position(
            name=name,
            kind=kind,
            journal=None,
            housing_bore=None,
            target_nm=None,
            wants_upper=self._wants(cells, matched, asked, "upper"),
            wants_lower=self._wants(cells, matched, asked, "lower"),
            accept=self._permission(row, cells),
            pin=sheet.value(row, cells, "pin", _pin),
            row=row,
            undersize=sheet.cell(cells, "undersize"),
            within=tuple(sheet.cell(cells, c).casefold() for c in columns_within(self._settings.rules)),
            offset_nm=own.get("offset"),
            note="" if note.startswith(HINT) else note,
        )
        locks = {side: sheet.cell(cells, side) for side in SIDES if sheet.cell(cells, side)}
        told = bool(cells[sheet.columns.index("offset")].strip())
        return PositionRow(position, kind in self._settings.fits, readings, sound, own, locks, told)

    def _permission(self, row: int, cells: list[str]) -> str | None:
        """The engine maker's permission to use a housing bore outside its drawing limits."""
        text = self._sheet.cell(cells, "accept")
        fault = fault_in_permission(text)
        if fault is not None:
            self._sheet.report("unknown-value", f"{fault}, or leave the cell empty", row, "accept")
        return text or None

    def _wants(self, cells: list[str], matched: tuple[str, ...], asked: Set[str], side: str) -> tuple[str, ...]:
        cell = self._sheet.cell
        return tuple(
            (cell(cells, f"{column}_{side}") or cell(cells, column)).casefold() if column in asked else ANY
            for column in matched
        )

    def _gauges_of(self, row: int, cells: list[str], kind: str) -> dict[str, tuple[str | None, bool]]:
        """The gauge of each feature, and whether it is known: its own column's, otherwise the row's, otherwise the
        kind's."""
        sheet, features = self._sheet, self._sheet.columns.readings
        found = {
            feature: sheet.gauge(row, cells, f"{feature}_gauge", kind, feature)
            for feature in features
            if sheet.cell(cells, f"{feature}_gauge")
        }
        if len(found) < len(features) and sheet.cell(cells, "gauge"):
            one = sheet.gauge(row, cells, "gauge", kind, "")
            return {feature: found.get(feature, one) for feature in features}
        return {feature: found.get(feature) or sheet.gauge(row, cells, "gauge", kind, feature) for feature in features}
