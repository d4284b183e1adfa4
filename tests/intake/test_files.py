"""Ugly files: missing, misnamed, in the wrong encoding, ragged, quoted wrongly; and every dialect that is accepted."""

from pathlib import Path

import pytest
from made.intake_jobs import JOB, POSITIONS, SHELLS, codes, mistakes, put, workbook, write_job

from fitmatch.intake.reading import read_job
from fitmatch.problems import InputError

SOURCES = JOB + "[sources]\n"


@pytest.mark.parametrize("name", ["job.toml", "positions.csv"])
def test_an_ending_behind_the_ending(tmp_path: Path, name: str) -> None:
    """Where a file manager hides endings, `job.toml.txt` looks like job.toml: the missing file's message names it."""
    folder = write_job(tmp_path)
    (folder / name).rename(folder / f"{name}.txt")
    assert mistakes(folder)[0] == (
        f"{name}: the file is missing, though {name}.txt is there, the end of whose name a file manager may hide; "
        f"rename that one to {name}"
    )


def same_as_plain(folder: Path, plain: Path) -> None:
    one, two = read_job(folder), read_job(plain)
    assert [(p.name, p.journal, p.housing_bore) for p in one.positions] == [
        (p.name, p.journal, p.housing_bore) for p in two.positions
    ]
    assert [(s.name, s.kind, s.half, s.wall_nm) for s in one.shells] == [
        (s.name, s.kind, s.half, s.wall_nm) for s in two.shells
    ]


# --- the folder and its files ----------------------------------------------------------------------------------------


def test_a_folder_that_is_not_there(tmp_path: Path) -> None:
    """A missing folder, and a file in its place, are each one mistake with the path as it was given."""
    assert mistakes(tmp_path / "none") == [f"{tmp_path}/none: there is no such job folder; correct the path"]
    put(tmp_path / "file", "x")
    assert mistakes(tmp_path / "file") == [f"{tmp_path}/file: is a file; name the folder it is in"]


def test_an_empty_folder(tmp_path: Path) -> None:
    """Only job.toml is asked for: what else is missing depends on it."""
    assert mistakes(tmp_path) == [
        f"job.toml: the file is missing in the folder {tmp_path}; name the folder of a job, or let `fitmatch new` "
        "write one"
    ]


def test_missing_tables(tmp_path: Path) -> None:
    """A missing positions file and globs that find nothing are reported together."""
    assert mistakes(write_job(tmp_path, positions=None, shells=None)) == [
        "job.toml: sources.shells: no file matches `shells/*.csv`; put shell files there or correct the glob",
        "positions.csv: the file is missing; write it or correct the path to it",
    ]


def test_each_glob_that_finds_nothing(tmp_path: Path) -> None:
    """A written glob must find something, whatever the others find."""
    folder = write_job(
        tmp_path, SOURCES + 'shells = ["shells/*.csv", "more/*.csv", "one.csv"]\nshared = ["../nowhere/*.csv"]\n'
    )
    assert mistakes(folder) == [
        "job.toml:9: sources.shells: no file matches `more/*.csv`; put shell files there or correct the glob",
        "job.toml:9: sources.shells: no file matches `one.csv`; put the file there or correct the path",
        "job.toml:10: sources.shared: no file matches `../nowhere/*.csv`; put shell files there or correct the glob",
    ]


def test_workbooks_where_csv_is_expected(tmp_path: Path) -> None:
    """When the default glob finds nothing but workbooks are there, the message says how to name them."""
    folder = write_job(tmp_path, shells=None, shells__b_DOT_xlsx="x")
    assert mistakes(folder) == [
        'job.toml: sources.shells: no file matches `shells/*.csv`, though .xlsx files are there; write "shells/*.xlsx"'
    ]


