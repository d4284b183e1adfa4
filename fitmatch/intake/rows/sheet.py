"""One table as the reader of its rows sees it: cells by column name, lengths, gauges, and reports of mistakes."""

from collections.abc import Callable, Iterable, Sequence
from sys import intern
from typing import TypeVar

from fitmatch.intake.common import advice
from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.common.quantities import CellError, LengthReader, Quantity
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.intake.tables.columns import Form, understand
from fitmatch.intake.tables.table import UNREAD, Table
from fitmatch.lengths import with_its_unit
from fitmatch.names import composed, fault_in_name, says_no
from fitmatch.records.keys import ShellKey, full_name
from fitmatch.records.parts import Shell
from fitmatch.wording import listed, shorten

T = TypeVar("T")
Readers = dict[tuple[str, str, bool], LengthReader]


class Sheet:
    """A table with its columns, in the job with these settings."""

    def __init__(
        self,
        table: Table,
        form: Form,
        settings: Settings,
        findings: Findings,
        *,
        further: Iterable[str] = (),
        lacking: dict[str, bool] | None = None,
        readers: Readers | None = None,
    ) -> None:
        """Interpret the header, as described in `columns`; faults in it are noted. `readers`: shared by several sheets,
        so that what one has read need not be read again."""
        self.table = table
        self.columns = understand(table, form, further, findings, settings.inch_job, lacking or {})
        self.settings = settings
        self.findings = findings
        self.denied: dict[str, list[int]] = {}  # by column: rows that say no where any text counts
        self._readers: Readers = {} if readers is None else readers

    @property
    def paper(self) -> Paper:
        return self.table.paper

    def report(self, code: str, text: str, row: int, column: str) -> None:
        """Note a mistake in a cell."""
        self.findings.report(code, text, self.paper, row, column, self.columns.order(column))

    def counted(self, row: int) -> bool:
        """Whether mistakes in this row are only counted, as so many come before it; then one was. Asked where the text
        for a mistake takes long to make."""
        if not self.findings.beyond(self.paper, row):
            return False
        self.findings.number += 1
        return True

    def cell(self, cells: list[str], column: str) -> str:
        """A trimmed cell; also empty if it could not be read."""
        text = cells[self.columns.index(column)].strip()
        return "" if text.startswith(UNREAD) else text

    def any_text(self, row: int, cells: list[str], column: str) -> str:
        """A trimmed cell in which any text counts; one that says no is noted, as it does not do what it says."""
        text = self.cell(cells, column)
        if says_no(text):
            self.denied.setdefault(column, []).append(row)
        return text

    def is_unread(self, cells: list[str], column: str) -> bool:
        """Whether a cell could not be read; that was noted."""
        return cells[self.columns.index(column)] == UNREAD

    def name_will_do(self, name: str, row: int, column: str) -> bool:
        """Whether a text can be a name; if not, the reason is noted."""
        fault = fault_in_name(name)
        if fault is not None:
            self.report("bad-name", fault, row, column)
        elif not name:
            self.report("empty-cell", f"is empty; name the {column}", row, column)
        return bool(name) and fault is None

    def kind_will_do(self, kind: str, row: int) -> bool:
        """Whether a kind has its table, as far as that is known; what is wrong is noted."""
        fits = self.settings.fits
        if kind and (not fits or kind in fits):
            return True
        if self.counted(row):
            return False
        if not kind:
            kinds = [*fits] if len(fits) < 8 else [*list(fits)[:7], "or another"]
            which = f"one of the kinds with a [fit.KIND] table: {', '.join(kinds)}" if fits else "the kind, such as rod"
            self.report("empty-cell", f"is empty; write {which}", row, "kind")
        else:
            self.report("unknown-kind", advice.for_unknown_kind(kind, fits), row, "kind")
        return False

    def word(
        self, typed: str, row: int, column: str, allowed: Sequence[str], what: str, *, needed: bool = True
    ) -> str | None:
        """One of a few words, ignoring case; None for anything else, which is noted."""
        word = typed.strip().casefold()
        if word in allowed:
            return word
        if (not word and not needed) or typed == UNREAD or self.counted(row):
            return None
        todo = f"write {listed(allowed, 'or')}"
        if word:
            self.report("unknown-value", f"`{shorten(typed)}` is not a valid {what}; {todo}", row, column)
        else:
            self.report("empty-cell", f"is empty; {todo}", row, column)
        return None

    def value(self, row: int, cells: list[str], column: str, read: Callable[[str], T]) -> T | None:
        """What `read` makes of a cell that is not empty; None if it raises CellError, which is noted."""
        text = self.cell(cells, column)
        try:
            return read(text) if text else None
        except CellError as error:
            self.report(error.code, str(error), row, column)
            return None

    def readings(
        self, row: int, cells: list[str], feature: str, quantity: Quantity, gauge: tuple[str | None, bool]
    ) -> tuple[list[int], bool]:
        """The readings in all columns of a feature, and whether every one could be read; `gauge` as returned by
        `gauge`, without which none can be."""
        name, known = gauge
        columns = [column.name for column in self.columns.readings[feature] if cells[column.index].strip()]
        found = [self.length(row, cells, column, quantity, name) for column in columns if known]
        read = [nm for nm in found if nm is not None]
        return read, len(read) == len(columns)

    def gauge(self, row: int, cells: list[str], column: str, kind: str, feature: str) -> tuple[str | None, bool]:
        """The gauge that took a reading: the cell's, otherwise the one in [measured.KIND]; None if neither names one.
        And whether that can be relied on: an unknown name is noted."""
        measuring, cell = self.settings.measuring, self.cell(cells, column)
        if not cell:
            return measuring.measured.get(kind, {}).get(feature), True
        if cell in measuring.gauges:
            return cell, True
        # Otherwise the gauges are unknown.
        if self.settings.readable and self.settings.gauges_named and not self.counted(row):
            self.report("unknown-gauge", advice.for_unknown_gauge(cell, measuring.gauges), row, column)
        return None, False

    def reader(self, quantity: Quantity, name: str, gauge: str | None = None) -> LengthReader | None:
        """The reader of a column's lengths, plain numbers being in the column's unit, the gauge's or the job's; None if
        that unit is not known."""
        unit = self._unit_of(name, gauge)
        if unit is None:
            return None
        key = quantity.name, unit, self.table.decimal_comma
        if key not in self._readers:
            self._readers[key] = LengthReader(quantity, unit, self.settings.inch_job, self.table.decimal_comma)
        return self._readers[key]

    def _unit_of(self, name: str, gauge: str | None) -> str | None:
        column, unit = self.columns.known.get(name), self.settings.unit
        if column is None or unit is None or name in self.columns.bad_units:
            return None
        return column.unit or (self.settings.measuring.gauges[gauge].unit if gauge else None) or unit

    def typed(self, cells: list[str], column: str, gauge: str | None) -> str:
        """A length as it stands in its cell, with its unit; empty if that is the job's."""
        unit = self._unit_of(column, gauge)
        return intern(with_its_unit(cells[self.columns.index(column)], self.foreign(unit)))

    def as_typed(self, cells: list[str], feature: str, gauge: str | None) -> tuple[str, ...]:
        """The readings of a feature as they stand in their cells, each with its unit."""
        columns = [column.name for column in self.columns.readings[feature] if cells[column.index].strip()]
        return tuple(
            with_its_unit(cells[self.columns.index(name)], self._unit_of(name, gauge) or "") for name in columns
        )

    def foreign(self, unit: str | None) -> str:
        """A unit of readings that is not the job's, otherwise nothing."""
        return "" if unit is None or unit == self.settings.unit else unit

    def length(
        self, row: int, cells: list[str], column: str, quantity: Quantity, gauge: str | None = None
    ) -> int | None:
        """The length in a cell; None if there is none, or none that is acceptable, which is noted."""
        reader, text = self.reader(quantity, column, gauge), cells[self.columns.index(column)]
        if reader is None:
            return None
        known = reader.known.get(text)
        return self.read(reader, text, row, column) if known is None else known

    def read(self, reader: LengthReader, text: str, row: int, column: str) -> int | None:
        """A length seen for the first time; None as above."""
        if not text.strip() or text == UNREAD:
            return None
        brief = self.findings.beyond(self.paper, row)
        try:
            nm = reader.read(text, brief=brief)
        except CellError as error:
            if brief:
                self.findings.number += 1
            else:
                self.report(error.code, str(error), row, column)
            return None
        if reader.finer:
            self.findings.rounded(text, self.paper, row, column)
        return nm


