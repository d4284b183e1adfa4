"""Which columns a table has: known ones by name with their units, faults in the header, and rows ready for use."""

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field
from typing import Final, NamedTuple

from fitmatch.intake.common import advice
from fitmatch.intake.common.findings import LAST, Findings
from fitmatch.intake.common.quantities import QUANTITIES
from fitmatch.intake.tables.table import UNREAD, Row, Table
from fitmatch.lengths import LengthError, unit_factor
from fitmatch.names import one_slip_away
from fitmatch.records.measuring import DIAMETERS
from fitmatch.records.parts import SIDES
from fitmatch.wording import shorten

OFTEN_MATCHED: Final[tuple[str, ...]] = ("flange", "chamfer")  # matched whenever either file has them
MATCHED_IF_ASKED: Final[tuple[str, ...]] = ("width", "od")  # matched when positions.csv has them
SHELL_LABELS: Final[tuple[str, ...]] = ("grade", "family", "series", "condition")  # a position may ask for them by rule
HINT: Final = "#"  # begins a note that a blank file explains itself with; it says nothing of the row

_MARKS: Final = {",": "commas", ";": "`;`", "\t": "tabs"}
# Files that a spreadsheet opens as they are if it took one parted by this mark for a single column.
_AFRESH: Final = {",": '--separator ";"', ";": '--separator ","', "\t": "--xlsx"}
_JOINTS: Final = re.compile(r"[\s_.-]+")
_NUMBERED: Final = re.compile(r"(.+)_[0-9]+", re.DOTALL)
_UNREAD_TEXTS: Final = {
    "date-cell": "the cell holds a date or a time; format it as text and type it again",
    "time-cell": "the cell holds a time of day; a whole day is wanted",
    "formula-without-value": "the formula's result was not saved; let the workbook calculate and save it again",
    "error-cell": "the cell shows an error; correct its formula or type the value",
}


class Form(NamedTuple):
    """The columns that one kind of file can have."""

    name: str
    needed: tuple[str, ...]  # a feature in `readings` may be there with numbers instead
    optional: tuple[str, ...]
    readings: tuple[str, ...]
    lengths: frozenset[str]
    filled: tuple[str, ...]  # what no row may leave blank
    appended: bool = False  # a row at a time, so that a failure of the power may cut the last one short


OWN: Final = tuple(name for name in QUANTITIES if name not in DIAMETERS)  # what a position may set for itself
_BESIDE_READINGS: Final = tuple(f"{feature}_{what}" for what in ("gauge", "confirmed") for feature in DIAMETERS)
POSITION_FORM: Final = Form(
    name="positions",
    needed=("position", "kind", *DIAMETERS),
    optional=(*OWN, "upper", "lower", "pin", "undersize", "accept", "note", "gauge", *_BESIDE_READINGS),
    readings=DIAMETERS,
    lengths=frozenset(QUANTITIES),
    filled=("position", "kind"),
)
SHELL_FORM: Final = Form(
    name="shell",
    needed=("shell", "kind", "half", "wall"),
    optional=(
        *("box", *SHELL_LABELS, "part", "undersize", "step", "coating", "measured", "hold", "note"),
        *("gauge", "wall_gauge", "wall_confirmed", "copy_confirmed"),
    ),
    readings=("wall",),
    lengths=frozenset(("wall", "coating")),
    filled=("shell", "kind", "half"),
)

STOCK_COLUMNS: Final = ("lot", "seller", "price", "location", "opened", "measured_on")  # for the shelf alone


def without_readings(form: Form) -> Form:
    """The form if a long file may have the readings: their columns may be missing."""
    needed = tuple(name for name in form.needed if name not in form.readings)
    return form._replace(needed=needed, optional=(*form.readings, *form.optional))


@dataclass(frozen=True, slots=True)
class Column:
    name: str
    index: int
    unit: str | None = None  # named in the header


@dataclass(slots=True)
class Columns:
    """The columns of one table. In its rows, cell `blank` is always empty and cell `unread` always unreadable: a
    missing column reads like an empty one, and a missing column that was reported reads like a cell that was
    reported."""

    readings: dict[str, list[Column]]
    blank: int
    unread: int
    known: dict[str, Column] = field(default_factory=dict)
    ignored: dict[str, int] = field(default_factory=dict)  # columns that are not used, and where they are
    lacking: set[str] = field(default_factory=set)
    bad_units: set[str] = field(default_factory=set)  # columns whose header names an invalid unit
    # Columns meant by a misspelt header: their cells are unknown, not empty.
    slipped: set[str] = field(default_factory=set)
    # Those of the ignored columns that have content; final once the rows have been read.
    filled: set[str] = field(default_factory=set)

    def index(self, name: str) -> int:
        """Where to find a column's cells."""
        if name in self.known:
            return self.known[name].index
        return self.unread if name in self.lacking else self.blank

    def order(self, name: str) -> int:
        """A column's place in its row, for sorting problems."""
        return self.known[name].index + 1 if name in self.known else LAST


