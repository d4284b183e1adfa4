"""Cells: names, numbers and words, each checked for what its column can hold."""

import sys
from pathlib import Path
from unicodedata import normalize

import pytest
from made.intake_jobs import JOB, mistakes, write_job

from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import read_job
from fitmatch.names import FORMULA, guarded
from fitmatch.problems import InputError

METRIC = 'unit = "mm"\n[fit.rod]\ntarget = 0.05\nmin = 0.03\nmax = 0.07\n'


def of_position(tmp_path: Path, column: str, cell: str, job: str = JOB) -> list[str]:
    """The mistakes of one position whose cell in `column` is `cell`, without their place."""
    cells = {"position": "R1", "kind": "rod", "journal": "1.8162 in", "housing_bore": "1.9421 in", column: cell}
    positions = f"{';'.join(cells)}\n{';'.join(cells.values())}\n"
    shells = "shell;kind;half;wall\n01;rod;upper;0.0618 in\n"
    return without_place(mistakes(write_job(tmp_path, job, positions, shells)), f"positions.csv:2: {column}: ")


def of_shell(tmp_path: Path, column: str, cell: str, job: str = JOB, **others: str) -> list[str]:
    """The mistakes of one shell whose cell in `column` is `cell`, without their place."""
    cells = {"shell": "01", "kind": "rod", "half": "upper", "wall": "0.0618 in", **others, column: cell}
    shells = f"{';'.join(cells)}\n{';'.join(cells.values())}\n"
    positions = "position;kind;journal;housing_bore\nR1;rod;1.8162 in;1.9421 in\n"
    return without_place(mistakes(write_job(tmp_path, job, positions, shells)), f"shells/box-1.csv:2: {column}: ")


def without_place(found: list[str], place: str) -> list[str]:
    assert all(mistake.startswith(place) for mistake in found), found
    return [mistake.removeprefix(place) for mistake in found]


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("abc", "`abc` is not a number"),
        ("NaN", "`NaN` is not a number"),
        ("inf", "`inf` is not a number"),
        ("-inf", "`-inf` is not a number"),
        ("1.8e1000", "`1.8e1000` has an exponent far out of range"),
        ("1e999", "is more than ten kilometres, and a journal is 5 mm to 2 m"),
        ("1e-999", "`1e-999` is less than half a nanometre; a journal is 5 mm to 2 m"),
        ("0", "`0` is not more than zero; a journal is 5 mm to 2 m"),
        ("-1.8162", "`-1.8162` is not more than zero"),
        ("1.8162 inch", "unknown unit `inch`"),
        ("1816 mil", "`mil` means 0.001 in to some and 1 mm to others; write thou or mm"),
        ("1816.2", "`1816.2` is 46131.48 mm, and a journal is 5 mm to 2 m; if another unit was meant, write "),
        ("1.8.162", "is not a number"),
        ("1 816", "`1 816`"),
        ("9" * 1_500, "is 1500 characters long"),
        ("1.8162\u200b", "unknown unit `?`"),
    ],
)
def test_readings_that_are_no_lengths(tmp_path: Path, cell: str, words: str) -> None:
    """A reading that is no plausible length is refused with what was read and what to do."""
    (mistake,) = of_position(tmp_path, "journal", cell)
    assert words in mistake
    assert "; " in mistake


@pytest.mark.parametrize(
    ("column", "job", "cell", "meant"),
    [
        ("journal", METRIC, "1.8162", "`1.8162 in`"),
        ("housing_bore", METRIC, "1.9421 mm", "`1.9421 in`"),
        ("housing_bore", JOB, "1942.1", "`1942.1 mm` or `1942.1 thou`"),
        ("target", METRIC, "2.2", "`2.2 um` or `2.2 thou`"),
        ("min", JOB, "0.045", None),  # 1.1 mm, which a clearance may be
        ("max", METRIC, "50", "`50 um` or `50 thou`"),
        ("seating", JOB, "0.02", "`0.02 mm`, `0.02 um` or `0.02 thou`"),
    ],
)
def test_units_that_slipped(tmp_path: Path, column: str, job: str, cell: str, meant: str | None) -> None:
    """A length absurd for its column comes with the units that would make sense of its digits."""
    found = of_position(tmp_path, column, cell, job)
    if meant is None:
        assert all("another unit" not in mistake for mistake in found)
    else:
        (mistake,) = found
        assert mistake.endswith(f"; if another unit was meant, write {meant}")


