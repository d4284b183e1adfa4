"""What is easily overlooked or mistyped at a bench: boxes that are not read, copied boxes, idle columns, typing
errors."""

from pathlib import Path

import pytest
from made.intake_jobs import JOB, OTHER_SHELLS, POSITIONS, SHELLS, mistakes, put, workbook, write_job

from fitmatch.intake.reading import read_job
from fitmatch.problems import InputError

SOURCES = JOB + "[sources]\n"


def warnings(folder: Path) -> list[str]:
    return list(read_job(folder).warnings)


# --- files and boxes -------------------------------------------------------------------------------------------------


def test_a_box_that_no_glob_reads(tmp_path: Path) -> None:
    """A table beside the shell files that is not read is named, with the line that would read it; hidden files, locks
    of a spreadsheet program and folders are not."""
    folder = write_job(
        tmp_path, shells__mains_C_DOT_xlsx="x", shells__rods_D_DOT_CSV=OTHER_SHELLS, shells__old__a_DOT_csv="x"
    )
    put(folder / "shells/.hidden.xlsx", "x")
    put(folder / "shells/~$mains-C.xlsx", "x")
    assert warnings(folder) == [
        "shells/mains_C.xlsx and shells/rods_D.CSV are not read; to use them write "
        'shells = ["shells/*.csv", "shells/*.xlsx", "shells/*.CSV"] in [sources] of job.toml'
    ]
    listed = SOURCES + 'shells = ["shells/*.csv", "shells/*.CSV", "shells/*.xlsx"]\n'
    put(folder / "job.toml", listed)
    rows = [row.split(",") for row in OTHER_SHELLS.replace("0.0619", "0.0617").splitlines()]
    put(folder / "shells/mains_C.xlsx", workbook(rows))
    assert not any("not read" in warning for warning in warnings(folder))


@pytest.mark.parametrize("ending", ["xls", "ods", "txt"])
def test_a_box_in_a_form_that_cannot_be_read(tmp_path: Path, ending: str) -> None:
    """For a file of another form the warning says in which to save it."""
    put(write_job(tmp_path) / f"shells/mains.{ending}", "x")
    assert warnings(tmp_path) == [
        f"shells/mains.{ending} is not read; if it holds shells, save it as .csv or .xlsx, otherwise move it elsewhere"
    ]


def test_a_narrow_glob(tmp_path: Path) -> None:
    """A file left out by its name is named too and can be listed; one that is named outright wants no other."""
    narrow = SOURCES + 'shells = ["shells/box*.csv"]\n'
    assert warnings(write_job(tmp_path / "a", narrow, shells__more_DOT_csv="x")) == [
        'shells/more.csv is not read; to use it write shells = ["shells/box*.csv", "shells/more.csv"] in [sources] of '
        "job.toml"
    ]
    outright = SOURCES + 'shells = ["shells/box-1.csv"]\n'
    assert warnings(write_job(tmp_path / "b", outright, shells__more_DOT_csv="x")) == []


def test_shells_beside_the_job_file(tmp_path: Path) -> None:
    """A glob over the job folder itself does not wonder at the job's own files."""
    job = SOURCES + 'shells = ["box*.csv"]\n'
    folder = write_job(tmp_path, job, shells=None, box_DOT_csv=SHELLS, assignment_DOT_json="{}")
    assert warnings(folder) == []


def test_a_box_left_beside_the_job_file(tmp_path: Path) -> None:
    """A table of shells that lies beside positions.csv and is not read is named; other tables, hidden ones, copies of
    the positions and what is larger than any box are not."""
    folder = write_job(tmp_path / "a", rods_B_DOT_csv=OTHER_SHELLS, parts_DOT_csv="part,price\nx,1\n", x_DOT_csv="")
    put(folder / ".rods.csv", OTHER_SHELLS)
    put(folder / "positions old.csv", POSITIONS)
    put(folder / "mains.xlsx", workbook([["shell", "kind", "half", "wall"], ["1", "main", "upper", 0.06]]))
    put(folder / "broken.xlsx", "x")
    put(folder / "large.csv", OTHER_SHELLS + 1_000_000 * "\n")
    assert warnings(folder) == [
        'mains.xlsx and rods_B.csv are not read; to use them write shells = ["shells/*.csv", "mains.xlsx", '
        '"rods_B.csv"] in [sources] of job.toml'
    ]
    folder = write_job(tmp_path / "b", shells=None, rods_DOT_csv=SHELLS)
    with pytest.raises(InputError) as caught:
        read_job(folder)
    assert [w.split(";")[0] for w in caught.value.warnings] == ["rods.csv is not read"]


