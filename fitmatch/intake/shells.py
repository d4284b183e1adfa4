"""Shell files to shells: every cell checked by itself, and no name twice in a box.

A job may hold a million shells: cells that were found good once are looked up, not checked again.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import PurePosixPath

from fitmatch.intake.columns import Column, Columns
from fitmatch.intake.findings import Findings, Paper, shorten
from fitmatch.intake.fits import shown
from fitmatch.intake.gauges import GaugeCells
from fitmatch.intake.names import LONGEST_NAME, fault_in_name
from fitmatch.intake.positions import kinds_to_write, unknown_kind
from fitmatch.intake.quantities import COATING, WALL, CellError, LengthReader, Quantity
from fitmatch.intake.settings import Settings
from fitmatch.intake.sizing import Sizing
from fitmatch.intake.tables import UNREAD, Table
from fitmatch.measuring import Reading
from fitmatch.parts import HALVES, Shell, Size

WallColumn = tuple[int, Callable[[str], int | None], LengthReader, str]  # place, what its reader knows, reader, name
Key = tuple[str, str]


@dataclass(slots=True)
class ShellPool:
    """The shells of all files read so far. Those with a fault in their row are there as well, so that a lock finds
    them; a kind or half that could not be read is empty."""

    settings: Settings
    columns_compared: tuple[str, ...]  # Job.shell_columns
    findings: Findings
    sizing: Sizing
    shells: list[Shell] = field(default_factory=list)
    complete: bool = True  # False once a row or a name could not be read: locks may mean what is not known
    slipped: set[str] = field(default_factory=set)  # columns that were meant by headers with a slip
    names: dict[str, set[str]] = field(default_factory=dict)  # by box
    doubles: list[tuple[Shell, Paper, int]] = field(default_factory=list)  # shells whose box and name were there before
    papers: dict[str, Paper] = field(default_factory=dict)  # by file
    coated: dict[tuple[str, str], bool] = field(default_factory=dict)  # how coated shells without a wall are measured
    # What cells as they were typed stand for, once they have been checked:
    kinds: dict[str, str] = field(default_factory=dict)
    halves: dict[str, str] = field(default_factory=dict)
    families: dict[str, str] = field(default_factory=dict)
    grades: dict[str, str] = field(default_factory=dict)
    marks: dict[tuple[str, ...], tuple[str, ...]] = field(default_factory=dict)
    _readers: dict[tuple[str, str, bool], LengthReader] = field(default_factory=dict)

    def add(self, table: Table, columns: Columns) -> None:
        """Read one file."""
        self.papers[table.paper.name] = table.paper
        _FileReader(self, table, columns).read()
        self.complete = self.complete and table.complete
        self.slipped |= columns.slipped

    def report_doubles(self) -> None:
        """Note every shell whose box and name were there before; once all files are read."""
        if not self.doubles:
            return
        first: dict[tuple[str, str], Shell] = {}
        for shell in self.shells:
            first.setdefault(shell.key, shell)
        for shell, paper, order in self.doubles:
            other = first[shell.key]
            text = f"`{shorten(shell.name)}` stands in box `{shorten(shell.box)}` already ({other.file}:{other.row})"
            todo = "give each shell of a box its own name"
            self.findings.report("duplicate-shell", f"{text}; {todo}", paper, shell.row, "shell", order)

    def report_implausible(self, name: str, wall: int, paper: Paper, row: int, column: str, order: int) -> None:
        """Note a wall that its gauge's corrections have made impossible."""
        assert self.settings.unit is not None
        found = f"with ball and zero error taken off the wall of `{shorten(name)}` is {shown(wall, self.settings.unit)}"
        text = f"{found}, and a wall is {WALL.bounds}; check the gauge's figures"
        self.findings.report("implausible-length", text, paper, row, column, order)

    def add_logged(
        self, walls: Mapping[Key, Sequence[Reading]], rows: Mapping[Key, int], paper: Paper, order: int
    ) -> None:
        """Give shells the walls that the long file holds; `rows` are those of their first readings there."""
        for index, shell in enumerate(self.shells):
            readings = walls.get(shell.key)
            if not readings or shell.wall_nm is not None:
                continue
            found = self.sizing.sized(shell.kind, "wall", readings)
            if found is None:
                continue
            wall = found.size.mean_nm
            if WALL.holds(wall):
                self.shells[index] = self._with_wall(shell, found.size)
            else:
                self.report_implausible(shell.name, wall, paper, rows[shell.key], "item", order)

    def _with_wall(self, shell: Shell, measured: Size) -> Shell:
        wall = to_metal = measured.mean_nm
        coating = shell.coating_nm
        if 2 * coating >= wall:
            unit = self.settings.unit
            assert unit is not None
            text = f"{shown(coating, unit)} is half the wall {shown(wall, unit)} or more"
            todo = "write the thickness of the coating on the running face alone"
            self.findings.report("coating-too-thick", f"{text}; {todo}", self.papers[shell.file], shell.row, "coating")
        elif coating:
            coated = self.coated.get(shell.key, self.settings.measured_coated)
            wall, to_metal = coated_wall(wall, coating, coated, self.settings.coating_counts)
        return replace(shell, wall_nm=wall, wall_to_metal_nm=to_metal, measured=measured)

    def reader(self, quantity: Quantity, column: Column, decimal_comma: bool, gauge: str | None) -> LengthReader:
        """The reader for a column, shared by all files so that what one has learned serves the next."""
        unit = column.unit or (self.settings.measuring.gauges[gauge].unit if gauge else None) or self.settings.unit
        assert unit is not None
        key = (quantity.name, unit, decimal_comma)
        if key not in self._readers:
            self._readers[key] = LengthReader(quantity, unit, self.settings.inch_job, decimal_comma)
        return self._readers[key]


