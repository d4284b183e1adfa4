"""assembled.csv to readings: what was measured with the shells in, each assigned to its position and its pair of
shells."""

from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from typing import Final

from fitmatch.intake.common import advice
from fitmatch.intake.common.quantities import ASSEMBLED_BORE, ASSEMBLED_CLEARANCE
from fitmatch.intake.rows.sheet import Sheet, ShellNames
from fitmatch.intake.saved.saved_plan import FILE as PLAN_FILE
from fitmatch.intake.saved.saved_plan import PLANNED, SavedPlan, what_each_has
from fitmatch.intake.saved.shared_plan import no_longer_shared
from fitmatch.intake.tables.columns import Form
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.measuring import AssembledReading
from fitmatch.records.parts import SIDES, Position, Shell
from fitmatch.records.shelf.shelved import Holdings
from fitmatch.wording import listed, shorten

GAUGE: Final = "gauge"
STRIP: Final = "strip"
METHODS: Final = (GAUGE, STRIP)
ASSEMBLED_FORM: Final = Form(
    name="assembled",
    needed=("position", "method"),  # and a clearance or a bore
    optional=("clearance", "bore", *PLANNED, "gauge", "by", "date", "note"),
    readings=("clearance", "bore"),
    lengths=frozenset(("clearance", "bore")),
    filled=("position",),
)
_QUANTITIES: Final = {"clearance": ASSEMBLED_CLEARANCE, "bore": ASSEMBLED_BORE}


def referring(sheet: Sheet) -> Iterator[tuple[int, str, tuple[str, ...]]]:
    """Every row with a reading and blank cells that refer to the saved plan: the row, its position and their
    columns."""
    for row, cells in sheet.table.rows:
        blank = tuple(column for column in PLANNED if not sheet.cell(cells, column))
        if blank and _read(sheet, cells):
            yield row, sheet.cell(cells, "position"), blank


def _read(sheet: Sheet, cells: list[str]) -> list[str]:
    """What was read in a row: a clearance, a bore, or both, which is a mistake."""
    return [f for f in _QUANTITIES if any(cells[c.index].strip() for c in sheet.columns.readings[f])]


