"""The sizes in the samples: invented, drawn by a script and not measured on any engine.

    python tests/made/samples.py            writes every table of samples/ anew, the same bytes each time

The seeds were chosen from the first few thousand, as their draws show what each sample is there to show. So a sample
says nothing about how much is gained on average.
"""

import csv
import random
from collections.abc import Iterator, Sequence
from io import BytesIO, StringIO
from pathlib import Path
from xml.sax.saxutils import escape
from zipfile import ZipFile, ZipInfo

SAMPLES = Path(__file__).parents[2] / "samples"

Rows = list[list[str]]


# One seed for each part that is drawn by itself.
GENERATOR_RODS, GENERATOR_MAINS, VEE_RODS, VEE_MAINS, SHORT, BENCH, THREE = 265, 31, 34, 73, 37, 365, 5


class Draw:
    """Whole numbers around a mean, nearly normal, from one seed; the same in every version of Python, as only
    `random()` promises that."""

    def __init__(self, seed: int) -> None:
        self._random = random.Random(seed).random

    def around(self, mean: float, scatter: float) -> int:
        """One number; `scatter` is the standard deviation, that of twelve random numbers being one."""
        return round(mean + scatter * (sum(self._random() for _ in range(12)) - 6))

    def several(self, count: int, mean: float, scatter: float) -> list[int]:
        """As many of them."""
        return [self.around(mean, scatter) for _ in range(count)]


def every_table() -> dict[str, bytes]:
    """Every file that is drawn, by its path in samples/."""
    return {
        **_generator_five(Draw(GENERATOR_RODS), Draw(GENERATOR_MAINS)),
        **_vee_eight(Draw(VEE_RODS), Draw(VEE_MAINS)),
        **_short_of_shells(Draw(SHORT)),
        **_metrology_bench(Draw(BENCH)),
        **_three_engines(Draw(THREE)),
    }


# --- a generator engine, in inches; drawn in steps of 0.00005 in ------------------------------------------------------


def _generator_five(rods: Draw, mains: Draw) -> dict[str, bytes]:
    rows = [["position", "kind", "journal_1", "journal_2", "housing_bore", "note"]]
    notes = {"R2": "pin polished at an earlier overhaul", "M6": "flywheel end"}
    for draw, kind, count, journal, bore in ((rods, "rod", 5, 44_976, 47_521), (mains, "main", 6, 55_107, 59_026)):
        for i in range(1, count + 1):
            name = f"{kind[0].upper()}{i}"
            mean, oval = draw.around(journal, 1.5) - (8 if name == "R2" else 0), draw.around(0, 0.7)
            cells = [_inch(size) for size in (mean - oval, mean + oval, draw.around(bore, 2))]
            rows.append([name, kind, *cells, notes.get(name, "")])
    made = {"generator-five/positions.csv": _csv(rows)}
    boxes = (
        *((rods, "rod", "A", 5, 1_252, 3.0), (rods, "rod", "B", 5, 1_255, 2.0)),
        *((mains, "main", "C", 6, 1_937, 2.5), (mains, "main", "D", 6, 1_939, 2.0)),
    )
    for draw, kind, letter, count, wall, scatter in boxes:
        walls = draw.several(2 * count, wall, scatter)
        made[f"generator-five/shells/{kind}s-{letter}.csv"] = _csv(
            [["shell", "kind", "half", "wall"], *_shells(letter, kind, count, [_inch(w) for w in walls])]
        )
    return made


def _inch(steps: int) -> str:
    return _decimal(5 * steps, 5)


def _shells(letter: str, kind: str, count: int, walls: Sequence[str]) -> Rows:
    """Rows of a box: uppers first, as many lowers after them."""
    return [[f"{letter}{i}", kind, "upper" if i <= count else "lower", wall] for i, wall in enumerate(walls, start=1)]


# --- a V8 in millimetres, with two steps of shells; drawn in micrometres ----------------------------------------------