@pytest.mark.parametrize(
    ("job", "cell", "words"),
    [
        (
            JOB,
            "1.5698",
            "`1.5698` is 39.87292 mm, and a wall is 0.2 to 25 mm; if another unit was meant, write `1.5698 mm`",
        ),
        (
            METRIC,
            "0.0618",
            "`0.0618` is 61.8 um, and a wall is 0.2 to 25 mm; if another unit was meant, write `0.0618 in`",
        ),
        (METRIC, "61.8", "`61.8` is 61.8 mm, and a wall is 0.2 to 25 mm; if another unit was meant, write `61.8 thou`"),
        (JOB, "0", "`0` is not more than zero; a wall is 0.2 to 25 mm"),
        (JOB, "1000000", "check the digits and the unit"),
        (METRIC, "618 tenths", "tenths are 0.0001 in and allowed in inch jobs only"),
        (JOB, "n/a", "`n/a` is not a number"),
    ],
)
def test_walls(tmp_path: Path, job: str, cell: str, words: str) -> None:
    """A wall is 0.2 to 25 mm."""
    (mistake,) = of_shell(tmp_path, "wall", cell, job)
    assert words in mistake


@pytest.mark.parametrize(
    ("column", "ok", "wrong"),
    [
        ("journal", "5 mm", "4.999999 mm"),
        ("housing_bore", "2000 mm", "2000.000001 mm"),
        ("target", "71.12 um", "2.000001 mm"),
        ("min", "0", "-1 um"),
        ("max", "2 mm", "2.000001 mm"),
        ("seating", "-200 um", "-200.001 um"),
        ("seating", "0.2 mm", "0.200001 mm"),
    ],
)
def test_bounds_of_positions(tmp_path: Path, column: str, ok: str, wrong: str) -> None:
    """The ends of a plausible range are inside, a nanometre beyond is not."""
    assert of_position(tmp_path / "ok", column, ok) == []
    (mistake,) = of_position(tmp_path / "wrong", column, wrong)
    assert "another unit" in mistake or "check the digits" in mistake or "below zero" in mistake


def test_bounds_of_shells(tmp_path: Path) -> None:
    """Walls of 0.2 and 25 mm are inside; a coating must be less than half its wall."""
    assert of_shell(tmp_path, "wall", "0.2 mm") == of_shell(tmp_path, "wall", "25 mm") == []
    assert len(of_shell(tmp_path, "wall", "0.199999 mm") + of_shell(tmp_path, "wall", "25.000001 mm")) == 2
    assert of_shell(tmp_path, "coating", "0") == of_shell(tmp_path, "coating", "0.0308999") == []
    assert of_shell(tmp_path, "coating", "0.0309") == [
        "0.0309 in is half the wall 0.0618 in or more; write the thickness of the coating on the running face alone"
    ]
    assert of_shell(tmp_path, "coating", "-0.0001") == [
        "`-0.0001` is below zero; a coating is 0 to less than half the wall"
    ]
    assert "another unit was meant" in of_shell(tmp_path, "coating", "0.6", wall="")[0]


@pytest.mark.parametrize(
    ("cell", "words"),
    [
        ("", "is empty; name the position"),
        ("   ", "is empty; name the position"),
        ("R/1", "`R/1` holds a `/`, which separates box and shell in a lock; use another character"),
        ('"R\n1"', "`R?1` holds an invisible character (shown as ?); type the name again"),
        ("R\u200b1", "`R?1` holds an invisible character"),
        ("R" * 201, "is 201 characters long; write a name of at most 200"),
        ("=R1", "`=R1` begins with `=`, which a spreadsheet takes for a formula; begin it with a letter or a digit"),
        ("+1", "`+1` begins with `+`"),
        ("-1", "`-1` begins with `-`"),
        ("@sum(a1)", "`@sum(a1)` begins with `@`"),
        ("\uff1dcmd", "`\uff1dcmd` begins with `\uff1d`, which a spreadsheet takes for a formula"),
        ("\uff0b1", "`\uff0b1` begins with `\uff0b`"),
        ("\uff0d1", "`\uff0d1` begins with `\uff0d`"),
        ("\uff20sum", "`\uff20sum` begins with `\uff20`"),
    ],
)
def test_names(tmp_path: Path, cell: str, words: str) -> None:
    """Names of positions, shells and boxes hold no slash, nothing that cannot be seen and no formula, and are not
    empty."""
    (of_a_position,) = of_position(tmp_path, "position", cell)
    assert words in of_a_position
    (of_a_shell,) = of_shell(tmp_path, "shell", cell)
    assert words.replace("position", "shell") in of_a_shell
    boxes = of_shell(tmp_path, "box", cell)
    assert boxes == [] if not cell.strip() else words in boxes[0]


def test_every_form_of_the_four_characters_begins_a_formula() -> None:
    """Of all characters just those whose compatibility form begins with one of the four, in cells that are written
    too."""
    forms = {c for c in map(chr, range(sys.maxunicode + 1)) if normalize("NFKC", c)[:1] in {"=", "+", "-", "@"}}
    assert forms == FORMULA
    assert all(guarded(f"{c}cmd") == f"'{c}cmd" for c in forms) and guarded("-5") == "-5" and guarded("cmd") == "cmd"


