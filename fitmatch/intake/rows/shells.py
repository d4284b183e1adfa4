"""Shell files to shells: every cell checked by itself, and no name twice in a box.

A job may have a million shells: cells that were valid once are looked up, not checked again.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from itertools import chain
from pathlib import PurePosixPath
from sys import intern

from fitmatch.gauging.sizes.sizing import Sizes
from fitmatch.intake.common import advice
from fitmatch.intake.common.findings import Findings, Paper
from fitmatch.intake.common.quantities import COATING, WALL, LengthReader
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.intake.rows.sheet import Readers, Sheet
from fitmatch.intake.tables.table import UNREAD
from fitmatch.lengths import with_unit
from fitmatch.names import FORMULA, LONGEST_NAME, composed, fault_in_name, spellings
from fitmatch.problems import MOST_PROBLEMS
from fitmatch.records.keys import ItemKey, ShellKey
from fitmatch.records.measuring import LoggedReading
from fitmatch.records.parts import HALVES, Shell, Size
from fitmatch.wording import shorten

WallColumn = tuple[int, Callable[[str], int | None], LengthReader, str]  # place, what its reader knows, reader, name
WallColumns = tuple[list[WallColumn], tuple[tuple[str, str], ...]]  # and the name and the unit of each
LoggedItems = dict[tuple[ItemKey, str], list[LoggedReading]]  # rows of the long file by item and feature


@dataclass(slots=True)
class ShellPool:
    """The shells of all files read so far. Those with a fault in their row are included, so that a lock finds them; a
    kind or half that could not be read is empty."""

    settings: Settings
    columns_compared: tuple[str, ...]  # Job.shell_columns
    findings: Findings
    sizes: Sizes
    shells: list[Shell] = field(default_factory=list)
    complete: bool = True  # False once a row or a name could not be read: locks may refer to it
    slipped: set[str] = field(default_factory=set)  # columns meant by misspelt headers
    names: dict[str, set[str]] = field(default_factory=dict)  # by box, as `composed` gives them
    boxes: dict[str, tuple[str, str]] = field(default_factory=dict)  # by that of their names, each and where it stands
    doubles: list[tuple[Shell, Sheet]] = field(default_factory=list)  # shells whose box and name were there before
    copies_confirmed: dict[str, str] = field(default_factory=dict)  # why a box truly reads as another one, by box
    papers: dict[str, Paper] = field(default_factory=dict)  # by file
    coated: dict[ShellKey, bool] = field(default_factory=dict)  # how coated shells without a wall are measured
    # Shells that have run, by the shelf: position and side, if those are of this job; elsewhere they may not go.
    used: dict[ShellKey, tuple[str, str] | None] = field(default_factory=dict)
    fitted: dict[ShellKey, tuple[str, str]] = field(default_factory=dict)  # where, in the engine of this very job
    elsewhere: dict[str, str] = field(default_factory=dict)  # shells that a lock names and the shelf does not offer
    # The meaning of cells as typed, once they have been checked:
    kinds: dict[str, str] = field(default_factory=dict)
    halves: dict[str, str] = field(default_factory=dict)
    families: dict[str, str] = field(default_factory=dict)
    marks: dict[tuple[str, ...], tuple[str, ...]] = field(default_factory=dict)
    readers: Readers = field(default_factory=dict)

    def add(self, sheet: Sheet) -> None:
        """Read one file."""
        self.papers[sheet.paper.name] = sheet.paper
        _FileReader(self, sheet).read()
        self.complete = self.complete and sheet.table.complete
        self.slipped |= sheet.columns.slipped

    def spelled(self) -> dict[str, str]:
        """Marks and families in lower case, each with how it was first typed, where that differs."""
        return spellings(chain(self.families, chain.from_iterable(self.marks)))

    def report_doubles(self) -> None:
        """Note every shell whose box and name were there before; called once all files are read."""
        first = {(s.box, composed(s.name)): s for s in reversed(self.shells)} if self.doubles else {}
        for shell, sheet in self.doubles:
            other = first[shell.box, composed(shell.name)]
            where = f"({other.file}:{other.row}){'' if other.name == shell.name else advice.CODED}"
            text = f"`{shorten(shell.name)}` is already in box `{shorten(shell.box)}` {where}"
            sheet.report("duplicate-shell", f"{text}; give each shell of a box its own name", shell.row, "shell")

    def report_implausible(self, name: str, wall: int, sheet: Sheet, row: int, column: str) -> None:
        """Note a wall made impossible by its gauge's corrections."""
        assert self.settings.unit is not None
        found = (
            f"after ball and zero error are taken off, the wall of `{shorten(name)}` is "
            f"{with_unit(wall, self.settings.unit)}"
        )
        text = f"{found}, and a wall is {WALL.bounds}; check the gauge's figures"
        sheet.report("implausible-length", text, row, column)

    def too_thick(self, coating: int, wall: int) -> str:
        """What is wrong with a coating that leaves no wall."""
        assert self.settings.unit is not None
        text = (
            f"{with_unit(coating, self.settings.unit)} is half the wall {with_unit(wall, self.settings.unit)} or more"
        )
        return f"{text}; write the thickness of the coating on the running face alone"

    def add_logged(self, items: LoggedItems, sheet: Sheet) -> None:
        """Give shells their walls from the long file."""
        for index, shell in enumerate(self.shells):
            logged = items.get((shell.key, "wall"))
            if not logged or shell.wall_nm is not None:
                continue
            found = self.sizes.sized(shell.kind, "wall", [row.reading for row in logged])
            if found is None:
                continue
            wall = found.size.mean_nm
            if WALL.holds(wall):
                self.shells[index] = self._with_wall(shell, found.size)
            else:
                self.report_implausible(shell.name, wall, sheet, logged[0].row, "item")

    def _with_wall(self, shell: Shell, measured: Size) -> Shell:
        wall = to_metal = measured.mean_nm
        coating = shell.coating_nm
        if 2 * coating >= wall:
            text = self.too_thick(coating, wall)
            self.findings.report("coating-too-thick", text, self.papers[shell.file], shell.row, "coating")
        elif coating:
            coated = self.coated.get(shell.key, self.settings.measured_coated)
            wall, to_metal = coated_wall(wall, coating, coated, self.settings.coating_counts)
        return replace(shell, wall_nm=wall, wall_to_metal_nm=to_metal, measured=measured)


