"""What only shows between rows and files: duplicates, locks, bores against journals, targets, matched columns."""

from pathlib import Path

import pytest
from made.intake_jobs import JOB, OTHER_SHELLS, SHELLS, codes, mistakes, write_job

import fitmatch
from fitmatch.intake.common.catalogue import CODES
from fitmatch.intake.reading import read_job
from fitmatch.names import nearest, one_slip_away, slips

TWO_KINDS = JOB + "[fit.main]\ntarget = 0.002\n"


def locked(tmp_path: Path, *rows: str, shells: str = SHELLS, job: str = TWO_KINDS, **files: str) -> list[str]:
    """The mistakes of positions given as `name,kind,upper,lower`."""
    lines = ["position,kind,upper,lower,journal,housing_bore", *(f"{row},1.8162,1.9421" for row in rows)]
    return mistakes(write_job(tmp_path, job, "\n".join(lines) + "\n", shells, **files))


# --- duplicates ------------------------------------------------------------------------------------------------------


def test_positions_of_one_name(tmp_path: Path) -> None:
    """A position's name is unique in the job, across kinds; each further one is reported with the first."""
    assert locked(tmp_path, "P1,rod,,", "P1,main,,", "P2,rod,,", " P1,rod,,") == [
        f"positions.csv:{row}: position: `P1` is already in row 2; give each position its own name" for row in (3, 5)
    ]


def test_shells_of_one_name_in_one_box(tmp_path: Path) -> None:
    """A shell's name is unique in its box, wherever the box's rows are; other boxes may use it again."""
    folder = write_job(
        tmp_path,
        shells=SHELLS + "02,rod,upper,\n",
        shells__box_2_DOT_csv="box,shell,kind,half,wall\nbox-1,01,rod,upper,0.0618\nbox-3,01,rod,upper,0.0618\n",
    )
    assert mistakes(folder) == [
        "shells/box-1.csv:5: shell: `02` is already in box `box-1` (shells/box-1.csv:3); "
        "give each shell of a box its own name",
        "shells/box_2.csv:2: shell: `01` is already in box `box-1` (shells/box-1.csv:2); "
        "give each shell of a box its own name",
    ]


# --- bores and journals ----------------------------------------------------------------------------------------------


def test_a_bore_must_be_greater_than_its_journal(tmp_path: Path) -> None:
    """Equal or smaller is a mistake, judged at the means; a missing or faulty reading is not judged."""
    positions = (
        "position,kind,journal,housing_bore_1,housing_bore_2\n"
        "R1,rod,1.9421,1.8162,\nR2,rod,1.8162,1.8161,1.8163\nR3,rod,1.8162,1.8161,1.9421\n"
        "R4,rod,,1.0,\nR5,rod,1.8162,1.0,x\n"
    )
    assert mistakes(write_job(tmp_path, positions=positions)) == [
        "positions.csv:2: housing_bore_1: 1.8162 in is not larger than the journal 1.9421 in; "
        "check both, and whether they were swapped",
        "positions.csv:3: housing_bore_1: 1.8162 in is not larger than the journal 1.8162 in; "
        "check both, and whether they were swapped",
        "positions.csv:6: housing_bore_2: `x` is not a number; write digits with a decimal point, such as 1.8162",
    ]


# --- targets and limits of single positions --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "mistake"),
    [
        ("0.0030,,", "target: target 0.003 in is above max 0.0028 in; min <= target <= max must hold"),
        ("0.0010,,", "target: target 0.001 in is below min 0.0018 in; min <= target <= max must hold"),
        (",0.0024,", "min: target 0.0022 in is below min 0.0024 in; min <= target <= max must hold"),
        (",,0.0020", "max: target 0.0022 in is above max 0.002 in; min <= target <= max must hold"),
        (",0.0030,", "min: min 0.003 in is above max 0.0028 in; swap or correct them"),
        (",,0.0010", "max: min 0.0018 in is above max 0.001 in; swap or correct them"),
        ("0.0030,0.0029,0.0030", None),
        ("0.0018,,", None),
        (",0.0022,0.0022", None),
        ("0,,", "target: `0` is not more than zero; a target clearance is more than 0, up to 2 mm"),
        ("x,0.0030,", "target: `x` is not a number; write digits with a decimal point, such as 1.8162"),
    ],
)
def test_a_positions_own_target_and_limits(tmp_path: Path, cells: str, mistake: str | None) -> None:
    """min <= target <= max holds at every position, whichever of the three are its own; one line says what does not."""
    positions = f"position,kind,journal,housing_bore,target,min,max\nR1,rod,1.8162,1.9421,{cells}\n"
    expected = [] if mistake is None else [f"positions.csv:2: {mistake}"]
    assert mistakes(write_job(tmp_path, positions=positions)) == expected