def test_no_shell_files_named(tmp_path: Path) -> None:
    """An empty list of shells needs shared files beside it."""
    assert mistakes(write_job(tmp_path, SOURCES + "shells = []\n")) == [
        'job.toml:9: sources.shells: names no shell file; write a list, such as ["shells/*.csv"]'
    ]


@pytest.mark.parametrize("pattern", ["../*.csv", "/tmp/*.csv", "shells/../../*.csv", "C:/boxes/*.csv"])
def test_paths_that_leave_the_folder(tmp_path: Path, pattern: str) -> None:
    """Only shared may leave the folder, and it is no way around to come back in later."""
    folder = write_job(tmp_path, f'{SOURCES}shells = ["{pattern}"]\npositions = "{pattern}"\n')
    assert mistakes(folder) == [
        f"job.toml:9: sources.shells: `{pattern}` leaves the job folder; only paths under `shared` may do that",
        f"job.toml:10: sources.positions: `{pattern}` leaves the job folder; only paths under `shared` may do that",
    ]


def test_a_path_through_a_parent_that_stays_inside(tmp_path: Path) -> None:
    """`shells/../shells` never leaves the folder and is read."""
    assert mistakes(write_job(tmp_path, SOURCES + 'shells = ["shells/../shells/*.csv"]\n')) == []


def test_links_that_leave_the_folder(tmp_path: Path) -> None:
    """A link out of the folder is a path that leaves it, for every file of the job and for whole folders."""
    folder = write_job(tmp_path / "job")
    outside = write_job(tmp_path / "outside", shells__box_2_DOT_csv=SHELLS)
    for name in ("job.toml", "positions.csv"):
        (folder / name).unlink()
        (folder / name).symlink_to(outside / name)
    (folder / "shells/box_2.csv").symlink_to(outside / "shells/box_2.csv")
    told = "leads out of the job folder; only paths under `shared` in [sources] may do that"
    assert mistakes(folder) == [f"job.toml: {told}", f"positions.csv: {told}", f"shells/box_2.csv: {told}"]


def test_backslashes_in_paths(tmp_path: Path) -> None:
    """Paths are written with `/` on every system."""
    assert mistakes(write_job(tmp_path, SOURCES + r"shells = ['shells\*.csv']")) == [
        r"job.toml:9: sources.shells: `shells\*.csv` is not written with `/`; write `/` between folders"
    ]


def test_wrong_endings(tmp_path: Path) -> None:
    """Tables are .csv or .xlsx, in capitals or not."""
    folder = write_job(
        tmp_path,
        SOURCES + 'shells = ["shells/*"]\npositions = "positions.txt"\n',
        shells__notes_DOT_md="x",
        shells__box_2_DOT_CSV=SHELLS,
        positions_DOT_txt=POSITIONS,
    )
    assert mistakes(folder) == [
        "positions.txt: is neither .csv nor .xlsx; save it as one of them",
        "shells/notes.md: is neither .csv nor .xlsx; save it as one of them",
    ]


def test_a_folder_in_place_of_a_file(tmp_path: Path) -> None:
    """A folder named like the positions file is said to be one."""
    folder = write_job(tmp_path, positions=None, positions_DOT_csv__x="x")
    assert mistakes(folder) == ["positions.csv: is a folder; name a file"]


def test_links_in_a_circle(tmp_path: Path) -> None:
    """A file the system cannot open is a mistake with the system's reason, never a traceback."""
    folder = write_job(tmp_path, positions=None)
    for name in ("positions.csv", "shells/box-2.csv"):
        (folder / name).symlink_to(folder / name)
    assert [m.partition(":")[0] for m in mistakes(folder)] == ["positions.csv", "shells/box-2.csv"]
    assert set(codes(folder)) <= {"unreadable-file", "missing-file"}  # which of the two depends on the system