def _vee_eight(rods: Draw, mains: Draw) -> dict[str, bytes]:
    header = [
        "position",
        "kind",
        "pin",
        "journal",
        "housing_bore_1",
        "housing_bore_2",
        "flange",
        "upper",
        "lower",
        "note",
    ]
    rows = [header]
    for i in range(1, 9):
        rows.append([f"R{i}", "rod", str((i + 1) // 2), *_journal_and_bores(rods, 53_984, 57_027), "", "", "", ""])
    for i in range(1, 6):
        cells = {
            3: ["yes", "", "", "takes the thrust"],
            4: ["", "", "mains-thin/8", "lower kept from the trial assembly"],
        }
        rows.append([f"M{i}", "main", "", *_journal_and_bores(mains, 63_981, 68_028), *cells.get(i, [""] * 4)])
    made = {"vee-eight/positions.csv": _csv(rows)}
    for grade, wall, mark in (("thin", 1_498.3, ";"), ("thick", 1_503.2, ",")):
        walls = [_mm(w) for w in rods.several(16, wall, 0.9)]
        if mark == ";":
            walls = [w.replace(".", ",") for w in walls]
        made[f"vee-eight/shells/rods-{grade}.csv"] = _csv(
            [["shell", "kind", "half", "wall", "grade"]]
            + [[str(i), "rod", "either", w, grade] for i, w in enumerate(walls, start=1)],
            mark,
        )
    sheet: list[list[str | int | float]] = [["box", "shell", "kind", "half", "wall", "grade", "flange"]]
    for grade, wall in (("thin", 1_996.6), ("thick", 2_002.6)):
        for i, w in enumerate(mains.several(10, wall, 0.8), start=1):
            half = "upper" if i <= 5 else "lower"
            sheet.append([f"mains-{grade}", i, "main", half, w / 1_000, grade, "yes" if i in (5, 10) else ""])
    made["vee-eight/shells/mains.xlsx"] = _workbook(sheet)
    return made


def _journal_and_bores(draw: Draw, journal: float, bore: float) -> list[str]:
    """A journal, and two readings of its housing bore that differ by little."""
    first = draw.around(bore, 4.5)
    return [_mm(draw.around(journal, 3.5)), _mm(first), _mm(first + abs(draw.around(0, 1.5)))]


# --- a compressor that cannot be fitted; drawn in steps of 0.00005 in -------------------------------------------------


def _short_of_shells(draw: Draw) -> dict[str, bytes]:
    rows = [["position", "kind", "journal", "housing_bore", "note"]]
    for i in range(1, 3):
        worn = 20 if i == 2 else 0
        cells = [_inch(draw.around(32_480, 1) - worn), _inch(draw.around(34_895, 1.5))]
        rows.append([f"R{i}", "rod", *cells, "pin worn" if worn else ""])
    for i in range(1, 4):
        rows.append([f"M{i}", "main", _inch(draw.around(37_470, 1)), _inch(draw.around(40_000, 1)), ""])
    rods = _shells("A", "rod", 2, [_inch(w) for w in draw.several(4, 1_184, 1)])
    mains = _shells("B", "main", 3, [_inch(w) for w in draw.several(6, 1_240, 1)])
    held = {"B5": "dropped: edge bruised"}
    return {
        "short-of-shells/positions.csv": _csv(rows),
        "short-of-shells/shells/rods-A.csv": _csv([["shell", "kind", "half", "wall"], *rods]),
        "short-of-shells/shells/mains-B.csv": _csv(
            [["shell", "kind", "half", "wall", "hold"], *([*row, held.get(row[0], "")] for row in mains)]
        ),
    }


# --- a compressor in millimetres, every reading by itself; drawn in micrometres ---------------------------------------

_STATIONS, _SEATING_UM, _READING_UM = (1, 2, 3), 3.2, 0.4
_FITTED = {"M1": (3, 5), "M2": (1, 7), "M3": (2, 8)}


def _metrology_bench(draw: Draw) -> dict[str, bytes]:
    readings = [["item", "feature", "station", "angle", "reading", "by"]]
    bores: dict[str, float] = {}
    for name in ("M1", "M2", "M3"):
        # M3 is the one with the most out-of-round journal in the most out-of-round bore.
        oval, oval_bore = (5, 5) if name == "M3" else (2, 3)
        journal, taper = 49_991 + draw.around(0, 1), draw.around(2, 0.7)
        for station in _STATIONS:
            for angle in (0, 90):
                size = journal + taper * (2 - station) / 2 + (oval if angle else 0)
                for reading in draw.several(2 if station == 2 else 1, size, _READING_UM):
                    readings.append([name, "journal", str(station), str(angle), _mm(reading), "first"])
        bores[name] = 54_044 + draw.around(0, 1.2)
        for station in _STATIONS[:2]:
            for angle in (0, 60, 120):
                size = bores[name] + (oval_bore if angle else 0)
                for reading in draw.several(1 if angle else 2, size, _READING_UM):
                    readings.append([name, "housing_bore", str(station), str(angle), _mm(reading), "first"])
    walls = {shell: 2_001 + draw.around(0, 1.3) for shell in range(1, 9)}
    for shell, wall in walls.items():
        for reading in draw.several(2, wall, _READING_UM):
            readings.append([str(shell), "wall", "1", "0", _mm(reading), "second"])
    assembled = [["position", "upper", "lower", "bore_1", "bore_2", "method", "gauge", "by", "date"]]
    for name, pair in _FITTED.items():
        inside = bores[name] - sum(walls[shell] for shell in pair) + _SEATING_UM
        cells = [_mm(reading) for reading in draw.several(2, inside, _READING_UM)]
        assembled.append([name, *map(str, pair), *cells, "gauge", "bore-1", "second", "2024-03-02"])
    notes = {"M1": "front", "M3": "flywheel end"}
    return {
        "metrology-bench/positions.csv": _csv(
            [["position", "kind", "note"], *([name, "main", notes.get(name, "")] for name in bores)]
        ),
        "metrology-bench/readings.csv": _csv(readings),
        "metrology-bench/shells/box-7.csv": _csv(
            [["shell", "kind", "half"], *([str(s), "main", "upper" if s <= 4 else "lower"] for s in walls)]
        ),
        "metrology-bench/assembled.csv": _csv(assembled),
    }


# --- three engines in millimetres that share opened boxes; drawn in micrometres ---------------------------------------


def _three_engines(draw: Draw) -> dict[str, bytes]:
    made = {}
    for name in ("saw", "pump", "crane"):
        rows = [["position", "kind", "journal", "housing_bore"]]
        for i in range(1, 5):
            rows.append([f"R{i}", "rod", _mm(draw.around(46_000, 3)), _mm(draw.around(49_170, 3))])
        made[f"three-engines/{name}/positions.csv"] = _csv(rows)
    boxes = (("A", 5, 3, "", "2025-03-11"), ("B", 4, 6, "", ""), ("C", 6, 6, "85.00", ""))
    for letter, uppers, lowers, price, opened in boxes:
        bought = ["narrow-2", f"drawer {letter}", price, opened]
        rows = [["shell", "kind", "half", "wall", "family", "location", "price", "opened"]]
        for i, wall in enumerate(draw.several(uppers + lowers, 1_560, 1.5), start=1):
            rows.append([f"{letter}{i}", "rod", "upper" if i <= uppers else "lower", _mm(wall), *bought])
        made[f"three-engines/boxes/rods-{letter}.csv"] = _csv(rows)
    return made


# --- tables and the workbook ------------------------------------------------------------------------------------------


def _mm(micrometres: int) -> str:
    return _decimal(micrometres, 3)


def _decimal(number: int, places: int) -> str:
    """A whole number of the last place as a decimal."""
    return f"{number // 10**places}.{number % 10**places:0{places}d}"


def _csv(rows: Rows, separator: str = ",") -> bytes:
    text = StringIO()
    csv.writer(text, delimiter=separator, lineterminator="\n").writerows(rows)
    return text.getvalue().encode()


_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
_DOCUMENT = "http://schemas.openxmlformats.org/officeDocument/2006/relationships"
_PACKAGE = "http://schemas.openxmlformats.org/package/2006"
_TYPES = "application/vnd.openxmlformats-officedocument.spreadsheetml"
_HEAD = '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
_PARTS = {
    "[Content_Types].xml": f'<Types xmlns="{_PACKAGE}/content-types">'
    '<Default Extension="rels" ContentType="application/vnd.openxmlformats-package.relationships+xml"/>'
    f'<Override PartName="/xl/workbook.xml" ContentType="{_TYPES}.sheet.main+xml"/>'
    f'<Override PartName="/xl/styles.xml" ContentType="{_TYPES}.styles+xml"/>'
    f'<Override PartName="/xl/worksheets/sheet1.xml" ContentType="{_TYPES}.worksheet+xml"/></Types>',
    "_rels/.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_DOCUMENT}/officeDocument" Target="xl/workbook.xml"/></Relationships>',
    "xl/workbook.xml": f'<workbook xmlns="{_MAIN}" xmlns:r="{_DOCUMENT}">'
    '<sheets><sheet name="shells" sheetId="1" r:id="rId1"/></sheets></workbook>',
    "xl/_rels/workbook.xml.rels": f'<Relationships xmlns="{_PACKAGE}/relationships">'
    f'<Relationship Id="rId1" Type="{_DOCUMENT}/worksheet" Target="worksheets/sheet1.xml"/>'
    f'<Relationship Id="rId2" Type="{_DOCUMENT}/styles" Target="styles.xml"/></Relationships>',
    "xl/styles.xml": f'<styleSheet xmlns="{_MAIN}"><numFmts count="1"><numFmt numFmtId="164" formatCode="0.000"/>'
    '</numFmts><fonts count="1"><font/></fonts><fills count="2"><fill><patternFill patternType="none"/></fill><fill>'
    '<patternFill patternType="gray125"/></fill></fills><borders count="1"><border/></borders><cellStyleXfs count="1">'
    '<xf/></cellStyleXfs><cellXfs count="2"><xf/><xf numFmtId="164" applyNumberFormat="1"/></cellXfs>'
    '<cellStyles count="1"><cellStyle name="Normal" xfId="0" builtinId="0"/></cellStyles></styleSheet>',
}


def _workbook(rows: Sequence[Sequence[str | int | float]]) -> bytes:
    """A workbook with one sheet, made by hand: a library would write its own name and a date into the properties, and
    other bytes with each of its versions. Numbers with decimals show three of them."""
    sheet = "".join(f'<row r="{r}">{"".join(_cells(r, row))}</row>' for r, row in enumerate(rows, start=1))
    parts = {
        **_PARTS,
        "xl/worksheets/sheet1.xml": f'<worksheet xmlns="{_MAIN}"><sheetData>{sheet}</sheetData></worksheet>',
    }
    saved = BytesIO()
    with ZipFile(saved, "w") as book:
        for name, text in parts.items():
            info = ZipInfo(name)
            info.create_system = 3  # the same bytes on every system
            book.writestr(info, _HEAD + text)
    return saved.getvalue()


def _cells(r: int, row: Sequence[str | int | float]) -> Iterator[str]:
    for column, value in zip("ABCDEFGHIJ", row, strict=False):
        if isinstance(value, str):
            if value:
                yield f'<c r="{column}{r}" t="inlineStr"><is><t>{escape(value)}</t></is></c>'
        else:
            style = ' s="1"' if isinstance(value, float) else ""
            yield f'<c r="{column}{r}"{style}><v>{value}</v></c>'


if __name__ == "__main__":
    for path, data in every_table().items():
        (SAMPLES / path).write_bytes(data)