class ShellNames:
    """Finds shells by how the cells of a sheet name them: NAME or BOX/NAME."""

    def __init__(self, sheet: Sheet, shells: Iterable[Shell], *, complete: bool) -> None:
        """`complete`: every shell is known, so that one not among them does not exist."""
        self.sheet = sheet
        self._shells = shells
        self.complete = complete
        self._by_name: dict[str, dict[ShellKey, Shell]] | None = None
        self._coded: dict[str, Shell] | None = None

    def find(self, row: int, column: str, typed: str) -> Shell | None:
        """The one shell that a cell means; None, with a problem noted, if it means none."""
        *boxes, name = (part.strip() for part in typed.split("/"))
        if len(boxes) > 1 or not name or boxes == [""]:
            self.sheet.report(
                "bad-name", (f"`{shorten(typed)}` does not name a shell; write NAME or BOX/NAME"), row, column
            )
            return None
        if self._by_name is None:
            self._by_name = {}
            for shell in self._shells:
                self._by_name.setdefault(shell.name, {})[shell.key] = shell
        named = list(self._by_name.get(name, {}).values())
        fitting = [shell for shell in named if not boxes or shell.box == boxes[0]]
        if len(fitting) == 1:
            return fitting[0]
        if fitting:
            self.sheet.report(*self.ambiguous(name, fitting), row, column)
        elif self.complete and not self.sheet.counted(row):  # it may be among what could not be read
            code, text = self.unknown(typed, named)
            same = None if typed.isascii() else self._looking_like(typed)
            if same is not None:
                text = f"there is no shell `{shorten(typed)}`, though {same.file}:{same.row} has one{advice.COPY}"
            self.sheet.report(code, text, row, column)
        return None

    def _looking_like(self, typed: str) -> Shell | None:
        """A shell whose NAME or BOX/NAME looks like what was typed, its letters being coded in another way."""
        if self._coded is None:
            names = ((name, shell) for shell in self._shells for name in (shell.name, full_name(shell.key)))
            self._coded = {composed(name): shell for name, shell in names if not name.isascii()}
        return self._coded.get(composed(typed))

    def ambiguous(self, name: str, fitting: Sequence[Shell]) -> tuple[str, str]:
        """Code and text for a name that several boxes have."""
        example = f"{fitting[0].box}/{name}"
        text = f"shell `{shorten(name)}` is in {len(fitting)} boxes; write BOX/NAME, such as {shorten(example)}"
        return "ambiguous-item", text

    def unknown(self, typed: str, named: Sequence[Shell]) -> tuple[str, str]:
        """Code and text for a shell that does not exist; `named` are shells of that name in other boxes."""
        text = f"there is no shell `{shorten(typed)}`; write NAME or BOX/NAME as in the shell files"
        return "unknown-item", text
