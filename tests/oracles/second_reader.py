"""A second reader of job folders, written from the documented formats alone, with fractions and without the program.

It knows nothing of mistakes: it reads what the program has accepted, and `compare` holds every length against it.
"""

import csv
import fnmatch
import io
import re
import tomllib
import warnings
import zipfile
from collections.abc import Iterator, Mapping
from fractions import Fraction
from itertools import permutations
from typing import Any, NamedTuple

import openpyxl
from oracles.rulebook import rules_of

from fitmatch.records.job import Job
from fitmatch.records.parts import Position, Shell, Size

INCH = Fraction(25_400_000)
UNITS = {"in": INCH, "mm": Fraction(10**6), "um": Fraction(1000), "thou": INCH / 1000, "tenths": INCH / 10_000}
UNITS |= {"\u00b5m": UNITS["um"], "\u03bcm": UNITS["um"]}  # micro sign and Greek mu
STEPS = {"in": INCH / 20_000, "mm": Fraction(1000)}  # 0.00005 in, 1 um: what a target from a ratio is rounded to
COEFFICIENTS = {"steel": "11.5e-6", "steel 4140": "12.3e-6", "aluminium 356.0": "21.5e-6"}  # those the fuzzed jobs name
DIGITS = "0123456789"


# --- numbers and lengths ---------------------------------------------------------------------------------------------


def number_and_rest(text: str, *, comma: bool = False) -> tuple[Fraction, str] | None:
    """The number a text begins with and what follows it; None if it begins with none.

    A number is digits with an optional sign, a leading or trailing point, and an exponent of at most three digits. With
    `comma` a single comma may replace the point.
    """
    text = text.strip()
    if comma and text.count(",") == 1 and "." not in text:
        text = text.replace(",", ".")
    unsigned = text[1:] if text[:1] in ("+", "-") else text
    whole, rest = _digits(unsigned)
    fraction = ""
    if rest.startswith("."):
        fraction, rest = _digits(rest[1:])
    if not whole + fraction:
        return None
    value = Fraction(int(whole + fraction), 10 ** len(fraction))
    if rest[:1] in ("e", "E"):
        down = rest[1:2] == "-"
        power, behind = _digits(rest[2:] if rest[1:2] in ("+", "-") else rest[1:])
        if len(power) > 3:
            return None
        if power:
            value, rest = value * Fraction(10) ** (-int(power) if down else int(power)), behind
    return (-value if text.startswith("-") else value), rest.strip()


def _digits(text: str) -> tuple[str, str]:
    count = next((i for i, c in enumerate(text) if c not in DIGITS), len(text))
    return text[:count], text[count:]


def number(text: str, *, comma: bool = False) -> Fraction | None:
    """A plain number; None where the text is none."""
    read = number_and_rest(text, comma=comma)
    return read[0] if read and not read[1] else None


def length(text: str, unit: str, job_unit: str, *, comma: bool = False) -> int | None:
    """Whole nanometres, halves to even; None where the text is no length."""
    read = number_and_rest(text, comma=comma)
    if read is None:
        return None
    value, own = read
    own = own.lower() or unit
    if own not in UNITS or (own == "tenths" and job_unit != "in"):
        return None
    return round(value * UNITS[own])


# --- tables ----------------------------------------------------------------------------------------------------------


class Sheet(NamedTuple):
    """A table's rows by their number in the file; the cells of a row by the name of their column."""

    units: dict[str, str]
    rows: dict[int, dict[str, str]]
    comma: bool


def read_table(name: str, data: bytes) -> Sheet:
    """The table in a file that the program has accepted."""
    if name.lower().endswith(".xlsx"):
        return _sheet(_workbook(data), comma=False)
    text = data.decode("utf-8-sig")
    first = next(line for line in io.StringIO(text, newline="") if line.strip())
    separator = max(",;\t", key=lambda s: len(next(csv.reader([first], delimiter=s, skipinitialspace=True))))
    return _sheet(_records(text, separator), comma=separator != ",")