def test_names_of_any_writing(tmp_path: Path) -> None:
    """Letters of any alphabet, marks and inner spaces are fine, and case tells names apart."""
    assert of_position(tmp_path, "position", "Pleuel Nº 1 (ведущий)") == []
    shells = "shell,kind,half,wall\na,rod,upper,0.0618\nA,rod,lower,0.0618\n"
    assert len(read_job(write_job(tmp_path, shells=shells)).shells) == 2


ONE, OTHER = "\u00e9", "e\u0301"  # look the same: an accent in its letter, and behind it
CODED = "where the same letters are coded in another way"


def test_names_that_look_the_same(tmp_path: Path) -> None:
    """Names of positions, shells of a box, boxes and kinds differ in more than how their letters are coded; each
    message names both rows."""
    positions = f"position,kind,journal,housing_bore\nR{ONE},rod,1.8162,1.9421\nR{OTHER},rod,1.8162,1.9421\n"
    rows = (f"{ONE},rod,upper,0.0618,", f"{OTHER},rod,lower,0.0618,", f"1,rod,upper,0.0618,C{OTHER}")
    shells = "shell,kind,half,wall,box\n" + "\n".join((*rows, f"2,rod,upper,0.0618,C{ONE}")) + "\n"
    job = JOB + f'[fit."{ONE}"]\ntarget = 0.002\n[fit."{OTHER}"]\ntarget = 0.002\n'
    assert mistakes(write_job(tmp_path, job, positions, shells)) == [
        f'job.toml:10: fit."{OTHER}": `{OTHER}` stands above already, {CODED}; keep one of them',
        f"positions.csv:3: position: `R{OTHER}` is already in row 2, {CODED}; give each position its own name",
        f"shells/box-1.csv:3: shell: `{OTHER}` is already in box `box-1` (shells/box-1.csv:2), {CODED}; give each "
        "shell of a box its own name",
        f"shells/box-1.csv:5: box: `C{ONE}` is already in shells/box-1.csv:4, {CODED}; write both alike, or give one "
        "another name",
    ]


def test_a_name_coded_otherwise_than_what_it_names(tmp_path: Path) -> None:
    """Locks, items of readings, columns, kinds and gauges are not found by a name that only looks the same: the message
    says so, and where to copy the name from."""
    positions = "position,kind,journal,housing_bore,upper,gauge\n"
    positions += f"R{ONE},rod,,,{OTHER},\nR2,rod,,,box-1/{OTHER},\nR3,k{OTHER},,,,\nR4,rod,1.8162,,,g{OTHER}\n"
    shells = f"shell,kind,half,wall,x{ONE}\n{ONE},rod,upper,,\n2,rod,lower,,\n"
    readings = f"item,feature,station,angle,reading\nR{OTHER},journal,1,0,1.8162\n{OTHER},wall,1,0,0.0618\n"
    job = f'{JOB}[fit."k{ONE}"]\ntarget = 0.002\n[gauge."g{ONE}"]\n[rules]\nmatch = ["x{OTHER}"]\n'
    copy = f", {CODED}; copy the name from there"
    assert mistakes(write_job(tmp_path, job, positions, shells, readings_DOT_csv=readings)) == [
        f"job.toml:12: rules.match: no file has a column `x{OTHER}`, though a header does{copy}",
        f"positions.csv:2: upper: there is no shell `{OTHER}`, though shells/box-1.csv:2 has one{copy}",
        f"positions.csv:3: upper: there is no shell `box-1/{OTHER}`, though shells/box-1.csv:2 has one{copy}",
        f'positions.csv:4: kind: there is no [fit."k{OTHER}"], though job.toml has one{copy}',
        f'positions.csv:5: gauge: there is no [gauge."g{OTHER}"], though job.toml has one{copy}',
        f"readings.csv:2: item: there is no position `R{OTHER}`, though the positions file has one{copy}",
        f"readings.csv:3: item: there is no shell `{OTHER}`, though shells/box-1.csv:2 has one{copy}",
    ]


def test_names_that_look_the_same_in_two_jobs(tmp_path: Path) -> None:
    """Jobs that share their shells code the name of one shell in one way."""
    folders = []
    for name, spelt in (("a", ONE), ("b", OTHER)):
        shells = f"shell,kind,half,wall,family\n{spelt},rod,upper,0.0618,n\n2,rod,lower,0.0618,n\n"
        folders.append(write_job(tmp_path / name, JOB + 'family = ["n"]\n', shells=shells))
    with pytest.raises(InputError) as refused:
        read_jobs(folders)
    assert [str(problem) for problem in refused.value.problems] == [
        f"b/shells/box-1.csv:2: shell: shell `box-1/{OTHER}` is in another job already, {CODED}; write both alike or, "
        "if they are two shells, rename the box of one"
    ]