# --- text ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["\n", "\r\n", "\r"])
@pytest.mark.parametrize("mark", ["", "\ufeff"])
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_dialects(tmp_path: Path, ending: str, mark: str, separator: str) -> None:
    """Every separator, line end and byte order mark gives the same job, the last line end may be missing."""

    def dialect(text: str) -> bytes:
        return (mark + text.replace(",", separator).replace("\n", ending)).encode().rstrip()

    folder = write_job(tmp_path / "one", JOB, dialect(POSITIONS), dialect(SHELLS))
    same_as_plain(folder, write_job(tmp_path / "plain"))


@pytest.mark.parametrize("separator", [";", "\t"])
def test_decimal_commas(tmp_path: Path, separator: str) -> None:
    """With `;` or tabs between cells a decimal comma is a decimal point, and both may be in one file."""

    def comma(text: str) -> str:
        return text.replace(",", separator).replace(".", ",").replace("1,8161", "1.8161")

    folder = write_job(tmp_path / "one", JOB, comma(POSITIONS), comma(SHELLS))
    same_as_plain(folder, write_job(tmp_path / "plain"))


def test_a_decimal_comma_between_commas(tmp_path: Path) -> None:
    """With commas between cells a decimal comma is never read as anything, quoted or not."""
    header, plain = "position,kind,journal,housing_bore\n", "R2,rod,1.8162,1.9421\n"
    told = mistakes(write_job(tmp_path, positions=f"{header}R1,rod,1,8162,1.9421\n{plain}"))
    assert told == [
        "positions.csv:2: 5 cells where the header has 4; every row needs as many cells as the header; "
        "a decimal comma needs `;` or tabs between cells, and a text with a comma needs quotes"
    ]
    for quoted in ("1,8162", "1,816", "0,5"):
        (told_of_cell,) = mistakes(write_job(tmp_path, positions=f'{header}R1,rod,"{quoted}",1.9421\n{plain}'))
        assert told_of_cell.startswith(f"positions.csv:2: journal: `{quoted}` ")
        assert "decimal" in told_of_cell


def test_blank_lines_and_quoted_line_breaks_count(tmp_path: Path) -> None:
    """Rows are counted as an editor counts lines: blank ones, those of separators only, and breaks inside quotes."""
    positions = (
        "\n  \n"
        "position,kind,journal,housing_bore,note\n"  # 3
        "\n"
        'R1,rod,1.8162,1.9421,"one\ntwo\r\nthree"\n'  # 5 to 7
        ",,,,\n"
        " , ,, ,\n"
        "R2,rod,x,1.9421,\n"  # 10
        "R3,rod,1.8162,y,"  # 11, without an end
    )
    folder = write_job(tmp_path, positions=positions)
    assert [m.partition(" `")[0] for m in mistakes(folder)] == [
        "positions.csv:10: journal:",
        "positions.csv:11: housing_bore:",
    ]
    put(folder / "positions.csv", positions.replace("x", "1.8162").replace("y", "1.9421"))
    assert [(p.name, p.row) for p in read_job(folder).positions] == [("R1", 5), ("R2", 10), ("R3", 11)]


def test_quotes_and_spaces_around_cells(tmp_path: Path) -> None:
    """Quotes may hold separators and doubled quotes, and spaces around cells and names do not count."""
    positions = ' Position , kind,"journal" ,housing_bore\n"R ""1"", left", rod ,\t1.8162, "1.9421"\n'.replace(
        '" ,', '",'
    )
    job = read_job(write_job(tmp_path, positions=positions))
    assert [(p.name, p.kind) for p in job.positions] == [('R "1", left', "rod")]


def test_broken_quotes(tmp_path: Path) -> None:
    """A quote that is not closed costs its own row only: the rows below it are read and checked."""
    positions = POSITIONS + 'R3,"rod,1.8162,1.94\nR4,rod,xx,1.9421\n"R5"b,rod,1.8162,1.9421\nR6,rod,1.8162,yy\n'
    told = (
        "a quoted cell has no closing quote, or has text after it; "
        "put quotes around the whole cell and write a quote inside it twice"
    )
    assert mistakes(write_job(tmp_path, positions=positions)) == [
        f"positions.csv:4: {told}",
        "positions.csv:5: journal: `xx` is not a number; write digits with a decimal point, such as 1.8162",
        f"positions.csv:6: {told}",
        "positions.csv:7: housing_bore: `yy` is not a number; write digits with a decimal point, such as 1.8162",
    ]


