"""assembled.csv to readings: what was measured with the shells in, each laid to its position and its pair of shells."""

from collections.abc import Iterable, Sequence
from typing import Final

from fitmatch.intake.columns import Form
from fitmatch.intake.findings import listed, shorten
from fitmatch.intake.names import nearest
from fitmatch.intake.quantities import ASSEMBLED_BORE, ASSEMBLED_CLEARANCE
from fitmatch.intake.savedplan import FILE as PLAN_FILE
from fitmatch.intake.savedplan import SavedPlan
from fitmatch.intake.sheet import Sheet, ShellNames
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
        sheet: Sheet,
        positions: Iterable[Position],
        shells: Iterable[Shell],
        plan: SavedPlan | None,
        *,
        complete: bool,
        plan_sound: bool,
    ) -> None:
        """`complete`: every position and shell is known. `plan_sound`: what `plan` lacks is in no saved plan."""
        self._sheet = sheet
        self._positions = {p.name: p for p in positions}
        self._shells = {shell.key: shell for shell in shells}
        self._names = ShellNames(sheet, self._shells.values(), complete=complete)
        self._plan = plan
        self._complete = complete
        self._plan_sound = plan_sound

    def read(self) -> tuple[AssembledReading, ...]:
        """Every row that has a reading and could be read; a row without one is yet to be measured."""
        if not any(self._sheet.columns.readings.values()):
            text = "neither clearance nor bore is a column; add the one that was read"
            at = self._sheet.table.header_row
            if not self._sheet.columns.slipped & {*_QUANTITIES}:
                self._sheet.findings.report("missing-column", text, self._sheet.table.paper, at, "clearance")
            return ()
        found: list[AssembledReading] = []
        first: dict[tuple[str, Key, Key, str], int] = {}
        if self._sheet.columns.lacking:
            return ()
        rows = 0
        for row, cells in self._sheet.table.rows:
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
                self._sheet.report("duplicate-reading", text, row, "position")
            first.setdefault(same, row)
            found.append(reading)
        if not rows and self._sheet.table.complete:
            text = "has a header and no rows; write a row for each position measured with its shells in"
            self._sheet.findings.report("no-rows", text, self._sheet.table.paper)
        return tuple(found)

    def _row(self, row: int, cells: list[str]) -> AssembledReading | None:
        position = self._position(row, cells)
        features = [f for f in _QUANTITIES if any(cells[c.index].strip() for c in self._sheet.columns.readings[f])]
        typed = cells[self._sheet.columns.index("method")].casefold()
        method = self._sheet.word(typed, row, "method", METHODS, "method", needed=bool(features))
        if len(features) > 1:
            text = "stands beside a bore; keep what the gauge showed and clear the other"
            self._sheet.report("clearance-and-bore", text, row, "clearance")
        typed = self._sheet.cell(cells, GAUGE)
        kind = position.kind if position else ""
        # A strip is measured with no gauge unless its row names one.
        gauge: tuple[str | None, bool] = None, True
        if typed or method != STRIP:
            gauge = self._sheet.gauge(row, typed, GAUGE, kind, "housing_bore")
        readings: list[int] = []
        whole = False
        if features:
            readings, whole = self._sheet.readings(row, cells, features[0], _QUANTITIES[features[0]], gauge)
        pair = self._pair(row, cells, position, asked=bool(features))
        if len(features) != 1 or not whole or position is None or method is None or pair is None:
            return None
        if features == ["bore"]:
            if method == STRIP:
                text = "a strip shows a clearance and no bore; move the figure to clearance, or write gauge"
                self._sheet.report("unknown-value", text, row, "method")
            self._check_bore(row, readings, position)
        by, date = self._sheet.cell(cells, "by"), self._sheet.cell(cells, "date")
        housing = self._plan.housings.get(position.name) if self._plan else None
        return AssembledReading(
            position.name, *pair, features[0], tuple(readings), method, gauge[0], by, date, row, housing
        )

    def _position(self, row: int, cells: list[str]) -> Position | None:
        name = self._sheet.cell(cells, "position")
        if name in self._positions:
            return self._positions[name]
        if not name:
            if not self._sheet.is_unread(cells, "position"):
                self._sheet.report("empty-cell", "is empty; name the position", row, "position")
        elif self._complete:
            near = nearest(name, self._positions)
            todo = f"the nearest is `{near}`" if near else "write its row in the positions file"
            self._sheet.report("unknown-item", f"there is no position `{shorten(name)}`; {todo}", row, "position")
        return None

    def _check_bore(self, row: int, readings: Sequence[int], position: Position) -> None:
        if position.journal is not None and min(readings) <= position.journal.smallest_nm:
            text = "is not greater than the journal; look at both readings and their units"
            self._sheet.report("bore-not-greater", text, row, self._sheet.columns.readings["bore"][0].name)

    def _pair(self, row: int, cells: list[str], position: Position | None, *, asked: bool) -> tuple[Key, Key] | None:
        """The two shells that were in: the row's own, else those of the saved plan."""
        pair = []
        for side in SIDES:
            typed = self._sheet.cell(cells, side)
            if typed:
                shell = self._names.find(row, side, typed)
            elif asked and position is not None and not self._sheet.is_unread(cells, side):
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
                self._sheet.report("fitted-twice", text, row, "lower")
            return None
        return upper, lower

    def _planned(self, row: int, side: str, position: Position) -> Shell | None:
        key = self._plan.shells.get((position.name, side)) if self._plan else None
        if key in self._shells:
            return self._shells[key]
        if key is not None:
            if self._complete:
                text = f"is empty, and {PLAN_FILE} has shell `{shorten('/'.join(key))}` there, which is in no file"
                self._sheet.report("unknown-item", f"{text}; write the shell that is in", row, side)
        elif self._plan_sound:
            why = f"{PLAN_FILE} has no shells there" if self._plan else f"there is no {PLAN_FILE} to take it from"
            todo = "write the shell that is in, or save a plan with `fitmatch assign --save`"
            self._sheet.report("no-saved-plan", f"is empty, and {why}; {todo}", row, side)
        return None

    def _check(self, row: int, side: str, shell: Shell, position: Position | None) -> None:
        name = f"shell `{shorten('/'.join(shell.key))}`"
        if position is not None and shell.kind and shell.kind != position.kind:
            text = f"{name} is of kind `{shell.kind}`, not `{position.kind}`; write the shell that is in"
            self._sheet.report("fitted-wrong-kind", text, row, side)
        if shell.half and shell.half not in (side, "either"):
            text = f"{name} is for the {shell.half} half; write {listed(SIDES)} as they are in the engine"
            self._sheet.report("fitted-wrong-half", text, row, side)