@pytest.mark.parametrize("name", ["=1", "-a"])
def test_kinds_and_box_files_are_no_formulas(tmp_path: Path, name: str) -> None:
    """The same of a kind in job.toml and of a box that is named by its file."""
    shells = "shell,kind,half,wall\n01,rod,upper,0.0618\n"
    job = JOB + f'[fit."{name}"]\ntarget = 0.002\n'
    begins = f"`{name}` begins with `{name[0]}`, which a spreadsheet takes for a formula; begin it with a letter or a "
    assert mistakes(write_job(tmp_path, job, **{f"shells/{name}.csv": shells})) == [
        f"job.toml:8: fit.{name if name == '-a' else chr(34) + name + chr(34)}: {begins}digit",
        f"shells/{name}.csv: as the name of a box {begins}digit",
    ]


def test_a_box_named_by_its_file(tmp_path: Path) -> None:
    """A file's name is its box's name and must do as one."""
    shells = "shell,kind,half,wall\n01,rod,upper,0.0618\n"
    folder = write_job(tmp_path, **{"shells/box\u200b.csv": shells})
    assert mistakes(folder) == [
        "shells/box?.csv: as the name of a box `box?` holds an invisible character (shown as ?); type the name again"
    ]


def test_kinds(tmp_path: Path) -> None:
    """A kind needs its [fit.KIND], written just so."""
    told = "there is no [fit.Rod]; write the kind with the capitals of its table, `rod`"
    assert of_position(tmp_path, "kind", "Rod") == of_shell(tmp_path, "kind", "Rod") == [told]
    empty = "is empty; write one of the kinds with a [fit.KIND] table: rod"
    assert of_position(tmp_path, "kind", " ") == of_shell(tmp_path, "kind", " ") == [empty]


def test_halves(tmp_path: Path) -> None:
    """A half is upper, lower or either, in capitals or not."""
    assert of_shell(tmp_path, "half", "Either") == []
    assert of_shell(tmp_path, "half", "top") == ["`top` is not a valid half; write upper, lower or either"]
    assert of_shell(tmp_path, "half", "") == ["is empty; write upper, lower or either"]


def test_how_a_wall_was_measured(tmp_path: Path) -> None:
    """The column `measured` holds coated, bare or nothing."""
    assert of_shell(tmp_path, "measured", "Bare") == of_shell(tmp_path, "measured", "\u00a0") == []
    assert of_shell(tmp_path, "measured", "wet") == [
        ("`wet` is not allowed here; write coated or bare, or leave it empty")
    ]


@pytest.mark.parametrize("cell", ["0", "-1", "1.5", "1.0", "one", "1e0", "²", "٣", "9999999"])
def test_pins(tmp_path: Path, cell: str) -> None:
    """A pin is counted from the front: 1, 2, 3."""
    assert of_position(tmp_path, "pin", cell) == [
        f"`{cell}` is not a pin number; count from the front: 1, 2, 3 and so on"
    ]
    assert of_position(tmp_path, "pin", " 12 ") == []


def test_every_reading_is_checked(tmp_path: Path) -> None:
    """Each numbered reading is a cell of its own; with one at fault, nothing is said of the others' mean."""
    positions = (
        "position,kind,journal_1,journal_2,journal_3,housing_bore\n"
        "R1,rod,x,1.8162,0.1,1.9421\nR2,rod,1.8162,2.8,y,1.9421\n"
    )
    shells = "shell,kind,half,wall_1,wall_2\n01,rod,upper,0.0618,61.8\n02,rod,upper,,x\n"
    assert [m.partition(" `")[0] for m in mistakes(write_job(tmp_path, positions=positions, shells=shells))] == [
        "positions.csv:2: journal_1:",
        "positions.csv:2: journal_3:",
        "positions.csv:3: journal_3:",
        "shells/box-1.csv:2: wall_2:",
        "shells/box-1.csv:3: wall_2:",
    ]


def test_a_mistake_is_reported_in_every_row_it_stands_in(tmp_path: Path) -> None:
    """What was refused once is refused again, and what was accepted once stays accepted."""
    shells = "shell,kind,half,wall\n" + "".join(
        f"{n},{kind},{half},{wall}\n"
        for n, (kind, half, wall) in enumerate([("rods", "up", "61.8"), ("rod", "upper", "0.0618")] * 3)
    )
    assert [m.split(": ")[:2] for m in mistakes(write_job(tmp_path, shells=shells))] == [
        [f"shells/box-1.csv:{row}", column] for row in (2, 4, 6) for column in ("kind", "half", "wall")
    ]