def test_broken_quotes_in_the_header(tmp_path: Path) -> None:
    """Without a header nothing below it can be checked, and nothing else is reported."""
    assert codes(write_job(tmp_path, positions='position,"kind\nR1,rods\n')) == ["broken-quotes"]


def test_an_endless_cell(tmp_path: Path) -> None:
    """A cell longer than the reader takes is reported as what it mostly is: a quote that was never closed."""
    shells = SHELLS + '04,rod,upper,"' + "x\n" * 100_000
    folder = write_job(tmp_path, shells=shells)
    found = codes(folder)
    assert found[0] == "broken-quotes"
    assert set(found[1:]) == {"ragged-row"}


def test_an_endless_header(tmp_path: Path) -> None:
    """A header longer than the reader takes is refused, not an error of the program."""
    assert codes(write_job(tmp_path, positions="p" * 200_000 + "\nx\n")) == ["broken-quotes"]


def test_what_follows_from_a_missing_name_or_kind_column(tmp_path: Path) -> None:
    """Without the column its cells are not also missing, and the other cells are still checked."""
    folder = write_job(tmp_path, positions="journal,housing_bore\nx,1.9421\n", shells="wall\n0.0618\ny\n")
    assert codes(folder) == ["missing-column"] * 2 + ["not-a-length"] + ["missing-column"] * 3 + ["not-a-length"]


def test_empty_kinds_where_no_kind_is_known(tmp_path: Path) -> None:
    """Without job.toml any kind will do, but none will not."""
    folder = write_job(tmp_path, "[", "position,kind,journal,housing_bore\nR1,,1.8162,1.9421\n", SHELLS)
    assert mistakes(folder)[1:] == ["positions.csv:2: kind: is empty; write the kind, such as rod"]


def test_ragged_rows(tmp_path: Path) -> None:
    """Rows are never cut, and never padded where a cell must be filled in."""
    todo = "every row needs as many cells as the header"
    blank = ", but for blank ones at its end; `kind` may not be blank"
    assert mistakes(write_job(tmp_path, positions=POSITIONS.replace(",", "\t") + "R3\nR4\trod\t1.8\t1.9\t\n")) == [
        f"positions.csv:4: 1 cell where the header has 4; {todo}{blank}",
        f"positions.csv:5: 5 cells where the header has 4; {todo}",
    ]


def test_rows_that_end_early(tmp_path: Path) -> None:
    """Blank cells that a spreadsheet dropped from the end of a row are blank, whatever columns they stand in, up to
    those that must be filled in."""
    positions = "position,kind,journal,housing_bore,flange,note\nR1,rod,1.8162,1.9421,x\nR2,rod,1.8161\nR3,rod\n"
    shells = "shell,kind,half,wall,flange,hold\n1,rod,upper,0.0618,x\n2,rod,lower,0.0617,X,bent\n3,rod,lower\n"
    job = read_job(write_job(tmp_path, positions=positions, shells=shells))
    assert [(p.missing, p.wants_upper) for p in job.positions] == [
        ((), ("x",)), (("housing_bore",), ("",)), (("journal", "housing_bore"), ("",)),
    ]  # fmt: skip
    assert [(s.wall_nm, s.marks, s.hold) for s in job.shells] == [
        (1_569_720, ("x",), None), (1_567_180, ("x",), "bent"), (None, ("",), None),
    ]  # fmt: skip
    for row in ("4,rod", "4"):
        assert codes(write_job(tmp_path, positions=positions, shells=shells + row + "\n")) == ["ragged-row"]
    moved = "note,shell,kind,half,wall\n,1,rod,upper,0.0618\n,2,rod,lower\n"
    assert codes(write_job(tmp_path, positions=positions.replace(",flange", ",n"), shells=moved)) == []