def _records(text: str, separator: str) -> Iterator[tuple[int, list[str]]]:
    reader = csv.reader(io.StringIO(text, newline=""), delimiter=separator, skipinitialspace=True)
    row = 1
    for cells in reader:
        yield row, cells
        row = reader.line_num + 1


def _workbook(data: bytes) -> Iterator[tuple[int, list[str]]]:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(_unstyled(data)), data_only=True)
    for sheet in book.worksheets:
        cells: dict[int, dict[int, str]] = {}
        for (row, column), cell in sorted(sheet._cells.items()):  # iter_rows() would make every cell in between
            if cell.value is not None and str(cell.value).strip():
                value = cell.value
                whole = isinstance(value, float) and value.is_integer()
                cells.setdefault(row, {})[column] = str(int(value)) if whole else str(value)
        for row, filled in cells.items():
            yield row, [filled.get(column, "") for column in range(1, max(filled) + 1)]


def _unstyled(data: bytes) -> bytes:
    """The workbook without the styles of its cells, which may name what is not there."""
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(data)) as old, zipfile.ZipFile(out, "w") as new:
        for name in dict.fromkeys(old.namelist()):
            try:
                part = old.read(name)
            except Exception:  # a part that is not needed may be damaged
                continue
            new.writestr(name, re.sub(rb' s="[^"]*"', b"", part) if name.startswith("xl/worksheets/") else part)
    return out.getvalue()


def _sheet(records: Iterator[tuple[int, list[str]]], *, comma: bool) -> Sheet:
    filled = ((row, [cell.strip() for cell in cells]) for row, cells in records if any(map(str.strip, cells)))
    _, header = next(filled)
    names, units = [], {}
    for cell in header:
        name, unit = cell, ""
        if cell.endswith("]") and "[" in cell:
            name, unit = cell[: cell.rindex("[")], cell[cell.rindex("[") + 1 : -1].strip()
        names.append(name.strip().casefold())
        if unit:
            units[names[-1]] = unit.lower()
    blank = dict.fromkeys(names, "")  # cells that a spreadsheet dropped from the end of a row are blank
    return Sheet(units, {row: {**blank, **dict(zip(names, cells, strict=False))} for row, cells in filled}, comma)


# --- the job ---------------------------------------------------------------------------------------------------------