def test_a_shared_shelf_may_hold_more(tmp_path: Path) -> None:
    """Of a shared folder only files count that the glob misses by their ending alone."""
    folder = write_job(tmp_path / "job", SOURCES + 'shared = ["../shelf/A*.csv"]\n')
    for name in ("A-1.csv", "A-2.xlsx", "B-1.csv", "B-2.xlsx"):
        put(tmp_path / "shelf" / name, SHELLS.replace("0.0618", "0.0616"))
    assert warnings(folder) == [
        '../shelf/A-2.xlsx is not read; to use it write shared = ["../shelf/A*.csv", "../shelf/*.xlsx"] in [sources] '
        "of job.toml"
    ]


@pytest.mark.parametrize(
    ("name", "todo"),
    [
        ("positions.xlsx", 'write positions = "positions.xlsx" in [sources] of job.toml'),
        ("positions.CSV", 'write positions = "positions.CSV" in [sources] of job.toml'),
        ("positions.ods", "save it as .csv or .xlsx and name it in [sources]"),
    ],
)
def test_positions_under_another_ending(tmp_path: Path, name: str, todo: str) -> None:
    """Where positions.csv is missing, the file that is there in its place is named."""
    put(write_job(tmp_path, positions=None) / name, "x")
    assert mistakes(tmp_path) == [f"positions.csv: the file is missing, though {name} is there; {todo}"]


# --- columns ---------------------------------------------------------------------------------------------------------


def test_columns_that_are_not_used(tmp_path: Path) -> None:
    """Columns that are not used are named once per file; a note, and a column with nothing in it, are not."""
    positions = (
        "position,kind,journal,housing_bore,by,note,spare\nR1,rod,1.8162,1.9421,,x,\nR2,rod,1.8162,1.9421,me,,\n"
    )
    shells = "shell,kind,half,wall,On Hold,colour\n1,rod,upper,0.0618,dropped,red\n2,rod,lower,0.0618,,\n"
    assert warnings(write_job(tmp_path, positions=positions, shells=shells)) == [
        "positions.csv: column `by` is not used",
        "shells/box-1.csv: columns `on hold` and `colour` are not used",
    ]


def test_a_no_where_any_text_counts(tmp_path: Path) -> None:
    """A shell is held, and a reading confirmed, by any text, so that a warning tells of cells that say no; a no in
    `accept` is refused, since it would let a housing bore pass."""
    positions = (
        "position,kind,journal,journal_confirmed,housing_bore,housing_bore_confirmed\n"
        "R1,rod,1.8162,no,1.9421,read twice\nR2,rod,1.8162,,1.9421,\n"
    )
    shells = (
        "shell,kind,half,wall,hold,wall_confirmed,copy_confirmed\n"
        "1,rod,upper,0.0618,No,,0\n2,rod,lower,0.0618,,false,\n3,rod,lower,0.0618,no,,\n4,rod,upper,0.0618,norm,,\n"
    )
    job = read_job(write_job(tmp_path / "a", positions=positions, shells=shells))
    counts = "a cell that says no counts like any other text, and"
    if_not = "empty the cell if that is not meant"
    assert job.warnings == (
        f"positions.csv:2: journal_confirmed: {counts} the reading is no longer doubted; {if_not}",
        f"shells/box-1.csv:2: copy_confirmed: {counts} the box is taken as another one than the one it reads like; "
        + if_not,
        f"shells/box-1.csv:2 (and 1 more): hold: {counts} the shell is not used; {if_not}",
        f"shells/box-1.csv:3: wall_confirmed: {counts} the reading is no longer doubted; {if_not}",
    )
    assert [shell.hold for shell in job.shells] == ["No", None, "no", "norm"]
    log = "item,feature,station,angle,reading,gauge,confirmed\nR1,journal,1,0,1.8162,,no\nR1,journal,1,90,1.8162,,N\n"
    bores = "position,kind,housing_bore\nR1,rod,1.9421\nR2,rod,1.9421\n"
    job = read_job(write_job(tmp_path / "b", positions=bores, readings_DOT_csv=log))
    assert job.warnings == (
        f"readings.csv:2 (and 1 more): confirmed: {counts} the reading is no longer doubted; {if_not}",
    )
    accepted = POSITIONS.replace("bore\n", "bore,accept\n").replace("1\n", "1,no\n").replace("20\n", "20,p. 3: 0.01\n")
    assert mistakes(write_job(tmp_path / "c", positions=accepted)) == [
        "positions.csv:2: accept: `no` is no permission; quote the engine maker's written permission, or leave the "
        "cell empty"
    ]