class AssembledReader(ShellNames):
    """Reads the rows of one file."""

    def __init__(
        self,
        sheet: Sheet,
        positions: Iterable[Position],
        shells: Iterable[Shell],
        folder: Path,
        plan: SavedPlan | None,
        replaced: Mapping[str, SavedPlan | None],
        *,
        complete: bool,
        plan_sound: bool,
        holdings: Holdings | None,
    ) -> None:
        """`plan`: that of the `folder`. `replaced`: earlier plans that were kept, by file. `complete`: every position
        and shell is known. `plan_sound`: the saved plan could be read, so what `plan` lacks is not in it. `holdings`:
        the shelf, if it is at hand."""
        self._by_key = {shell.key: shell for shell in shells}
        super().__init__(sheet, self._by_key.values(), complete=complete)
        self._positions = {p.name: p for p in positions}
        self._plan = plan
        self._replaced = replaced
        self._plan_sound = plan_sound
        self._apart = no_longer_shared(folder, plan, holdings)
        self._places: dict[ShellKey, dict[str, int]] = {}  # shell -> position -> the first row that has it there

    def read(self) -> tuple[AssembledReading, ...]:
        """Every row that has a reading and could be read; a row without one is yet to be measured."""
        sheet, columns = self.sheet, self.sheet.columns
        if not any(columns.readings.values()):
            if columns.slipped.isdisjoint(_QUANTITIES):
                text = "there is no column clearance or bore; add the one that was read"
                sheet.findings.report("missing-column", text, sheet.paper, sheet.table.header_row, "clearance")
            return ()
        if columns.lacking:
            return ()
        rows = [self._row(row, cells) for row, cells in sheet.table.rows]
        found = tuple(reading for reading in rows if reading is not None)
        first: dict[tuple[str, ShellKey, ShellKey, str], int] = {}
        for reading in found:
            same = (reading.position, reading.upper, reading.lower, reading.method)
            before = first.setdefault(same, reading.row)
            if before != reading.row:
                text = f"is already in row {before} with these shells, by {reading.method}"
                todo = "keep one row, with repeats in columns clearance_1, clearance_2 and so on"
                sheet.report("duplicate-reading", f"{text}; {todo}", reading.row, "position")
        self._warn_of_shells_in_two_places()
        if not rows and sheet.table.complete:
            text = "has a header and no rows; write a row for each position measured with its shells in"
            sheet.findings.report("no-rows", text, sheet.paper)
        return found

    def _warn_of_shells_in_two_places(self) -> None:
        for key, places in self._places.items():
            if len(places) > 1:
                where = listed([f"{shorten(position)} (row {row})" for position, row in places.items()])
                self.sheet.findings.warnings.append(
                    f"{self.sheet.paper.name}: {shorten(full_name(key))} is in {where}; unless it was moved between "
                    "the readings it can be in one of them only: find out which shells are in, and correct the rows"
                )

    def _row(self, row: int, cells: list[str]) -> AssembledReading | None:
        position = self._position(row, cells)
        features = _read(self.sheet, cells)
        typed = cells[self.sheet.columns.index("method")].casefold()
        method = self.sheet.word(typed, row, "method", METHODS, "method", needed=bool(features))
        if len(features) > 1:
            text = "is given as well as a bore; keep what the gauge showed and clear the other"
            self.sheet.report("clearance-and-bore", text, row, "clearance")
        kind = position.kind if position else ""
        # A strip is read without a gauge unless its row names one.
        gauge: tuple[str | None, bool] = None, True
        if method != STRIP or self.sheet.cell(cells, GAUGE):
            gauge = self.sheet.gauge(row, cells, GAUGE, kind, "housing_bore")
        readings: list[int] = []
        texts: tuple[str, ...] = ()
        whole = False
        if features:
            readings, whole = self.sheet.readings(row, cells, features[0], _QUANTITIES[features[0]], gauge)
            texts = self.sheet.as_typed(cells, features[0], gauge[0]) if whole else ()
        pair = self._pair(row, cells, position, asked=bool(features))
        if len(features) != 1 or not whole or position is None or method is None or pair is None:
            return None
        if features == ["bore"]:
            if method == STRIP:
                text = "a strip shows a clearance, not a bore; move the figure to clearance, or write gauge"
                self.sheet.report("unknown-value", text, row, "method")
            if position.journal is not None and min(readings) <= position.journal.smallest_nm:
                text = "is not larger than the journal; look at both readings and their units"
                self.sheet.report("bore-not-greater", text, row, self.sheet.columns.readings["bore"][0].name)
        by, date = self.sheet.cell(cells, "by"), self.sheet.cell(cells, "date")
        housing = self._housing(row, cells, position)
        return AssembledReading(
            position.name, *pair, features[0], tuple(readings), method, gauge[0], by, date, row, housing, texts
        )

    def _position(self, row: int, cells: list[str]) -> Position | None:
        name = self.sheet.cell(cells, "position")
        if name in self._positions:
            return self._positions[name]
        if not name:
            if not self.sheet.is_unread(cells, "position"):
                self.sheet.report("empty-cell", "is empty; name the position", row, "position")
        elif self.complete:
            self.sheet.report("unknown-item", advice.for_unknown_position(name, self._positions), row, "position")
        return None

    def _pair(
        self, row: int, cells: list[str], position: Position | None, *, asked: bool
    ) -> tuple[ShellKey, ShellKey] | None:
        """The two shells that were fitted: the row's own, otherwise those of the saved plan."""
        pair = []
        for side in SIDES:
            typed = self.sheet.cell(cells, side)
            if typed:
                shell = self.find(row, side, typed)
            elif asked and position is not None and not self.sheet.is_unread(cells, side):
                shell = self._planned(row, side, position)
            else:
                continue
            if shell is not None:
                self._check(row, side, shell, position)
                if position is not None:
                    self._places.setdefault(shell.key, {}).setdefault(position.name, row)
                pair.append(shell.key)
        if len(pair) < len(SIDES):
            return None
        upper, lower = pair
        if upper == lower:
            if self._by_key[lower].half == "either":  # otherwise one of the halves was reported
                text = (
                    f"`{shorten(full_name(lower))}` is already in the upper half; write the shell that is in the lower"
                )
                self.sheet.report("fitted-twice", text, row, "lower")
            return None
        return upper, lower

    def _housing(self, row: int, cells: list[str], position: Position) -> str | None:
        """The row whose housing was fitted: the one named, otherwise that of the saved plan; None: its own."""
        typed = self.sheet.cell(cells, "housing")
        if not typed:
            said = {plan.says(position.name, "housing") for plan in (self._plan, *self._replaced.values()) if plan}
            if self._replaced and len(said) > 1:
                self._report_replaced(row, "housing", position)
            return self._plan.housings.get(position.name) if self._plan else None
        if typed not in self._positions:
            if self.complete:
                text = f"there is no position `{shorten(typed)}`; write the row whose housing was fitted"
                self.sheet.report("unknown-item", text, row, "housing")
        elif self._positions[typed].kind != position.kind:
            text = f"`{shorten(typed)}` is of kind `{self._positions[typed].kind}`, not `{position.kind}`"
            self.sheet.report("fitted-wrong-kind", f"{text}; write the row whose housing was fitted", row, "housing")
        return typed

    def _report_replaced(self, row: int, column: str, position: Position) -> None:
        plans = dict(self._replaced)
        if self._plan is not None or not self._plan_sound:
            plans[PLAN_FILE] = self._plan
        found = what_each_has(plans, position.name, (column,))
        text = "is empty, and another plan was saved over the one it refers to"
        what = "the row whose housing was fitted" if column == "housing" else "the shell that was fitted"
        self.sheet.report("plan-replaced", f"{text}: {found}; write {what}", row, column)

    def _planned(self, row: int, side: str, position: Position) -> Shell | None:
        if self._replaced:
            self._report_replaced(row, side, position)
            return None
        key = self._plan.shells.get((position.name, side)) if self._plan else None
        if key is not None and self._apart:
            text = f"is empty, and {PLAN_FILE} is not to be used any more: {self._apart[0]}; write the shell that is in"
            self.sheet.report("shared-plan", text, row, side)
            return None
        if key in self._by_key:
            return self._by_key[key]
        if key is not None:
            if self.complete:
                text = f"is empty, and {PLAN_FILE} has shell `{shorten(full_name(key))}` there, which is in no file"
                self.sheet.report("unknown-item", f"{text}; write the shell that is in", row, side)
        elif self._plan_sound:
            if self._plan is not None:
                text = f"{PLAN_FILE} has no shells there; write the shell that is in"
            else:
                # A plan saved now may have other shells than those that were fitted.
                todo = "write the shells that are in; a plan is saved before fitting, with `fitmatch assign JOB --save`"
                text = f"there is no {PLAN_FILE} to take it from; {todo}"
            self.sheet.report("no-saved-plan", f"is empty, and {text}", row, side)
        return None

    def _check(self, row: int, side: str, shell: Shell, position: Position | None) -> None:
        name = f"shell `{shorten(full_name(shell.key))}`"
        if position is not None and shell.kind and shell.kind != position.kind:
            text = f"{name} is of kind `{shell.kind}`, not `{position.kind}`; write the shell that is in"
            self.sheet.report("fitted-wrong-kind", text, row, side)
        if shell.half and shell.half not in (side, "either"):
            text = f"{name} is for the {shell.half} half; write {listed(SIDES)} as they are in the engine"
            self.sheet.report("fitted-wrong-half", text, row, side)