def split_header(cell: str) -> tuple[str, str | None]:
    """A header cell as a name, ignoring case, and the unit it names."""
    text = cell.strip()
    name, bracket, unit = text.rpartition("[")
    if not bracket or not unit.endswith("]") or unit.count("]") > 1:
        return text.casefold(), None
    return name.strip().casefold(), unit[:-1].strip()


def per_half(names: Iterable[str]) -> list[str]:
    """The columns in which a position can make a demand on one half only."""
    return [f"{name}_{side}" for name in names for side in SIDES]


def names_in(table: Table) -> set[str]:
    """The names in a table's header."""
    return {split_header(cell)[0] for cell in table.header} - {""}


def has_header(table: Table, form: Form, findings: Findings) -> bool:
    """Whether the first row that is not blank can be a header of this form: a title above it, or the `sep=;` of a
    spreadsheet program, is noted as the one mistake that would cause all others in the file."""
    known = {*form.needed, *form.optional, *form.readings}
    mark = _in_one_column(table.header, known, form)
    if mark is not None:
        of_workbook = table.paper.name.lower().endswith(".xlsx")
        why = " of this workbook" if of_workbook else ", as it parts cells by another mark than this file"
        todo = f"split that column there at {_MARKS[mark]} (text to columns, each new column as text) and save the file"
        afresh = "--xlsx" if of_workbook else _AFRESH[mark]
        text = (
            f"a spreadsheet has put whole rows into one column{why}; {todo}, or begin again from `fitmatch new FOLDER"
        )
        findings.report_once("one-column", f"{text} {afresh}`", table.paper, table.header_row)
        return False
    names = names_in(table)
    if any(name in known or _feature(name, form) or one_slip_away(name, known) for name in names):
        return True
    if len(names) > 1 and any(advice.is_near(needed, name) for name in names for needed in form.needed):
        return True
    first = next(cell for cell in table.header if cell.strip())
    text = (
        f"`{shorten(first)}` is not a header; the header must be the first row that is not blank: "
        f"{', '.join(form.needed)}"
    )
    findings.report("no-header", f"{text}; delete what is above it", table.paper, table.header_row)
    return False


def _in_one_column(header: Iterable[str], known: Iterable[str], form: Form) -> str | None:
    """The mark that parts the cells of a file whose rows a spreadsheet took for single cells; None for any other."""

    def is_known(name: str) -> bool:
        return name in known or _feature(name, form) is not None

    for cell in header:
        for mark in _MARKS:
            names = [split_header(part)[0] for part in cell.split(mark)]
            if sum(map(is_known, names)) > 1:
                return mark
            if len(names) > 1 and is_known(names[0]) and not any(names[1:]):  # the columns that it added beside the one
                return "," if mark == ";" else ";"
    return None


def understand(
    table: Table, form: Form, further: Iterable[str], findings: Findings, inch_job: bool, lacking: dict[str, bool]
) -> Columns:
    """Find the columns of `form` and the `further` ones in a table's header, and note every fault in it.

    `lacking` has the columns that no file of this form has, each with whether that was reported: once is enough. The
    table's rows get two more cells, as `Columns` says.
    """
    width = len(table.header)
    found = Columns({feature: [] for feature in form.readings}, blank=width, unread=width + 1)
    asked = dict.fromkeys((*form.needed, *form.optional, *further))
    nameless: list[int] = []

    def report(code: str, text: str, column: str, order: int) -> None:
        findings.report(code, text, table.paper, table.header_row, column, order)

    for index, cell in enumerate(table.header):
        name, unit = split_header(cell)
        feature = _feature(name, form)
        if not name:
            nameless.append(index)
        elif name not in asked and feature is None:
            fault = _stray(name, form, asked)
            if fault is None:
                found.ignored.setdefault(name, index)
            else:
                code, text, meant = fault
                found.slipped.add(meant)
                report(code, text, shorten(name), index + 1)
        elif name in found.known:
            report("repeated-column", "the column appears twice; keep one of them", name, index + 1)
        else:
            try:
                known_unit = _unit(unit, name in form.lengths or feature is not None, inch_job=inch_job)
            except LengthError as error:
                known_unit = None
                found.bad_units.add(name)
                report("header-unit", str(error), name, index + 1)
            found.known[name] = Column(name, index, known_unit)
            if feature is not None:
                found.readings[feature].append(found.known[name])

    for feature, columns in found.readings.items():
        numbered = [c.name for c in columns if c.name != feature]
        if numbered and len(numbered) < len(columns):
            todo = f"number every column of readings: {feature}_1, {feature}_2 and so on"
            report("mixed-readings", f"stands beside `{numbered[0]}`; {todo}", feature, found.order(feature))
    for name in form.needed:
        if name not in found.known and not found.readings.get(name):
            found.lacking.add(name)
            if name not in found.slipped and not lacking.get(name):
                text = advice.for_missing_column(name, found.ignored, everywhere=name in lacking)
                if name in lacking:
                    lacking[name] = True
                report("missing-column", text, name, LAST)
    cut_short = form.appended and table.ends_open
    filled = [found.known[name].index + 1 for name in form.filled if name in found.known]
    table.fewest = width if cut_short else max(filled, default=width)
    table.rows = _prepared(table, table.rows, found, nameless, findings)
    if found.ignored:
        table.rows = _watched(table.rows, found)
    return found