def test_a_kinds_faulty_limits_are_not_held_against_its_rows(tmp_path: Path) -> None:
    """Where the kind's own table is at fault its positions are not reported for it, but for what is their own."""
    positions = (
        "position,kind,journal,housing_bore,target,min,max\n"
        "R1,rod,1.8162,1.9421,0.0050,,\nR2,rod,1.8162,1.9421,,0.003,0.002\nR3,rod,1.8162,1.9421,,,\n"
    )
    assert mistakes(write_job(tmp_path, JOB.replace("0.0018", "x"), positions))[1:] == []
    assert mistakes(write_job(tmp_path, JOB.replace("0.0018", "'x'"), positions))[1:] == [
        "positions.csv:3: min: min 0.003 in is above max 0.002 in; swap or correct them"
    ]


def test_a_position_without_a_target(tmp_path: Path) -> None:
    """Where only some rows bring their own target, the kind's table is asked for one."""
    positions = (
        "position,kind,journal,housing_bore,target,min,max\n"
        "R1,rod,1.8162,1.9421,0.0022,,\nR2,rod,1.8162,1.9421,,0.002,\n"
    )
    assert mistakes(write_job(tmp_path, 'unit = "in"\n[fit.rod]\n', positions)) == [
        "job.toml:2: fit.rod: nothing gives a target to position R2; "
        "write the engine maker's min and max, target or target_ratio"
    ]


def test_a_middle_of_nothing(tmp_path: Path) -> None:
    """Limits of zero leave nothing to aim at."""
    positions = "position,kind,journal,housing_bore,max\nR1,rod,1.8162,1.9421,0\n"
    assert mistakes(write_job(tmp_path, 'unit = "in"\n[fit.rod]\nmin = 0\nmax = 0.001\n', positions)) == [
        "positions.csv:2: max: the middle of min and max is zero, which cannot be aimed at; "
        "give a target or a larger max"
    ]


# --- locks -----------------------------------------------------------------------------------------------------------


def test_locks_that_hold(tmp_path: Path) -> None:
    """NAME where one box has it, BOX/NAME anywhere, an `either` shell on both sides."""
    second = "shell,kind,half,wall\n01,rod,upper,\n99,rod,lower,0.0618\n"
    positions = (
        "position,kind,journal,housing_bore,upper,lower\n"
        "R1,rod,1.8162,1.9421,box-1/01,03\nR2,rod,1.8162,1.9421, box_2 / 01 ,99\n"
    )
    job = read_job(write_job(tmp_path, positions=positions, shells__box_2_DOT_csv=second))
    assert [(p.upper, p.lower) for p in job.positions] == [
        (("box-1", "01"), ("box-1", "03")),
        (("box_2", "01"), ("box_2", "99")),
    ]


def test_locks_to_shells_that_are_not_there(tmp_path: Path) -> None:
    """An unknown name is reported, with the boxes that have it when only the box is wrong."""
    assert locked(tmp_path, "R1,rod,1,box-9/02", "R2,rod,BOX-1/01,") == [
        "positions.csv:2: upper: there is no shell `1`; write NAME or BOX/NAME of a shell",
        "positions.csv:2: lower: there is no shell `box-9/02`; that name is in box `box-1`",
        "positions.csv:3: upper: there is no shell `BOX-1/01`; that name is in box `box-1`",
    ]


def test_ambiguous_locks(tmp_path: Path) -> None:
    """A name that several boxes have needs its box."""
    boxes = {f"shells__b{n}_DOT_csv": SHELLS.replace("0.0619", f"0.0619{n}") for n in range(2, 9)}
    assert locked(tmp_path / "2", "R1,rod,01,", shells__box_2_DOT_csv=OTHER_SHELLS) == [
        "positions.csv:2: upper: shell `01` is in boxes `box-1` and `box_2`; write BOX/NAME, such as box-1/01"
    ]
    (many,) = locked(tmp_path / "8", "R1,rod,01,", **boxes)
    assert "in boxes `b2`, `b3`, `b4`, `b5`, `b6` and others; write BOX/NAME, such as b2/01" in many


