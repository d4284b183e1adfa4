"""The long file of readings, one reading a row: rows to readings, each laid to its position or shell."""

from collections.abc import Iterable, Iterator
from typing import Final

from fitmatch.intake.columns import Columns, Form
from fitmatch.intake.findings import Findings, listed, shorten
from fitmatch.intake.gauges import GaugeCells
from fitmatch.intake.log import Key, Log
from fitmatch.intake.names import nearest
from fitmatch.intake.positions import QUANTITIES, PositionRow
from fitmatch.intake.quantities import WALL, CellError, LengthReader, Quantity
from fitmatch.intake.settings import Settings
from fitmatch.intake.tables import UNREAD, Table
from fitmatch.lengths import LengthError, parse_number
from fitmatch.measuring import FEATURES, LARGEST_STATION, LoggedReading, Reading, turned
from fitmatch.parts import Shell

READINGS_FORM: Final = Form(
    name="readings",
    needed=("item", "feature", "station", "angle", "reading"),
    optional=("gauge", "by", "time", "confirmed", "note"),
    readings=(),
    lengths=frozenset(("reading",)),
)
_LARGEST_ANGLE: Final = 360


class LogReader:
    """Reads the rows of one long file."""

    def __init__(
        self,
        table: Table,
        columns: Columns,
        settings: Settings,
        positions: Iterable[PositionRow],
        shells: Iterable[Shell],
        findings: Findings,
        *,
        complete: bool,
    ) -> None:
        """`complete`: every position and shell is known, so that an item that is not among them does not exist."""
        self._table = table
        self._columns = columns
        self._settings = settings
        self._findings = findings
        self._complete = complete
        self._kinds = {row.name: row.kind for row in positions}
        self._shells = shells
        self._by_name: dict[str, list[Shell]] | None = None
        self._readers: dict[tuple[str, str], LengthReader] = {}
        self._gauges = GaugeCells(settings, self._report)
        self._unit = columns.known["reading"].unit if "reading" in columns.known else None

    def read(self) -> Log:
        """Every row that could be read."""
        rows = [logged for row, cells in self._table.rows if (logged := self._row(row, cells)) is not None]
        positions: dict[tuple[str, str], list[Reading]] = {}
        walls: dict[Key, list[Reading]] = {}
        position_rows: dict[tuple[str, str], int] = {}
        wall_rows: dict[Key, int] = {}
        for logged in rows:
            if logged.shell is not None:
                walls.setdefault(logged.shell, []).append(logged.reading)
                wall_rows.setdefault(logged.shell, logged.row)
            else:
                item = logged.item, logged.feature
                positions.setdefault(item, []).append(logged.reading)
                position_rows.setdefault(item, logged.row)
        slipped = bool(self._columns.lacking) or not self._table.complete
        return Log(positions, walls, position_rows, wall_rows, tuple(rows), slipped)

    def _row(self, row: int, cells: list[str]) -> LoggedReading | None:
        if self._columns.lacking:
            return None
        feature = self._feature(row, cells)
        item = self._cell(cells, "item")
        if not item:
            if cells[self._columns.index("item")] != UNREAD:
                self._report("empty-cell", "is empty; name the position or the shell", row, "item")
            return None
        if feature is None:
            return None
        shell = self._shell(row, item) if feature == "wall" else None
        kind = self._kind(row, item) if feature != "wall" else shell.kind if shell else None
        station, angle = self._station(row, cells), self._angle(row, cells, feature)
        gauge, known = self._gauges.name(row, self._cell(cells, "gauge"), "gauge", kind or "", feature)
        nm = self._length(row, cells, feature, gauge) if known else None
        if kind is None or nm is None:
            return None
        by, time, confirmed = (self._cell(cells, name) for name in ("by", "time", "confirmed"))
        reading = Reading(nm, station, angle, gauge, confirmed)
        return LoggedReading(item, feature, reading, by, time, row, shell.key if shell else None)

    def _cell(self, cells: list[str], column: str) -> str:
        """A trimmed cell; empty as well where it could not be read."""
        text = cells[self._columns.index(column)].strip()
        return "" if text.startswith(UNREAD) else text

    def _feature(self, row: int, cells: list[str]) -> str | None:
        text = self._cell(cells, "feature").casefold()
        if text in FEATURES:
            return text
        if cells[self._columns.index("feature")] != UNREAD:
            what = f"`{shorten(text)}` is no feature" if text else "is empty"
            code = "unknown-value" if text else "empty-cell"
            self._report(code, f"{what}; write {listed(FEATURES, 'or')}", row, "feature")
        return None

    def _kind(self, row: int, item: str) -> str | None:
        """The kind of a position; None where there is no such position."""
        if item in self._kinds:
            return self._kinds[item]
        if self._complete:
            near = nearest(item, self._kinds)
            hint = f"the nearest is `{shorten(near)}`" if near else "write its row in the positions file"
            self._report("unknown-item", f"there is no position `{shorten(item)}`; {hint}", row, "item")
        return None

    def _shell(self, row: int, item: str) -> Shell | None:
        *boxes, name = (part.strip() for part in item.split("/"))
        if len(boxes) > 1 or not name or boxes == [""]:
            self._report("bad-name", f"`{shorten(item)}` names no shell; write NAME or BOX/NAME", row, "item")
            return None
        if self._by_name is None:
            self._by_name = {}
            for shell in self._shells:
                self._by_name.setdefault(shell.name, []).append(shell)
        shells = self._by_name.get(name, [])
        fitting = {shell.key: shell for shell in shells if not boxes or shell.box == boxes[0]}
        if len(fitting) == 1:
            return next(iter(fitting.values()))
        if fitting:
            example = f"{next(iter(fitting.values())).box}/{name}"
            text = f"shell `{shorten(name)}` is in {len(fitting)} boxes; write BOX/NAME, such as {shorten(example)}"
            self._report("ambiguous-item", text, row, "item")
        elif self._complete:
            text = f"there is no shell `{shorten(item)}`; write NAME or BOX/NAME as in the shell files"
            self._report("unknown-item", text, row, "item")
        return None

    def _station(self, row: int, cells: list[str]) -> int | None:
        text = self._cell(cells, "station")
        if not text:
            return None
        if text.isascii() and text.isdecimal() and len(text) <= 9 and 1 <= int(text) <= LARGEST_STATION:
            return int(text)
        what = f"`{shorten(text)}` is no station; count them from the front: 1, 2, 3 and so on"
        self._report("not-a-whole-number", what, row, "station")
        return None

    def _angle(self, row: int, cells: list[str], feature: str) -> float | None:
        """Degrees from the crown axis, without whole turns."""
        text = self._cell(cells, "angle")
        if not text:
            return None
        try:
            digits, exponent = parse_number(text, decimal_comma=self._table.decimal_comma)
        except LengthError:
            what = f"`{shorten(text)}` is no angle; write degrees from the crown axis as a plain number, such as 22.5"
            self._report("not-a-number", what, row, "angle")
            return None
        angle = float(f"{digits}e{exponent}")
        if not -_LARGEST_ANGLE <= angle <= _LARGEST_ANGLE:
            what = f"`{shorten(text)}` lies outside -360 to 360; write degrees from the crown axis"
            self._report("implausible-number", what, row, "angle")
            return None
        return turned(feature, angle)

    def _length(self, row: int, cells: list[str], feature: str, gauge: str | None) -> int | None:
        text = cells[self._columns.index("reading")]
        if not text.strip() or text == UNREAD or "reading" in self._columns.bad_units or self._settings.unit is None:
            return None
        unit = self._unit or self._gauges.unit(gauge) or self._settings.unit
        quantity: Quantity = WALL if feature == "wall" else QUANTITIES[feature]
        reader = self._readers.get((feature, unit))
        if reader is None:
            reader = LengthReader(quantity, unit, self._settings.inch_job, self._table.decimal_comma)
            self._readers[feature, unit] = reader
        nm = reader.known.get(text)
        if nm is not None:
            return nm
        try:
            nm = reader.read(text)
        except CellError as error:
            self._report(error.code, str(error), row, "reading")
            return None
        if reader.finer:
            self._findings.rounded(text, self._table.paper, row, "reading")
        return nm

    def _report(self, code: str, text: str, row: int, column: str) -> None:
        self._findings.report(code, text, self._table.paper, row, column, self._columns.order(column))


def check_sources(log: Log, rows: Iterable[PositionRow], shells: Iterable[Shell]) -> Iterator[tuple[int, str]]:
    """Every item whose same feature has readings in a wide column as well: its first row here, and what is wrong."""
    todo = "keep them in one file"
    for wide in rows:
        for feature, readings in wide.readings.items():
            if readings and (wide.name, feature) in log.positions:
                what = (
                    f"the {feature} of `{shorten(wide.name)}` has readings in row {wide.row} of the positions as well"
                )
                yield log.position_rows[wide.name, feature], f"{what}; {todo}"
    for shell in shells if log.walls else ():
        if shell.wall_nm is not None and shell.key in log.walls:
            name = shorten("/".join(shell.key))
            what = f"the wall of `{name}` has readings in {shell.file}:{shell.row} as well"
            yield log.wall_rows[shell.key], f"{what}; {todo}"