def _feature(name: str, form: Form) -> str | None:
    """The measured feature whose readings a column contains."""
    if name in form.readings:
        return name
    match = _NUMBERED.fullmatch(name)
    return match.group(1) if match and match.group(1) in form.readings else None


def _stray(name: str, form: Form, asked: Iterable[str]) -> tuple[str, str, str] | None:
    """What is wrong with a column that is not used: code, text, and the column that was meant; None if nothing is."""
    other = {POSITION_FORM.name: SHELL_FORM, SHELL_FORM.name: POSITION_FORM}.get(form.name)
    halves = per_half((*OFTEN_MATCHED, *MATCHED_IF_ASKED)) if other is POSITION_FORM else []
    if other and (name in (*other.needed, *other.optional, *halves) or _feature(name, other) is not None):
        text = f"this column belongs in the {other.name} file; move it there or delete it"
        return "misplaced-column", text, name
    digits = name[len(name.rstrip("0123456789")) :] or "1"
    numbered = [f"{feature}_{digits}" for feature in form.readings]
    joined = _JOINTS.sub("", name)
    meant = next((known for known in (*asked, *numbered) if _JOINTS.sub("", known) == joined), None)
    if meant is not None:
        return "misspelt-column", f"no such column; write `{meant}`", _feature(meant, form) or meant
    meant = one_slip_away(name, [*asked, *numbered])
    if meant is not None:
        text = f"no such column; did you mean `{meant}`? Write that, or choose a less similar name"
        return "misspelt-column", text, _feature(meant, form) or meant
    return None


def _unit(unit: str | None, is_length: bool, *, inch_job: bool) -> str | None:
    """The unit a header names, checked; raises LengthError."""
    if unit is None:
        return None
    if not is_length:
        raise LengthError(f"this column takes no unit, yet its header names `{shorten(unit)}`; write the name alone")
    unit_factor(unit, inch_job=inch_job)
    return unit.lower()


def _watched(rows: Iterator[Row], found: Columns) -> Iterator[Row]:
    """The rows as they are, noting which of the ignored columns have content."""
    waiting = dict(found.ignored)
    for row, cells in rows:
        for name in [name for name, index in waiting.items() if cells[index].strip()]:
            found.filled.add(name)
            del waiting[name]
        yield row, cells


def _prepared(
    table: Table, rows: Iterator[Row], found: Columns, nameless: list[int], findings: Findings
) -> Iterator[Row]:
    """The table's rows with the two extra cells; cells that matter and could not be read are reported here."""
    tail = ("", UNREAD)
    if not nameless and not table.may_be_unread:
        for row, cells in rows:
            cells += tail
            yield row, cells
        return
    # A spreadsheet may turn a time or a note into a date; nothing is worked out from either.
    watched = [c for c in found.known.values() if c.name not in ("note", "time", "date")]
    for row, cells in rows:
        for index in [i for i in nameless if cells[i].strip()]:
            nameless.remove(index)  # once is enough
            text = f"column {index + 1} has cells from row {row} on but no name; name it or clear it"
            findings.report("nameless-column", text, table.paper, table.header_row, order=index + 1)
        for column in watched:
            text = cells[column.index]
            if text.startswith(UNREAD):
                code = text[1:]
                findings.report(code, _UNREAD_TEXTS[code], table.paper, row, column.name, column.index + 1)
                cells[column.index] = UNREAD
        cells += tail
        yield row, cells