def test_a_row_of_readings_that_was_cut_short(tmp_path: Path) -> None:
    """In the long file, which grows by a row at a time, a last row without its end is no row that ended early: its
    reading may have lost digits."""
    job = JOB + "[sources]\nreadings = 'readings.csv'\n"
    positions, shells = "position,kind\nR1,rod\n", "shell,kind,half\n1,rod,upper\n"
    log = "item,feature,station,angle,reading,note\nR1,journal,1,0,1.8162\nR1,housing_bore,1,0,1.94"
    assert codes(write_job(tmp_path, job, positions, shells, readings_DOT_csv=log)) == ["ragged-row"] * 2
    assert codes(write_job(tmp_path, job, positions, shells, readings_DOT_csv=log + "\n")) == []


OTHER_MARK = ", as it parts cells by another mark than this file"
ONE_COLUMN = (
    "a spreadsheet has put whole rows into one column{why}; split that column there at {mark} (text to columns, each "
    "new column as text) and save the file, or begin again from `fitmatch new FOLDER {afresh}`"
)


@pytest.mark.parametrize(
    ("text", "mark"),
    [
        ("".join(f'"{line}"\n' for line in SHELLS.splitlines()), "commas"),
        ("".join(f'"{line.replace(",", ";")}"\n' for line in SHELLS.splitlines()), "`;`"),
        ("".join(f'"{line}";;\n' for line in SHELLS.splitlines()), "commas"),
        ("".join(f"{line};;\n" for line in SHELLS.splitlines()), "commas"),
        (SHELLS.replace("wall\n", "wall;\n").replace("0.0618\n", ";0,0618\n"), "commas"),
    ],
)
def test_everything_in_one_column(tmp_path: Path, text: str, mark: str) -> None:
    """A file parted by commas, opened and saved where cells are parted by `;`, and the other way round: one mistake of
    the whole file, with its cause and two ways out."""
    afresh = '--separator ";"' if mark == "commas" else '--separator ","'
    told = f"shells/box-1.csv:1: {ONE_COLUMN.format(why=OTHER_MARK, mark=mark, afresh=afresh)}"
    assert mistakes(write_job(tmp_path, shells=text)) == [told]


def test_everything_in_one_column_of_several_files(tmp_path: Path) -> None:
    """One mistake for the whole job: the first file names the others."""
    positions, shells = ("".join(f"{line};;\n" for line in text.splitlines()) for text in (POSITIONS, SHELLS))
    folder = write_job(tmp_path, positions=positions, shells=shells)
    first = ONE_COLUMN.format(why=OTHER_MARK, mark="commas", afresh='--separator ";"')
    assert mistakes(folder) == [f"positions.csv:1: {first}; the same in shells/box-1.csv"]
    for number in range(2, 9):
        put(tmp_path / f"shells/box-{number}.csv", shells)
    named = ", ".join(f"shells/box-{number}.csv" for number in range(1, 6))
    assert mistakes(folder) == [f"positions.csv:1: {first}; the same in {named} and 3 more"]


def test_everything_in_one_column_of_a_workbook(tmp_path: Path) -> None:
    """The same where it was saved as a workbook."""
    put(tmp_path / "positions.xlsx", workbook([[line] for line in POSITIONS.splitlines()]))
    folder = write_job(tmp_path, JOB + "[sources]\npositions = 'positions.xlsx'\n", positions=None)
    told = ONE_COLUMN.format(why=" of this workbook", mark="commas", afresh="--xlsx")
    assert mistakes(folder) == [f"positions.xlsx:1: {told}"]


