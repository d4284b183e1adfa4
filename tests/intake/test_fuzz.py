"""The readers of job folders against damage: thousands of files, and each way in which one was once read wrongly."""

import json
import subprocess
import sys
from datetime import date
from pathlib import Path
from random import Random

import pytest
from fuzz import write
from made.damage import ENDINGS, LAUGHS, NASTY_CELLS, packed, unpacked
from made.fuzz_jobs import JOBS, workbook
from made.intake_jobs import JOB, POSITIONS, SHELLS, mistakes, put, write_job
from oracles.second_reader import SecondReader, length

from fitmatch.intake.reading import read_job
from fitmatch.problems import InputError

FUZZ = Path(__file__).parents[1] / "fuzz.py"
XLSX_JOB = JOB + '[sources]\nshells = ["shells/*.xlsx"]\n'
ROWS = [["shell", "kind", "half", "wall"], ["01", "rod", "upper", 0.06185], ["02", "rod", "lower", 0.0618]]


@pytest.mark.parametrize(("many", "codes"), [(60, 25), pytest.param(400, 35, marks=pytest.mark.deep)])
def test_a_thousand_damaged_jobs(many: int, codes: int) -> None:
    """Every damaged job is read, each of its numbers as a second reader has it, or refused with proper problems: no
    other exception, no hang, no gigabyte. What was done counts: both outcomes occur, and most mistakes that are known.
    """
    command = [sys.executable, str(FUZZ), "--jobs", str(many), "--seed"]
    runs = [
        subprocess.Popen([*command, str(seed)], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        for seed in (1, 2)
    ]
    for run in runs:
        out, told = run.communicate()
        assert run.returncode == 0, told
        seen = json.loads(out)
        assert seen["jobs"] == seen["read"] + seen["refused"] == many
        assert seen["read"] > 0.15 * many and seen["refused"] > 0.6 * many
        assert seen["numbers compared"] > 20 * many
        assert seen["codes"] > codes


def test_the_sound_jobs(tmp_path: Path) -> None:
    """Before any damage every job is read, and each of its numbers is as the second reader has it."""
    for number, files in enumerate(JOBS):
        write(tmp_path / str(number), files)
        assert SecondReader(read_job(tmp_path / str(number)), files).compare() > 30


# --- the grammar of numbers ------------------------------------------------------------------------------------------


def numbers(rng: Random, count: int, unit: str) -> list[str]:
    """Texts that are numbers, nearly numbers, or nothing of the kind, many of them walls in `unit`."""
    found = [cell for cell in NASTY_CELLS if cell.isprintable()]
    while len(found) < count:
        digits = f"{rng.choice((0.0618, 1.57, 61.8, 1570, 618)) * rng.uniform(0.9, 1.1):.{rng.randrange(10)}f}"
        text = digits if rng.random() < 0.6 else digits.replace(".", ",")
        for _ in range(rng.choice((0, 0, 1, 1, 2))):
            place = rng.randrange(len(text) + 1)
            text = text[:place] + rng.choice("0123456789.,+-eE _'nx\u00a0\u0665") + text[place + rng.randrange(2) :]
        found.append(text + rng.choice(("", "", *ENDINGS)))
    return [text for text in found if text.strip()]  # an empty cell is a shell not yet measured


@pytest.mark.parametrize(("separator", "comma"), [(",", False), (";", True), ("\t", True)])
@pytest.mark.parametrize(("unit", "header"), [("in", ""), ("mm", ""), ("in", "mm"), ("mm", "thou")])
def test_every_number_is_read_as_the_grammar_has_it(
    tmp_path: Path, separator: str, comma: bool, unit: str, header: str
) -> None:
    """Of hundreds of texts just those are refused that are no numbers or no walls; the others have just that length.

    A wall is 0.2 to 25 mm.
    """
    texts = numbers(Random(f"{separator}{unit}{header}"), 700, unit)
    wanted = [length(text, header or unit, unit, comma=comma) for text in texts]
    good = [nm is not None and 200_000 <= nm <= 25_000_000 for nm in wanted]
    assert 50 < sum(good) < 600

    def shells(rows: list[str]) -> bytes:
        lines = [("shell", "kind", "half", f"wall [{header}]" if header else "wall")]
        lines += [(f"s{i}", "rod", "either", '"' + text.replace('"', '""') + '"') for i, text in enumerate(rows)]
        return "".join(separator.join(line) + "\n" for line in lines).encode("utf-8", "surrogatepass")

    job = f'unit = "{unit}"\n[fit.rod]\ntarget = "0.05 mm"\n'
    positions = "position,kind,journal,housing_bore\nR1,rod,46.1 mm,49.3 mm\n"
    with pytest.raises(InputError) as caught:
        read_job(write_job(tmp_path, job, positions, shells(texts)))
    refused = {p.row: p.code for p in caught.value.problems}
    assert all(p.column == "wall" for p in caught.value.problems)
    for row, (text, nm, fine) in enumerate(zip(texts, wanted, good, strict=True), 2):
        if len(text.strip()) > 1_000:  # no reading; refused unread, so that a hostile cell costs nothing
            assert refused[row] == "not-a-length"
        elif fine:
            assert row not in refused, text
        elif nm is None:
            assert refused[row] in ("not-a-length", "empty-cell"), text
        else:
            assert refused[row] in ("implausible-length", "not-positive"), text
    kept = [text for row, text in enumerate(texts, 2) if row not in refused]
    walls = [s.wall_nm for s in read_job(write_job(tmp_path, job, positions, shells(kept))).shells]
    assert walls == [length(text, header or unit, unit, comma=comma) for text in kept]


# --- what was found once ---------------------------------------------------------------------------------------------


def test_a_unit_in_capitals_of_another_alphabet(tmp_path: Path) -> None:
    """The Greek capital that is the capital of a micro sign is a unit like any other, even as the wrong unit."""
    shells = SHELLS.replace("0.0619", "1570 \u039cM")
    assert mistakes(write_job(tmp_path, shells=shells)) == []
    assert "is 90 mm" in mistakes(write_job(tmp_path, shells=SHELLS.replace("0.0619", "90000 \u039cM")))[0]


@pytest.mark.parametrize("pattern", ["*/" * 2_000 + "*.csv", "**/" * 200 + "*.csv", "[" * 40_000 + ".csv"])
def test_globs_without_end(tmp_path: Path, pattern: str) -> None:
    """A glob that would take for ever is refused, and never followed."""
    (told,) = mistakes(write_job(tmp_path, JOB + f'[sources]\nshells = ["{pattern}"]\n'))
    assert told.startswith("job.toml:9: sources.shells: ") and "write a shorter glob" in told


def test_a_key_without_end(tmp_path: Path) -> None:
    """A key of thousands of parts is refused before it is read, and reported with its row."""
    for line in ("a." * 50_000 + "a = 1", "[" + "a . " * 50_000 + "a]", "'a'." * 60 + '"b" = 1'):
        assert mistakes(write_job(tmp_path, JOB + "\n" + line + "\n")) == [
            "job.toml:9: holds a key with more than 50 dots in it; write keys as the documents show them"
        ]


def test_a_key_too_long_to_be_shown(tmp_path: Path) -> None:
    """The beginning of a very long key is shown, at once."""
    (told,) = mistakes(write_job(tmp_path, JOB + "a" * 1_000_000 + " = 1\n"))
    assert told.startswith('job.toml:8: fit.rod."aaa') and len(told) < 150


def test_rows_of_keys_behind_long_lists(tmp_path: Path) -> None:
    """The row of a key is found at once behind lists and texts of many lines, whatever these hold."""
    long = "match = [ # [ ]\n" + '  "[#", # {\n' * 20_000 + "]\n"
    texts = 'thick_half = """\n[x\\"]\n""""" # ]\nlimits_at = \'\'\'\n{"\n\'\'\'\n'
    told = mistakes(write_job(tmp_path, JOB + "[rules]\n" + long + texts + "guard = -1\n"))
    rows = [line.split(": ")[:2] for line in told]
    assert rows == [
        ["job.toml:9", "rules.match"],
        ["job.toml:20011", "rules.thick_half"],
        ["job.toml:20014", "rules.limits_at"],
        ["job.toml:20017", "rules.guard"],
    ]


def test_lists_just_not_too_deep(tmp_path: Path) -> None:
    """However deeply lists are nested, they are reported: also at the depth where the first reading of job.toml
    still succeeds and looking up the row does not."""
    for depth in range(250, 400):
        assert mistakes(write_job(tmp_path, JOB + "x = " + "[" * depth + "]" * depth + "\n"))


def test_digits_without_end(tmp_path: Path) -> None:
    """A line of job.toml with far too many digits is refused at once."""
    (told,) = mistakes(write_job(tmp_path, "x = 0" + "9" * 200_000 + "!\n"))
    assert told.startswith("job.toml:1: is not valid TOML")


def test_blanks_within_a_header(tmp_path: Path) -> None:
    """A header with very many blanks in it is read at once, and a bracket left open names no unit."""
    told = mistakes(write_job(tmp_path, positions=POSITIONS.replace("kind", "kind" + " " * 100_000 + "x", 1)))
    assert len(told) == 1 and told[0].startswith("positions.csv:1: kind: the column is missing")
    for header in ("note [", "note ]", "note [mm]]", "note []x"):
        assert (
            mistakes(
                write_job(
                    tmp_path,
                    positions=POSITIONS.replace("bore", f"bore,{header}").replace("421", "421,").replace("420", "420,"),
                )
            )
            == []
        )


def test_gauges_in_a_long_circle(tmp_path: Path) -> None:
    """A circle of a thousand gauges is found at once and reported in one line."""
    gauges = "".join(f"[gauge.g{i}]\nset_with = 'g{(i + 1) % 1_000}'\n" for i in range(1_000))
    assert mistakes(write_job(tmp_path, JOB + gauges)) == [
        "job.toml:9: gauge.g0.set_with: goes round in a circle (g0 with g1 with g2 with g3 with g4 with g5 with "
        "and so on); correct one of them"
    ]


def test_a_ratio_beyond_measure(tmp_path: Path) -> None:
    """A target_ratio above 1 is not a clearance, and is reported without its thousand digits."""
    for ratio in ("1e999", "1.01", "9" * 900):
        (told,) = mistakes(write_job(tmp_path, JOB.replace("target = 0.0022", f"target_ratio = {ratio}")))
        assert told.startswith("job.toml:5: fit.rod.target_ratio: `") and "is above 1; " in told and len(told) < 200


def test_paths_that_do_not_fit_a_line(tmp_path: Path) -> None:
    """A path is shown so that a message stays one line of moderate length."""
    for path in ("a\\nb.csv", "\\u202eb.csv", "a" * 5_000 + ".csv"):
        (told,) = mistakes(write_job(tmp_path, JOB + f'[sources]\npositions = "{path}"\n'))
        assert told.isprintable() and len(told) < 500


def test_names_that_do_not_fit_a_line(tmp_path: Path) -> None:
    """Names are shown shortened and without what cannot be seen, wherever a message speaks of them."""
    job = JOB + '[drawing."a\\nb"]\nwall = "1..2"\n' + "".join(f"[fit.k{i}]\ntarget = 1\n" for i in range(500))
    for line in mistakes(write_job(tmp_path / "a", job, shells=SHELLS.replace("rod", "", 1))):
        assert line.isprintable() and len(line) < 300
    log = "item,feature,station,angle,reading\nR2,journal,,,1.8161\n"
    job, positions = JOB + '[sources]\nreadings = "long.csv"\n', "position,kind\nR\u202e,rod\n"
    told = mistakes(write_job(tmp_path / "b", job, positions, long_DOT_csv=log))
    assert told[-1] == "long.csv:2: item: there is no position `R2`; the nearest is `R?`"


def sheet(inside: bytes, head: bytes = b"") -> bytes:
    """A workbook of shells with this much more XML at the end of its rows."""
    parts = unpacked(workbook(ROWS))
    name = "xl/worksheets/sheet1.xml"
    parts[name] = head + parts[name].replace(b"</sheetData>", inside + b"</sheetData>")
    return packed(parts)


@pytest.mark.parametrize(
    ("inside", "words"),
    [
        (b" " * 200_000_000, "unpacks to 200 MB, far more than a table does; save the table as .csv"),
        (b"<row/>" * 10_000_000, "unpacks to 60 MB"),
        (b'<row><c r="XFD1"><v>1</v></c></row>' * 20_000, "has cells far from its table, up to row 6"),
        (b'<row r="999999999"><c r="A1"><v>1</v></c></row>', "has cells far from its table, up to row 1048577;"),
        (b'<row r="3"><c r="A3"><v>1</v></c></row>', "has rows or cells out of order, or two in one place; "),
        (b'<row r="2"><c r="A2"><v>1</v></c></row>', "has rows or cells out of order"),
        (b'<row r="4"><c r="A5"><v>1</v></c></row>', "has rows or cells out of order"),
        (b'<row r="4"><c r="B4"><v>1</v></c><c r="A4"><v>1</v></c></row>', "has rows or cells out of order"),
        (b'<row r="4"><c r="A4"><v>1</v></c><c r="A4"><v>2</v></c></row>', "has rows or cells out of order"),
        (b'<row r="4"><c r="A4"><v>' + b"9" * 5_000 + b"</v></c></row>", "(ValueError)"),
    ],
)
def test_sheets_that_blow_up_or_lose_cells(tmp_path: Path, inside: bytes, words: str) -> None:
    """A small workbook that takes very much time or memory is refused, and so is one that would lose cells."""
    put(tmp_path / "shells/box.xlsx", sheet(inside))
    (told,) = mistakes(write_job(tmp_path, XLSX_JOB, shells=None))
    assert told.startswith("shells/box.xlsx: ") and words in told


def test_entities_that_multiply(tmp_path: Path) -> None:
    """Entities of entities are refused before they fill the memory."""
    put(tmp_path / "shells/box.xlsx", sheet(b'<row r="4"><c r="A4" t="str"><v>&j;</v></c></row>', LAUGHS))
    (told,) = mistakes(write_job(tmp_path, XLSX_JOB, shells=None))
    assert told.startswith("shells/box.xlsx: cannot be read as an .xlsx workbook (ParseError)")


def test_a_sheet_with_cells_far_apart(tmp_path: Path) -> None:
    """A single cell in the last row or the last column of a sheet is reported with its row."""
    put(tmp_path / "shells/box.xlsx", sheet(b'<row r="1048576"><c r="A1048576" t="str"><v>x</v></c></row>'))
    told = mistakes(write_job(tmp_path, XLSX_JOB, shells=None))
    assert told and all(line.startswith("shells/box.xlsx:1048576: ") for line in told)
    put(tmp_path / "shells/box.xlsx", sheet(b'<row r="4"><c r="XFD4"><v>1</v></c></row>'))
    (told_of_column,) = mistakes(write_job(tmp_path, XLSX_JOB, shells=None))
    assert told_of_column.startswith("shells/box.xlsx:4: a cell is beyond the last column")


@pytest.mark.filterwarnings("default")
def test_a_date_that_no_calendar_has(tmp_path: Path, recwarn: pytest.WarningsRecorder) -> None:
    """A number far beyond every date in a cell that shows dates is reported as a mistake of the file, not as Python's
    warning."""
    parts = unpacked(workbook([*ROWS, ["03", "rod", "either", date(2024, 1, 2)]]))
    name = "xl/worksheets/sheet1.xml"
    assert b"<v>45293</v>" in parts[name]
    parts[name] = parts[name].replace(b"<v>45293</v>", b"<v>99999999999</v>")
    put(tmp_path / "shells/box.xlsx", packed(parts))
    (told,) = mistakes(write_job(tmp_path, XLSX_JOB, shells=None))
    assert told == "shells/box.xlsx:4: wall: the cell shows an error; correct its formula or type the value"
    assert not recwarn.list


@pytest.mark.parametrize("chunk", range(1, 30))
def test_a_sheet_read_in_chunks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, chunk: int) -> None:
    """Wherever a large sheet is cut to be looked through, its formulas are found and its cells counted once."""
    monkeypatch.setattr("fitmatch.intake.tables.workbook._CHUNK", chunk)
    put(tmp_path / "shells/box.xlsx", workbook([*ROWS, ["03", "rod", "either", "=1+1"]]))
    assert mistakes(write_job(tmp_path, XLSX_JOB, shells=None)) == [
        "shells/box.xlsx:4: wall: the formula's result was not saved; let the workbook calculate and save it again"
    ]