@pytest.mark.parametrize("cell", ["/01", "box-1/", "a/b/01", "/"])
def test_locks_that_name_nothing(tmp_path: Path, cell: str) -> None:
    """A lock is NAME or BOX/NAME."""
    assert locked(tmp_path, f"R1,rod,{cell},") == [
        f"positions.csv:2: upper: `{cell}` does not name a shell; write NAME or BOX/NAME"
    ]


def test_locks_to_the_wrong_shell(tmp_path: Path) -> None:
    """A locked shell must be of the kind and the half, not on hold, and locked once; each fault has its line."""
    shells = "shell,kind,half,wall,hold\n01,main,lower,0.0618,dropped\n02,rod,either,0.0618,\n"
    assert locked(tmp_path, "R1,rod,01,02", "R2,rod,02,box-1/02", shells=shells) == [
        "positions.csv:2: upper: shell `box-1/01` is of kind `main`, not `rod`; lock a shell of the position's kind",
        "positions.csv:2: upper: shell `box-1/01` is for the lower half; "
        "lock it there, or lock a shell for the upper half",
        "positions.csv:2: upper: shell `box-1/01` is on hold (`dropped`); clear its hold or lock another shell",
        "positions.csv:3: upper: shell `box-1/02` is locked in the lower half of R1 (row 2) already; "
        "lock another shell in one of the two",
        "positions.csv:3: lower: shell `box-1/02` is locked in the lower half of R1 (row 2) already; "
        "lock another shell in one of the two",
    ]


def test_locks_beside_other_mistakes(tmp_path: Path) -> None:
    """A lock is not blamed for a shell's own mistakes, nor for files and rows that could not be read."""
    faulty = "shell,kind,half,wall\n01,rods,top,x\n"
    own = [m.split(": ")[0] for m in locked(tmp_path / "1", "R1,rod,01,", shells=faulty)]
    assert own == ["shells/box-1.csv:2"] * 3
    ragged = [m.split(": ")[0] for m in locked(tmp_path / "2", "R1,rod,09,", shells=SHELLS + "x\n")]
    assert ragged == ["shells/box-1.csv:5"]
    assert len(locked(tmp_path / "3", "R1,rod,09,", shells__box_2_DOT_csv="")) == 1
    no_file = TWO_KINDS + '[sources]\nshells = ["shells/*.csv", "x"]\n'
    assert len(locked(tmp_path / "4", "R1,rod,09,", job=no_file)) == 1
    for shells in (
        "shel,kind,half,wall\n01,rod,upper,0.06\n",
        SHELLS + ",rod,upper,0.06\n",
        SHELLS + "0/9,rod,upper,\n",
    ):
        assert len(locked(tmp_path / "6", "R1,rod,09,", shells=shells)) == 1
    assert len(locked(tmp_path / "5", "R1,rods,01,")) == 1  # the unknown kind alone


# --- matched columns -------------------------------------------------------------------------------------------------


def matched(tmp_path: Path, wants: list[str], marks: list[str], column: str = "flange", **more: str) -> list[str]:
    """The mistakes of rod positions and shells with these cells in a matched column."""
    positions = f"position,kind,journal,housing_bore,{column}\n" + "".join(
        f"R{n},rod,1.8162,1.9421,{want}\n" for n, want in enumerate(wants)
    )
    shells = "shell,kind,half,wall,flange\n" + "".join(
        f"{n},rod,either,0.0618,{mark}\n" for n, mark in enumerate(marks)
    )
    return mistakes(write_job(tmp_path, positions=positions, shells=shells, **more))


def test_a_column_that_keeps_every_shell_out(tmp_path: Path) -> None:
    """Two ways of writing the same thing would leave a kind without shells; the cells of both files are shown."""
    assert matched(tmp_path, ["y", "", "Y"], ["yes", "left"]) == [
        "positions.csv: flange: keeps every rod shell out of every rod position: "
        "they ask for nothing and `y`, shells have `left` and `yes`; write both alike, or `any`"
    ]


@pytest.mark.parametrize(
    ("wants", "marks"),
    [
        (["y", "n"], ["N", "x"]),  # one position is enough
        (["y"], ["any"]),
        (["any"], ["x"]),
        ([""], ["x", ""]),
        (["y"], []),  # no shells at all is another matter
    ],
)
def test_a_column_that_lets_some_shell_in(tmp_path: Path, wants: list[str], marks: list[str]) -> None:
    """`any` agrees with everything, blank with blank, case does not matter, and one shell in one position is enough."""
    assert matched(tmp_path, wants, marks) == []


