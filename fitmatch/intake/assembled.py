"""assembled.csv to readings: what was measured with the shells in, each laid to its position and its pair of shells."""

from collections.abc import Iterable, Sequence
from typing import Final

from fitmatch.intake.columns import Columns, Form
from fitmatch.intake.findings import Findings, listed, shorten
from fitmatch.intake.gauges import GaugeCells
from fitmatch.intake.names import nearest
from fitmatch.intake.quantities import ASSEMBLED_BORE, ASSEMBLED_CLEARANCE, CellError, LengthReader
from fitmatch.intake.savedplan import FILE as PLAN_FILE
from fitmatch.intake.savedplan import SavedPlan
from fitmatch.intake.settings import Settings
from fitmatch.intake.tables import UNREAD, Table
from fitmatch.measuring import AssembledReading
from fitmatch.parts import SIDES, Position, Shell

GAUGE: Final = "gauge"
STRIP: Final = "strip"
METHODS: Final = (GAUGE, STRIP)
ASSEMBLED_FORM: Final = Form(
    name="assembled",
    needed=("position", "method"),  # and a clearance or a bore
    optional=("clearance", "bore", "upper", "lower", "gauge", "by", "date", "note"),
    readings=("clearance", "bore"),
    lengths=frozenset(("clearance", "bore")),
)
_QUANTITIES: Final = {"clearance": ASSEMBLED_CLEARANCE, "bore": ASSEMBLED_BORE}

Key = tuple[str, str]