@pytest.mark.parametrize(
    ("typed", "column", "meant"),
    [
        ("bore", "housing_bore", "housing_bore"),
        ("Main Bore", "housing_bore", "housing_bore"),
        ("bore (mm)", "housing_bore", "housing_bore [mm]"),
        ("journal dia", "journal", "journal"),
    ],
)
def test_near_names_for_missing_columns(tmp_path: Path, typed: str, column: str, meant: str) -> None:
    """A column that people head otherwise is missing, and the message says which one may be meant."""
    told = mistakes(write_job(tmp_path, positions=POSITIONS.replace(f",{column}", f",{typed}")))
    shown = typed.lower()
    assert told == [f"positions.csv:1: {column}: the column is missing; if `{shown}` is meant, rename it to `{meant}`"]


@pytest.mark.parametrize(
    "typed", ["housing bore 1", "housing-bore_1", "Housing-Bore 1", "housingbore1", "HOUSING-BORE-1", "housing.bore.1"]
)
def test_names_parted_by_other_marks(tmp_path: Path, typed: str) -> None:
    """A numbered column whose parts are joined otherwise is told as it is written, and not as missing besides."""
    positions = POSITIONS.replace(",housing_bore", f",{typed},housing_bore_2").replace(",1.942", ",1.9421,1.942")
    assert mistakes(write_job(tmp_path, positions=positions)) == [
        f"positions.csv:1: {typed.lower()}: no such column; write `housing_bore_1`"
    ]


@pytest.mark.parametrize("number", ["1", "2", "12"])
def test_a_number_written_without_its_mark(tmp_path: Path, number: str) -> None:
    """`journal1` is a numbered reading, and not a slip for `journal`; so with bores and walls."""
    positions = f"position,kind,journal{number},housing_bore{number}\nR1,rod,1.8162,1.9421\n"
    shells = f"shell,kind,half,wall{number}\n1,rod,upper,0.0618\n"
    assert mistakes(write_job(tmp_path, positions=positions, shells=shells)) == [
        f"positions.csv:1: journal{number}: no such column; write `journal_{number}`",
        f"positions.csv:1: housing_bore{number}: no such column; write `housing_bore_{number}`",
        f"shells/box-1.csv:1: wall{number}: no such column; write `wall_{number}`",
    ]


@pytest.mark.parametrize(("typed", "meant"), [("thickness", "wall"), ("wall (in)", "wall [in]")])
def test_near_names_for_walls(tmp_path: Path, typed: str, meant: str) -> None:
    """The same for walls; a unit goes into square brackets."""
    told = mistakes(write_job(tmp_path, shells=SHELLS.replace("wall", typed)))
    assert told == [f"shells/box-1.csv:1: wall: the column is missing; if `{typed}` is meant, rename it to `{meant}`"]


def test_a_column_that_every_shell_file_lacks(tmp_path: Path) -> None:
    """It is asked for once, and one that only some files lack is asked for in each of these."""
    lacking = "shell,half,wall\n1,upper,0.0618\n"
    more = {f"shells__more_{i}_DOT_csv": lacking.replace("18", f"18{i}") for i in (1, 2)}
    assert mistakes(write_job(tmp_path / "all", shells=lacking, **more)) == [
        "shells/box-1.csv:1: kind: no shell file has this column; add it to each"
    ]
    assert mistakes(write_job(tmp_path / "some", **more)) == [
        f"shells/more_{i}.csv:1: kind: the column is missing; add it" for i in (1, 2)
    ]