@pytest.mark.parametrize(
    ("data", "told"),
    [
        (b"", "is empty; fill it in or remove it"),
        (b"\xef\xbb\xbf \r\n\t\n", "is empty; fill it in or remove it"),
        (b";;\n;\n", "holds only separators; fill it in or remove it"),
        (POSITIONS.encode("utf-16"), "is UTF-16 text; save it again as UTF-8"),
        (POSITIONS.encode("utf-16-be"), "is UTF-16 text; save it again as UTF-8"),
    ],
)
def test_files_without_text(tmp_path: Path, data: bytes, told: str) -> None:
    """Empty files and UTF-16 are one mistake of the whole file, the same for every file of the job."""
    folder = write_job(tmp_path, positions=data, shells=data)
    assert mistakes(folder) == [f"positions.csv: {told}", f"shells/box-1.csv: {told}"]


@pytest.mark.parametrize("mark", [b"", b"\xef\xbb\xbf"])
def test_bytes_that_are_not_utf8(tmp_path: Path, mark: bytes) -> None:
    """The byte and its line are named, with and without a byte order mark."""
    data = mark + POSITIONS.replace("R2", "Rü").replace("\n", "\r\n").encode("latin-1")
    assert mistakes(write_job(tmp_path, positions=data)) == [
        "positions.csv:3: byte 0xFC in this line is not UTF-8; save the file again as UTF-8"
    ]


def test_control_characters(tmp_path: Path) -> None:
    """NUL and other characters that cannot be seen are named with their line."""
    folder = write_job(tmp_path, positions=POSITIONS.replace("R2", "R\0"), shells=SHELLS + "\x1a")
    assert mistakes(folder) == [
        "positions.csv:3: a NUL byte is in this line; save the file again as plain text",
        "shells/box-1.csv:5: the control character 0x1A is in this line; save the file again as plain text",
    ]
    assert mistakes(write_job(tmp_path, job=JOB + "\x1b", positions=b"\0" * 64)) == [
        "job.toml:8: the control character 0x1B is in this line; save the file again as plain text",
        "positions.csv:1: a NUL byte is in this line; save the file again as plain text",
    ]


# --- headers ---------------------------------------------------------------------------------------------------------


def test_missing_and_repeated_columns(tmp_path: Path) -> None:
    """Every column that must be there is asked for, at the header's row; capitals do not make another column."""
    folder = write_job(tmp_path, positions="position,Kind,KIND\nR1,rod,rod\n", shells="\nnote,wall,wall [mm]\nx,1,1\n")
    assert mistakes(folder) == [
        "positions.csv:1: kind: the column appears twice; keep one of them",
        "positions.csv:1: journal: the column is missing; add it",
        "positions.csv:1: housing_bore: the column is missing; add it",
        "shells/box-1.csv:2: wall: the column appears twice; keep one of them",
        "shells/box-1.csv:2: shell: the column is missing; add it",
        "shells/box-1.csv:2: kind: the column is missing; add it",
        "shells/box-1.csv:2: half: the column is missing; add it",
        "shells/box-1.csv:3: wall: `1` is 25.4 mm, and a wall is 0.2 to 25 mm; if another unit was meant, write `1 mm`",
    ]


@pytest.mark.parametrize(
    ("typed", "meant"),
    [
        ("gurnal", None),  # two slips
        ("journl", "journal"),
        ("jouranl", "journal"),
        ("journall", "journal"),
        ("jornal", "journal"),
        ("journl_2", "journal_2"),
        ("journal_l", "journal_1"),
        ("housing_bor", "housing_bore"),
        ("housin_bore_12", "housing_bore_12"),
        ("notes", "note"),
        ("flange_uper", "flange_upper"),
        ("max2", None),  # three letters are too few to tell
        ("pins", None),
        ("offsett", "offset"),
    ],
)
def test_columns_a_slip_away(tmp_path: Path, typed: str, meant: str | None) -> None:
    """One letter added, lost, changed or swapped makes a column bad input; more, or a short word, makes it unknown."""
    positions = f"position,kind,journal,housing_bore,{typed}\nR1,rod,1.8162,1.9421,\n"
    told = f"no such column; did you mean `{meant}`? Write that, or choose a less similar name"
    assert mistakes(write_job(tmp_path, positions=positions)) == (
        [f"positions.csv:1: {typed}: {told}"] if meant else []
    )


