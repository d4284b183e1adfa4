"""The long file of readings, one reading per row: rows to readings, each assigned to its position or shell."""

from collections.abc import Iterable, Iterator
from functools import partial
from typing import Final

from fitmatch.intake.common import advice
from fitmatch.intake.common.quantities import MEASURED, angle_of, station_of
from fitmatch.intake.rows.positions import PositionRow
from fitmatch.intake.rows.sheet import Sheet, ShellNames
from fitmatch.intake.rows.shells import LoggedItems
from fitmatch.intake.tables.columns import Form
from fitmatch.records.keys import full_name
from fitmatch.records.measuring import FEATURES, LoggedReading, Reading
from fitmatch.records.parts import Shell
from fitmatch.wording import shorten

READINGS_FORM: Final = Form(
    name="readings",
    needed=("item", "feature", "station", "angle", "reading"),
    optional=("gauge", "by", "time", "confirmed", "note"),
    readings=(),
    lengths=frozenset(("reading",)),
    filled=("item", "feature"),
    appended=True,
)


class LogReader(ShellNames):
    """Reads the rows of one long file."""

    def __init__(
        self, sheet: Sheet, positions: Iterable[PositionRow], shells: Iterable[Shell], *, complete: bool
    ) -> None:
        """`complete`: every position and shell is known, so that an item not among them does not exist."""
        super().__init__(sheet, shells, complete=complete)
        self._kinds = {row.position.name: row.position.kind for row in positions}

    def read(self) -> tuple[LoggedReading, ...]:
        """Every row that could be read, in file order."""
        rows = (self._row(row, cells) for row, cells in self.sheet.table.rows)
        return tuple(logged for logged in rows if logged is not None)

    def _row(self, row: int, cells: list[str]) -> LoggedReading | None:
        if self.sheet.columns.lacking:
            return None
        typed = cells[self.sheet.columns.index("feature")].casefold()
        feature = self.sheet.word(typed, row, "feature", FEATURES, "feature")
        item = self.sheet.cell(cells, "item")
        if not item:
            if not self.sheet.is_unread(cells, "item"):
                self.sheet.report("empty-cell", "is empty; name the position or the shell", row, "item")
            return None
        if feature is None:
            return None
        shell = self.find(row, "item", item) if feature == "wall" else None
        kind = self._kind(row, item) if feature != "wall" else shell.kind if shell else None
        station = self.sheet.value(row, cells, "station", station_of)
        decimal_comma = self.sheet.table.decimal_comma
        angle = self.sheet.value(row, cells, "angle", partial(angle_of, feature=feature, decimal_comma=decimal_comma))
        gauge, known = self.sheet.gauge(row, cells, "gauge", kind or "", feature)
        nm = self.sheet.length(row, cells, "reading", MEASURED[feature], gauge) if known else None
        if kind is None or nm is None:
            return None
        by, time = self.sheet.cell(cells, "by"), self.sheet.cell(cells, "time")
        confirmed = self.sheet.any_text(row, cells, "confirmed")
        reading = Reading(nm, station, angle, gauge, confirmed, "reading", self.sheet.typed(cells, "reading", gauge))
        return LoggedReading(item, feature, reading, by, time, row, shell.key if shell else None)

    def _kind(self, row: int, item: str) -> str | None:
        """The kind of a position; None if there is no such position."""
        if item in self._kinds:
            return self._kinds[item]
        if self.complete and not self.sheet.counted(row):
            self.sheet.report("unknown-item", advice.for_unknown_position(item, self._kinds), row, "item")
        return None


def by_item(rows: Iterable[LoggedReading]) -> LoggedItems:
    """The rows of each item and feature, in file order."""
    found: LoggedItems = {}
    for logged in rows:
        found.setdefault((logged.shell or logged.item, logged.feature), []).append(logged)
    return found


def check_sources(
    items: LoggedItems, rows: Iterable[PositionRow], shells: Iterable[Shell]
) -> Iterator[tuple[int, str]]:
    """Every item that also has readings of the same feature in a wide column: its first row here, and what is wrong."""
    todo = "keep them in one file"
    for wide in rows:
        for feature, readings in wide.readings.items():
            position = wide.position
            if readings and (position.name, feature) in items:
                place = f"row {position.row} of the positions"
                what = f"the {feature} of `{shorten(position.name)}` has readings in {place} as well"
                yield items[position.name, feature][0].row, f"{what}; {todo}"
    for shell in shells:
        if shell.wall_nm is not None and (shell.key, "wall") in items:
            name = shorten(full_name(shell.key))
            what = f"the wall of `{name}` has readings in {shell.file}:{shell.row} as well"
            yield items[shell.key, "wall"][0].row, f"{what}; {todo}"