def coated_wall(wall: int, coating: int, coated: bool, counts: bool) -> tuple[int, int]:
    """The wall that counts, and the wall to the metal, of a shell whose wall was measured `coated` or bare."""
    to_metal = wall - coating if coated else wall
    return (to_metal + coating if counts else to_metal), to_metal


def _reason(confirmed: str) -> str:
    """Why a reading stands, as its cell has it."""
    return "" if confirmed == UNREAD else confirmed.strip()


class _FileReader:
    """Reads the rows of one file into the pool."""

    def __init__(self, pool: ShellPool, table: Table, columns: Columns) -> None:
        self._pool = pool
        self._paper = table.paper
        self._table = table
        self._columns = columns
        self._gauges = GaugeCells(pool.settings, self._report)
        self._walls: dict[str | None, list[WallColumn]] = {}

    def read(self) -> None:
        """Walk the rows. Whatever is usual is done here; whatever is odd about a cell goes to a method of its own."""
        pool, columns, paper = self._pool, self._columns, self._paper
        i_shell, i_kind, i_half, i_box, i_grade, i_family, i_coating, i_measured, i_hold = map(
            columns.index, ("shell", "kind", "half", "box", "grade", "family", "coating", "measured", "hold")
        )
        i_gauge, i_wall_gauge, i_confirmed = map(columns.index, ("gauge", "wall_gauge", "wall_confirmed"))
        compared = [columns.index(name) for name in pool.columns_compared]
        walls = self._wall_columns(None)
        gauged = bool(pool.settings.measuring.gauges) or "gauge" in columns.known or "wall_gauge" in columns.known
        gauge: str | None = None
        coatings = self._coating_reader()
        box_of_file = self._box_of_file()
        kinds, halves, families, grades, all_names = pool.kinds, pool.halves, pool.families, pool.grades, pool.names
        default_coated, counts = pool.settings.measured_coated, pool.settings.coating_counts
        shells, file, plain_wall = pool.shells, paper.name, pool.sizing.plain_wall

        for row, cells in self._table.rows:
            name = cells[i_shell].strip()
            if not name.isprintable() or "/" in name or not name or len(name) > LONGEST_NAME:
                name = self._odd_name(name, row, "shell")
            kind = kinds.get(cells[i_kind])
            if kind is None:
                kind = self._kind(cells[i_kind], row)
            half = halves.get(cells[i_half])
            if half is None:
                half = self._half(cells[i_half], row)
            box = cells[i_box].strip() or box_of_file
            names = all_names.get(box)
            if names is None:
                names = all_names[box] = set()
                if box is not box_of_file:
                    self._odd_name(box, row, "box")

            if gauged:
                gauge, walls = self._gauge(cells[i_wall_gauge], cells[i_gauge], kind, row)
            readings = []
            for index, known, reader, column in walls:
                text = cells[index]
                if text:
                    nm = known(text) or self._length(reader, text, row, column)
                    if nm is not None:
                        readings.append(nm)
            measured: Size | None = None
            wall: int | None = None
            if readings:
                confirmed = cells[i_confirmed] and _reason(cells[i_confirmed])
                measured = plain_wall(gauge, readings, confirmed)
                wall = measured.mean_nm
                if not WALL.holds(wall):
                    column = columns.readings["wall"][0].name
                    pool.report_implausible(name, wall, paper, row, column, columns.order(column))
                    measured = wall = None
            to_metal, coating = wall, 0
            if cells[i_coating] and coatings is not None:
                coating = self._coating(coatings, cells[i_coating], wall, row)
            coated = self._is_coated(cells[i_measured], row) if cells[i_measured] else default_coated
            if coating and wall is not None:
                wall, to_metal = coated_wall(wall, coating, coated, counts)
            elif coating:
                pool.coated[box, name] = coated

            marks: tuple[str, ...] = ()
            if compared:
                typed = tuple([cells[index] for index in compared])
                marks = pool.marks.get(typed) or self._marks(typed)
            family = cells[i_family]
            if family:
                family = families.get(family) or families.setdefault(family, family.strip().casefold())
            grade = cells[i_grade].strip()
            shell = Shell(
                name,
                box,
                kind,
                half,
                wall,
                marks,
                family,
                grades.setdefault(grade, grade) if grade else None,
                cells[i_hold].strip() or None,
                coating,
                to_metal,
                file,
                row,
                measured,
            )
            shells.append(shell)
            if name in names and name:
                pool.doubles.append((shell, paper, columns.order("shell")))
            else:
                names.add(name)

    def _gauge(self, own: str, common: str, kind: str, row: int) -> tuple[str | None, list[WallColumn]]:
        """The gauge of a row and the readers of its numbers; no reader where the cell names an unknown one."""
        text, column = (own, "wall_gauge") if own.strip() else (common, "gauge")
        gauge, known = self._gauges.name(row, "" if text == UNREAD else text.strip(), column, kind, "wall")
        if not known:
            return None, []
        if gauge not in self._walls:
            self._walls[gauge] = self._wall_columns(gauge)
        return gauge, self._walls[gauge]

    def _wall_columns(self, gauge: str | None) -> list[WallColumn]:
        """Where the readings of walls stand, each with what its reader knows; none where the job names no unit."""
        if self._pool.settings.unit is None:
            return []
        found: list[WallColumn] = []
        for column in self._columns.readings["wall"]:
            if column.name not in self._columns.bad_units:
                reader = self._pool.reader(WALL, column, self._table.decimal_comma, gauge)
                found.append((column.index, reader.known.get, reader, column.name))
        return found

    def _coating_reader(self) -> LengthReader | None:
        column = self._columns.known.get("coating")
        if column is None or self._pool.settings.unit is None or "coating" in self._columns.bad_units:
            return None
        return self._pool.reader(COATING, column, self._table.decimal_comma, None)

    def _box_of_file(self) -> str:
        """The box where a row names none: the file's name without its ending."""
        box = PurePosixPath(self._paper.name).stem.strip()
        fault = fault_in_name(box)
        if fault is not None:
            self._pool.findings.report("bad-name", f"as the name of a box {fault}", self._paper)
        return box

    def _odd_name(self, name: str, row: int, column: str) -> str:
        """A name that may be at fault; what is at fault is noted, and a shell without a name has the name ''."""
        if name == UNREAD:
            self._pool.complete = False
            return ""
        fault = fault_in_name(name)
        if fault is not None:
            self._pool.complete = False
            self._report("bad-name", fault, row, column)
        elif not name:
            self._pool.complete = False
            self._report("empty-cell", f"is empty; name the {column}", row, column)
        return name

    def _kind(self, text: str, row: int) -> str:
        """A kind met for the first time, or one that will not do: that is noted, and '' stands for it."""
        settings, kind = self._pool.settings, text.strip()
        if kind == UNREAD:
            return ""
        if not kind:
            self._report("empty-cell", f"is empty; {kinds_to_write(settings)}", row, "kind")
            return ""
        if settings.fits and kind not in settings.fits:
            self._report("unknown-kind", unknown_kind(kind, settings), row, "kind")
            return ""
        self._pool.kinds[text] = kind
        return kind

    def _half(self, text: str, row: int) -> str:
        half = text.strip().casefold()
        if half == UNREAD:
            return ""
        if half not in HALVES:
            what = f"`{shorten(text)}` is no half" if half else "is empty"
            self._report(
                "unknown-value" if half else "empty-cell", f"{what}; write upper, lower or either", row, "half"
            )
            return ""
        self._pool.halves[text] = half
        return half

    def _length(self, reader: LengthReader, text: str, row: int, column: str) -> int | None:
        """A length met for the first time, or one that will not do: that is noted. A blank cell is None too."""
        if not text.strip() or text == UNREAD:
            return None
        try:
            nm = reader.read(text)
        except CellError as error:
            self._report(error.code, str(error), row, column)
            return None
        if reader.finer:
            self._pool.findings.rounded(text, self._paper, row, column)
        return nm

    def _coating(self, reader: LengthReader, text: str, wall: int | None, row: int) -> int:
        """The thickness of a coating; 0 is uncoated."""
        nm = reader.known.get(text)
        if nm is None:
            nm = self._length(reader, text, row, "coating") or 0
        if wall is not None and 2 * nm >= wall:
            unit = self._pool.settings.unit
            assert unit is not None
            text = f"{shown(nm, unit)} is half the wall {shown(wall, unit)} or more"
            todo = "write the thickness of the coating on the running face alone"
            self._report("coating-too-thick", f"{text}; {todo}", row, "coating")
            return 0
        return nm

    def _is_coated(self, text: str, row: int) -> bool:
        """Whether this shell's wall was measured over its coating."""
        word = text.strip().casefold()
        if word in ("coated", "bare"):
            return word == "coated"
        if word and word != UNREAD:
            todo = "write coated or bare, or leave it empty"
            self._report("unknown-value", f"`{shorten(text)}` is not known here; {todo}", row, "measured")
        return self._pool.settings.measured_coated

    def _marks(self, typed: tuple[str, ...]) -> tuple[str, ...]:
        """The cells to compare, made alike; equal ones are one and the same tuple."""
        marks = tuple(text.strip().casefold() for text in typed)
        marks = self._pool.marks.setdefault(marks, marks)
        self._pool.marks[typed] = marks
        return marks

    def _report(self, code: str, text: str, row: int, column: str) -> None:
        self._pool.findings.report(code, text, self._paper, row, column, self._columns.order(column))