def test_what_each_half_asks_for_is_judged_with_its_own_shells(tmp_path: Path) -> None:
    """An upper shell does not answer what only lower halves ask for."""
    shells = "shell,kind,half,wall,flange\n01,rod,upper,0.0618,y\n02,rod,lower,0.0618,z\n"
    positions = "position,kind,journal,housing_bore,flange_upper,flange_lower\nR1,rod,1.8162,1.9421,z,y\n"
    assert codes(write_job(tmp_path / "1", positions=positions, shells=shells)) == ["nothing-agrees"]
    swapped = positions.replace("z,y", "y,y")
    assert codes(write_job(tmp_path / "2", positions=swapped, shells=shells)) == []


def test_locked_halves_ask_for_nothing(tmp_path: Path) -> None:
    """A lock outranks matched columns, so that bores locked in both halves are left aside."""
    positions = "position,kind,journal,housing_bore,flange,upper,lower\nR1,rod,1.8162,1.9421,z,01,02\n"
    shells = "shell,kind,half,wall,flange\n01,rod,upper,0.0618,y\n02,rod,lower,0.0618,y\n"
    assert codes(write_job(tmp_path / "1", positions=positions, shells=shells)) == []
    free = positions.replace("01,02", "01,")
    assert codes(write_job(tmp_path / "2", positions=free, shells=shells)) == ["nothing-agrees"]


def test_what_follows_from_a_slip_in_a_header_is_not_reported(tmp_path: Path) -> None:
    """Where a matched column or the targets are under a misspelt name, they are not reported missing as well."""
    shells = "shell,kind,half,wall,flage\n01,rod,either,0.0618,y\n"
    positions = "position,kind,journal,housing_bore,flange,taget\nR1,rod,1.8162,1.9421,y,0.002\n"
    folder = write_job(tmp_path / "1", 'unit = "in"\n[fit.rod]\n', positions, shells)
    assert codes(folder) == ["misspelt-column"] * 2
    halves = "position,kind,journal,housing_bore,flange_uper\nR1,rod,1.8162,1.9421,y\n"
    assert codes(write_job(tmp_path / "2", positions=halves, shells=shells.replace("flage", "flange"))) == [
        "misspelt-column"
    ]


def test_each_kind_is_judged_by_itself(tmp_path: Path) -> None:
    """A column may fit one kind and shut out another."""
    shells = "shell,kind,half,wall,flange\n01,rod,upper,0.0618,\n02,main,lower,0.0618,thrust\n"
    positions = "position,kind,journal,housing_bore\nR1,rod,1.8162,1.9421\nM1,main,1.8162,1.9421\n"
    assert mistakes(write_job(tmp_path, TWO_KINDS, positions, shells)) == [
        "positions.csv: flange: keeps every main shell out of every main position: they ask for nothing, "
        "shells have `thrust`; write both alike, or `any`"
    ]


# --- words -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("one", "other", "count"),
    [
        ("wall", "wall", 0),
        ("wall", "walls", 1),
        ("wall", "wal", 1),
        ("wall", "wahl", 1),
        ("wall", "awll", 1),
        ("journal", "juornla", 2),
        ("ca", "abc", 3),  # restricted distance: a swapped pair is not edited again
        ("", "abc", 3),
    ],
)
def test_slips(one: str, other: str, count: int) -> None:
    """A typing error is one letter added, lost, changed or swapped with its neighbour."""
    assert slips(one, other) == slips(other, one) == count


def test_near_words() -> None:
    """The nearest word begins like the other or is the fewest changes away; short words have too few letters to say."""
    assert nearest("targt", ["min", "target", "target_ratio"]) == "target"
    assert nearest("HOUSING", ["journal", "housing_bore"]) == "housing_bore"
    assert nearest("x", []) is None
    assert one_slip_away("miin", ["min", "main"]) == "main"
    assert one_slip_away("mn", ["min"]) is None


def test_every_code_has_a_meaning() -> None:
    """The catalogue holds short codes in one form and a meaning in one line for each."""
    assert all(code == code.lower() and " " not in code and meaning for code, meaning in CODES.items())
    assert all("\n" not in meaning and not meaning.endswith(".") for meaning in CODES.values())


def test_no_code_is_dead() -> None:
    """Every code of the catalogue is used by some module of the reader, of gauging or of the fit."""
    assert fitmatch.__file__
    modules = [
        p.read_text(encoding="utf-8")
        for layer in ("intake", "gauging", "fit")
        for p in (Path(fitmatch.__file__).parent / layer).rglob("*.py")
        if p.stem != "catalogue"
    ]
    assert [code for code in CODES if not any(f'"{code}"' in text for text in modules)] == []