class SecondReader:
    """Reads the files of one accepted job again; `checked` counts the lengths and numbers that were compared."""

    def __init__(self, job: Job, files: Mapping[str, bytes]) -> None:
        self.job = job
        self.files = files
        self.checked = 0
        text = files["job.toml"].decode("utf-8-sig")
        self.toml: dict[str, Any] = tomllib.loads(text, parse_float=lambda typed: typed.replace("_", ""))
        self.unit: str = self.toml["unit"]
        sources = self.toml.get("sources", {})
        self.positions = read_table(*self._file(sources.get("positions", "positions.csv")))
        self.log = read_table(*self._file(sources["readings"])) if "readings" in sources else None
        self.repeats = self.toml.get("readings", {}).get("numbered") == "repeats"

    def compare(self) -> int:
        """Hold everything against the job; raises AssertionError where a number differs. How many were compared."""
        job = self.job
        assert job.unit == self.unit
        self._compare_settings()
        assert [p.row for p in job.positions] == list(self.positions.rows), "rows of positions"
        for position in job.positions:
            self._compare_position(position, self.positions.rows[position.row])
        self._compare_log()
        tables = {name: read_table(name, self.files[name]) for name in self._shell_files()}
        rows = [(name, row) for name, table in tables.items() for row in table.rows]
        assert sorted((s.file, s.row) for s in job.shells) == sorted(rows), "rows of shells"
        for shell in job.shells:
            self._compare_shell(shell, tables[shell.file])
        self._compare_halves(tables)
        self._look_for_copies(tables)
        return self.checked

    def _compare_halves(self, tables: Mapping[str, Sheet]) -> None:
        """In which columns the two halves of a bore must agree, and what the shells have there."""
        written = self._at("rules", "same_in_bore")
        default = ("series", "condition", "coating")
        asked = default if written is None else () if written == "off" else tuple(c.strip().casefold() for c in written)
        cells: dict[str, list[str]] = {}
        for column in dict.fromkeys(asked):
            told = [tables[s.file].rows[s.row].get(column, "").casefold() for s in self.job.shells]
            if column == "coating":
                told = ["coated" if s.coating_nm else "" for s in self.job.shells]
            if any(told):
                cells[column] = told
        self._same(set(rules_of(self.job).same_in_bore), set(cells), "same_in_bore")
        for column, told in cells.items():
            at = self.job.shell_columns.index(column)
            self._same([s.marks[at] for s in self.job.shells], told, f"{column} of the shells")

    def _look_for_copies(self, tables: Mapping[str, Sheet]) -> None:
        """No box may be another one under a second name: equal to it, or contained in it with four shells at least."""
        boxes: dict[str, set[tuple[object, ...]]] = {}
        confirmed = set()
        for s in self.job.shells:
            cells = tables[s.file].rows[s.row]
            wide = tuple(nm for nm, _ in self._readings(tables[s.file], cells, s.kind, "wall"))
            logged = [
                (row, self._log_cell(told, s.kind))
                for row, told in (self.log.rows.items() if self.log else ())
                if told["feature"].casefold() == "wall" and told["reading"]
                and tuple(p.strip() for p in told["item"].split("/")) in ((s.name,), s.key)
            ]  # fmt: skip
            boxes.setdefault(s.box, set()).add((s.name, s.half, wide or tuple(nm for _, nm in logged)))
            if cells.get("copy_confirmed"):
                confirmed.add(s.box)
        for one, other in permutations(boxes, 2):
            read = sum(bool(readings) for _, _, readings in boxes[one])
            same = boxes[one] == boxes[other] and read >= min(2, len(boxes[one]))
            copied = same or (read >= 4 and boxes[one] < boxes[other])
            assert not copied or confirmed & {one, other}, f"{one} is {other} under another name"
            self.checked += 1

    def _file(self, name: str) -> tuple[str, bytes]:
        return name.strip(), self.files[name.strip()]

    def _shell_files(self) -> list[str]:
        """The files that the globs name; in these jobs a `*` in the last part of a path is all there is."""
        globs = [g.strip() for g in self.toml.get("sources", {}).get("shells", ["shells/*.csv"])]
        return [
            name
            for name in self.files
            if any(fnmatch.fnmatchcase(name, g) and name.count("/") == g.count("/") for g in globs)
            and not name.rpartition("/")[2].startswith((".", "~$"))
        ]

    def _same(self, found: object, wanted: object, what: str) -> None:
        assert found == wanted, f"{what}: the program read {found!r}, the second reader {wanted!r}"
        self.checked += 1

    def _at(self, *path: str) -> Any:
        value: Any = self.toml
        for key in path:
            value = value.get(key) if isinstance(value, dict) else None
        return value

    def _length_at(self, *path: str, unit: str | None = None) -> int | None:
        value = self._at(*path)
        return None if value is None else length(str(value), unit or self.unit, self.unit)

    def _number_at(self, *path: str) -> Fraction | None:
        value = self._at(*path)
        return None if value is None else number(COEFFICIENTS.get(str(value).strip().casefold(), str(value)))

    def _compare_settings(self) -> None:
        job = self.job
        for kind, fit in job.fits.items():
            names = {"min": fit.min_nm, "max": fit.max_nm, "seating": fit.seating_nm, "seating_u": fit.seating_u_nm}
            for key, nm in names.items():
                none = 0 if key == "seating" else None
                self._same(nm, none if self._at("fit", kind, key) is None else self._length_at("fit", kind, key), key)
            readings = self._at("fit", kind, "seating_readings")
            self._same(fit.seating_readings, None if readings is None else int(str(readings)), "seating_readings")
            if self._at("fit", kind, "target") is not None:
                self._same(fit.target_nm, self._length_at("fit", kind, "target"), "target")
        for kind, bands in job.drawing.items():
            for feature, band in bands.items():
                low, _, high = str(self._at("drawing", kind, feature)).partition("..")
                ends = length(low, self.unit, self.unit), length(high, self.unit, self.unit)
                self._same((band.low_nm, band.high_nm), ends, "a drawing limit")
        rules = rules_of(job)
        difference = self._at("rules", "wall_difference")
        wanted = {None: 15_240, "off": None}.get(difference, self._length_at("rules", "wall_difference"))
        self._same(rules.wall_difference_nm, wanted, "wall_difference")
        half_from = self._length_at("rules", "thick_half_from")
        if rules.thick_half:  # otherwise there is nothing for it to say
            self._same(rules.thick_half_from_nm, 5_080 if half_from is None else half_from, "thick_half_from")
        self._same(rules.guard, float(self._number_at("rules", "guard") or 0), "guard")
        for name, gauge in job.measuring.gauges.items():
            own = gauge.unit
            for key, nm in (
                ("resolution", gauge.resolution_nm),
                ("limit", gauge.limit_nm),
                ("repeatability", gauge.repeatability_nm),
            ):
                self._same(nm, self._length_at("gauge", name, key, unit=own), key)
            self._same(gauge.ball_nm, self._length_at("gauge", name, "ball", unit=own) or 0, "ball")
            self._same(gauge.standard_limit_nm, self._length_at("gauge", name, "standard_limit", unit=own), "standard")
            self._same(list(gauge.standard_reads_nm), self._reads(name), "standard_reads")
            self._same(gauge.repeatability_from, self._number_at("gauge", name, "repeatability_from"), "readings")
            self._same(gauge.expansion_limit, self._number_at("gauge", name, "expansion_limit"), "expansion_limit")
        for kind, limits in job.measuring.form_limits.items():
            for key, nm in limits.items():
                self._same(nm, self._length_at("form", kind, key), key)

    def _zero(self, gauge: str) -> Fraction:
        """What is subtracted from a reading: zero errors along the gauges that were set with one another, and the
        ball."""
        off, link = Fraction(self._ball(gauge)), gauge
        while True:
            unit = self._gauge_unit(link)
            if self._at("gauge", link, "standard") is not None:
                standard = self._length_at("gauge", link, "standard", unit=unit)
                reads = self._reads(link)
                assert reads and standard is not None
                off += round(Fraction(sum(reads), len(reads))) - standard
            before = self._at("gauge", link, "set_with")
            if before is None:
                return off
            link = before.strip()

    def _reads(self, gauge: str) -> list[int]:
        """The readings on a gauge's standard, one or a list of them."""
        written = self._at("gauge", gauge, "standard_reads")
        some = written if isinstance(written, list) else [] if written is None else [written]
        unit = self._gauge_unit(gauge) or self.unit
        return [nm for one in some if (nm := length(str(one), unit, self.unit)) is not None]

    def _ball(self, gauge: str) -> int:
        return self._length_at("gauge", gauge, "ball", unit=self._gauge_unit(gauge)) or 0

    def _gauge_unit(self, gauge: str | None) -> str | None:
        unit = self._at("gauge", gauge, "unit") if gauge is not None else None
        return None if unit is None else unit.strip().lower()

    def _factor(self, kind: str, feature: str, gauge: str | None) -> Fraction:
        if self._at("temperature") is None or feature == "wall":
            return Fraction(1)
        room = self._number_at("temperature", "room")
        gauges, parts = (room if room is not None else self._number_at("temperature", k) for k in ("gauges", "parts"))
        part = self._number_at("material", kind, feature)
        own, link = None, gauge
        while own is None and link is not None:
            own = self._number_at("gauge", link, "expansion")
            before = self._at("gauge", link, "set_with")
            link = None if before is None else before.strip()
        if own is None:
            own = number(COEFFICIENTS["steel"])
        assert gauges is not None and parts is not None and part is not None and own is not None
        return 1 + own * (gauges - 20) - part * (parts - 20)

    def _readings(
        self, sheet: Sheet, cells: Mapping[str, str], kind: str, feature: str
    ) -> list[tuple[Fraction, Fraction]]:
        """The readings of a feature in a wide row: as they were read, and corrected."""
        named = cells.get(f"{feature}_gauge") or cells.get("gauge") or self._at("measured", kind, feature)
        gauge = named.strip() if named else None
        found = []
        for column, cell in cells.items():
            if cell and (column == feature or _numbered(column, feature)):
                unit = sheet.units.get(column) or self._gauge_unit(gauge) or self.unit
                nm = length(cell, unit, self.unit, comma=sheet.comma)
                assert nm is not None, f"`{cell}` in {column} was accepted and is no length"
                off = self._zero(gauge) if gauge else 0
                found.append((Fraction(nm), (nm - off) * self._factor(kind, feature, gauge)))
        return found

    def _logged(self, item: tuple[str, ...], kind: str, feature: str) -> list[list[Fraction]]:
        """The corrected readings that the long file has for an item, by places near the crown axis."""
        places: dict[object, list[Fraction]] = {}
        for row, cells in self.log.rows.items() if self.log else ():
            if cells["feature"].casefold() != feature or tuple(p.strip() for p in cells["item"].split("/")) != item:
                continue
            nm, angle = self._log_cell(cells, kind), self._angle(cells)
            turn = 360 if feature == "wall" else 180
            if nm is None or (feature != "journal" and angle is not None and min(angle % turn, -angle % turn) > 5):
                continue
            gauge = cells.get("gauge") or self._at("measured", kind, feature)
            off = self._zero(gauge.strip()) if gauge else 0
            key: object = (cells["station"] and int(cells["station"]), None if angle is None else angle % turn)
            if key == ("", None) and not self.repeats:
                key = row
            places.setdefault(key, []).append((nm - off) * self._factor(kind, feature, gauge and gauge.strip()))
        return list(places.values())

    def _log_cell(self, cells: Mapping[str, str], kind: str) -> int | None:
        assert self.log is not None
        if not cells["reading"]:
            return None
        gauge = cells.get("gauge") or self._at("measured", kind, cells["feature"].casefold())
        unit = self.log.units.get("reading") or self._gauge_unit(gauge and gauge.strip()) or self.unit
        return length(cells["reading"], unit, self.unit, comma=self.log.comma)

    def _angle(self, cells: Mapping[str, str]) -> float | None:
        assert self.log is not None
        angle = number(cells["angle"], comma=self.log.comma) if cells["angle"] else None
        return None if angle is None else float(angle)

    def _kind_of(self, cells: Mapping[str, str]) -> str:
        *box, name = (part.strip() for part in cells["item"].split("/"))
        if cells["feature"].casefold() == "wall":
            return next(s.kind for s in self.job.shells if s.name == name and box in ([], [s.box]))
        return next(p.kind for p in self.job.positions if p.name == name)

    def _compare_log(self) -> None:
        if self.log is None:
            return
        told = {row: cells for row, cells in self.log.rows.items() if cells["reading"]}
        assert [r.row for r in self.job.measuring.log] == list(told), "rows of the readings"
        for logged in self.job.measuring.log:
            cells = told[logged.row]
            self._same(logged.reading.nm, self._log_cell(cells, self._kind_of(cells)), f"row {logged.row}")
            angle = self._angle(cells)
            turn = 360 if logged.feature == "wall" else 180
            self._same(logged.reading.angle, None if angle is None else angle % turn, "an angle")

    def _compare_position(self, position: Position, cells: Mapping[str, str]) -> None:
        means = {}
        for feature, size in (("journal", position.journal), ("housing_bore", position.housing_bore)):
            wide = self._readings(self.positions, cells, position.kind, feature)
            groups = [[corrected] for _, corrected in wide]
            if self.repeats and groups:
                groups = [[corrected for _, corrected in wide]]
            groups = groups or self._logged((position.name,), position.kind, feature)
            means[feature] = self._compare_size(size, groups, f"{position.name} {feature}")
        own = {
            key: length(cells[key], self.positions.units.get(key) or self.unit, self.unit, comma=self.positions.comma)
            for key in ("target", "min", "max", "seating")
            if cells.get(key)
        }
        fit = "fit", position.kind
        low = own["min"] if "min" in own else self._length_at(*fit, "min")
        high = own["max"] if "max" in own else self._length_at(*fit, "max")
        seating = own["seating"] if "seating" in own else self._length_at(*fit, "seating") or 0
        ratio = self._number_at(*fit, "target_ratio")
        target: int | None
        if "target" in own:
            target = own["target"]
        elif ratio is not None:
            step, journal = STEPS[self.unit], means["journal"]
            target = None if journal is None else int(round(ratio * journal / step) * step)
        elif self._at(*fit, "target") is not None:
            target = self._length_at(*fit, "target")
        else:
            assert low is not None and high is not None
            target = round(Fraction(low + high, 2))
        for found, wanted, what in (
            (position.min_nm, low, "min"),
            (position.max_nm, high, "max"),
            (position.seating_nm, seating, "seating"),
            (position.target_nm, target, "target"),
        ):
            self._same(found, wanted, f"{position.name} {what}")

    def _compare_size(self, size: Size | None, groups: list[list[Fraction]], what: str) -> Fraction | None:
        if not groups:
            assert size is None, f"{what} has no reading"
            return None
        assert size is not None, f"{what} has readings"
        mean = sum(sum(group) / len(group) for group in groups) / len(groups)
        means = [sum(group) / len(group) for group in groups]
        self._same(
            (size.mean_nm, size.smallest_nm, size.largest_nm), tuple(map(round, (mean, min(means), max(means)))), what
        )
        return Fraction(mean)

    def _compare_shell(self, shell: Shell, sheet: Sheet) -> None:
        cells = sheet.rows[shell.row]
        what = f"{shell.file}:{shell.row}"
        groups = [[corrected] for _, corrected in self._readings(sheet, cells, shell.kind, "wall")]
        groups = (
            groups or self._logged((shell.name,), shell.kind, "wall") or self._logged(shell.key, shell.kind, "wall")
        )
        coating = 0
        if cells.get("coating"):
            unit = sheet.units.get("coating") or self.unit
            read = length(cells["coating"], unit, self.unit, comma=sheet.comma)
            assert read is not None, f"{what}: the coating was accepted and is no length"
            coating = read
        self._same(shell.coating_nm, coating, f"{what} coating")
        if not groups:
            assert shell.wall_nm is None, f"{what} has no reading"
            return
        wall = round(sum(sum(group) / len(group) for group in groups) / len(groups))
        measured = cells.get("measured", "").casefold() or self._at("coating", "measured") or "coated"
        to_metal = wall - coating if measured == "coated" else wall
        self._same(shell.wall_to_metal_nm, to_metal, f"{what} wall to the metal")
        counts = self._at("coating", "counts") is not False
        self._same(shell.wall_nm, to_metal + coating if counts else to_metal, f"{what} wall")


def _numbered(column: str, feature: str) -> bool:
    behind = column.removeprefix(f"{feature}_")
    return behind != column and bool(behind) and not behind.strip(DIGITS)