class AssembledReader:
    """Reads the rows of one file."""

    def __init__(
        self,
        table: Table,
        columns: Columns,
        settings: Settings,
        positions: Iterable[Position],
        shells: Iterable[Shell],
        plan: SavedPlan | None,
        findings: Findings,
        *,
        complete: bool,
        plan_sound: bool,
    ) -> None:
        """`complete`: every position and shell is known. `plan_sound`: what `plan` lacks is in no saved plan."""
        self._table = table
        self._columns = columns
        self._settings = settings
        self._findings = findings
        self._positions = {p.name: p for p in positions}
        self._shells = {shell.key: shell for shell in shells}
        self._by_name: dict[str, list[Shell]] = {}
        for shell in self._shells.values():
            self._by_name.setdefault(shell.name, []).append(shell)
        self._plan = plan
        self._complete = complete
        self._plan_sound = plan_sound
        self._readers: dict[tuple[str, str], LengthReader] = {}
        self._gauges = GaugeCells(settings, self._report)

    def read(self) -> tuple[AssembledReading, ...]:
        """Every row that has a reading and could be read; a row without one is yet to be measured."""
        if not any(self._columns.readings.values()):
            text = "neither clearance nor bore is a column; add the one that was read"
            at = self._table.header_row
            if not self._columns.slipped & {*_QUANTITIES}:
                self._findings.report("missing-column", text, self._table.paper, at, "clearance")
            return ()
        found: list[AssembledReading] = []
        first: dict[tuple[str, Key, Key, str], int] = {}
        if self._columns.lacking:
            return ()
        rows = 0
        for row, cells in self._table.rows:
            rows += 1
            reading = self._row(row, cells)
            if reading is None:
                continue
            same = (reading.position, reading.upper, reading.lower, reading.method)
            if same in first:
                text = (
                    f"stands in row {first[same]} already with these shells, by {reading.method}; keep one row, with "
                    "repeats in columns clearance_1, clearance_2 and so on"
                )
                self._report("duplicate-reading", text, row, "position")
            first.setdefault(same, row)
            found.append(reading)
        if not rows and self._table.complete:
            text = "has a header and no rows; write a row for each position measured with its shells in"
            self._findings.report("no-rows", text, self._table.paper)
        return tuple(found)

    def _row(self, row: int, cells: list[str]) -> AssembledReading | None:
        position = self._position(row, cells)
        features = [f for f in _QUANTITIES if any(cells[c.index].strip() for c in self._columns.readings[f])]
        method = self._method(row, cells, needed=bool(features))
        if len(features) > 1:
            text = "stands beside a bore; keep what the gauge showed and clear the other"
            self._report("clearance-and-bore", text, row, "clearance")
        typed = self._cell(cells, GAUGE)
        kind = position.kind if position else ""
        # A strip is measured with no gauge unless its row names one.
        gauge, known = (
            self._gauges.name(row, typed, GAUGE, kind, "housing_bore") if typed or method != STRIP else (None, True)
        )
        readings = self._readings(row, cells, features[0], gauge) if features and known else ()
        pair = self._pair(row, cells, position, asked=bool(features))
        if len(features) != 1 or not readings or position is None or method is None or pair is None:
            return None
        if features == ["bore"]:
            if method == STRIP:
                text = "a strip shows a clearance and no bore; move the figure to clearance, or write gauge"
                self._report("unknown-value", text, row, "method")
            self._check_bore(row, readings, position)
        by, date = self._cell(cells, "by"), self._cell(cells, "date")
        housing = self._plan.housings.get(position.name) if self._plan else None
        return AssembledReading(position.name, *pair, features[0], readings, method, gauge, by, date, row, housing)

    def _cell(self, cells: list[str], column: str) -> str:
        """A trimmed cell; empty as well where it could not be read."""
        text = cells[self._columns.index(column)].strip()
        return "" if text.startswith(UNREAD) else text

    def _position(self, row: int, cells: list[str]) -> Position | None:
        name = self._cell(cells, "position")
        if name in self._positions:
            return self._positions[name]
        if not name:
            if cells[self._columns.index("position")] != UNREAD:
                self._report("empty-cell", "is empty; name the position", row, "position")
        elif self._complete:
            near = nearest(name, self._positions)
            todo = f"the nearest is `{near}`" if near else "write its row in the positions file"
            self._report("unknown-item", f"there is no position `{shorten(name)}`; {todo}", row, "position")
        return None

    def _method(self, row: int, cells: list[str], *, needed: bool) -> str | None:
        text = self._cell(cells, "method").casefold()
        if text in METHODS:
            return text
        if text:
            self._report("unknown-value", f"`{shorten(text)}` is no method; write gauge or strip", row, "method")
        elif needed and cells[self._columns.index("method")] != UNREAD:
            self._report("empty-cell", "is empty; write gauge or strip", row, "method")
        return None

    def _readings(self, row: int, cells: list[str], feature: str, gauge: str | None) -> tuple[int, ...]:
        """All readings of the row; none where one of them could not be read."""
        found = []
        columns = [c for c in self._columns.readings[feature] if cells[c.index].strip()]
        for column in columns:
            text = cells[column.index]
            if text == UNREAD or column.name in self._columns.bad_units or self._settings.unit is None:
                continue
            unit = column.unit or self._gauges.unit(gauge) or self._settings.unit
            reader = self._readers.setdefault(
                (feature, unit),
                LengthReader(_QUANTITIES[feature], unit, self._settings.inch_job, self._table.decimal_comma),
            )
            try:
                found.append(reader.read(text))
            except CellError as error:
                self._report(error.code, str(error), row, column.name)
                continue
            if reader.finer:
                self._findings.rounded(text, self._table.paper, row, column.name)
        return tuple(found) if len(found) == len(columns) else ()

    def _check_bore(self, row: int, readings: Sequence[int], position: Position) -> None:
        if position.journal is not None and min(readings) <= position.journal.smallest_nm:
            text = "is not greater than the journal; look at both readings and their units"
            self._report("bore-not-greater", text, row, self._columns.readings["bore"][0].name)

    def _pair(self, row: int, cells: list[str], position: Position | None, *, asked: bool) -> tuple[Key, Key] | None:
        """The two shells that were in: the row's own, else those of the saved plan."""
        pair = []
        for side in SIDES:
            typed = self._cell(cells, side)
            if typed:
                shell = self._shell(row, side, typed)
            elif asked and position is not None and cells[self._columns.index(side)] != UNREAD:
                shell = self._planned(row, side, position)
            else:
                continue
            if shell is not None:
                self._check(row, side, shell, position)
                pair.append(shell.key)
        if len(pair) < len(SIDES):
            return None
        upper, lower = pair
        if upper == lower:
            if self._shells[lower].half == "either":  # otherwise one of the halves was reported
                text = (
                    f"`{shorten('/'.join(lower))}` is in the upper half already; write the shell that is in the lower"
                )
                self._report("fitted-twice", text, row, "lower")
            return None
        return upper, lower

    def _shell(self, row: int, side: str, typed: str) -> Shell | None:
        *boxes, name = (part.strip() for part in typed.split("/"))
        if len(boxes) > 1 or not name or boxes == [""]:
            self._report("bad-name", f"`{shorten(typed)}` names no shell; write NAME or BOX/NAME", row, side)
            return None
        fitting = [shell for shell in self._by_name.get(name, []) if not boxes or shell.box == boxes[0]]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            example = f"{fitting[0].box}/{name}"
            text = f"shell `{shorten(name)}` is in {len(fitting)} boxes; write BOX/NAME, such as {shorten(example)}"
            self._report("ambiguous-item", text, row, side)
        elif self._complete:
            text = f"there is no shell `{shorten(typed)}`; write NAME or BOX/NAME as in the shell files"
            self._report("unknown-item", text, row, side)
        return None

    def _planned(self, row: int, side: str, position: Position) -> Shell | None:
        key = self._plan.shells.get((position.name, side)) if self._plan else None
        if key in self._shells:
            return self._shells[key]
        if key is not None:
            if self._complete:
                text = f"is empty, and {PLAN_FILE} has shell `{shorten('/'.join(key))}` there, which is in no file"
                self._report("unknown-item", f"{text}; write the shell that is in", row, side)
        elif self._plan_sound:
            why = f"{PLAN_FILE} has no shells there" if self._plan else f"there is no {PLAN_FILE} to take it from"
            todo = "write the shell that is in, or save a plan with `fitmatch assign --save`"
            self._report("no-saved-plan", f"is empty, and {why}; {todo}", row, side)
        return None

    def _check(self, row: int, side: str, shell: Shell, position: Position | None) -> None:
        name = f"shell `{shorten('/'.join(shell.key))}`"
        if position is not None and shell.kind and shell.kind != position.kind:
            text = f"{name} is of kind `{shell.kind}`, not `{position.kind}`; write the shell that is in"
            self._report("fitted-wrong-kind", text, row, side)
        if shell.half and shell.half not in (side, "either"):
            text = f"{name} is for the {shell.half} half; write {listed(SIDES)} as they are in the engine"
            self._report("fitted-wrong-half", text, row, side)

    def _report(self, code: str, text: str, row: int, column: str) -> None:
        self._findings.report(code, text, self._table.paper, row, column, self._columns.order(column))