def coated_wall(wall: int, coating: int, coated: bool, counts: bool) -> tuple[int, int]:
    """The wall that counts, and the wall to the metal, of a shell whose wall was measured `coated` or bare."""
    to_metal = wall - coating if coated else wall
    return (to_metal + coating if counts else to_metal), to_metal


class _FileReader:
    """Reads the rows of one file into the pool."""

    def __init__(self, pool: ShellPool, sheet: Sheet) -> None:
        self._pool = pool
        self._sheet = sheet
        self._walls: dict[str | None, WallColumns] = {}
        self._gauges: dict[tuple[str, str, str], tuple[str | None, WallColumns]] = {}  # by two cells and the kind

    def read(self) -> None:
        """Go through the rows. Usual cells are handled here; anything unusual has a method of its own."""
        pool, columns, paper = self._pool, self._sheet.columns, self._sheet.paper
        i_shell, i_kind, i_half, i_box, i_grade, i_family, i_coating, i_measured, i_hold = map(
            columns.index, ("shell", "kind", "half", "box", "grade", "family", "coating", "measured", "hold")
        )
        i_undersize, i_step, i_part = map(columns.index, ("undersize", "step", "part"))
        i_confirmed, i_copy = columns.index("wall_confirmed"), columns.index("copy_confirmed")
        i_gauge, i_wall_gauge, gauges = columns.index("gauge"), columns.index("wall_gauge"), self._gauges
        compared = [columns.index(name) for name in pool.columns_compared]
        coating_at = pool.columns_compared.index("coating") if "coating" in pool.columns_compared else None
        walls, columns_read = self._wall_columns(None)
        gauged = bool(pool.settings.measuring.gauges) or "gauge" in columns.known or "wall_gauge" in columns.known
        gauge: str | None = None
        box_of_file = self._box_of_file()
        kinds, halves, families, all_names = pool.kinds, pool.halves, pool.families, pool.names
        default_coated, counts = pool.settings.measured_coated, pool.settings.coating_counts
        shells, file, plain_wall = pool.shells, paper.name, pool.sizes.plain_wall
        findings = pool.findings

        for row, cells in self._sheet.table.rows:
            name = cells[i_shell].strip()
            if not name.isprintable() or "/" in name or not name or len(name) > LONGEST_NAME or name[0] in FORMULA:
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
                if not box.isascii():
                    self._box_coded_once(box, row)

            if cells[i_copy]:
                pool.copies_confirmed.setdefault(box, self._sheet.any_text(row, cells, "copy_confirmed"))

            if gauged:
                told = cells[i_wall_gauge], cells[i_gauge], kind
                gauge, (walls, columns_read) = gauges.get(told) or self._gauge(told, cells, row)
            readings, texts = [], []
            for index, known, reader, column in walls:
                text = cells[index]
                if text:
                    nm = known(text) or self._sheet.read(reader, text, row, column)
                    if nm is not None:
                        readings.append(nm)
                        texts.append(text)
            measured: Size | None = None
            wall: int | None = None
            if readings:
                confirmed = cells[i_confirmed] and self._sheet.any_text(row, cells, "wall_confirmed")
                filled = columns_read
                if len(readings) < len(walls):
                    filled = tuple([w for (at, *_), w in zip(walls, columns_read, strict=True) if cells[at].strip()])
                measured = plain_wall(gauge, readings, confirmed, filled, texts)
                wall = measured.mean_nm
                if not WALL.holds(wall):
                    pool.report_implausible(name, wall, self._sheet, row, columns.readings["wall"][0].name)
                    measured = wall = None
            to_metal, coating = wall, 0
            if cells[i_coating]:
                coating = self._coating(cells, wall, row)
            coated = self._is_coated(cells[i_measured], row) if cells[i_measured] else default_coated
            if coating and wall is not None:
                wall, to_metal = coated_wall(wall, coating, coated, counts)
            elif coating:
                pool.coated[box, name] = coated

            spelt = name if name.isascii() else composed(name)
            double = spelt in names and name != ""
            if (double and len(pool.doubles) >= MOST_PROBLEMS) or (
                findings.number > MOST_PROBLEMS and findings.beyond(paper, row)
            ):
                findings.number += double
                pool.complete = False  # it takes too much memory to keep what nobody will use
                continue
            marks: tuple[str, ...] = ()
            if compared:
                typed = tuple([cells[index] for index in compared])
                if coating_at is not None:  # how thick it is makes no difference
                    typed = (*typed[:coating_at], "coated" if coating else "", *typed[coating_at + 1 :])
                marks = pool.marks.get(typed) or self._marks(typed)
            family = families.get(cells[i_family])
            if family is None:
                family = self._family(cells[i_family])
            grade = cells[i_grade].strip()
            shell = Shell(
                name,
                box,
                kind,
                half,
                wall,
                marks,
                family,
                intern(grade) if grade else None,
                (cells[i_hold] and self._sheet.any_text(row, cells, "hold")) or None,
                coating,
                to_metal,
                file,
                row,
                measured,
                intern(f"{cells[i_undersize].strip()} {cells[i_step].strip()}".strip()),
                intern(cells[i_part].strip()),
            )
            shells.append(shell)
            if double:
                pool.doubles.append((shell, self._sheet))
            else:
                names.add(spelt)

    def _gauge(self, told: tuple[str, str, str], cells: list[str], row: int) -> tuple[str | None, WallColumns]:
        """The gauge of a row and the readers of its numbers, kept by what is told of it; no reader where its cell names
        an unknown one."""
        sheet = self._sheet
        column = "wall_gauge" if cells[sheet.columns.index("wall_gauge")].strip() else "gauge"
        gauge, known = sheet.gauge(row, cells, column, told[2], "wall")
        if not known:
            return None, ([], ())
        if gauge not in self._walls:
            self._walls[gauge] = self._wall_columns(gauge)
        self._gauges[told] = gauge, self._walls[gauge]
        return self._gauges[told]

    def _wall_columns(self, gauge: str | None) -> WallColumns:
        """Where the readings of walls are, each with what its reader knows; none if the job names no unit."""
        columns = self._sheet.columns.readings["wall"]
        readers = [(column, self._sheet.reader(WALL, column.name, gauge)) for column in columns]
        walls: list[WallColumn] = [
            (column.index, reader.known.get, reader, column.name) for column, reader in readers if reader
        ]
        return walls, tuple([(name, self._sheet.foreign(reader.unit)) for _, _, reader, name in walls])

    def _box_of_file(self) -> str:
        """The box if a row names none: the file's name without its ending."""
        box = PurePosixPath(self._sheet.paper.name).stem.strip()
        fault = fault_in_name(box)
        if fault is not None:
            self._pool.findings.report("bad-name", f"as the name of a box {fault}", self._sheet.paper)
        return box

    def _box_coded_once(self, box: str, row: int) -> None:
        """Note a box whose name looks like another's."""
        other, where = self._pool.boxes.setdefault(composed(box), (box, f"{self._sheet.paper.name}:{row}"))
        if other != box:
            text = f"`{shorten(box)}` is already in {where}{advice.CODED}; write both alike, or give one another name"
            self._sheet.report("coded-twice", text, row, "box")

    def _odd_name(self, name: str, row: int, column: str) -> str:
        """A name that may be invalid; if so that is noted, and a shell without a name gets the name ''."""
        if name == UNREAD or not self._sheet.name_will_do(name, row, column):
            self._pool.complete = False
        return "" if name == UNREAD else name

    def _kind(self, text: str, row: int) -> str:
        """A kind seen for the first time; if it is not valid that is noted, and the result is ''."""
        kind = text.strip()
        if kind == UNREAD or not self._sheet.kind_will_do(kind, row):
            return ""
        self._pool.kinds[text] = kind
        return kind

    def _half(self, text: str, row: int) -> str:
        half = self._sheet.word(text, row, "half", HALVES, "half")
        if half is None:
            return ""
        self._pool.halves[text] = half
        return half

    def _family(self, text: str) -> str:
        """A family seen for the first time, in lower case."""
        family = self._pool.families[text] = intern(text.strip().casefold())
        return family

    def _coating(self, cells: list[str], wall: int | None, row: int) -> int:
        """The thickness of a coating; 0 is uncoated."""
        nm = self._sheet.length(row, cells, "coating", COATING) or 0
        if wall is not None and 2 * nm >= wall:
            self._sheet.report("coating-too-thick", self._pool.too_thick(nm, wall), row, "coating")
            return 0
        return nm

    def _is_coated(self, text: str, row: int) -> bool:
        """Whether this shell's wall was measured over its coating."""
        word = text.strip().casefold()
        if word in ("coated", "bare"):
            return word == "coated"
        if word and word != UNREAD:
            todo = "write coated or bare, or leave it empty"
            self._sheet.report("unknown-value", f"`{shorten(text)}` is not allowed here; {todo}", row, "measured")
        return self._pool.settings.measured_coated

    def _marks(self, typed: tuple[str, ...]) -> tuple[str, ...]:
        """The cells to compare, normalised; equal ones are the same tuple."""
        marks = tuple(text.strip().casefold() for text in typed)
        marks = self._pool.marks.setdefault(marks, marks)
        self._pool.marks[typed] = marks
        return marks