@pytest.mark.parametrize(
    "above", ["Sawmill engine\n", "Sawmill engine,,,\n", "sep=;\n", "Sawmill, 3 May, second sheet\n", "\nShell\n"]
)
def test_something_above_the_header(tmp_path: Path, above: str) -> None:
    """A title, or what a spreadsheet program puts first, is one mistake, and nothing that follows from it is
    reported."""
    separated = SHELLS.replace(",", ";") if "sep" in above else SHELLS
    folder = write_job(tmp_path, JOB + '[rules]\nsame_in_bore = ["series"]\n', shells=above + separated)
    if above.strip() == "Shell":
        assert len(mistakes(folder)) > 1  # a known column: the others are missing
        return
    (told,) = mistakes(folder)
    assert told.startswith("shells/box-1.csv:1: `")
    assert "the header must be the first row that is not blank: shell, kind, half, wall" in told


# --- numbers ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        ("1.77O7", "`1.77O7` has a letter O among its digits; write the figure 0"),
        ("o.8162", "`o.8162` has a letter O among its digits; write the figure 0"),
        ("-", "`-` is not a number; leave it empty where there is none"),
        ("18162 tenth", "`18162 tenth` has an unknown unit `tenth`; write tenths: `18162 tenths`"),
        ("...", "is still to be filled in; write the figure"),
    ],
)
def test_slips_in_cells(tmp_path: Path, typed: str, told: str) -> None:
    """Usual mistakes in a reading are named."""
    assert mistakes(write_job(tmp_path, positions=POSITIONS.replace("1.8162", typed))) == [
        f"positions.csv:2: journal: {told}"
    ]


@pytest.mark.parametrize("typed", ["1,8162", "1,816", "1.8.162", "1'816"])
def test_no_workbook_has_separators(tmp_path: Path, typed: str) -> None:
    """In a workbook, where no separator could be chosen, none is spoken of."""
    rows = [row.split(",") for row in POSITIONS.splitlines()]
    rows[1][2] = typed
    put(tmp_path / "positions.xlsx", workbook(rows))
    (told,) = mistakes(write_job(tmp_path, SOURCES + 'positions = "positions.xlsx"\n', positions=None))
    assert told.startswith(f"positions.xlsx:2: journal: `{typed}` ") and "decimal" in told and ";`" not in told


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_limits_still_to_be_filled_in(tmp_path: Path, unit: str) -> None:
    """The dots of a blank job are not a typing error: the engine maker's figure is asked for, and none is suggested."""
    job = f'unit = "{unit}"\n[fit.rod]\nmin = "..."\nmax = 0.0028\n'
    told = mistakes(write_job(tmp_path, job, positions="position,kind,journal,housing_bore\nR1,rod,,\n"))
    assert told[0] == "job.toml:3: fit.rod.min: is still to be filled in; write the engine maker's figure"


@pytest.mark.parametrize(
    ("typed", "told"),
    [
        (".0012", "`.0012` is not a number in TOML; write 0.0012 with a digit before the point"),
        ("-.0012 # x", "`-.0012` is not a number in TOML; write -0.0012 with a digit before the point"),
        ("2.", "`2.` is not a number in TOML; write 2.0 with a digit after the point"),
        ("0,0012", "`0,0012` is not a number in TOML; write 0.0012 with a decimal point"),
        (
            "1.2 thou",
            '`1.2 thou` is not a number in TOML; write a number with its own unit in quotes: "1.2 thou"',
        ),
        ("0,03mm", '`0,03mm` is not a number in TOML; write a number with its own unit in quotes: "0.03 mm"'),
        ("...", "is still to be filled in; write the engine maker's figure, with a digit before the point"),
    ],
)
def test_numbers_that_toml_refuses(tmp_path: Path, typed: str, told: str) -> None:
    """Where TOML stumbles over a number, the advice is about that number."""
    (mistake,) = mistakes(write_job(tmp_path, JOB.replace("min = 0.0018", f"min = {typed}")))
    assert mistake == f"job.toml:6: {told}"