def test_a_misspelt_column_is_not_missing_besides(tmp_path: Path) -> None:
    """What follows from a misspelt header is not reported: neither the lack of the column nor its empty cells."""
    assert (
        codes(write_job(tmp_path, shells=SHELLS.replace("shell,kind,half,wall", "shel,kid,haif,walls")))
        == ["misspelt-column"] * 4
    )


def test_a_column_named_in_the_rules_may_be_like_a_known_one(tmp_path: Path) -> None:
    """A column that is asked for is known by itself."""
    shells = SHELLS.replace("wall\n", "wall,notes\n").replace("85\n", "85,a\n").replace("18\n", "18,a\n")
    shells = shells.replace("19\n", "19,a\n")
    assert mistakes(write_job(tmp_path, JOB + '[rules]\nsame_in_bore = ["notes"]\n', shells=shells)) == []


def test_columns_of_the_other_file(tmp_path: Path) -> None:
    """A column known in the other file is bad input here, unless it is matched."""
    positions = "position,kind,journal,housing_bore,wall_2,grade\nR1,rod,1.8162,1.9421,,a\n"
    shells = "shell,kind,half,wall,pin,flange_upper,target,grade\n01,rod,upper,0.0618,,,,A\n"
    folder = write_job(tmp_path, positions=positions, shells=shells)
    assert mistakes(folder) == [
        f"{file}: {column}: this column belongs in the {other} file; move it there or delete it"
        for file, other, columns in (
            ("positions.csv:1", "shell", ("wall_2", "grade")),
            ("shells/box-1.csv:1", "positions", ("pin", "flange_upper", "target")),
        )
        for column in columns
    ]
    matched = write_job(tmp_path, JOB + '[rules]\nmatch = ["grade"]\n', positions=positions, shells=shells)
    assert "grade" not in "".join(mistakes(matched))


def test_units_in_headers(tmp_path: Path) -> None:
    """A header's unit must be known and be over lengths; what is below a wrong one is not judged."""
    positions = "position [mm],kind,journal [furlong],housing_bore [tenths]\nR1,rod,1e9,19421\n"
    folder = write_job(tmp_path / "inch", positions=positions)
    assert mistakes(folder) == [
        "positions.csv:1: position: this column takes no unit, yet its header names `mm`; write the name alone",
        "positions.csv:1: journal: unknown unit `furlong`; use one of in, mm, um, thou, tenths",
    ]
    metric = JOB.replace('"in"', '"mm"').replace("0.00", "0.0")
    found = mistakes(write_job(tmp_path / "metric", metric, positions, SHELLS.replace("0.06", "1.6")))
    assert found[2:] == [
        "positions.csv:1: housing_bore: tenths are 0.0001 in and allowed in inch jobs only; write in, mm or um"
    ]


def test_plain_and_numbered_readings(tmp_path: Path) -> None:
    """Readings are numbered all or not at all."""
    positions = "position,kind,journal,journal_2,housing_bore\nR1,rod,1.8162,1.8162,1.9421\n"
    shells = "shell,kind,half,wall_1,wall,wall_2\n01,rod,upper,0.0618,,\n"
    assert mistakes(write_job(tmp_path, positions=positions, shells=shells)) == [
        "positions.csv:1: journal: stands beside `journal_2`; "
        "number every column of readings: journal_1, journal_2 and so on",
        "shells/box-1.csv:1: wall: stands beside `wall_1`; number every column of readings: wall_1, wall_2 and so on",
    ]


def test_columns_without_a_name(tmp_path: Path) -> None:
    """A column without a name is borne while it is empty, and reported once at the first cell otherwise."""
    folder = write_job(tmp_path, positions="position,kind,,journal,housing_bore,\nR1,rod,,1.8162,1.9421,\n")
    assert mistakes(folder) == []
    put(folder / "positions.csv", "position,kind,,journal,housing_bore,\nR1,rod,,1.8162,1.9421,x\nR2,rod,,1.8,1.9,y\n")
    assert mistakes(folder) == ["positions.csv:1: column 6 has cells from row 2 on but no name; name it or clear it"]


def test_a_table_without_rows(tmp_path: Path) -> None:
    """Positions need a row; a box may be empty."""
    folder = write_job(tmp_path, positions="position,kind,journal,housing_bore\n\n", shells="shell,kind,half,wall\n")
    assert mistakes(folder) == ["positions.csv: has a header and nothing below it; write a row for each position"]


# --- everything at once ----------------------------------------------------------------------------------------------


def test_every_mistake_in_reading_order(tmp_path: Path) -> None:
    """All mistakes of a job come at once: job.toml, positions, shell files, each by row and then column."""
    folder = write_job(
        tmp_path,
        'unit = "in"\n[rules]\nfoo = 1\n[fit.rod]\ntarget = "x"\n',
        "kind,position,housing_bore,journal\nrod,R1,a,b\nmain,R1,1.9421,\n",
        SHELLS + "01,rod,top,1.57\n",
        shells__box_2_DOT_csv="kind,shell\nmain,1/2\n",
        shells__box_10_DOT_csv="",
    )
    with pytest.raises(InputError) as caught:
        read_job(folder)
    assert [(p.file, p.row, p.column, p.code) for p in caught.value.problems] == [
        ("job.toml", 3, "rules.foo", "unknown-key"),
        ("job.toml", 5, "fit.rod.target", "not-a-length"),
        ("positions.csv", 2, "housing_bore", "not-a-length"),
        ("positions.csv", 2, "journal", "not-a-length"),
        ("positions.csv", 3, "kind", "unknown-kind"),
        ("positions.csv", 3, "position", "duplicate-position"),
        ("shells/box-1.csv", 5, "shell", "duplicate-shell"),
        ("shells/box-1.csv", 5, "half", "unknown-value"),
        ("shells/box-1.csv", 5, "wall", "implausible-length"),
        ("shells/box_2.csv", 1, "half", "missing-column"),
        ("shells/box_2.csv", 1, "wall", "missing-column"),
        ("shells/box_2.csv", 2, "kind", "unknown-kind"),
        ("shells/box_2.csv", 2, "shell", "bad-name"),
        ("shells/box_10.csv", None, None, "empty-file"),
    ]
    assert str(caught.value).count("\n") == len(caught.value.problems) - 1


@pytest.mark.parametrize("job", ["unit = ", JOB.replace('unit = "in"\n', ""), JOB.replace('"in"', '"inches"')])
def test_without_job_toml_or_its_unit_lengths_are_not_judged(tmp_path: Path, job: str) -> None:
    """Without a unit the other files are checked for structure and names only."""
    folder = write_job(
        tmp_path,
        job,
        "position,kind,journal,housing_bore,upper\nR1,rod,99,x,09\nR1,rod,,,\nR3\n",
        "shell,kind,half,wall,hold\n01,rod,top,99,\n01,rod,upper,abc,\n",
    )
    first, *others = codes(folder)
    assert first in ("broken-toml", "no-unit")
    expected = ["lock-unknown", "duplicate-position", "ragged-row", "unknown-value", "duplicate-shell"]
    # job.toml may have named further shell files, so a lock is not held against those that are there.
    assert others == (expected if first == "no-unit" else expected[1:])
