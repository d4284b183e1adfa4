"""Good jobs: what read_job makes of every key and column."""

from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import pytest
from made.intake_jobs import JOB, OTHER_SHELLS, POSITIONS, SHELLS, mistakes, put, write_job
from oracles.rulebook import rules_of

from fitmatch.intake.common.findings import Paper
from fitmatch.intake.job_toml.sources import Source
from fitmatch.intake.reading import digest_of, read_job
from fitmatch.records.measuring import Reading
from fitmatch.records.parts import Band, Size

METRIC_JOB = """\
unit = "mm"
[fit.rod]
target = 0.05588
min = 0.04572
max = 0.07112
"""
METRIC_POSITIONS = """\
position,kind,journal,housing_bore
R1,rod,46.13148,49.32934
R2,rod,46.12894,49.3268
"""
METRIC_SHELLS = """\
shell,kind,half,wall
01,rod,upper,1.57099
02,rod,lower,1.56972
03,rod,either,1.57226
"""


def size_of(mean: int, *readings: int) -> Size:
    """The size of these readings, about which nothing else is given."""
    return Size(mean, min(readings), max(readings), tuple(map(Reading, readings)))


def bare(size: Size | None) -> Size:
    """A size whose readings do not say in which column they stand."""
    assert size is not None
    return replace(size, readings=tuple(reading._replace(column="") for reading in size.readings))


def test_the_smallest_job(tmp_path: Path) -> None:
    """A job of four columns a file becomes positions and shells in file order, lengths in nanometres."""
    job = read_job(write_job(tmp_path))
    assert (job.title, job.unit, job.warnings) == ("Sawmill engine", "in", ())
    assert [p.name for p in job.positions] == ["R1", "R2"]
    first = job.positions[0]
    assert bare(first.journal) == size_of(46_131_480, 46_131_480)
    assert bare(first.housing_bore) == size_of(49_329_340, 49_329_340)
    assert (first.target_nm, first.min_nm, first.max_nm, first.seating_nm) == (55_880, 45_720, 71_120, 0)
    assert [(s.box, s.name, s.half, s.wall_nm) for s in job.shells] == [
        ("box-1", "01", "upper", 1_570_990),
        ("box-1", "02", "lower", 1_569_720),
        ("box-1", "03", "either", 1_572_260),
    ]
    assert all(s.wall_to_metal_nm == s.wall_nm and s.coating_nm == 0 for s in job.shells)
    assert (job.shells[1].file, job.shells[1].row, job.positions[1].row) == ("shells/box-1.csv", 3, 3)
    assert job.matched_columns == job.shell_columns == ()


def test_an_inch_job_and_its_exact_metric_copy(tmp_path: Path) -> None:
    """The same job in millimetres, converted exactly, gives the same lengths to the nanometre."""
    inch = read_job(write_job(tmp_path / "inch"))
    metric = read_job(write_job(tmp_path / "metric", METRIC_JOB, METRIC_POSITIONS, METRIC_SHELLS))
    assert inch.positions == metric.positions
    assert inch.shells == metric.shells
    assert inch.fits == metric.fits


def test_units_mix_in_one_job(tmp_path: Path) -> None:
    """Header units, units in cells and the job's unit may be side by side and give the same lengths."""
    plain = read_job(write_job(tmp_path / "plain"))
    mixed = read_job(
        write_job(
            tmp_path / "mixed",
            JOB.replace("0.0022", '"2.2 thou"').replace("0.0018", '"45.72 um"'),
            "position,kind,Journal [mm],housing_bore[ thou ]\nR1,rod,46.13148,1942.1\nR2,rod,1.8161 in,1.9420 IN\n",
            "SHELL,kind,half,wall [µm]\n01,rod,upper,1570.99\n02,rod,lower,618 tenths\n03,rod,either,1.57226mm\n",
        )
    )
    assert plain.positions == mixed.positions
    assert plain.shells == mixed.shells
    assert plain.fits == mixed.fits


def test_repeated_readings_become_their_mean(tmp_path: Path) -> None:
    """Numbered readings are averaged exactly and rounded once; blank cells and gaps in the numbers do not matter."""
    job = read_job(
        write_job(
            tmp_path,
            positions=(
                "position,kind,journal_1,journal_2,journal_7,housing_bore_1,housing_bore_2\n"
                "R1,rod,1.8162,,1.81621,1.9421,1.9423\n"
                "R2,rod,1.8162,1.8162,1.81621,1.9421,\n"
            ),
            shells="shell,kind,half,wall_1,wall_3\n01,rod,upper,0.0618,0.0619\n02,rod,lower,,0.0618\n",
        )
    )
    one, two = job.positions
    assert bare(one.journal) == size_of(46_131_607, 46_131_480, 46_131_734)
    assert bare(one.housing_bore) == size_of(49_331_880, 49_329_340, 49_334_420)
    assert bare(two.journal) == size_of(46_131_565, 46_131_480, 46_131_480, 46_131_734)  # 46,131,564.67 nm
    assert [s.wall_nm for s in job.shells] == [1_570_990, 1_569_720]


def test_what_is_not_yet_measured_is_no_mistake(tmp_path: Path) -> None:
    """A position without a journal or bore reading and a shell without a wall are read and left open."""
    job = read_job(
        write_job(
            tmp_path,
            positions="position,kind,journal,housing_bore,upper\nR1,rod,,1.9421,01\nR2,rod,1.8162,,\nR3,rod,,,\n",
            shells="shell,kind,half,wall\n01,rod,upper,\n02,rod,lower,  \n",
        )
    )
    assert [p.missing for p in job.positions] == [("journal",), ("housing_bore",), ("journal", "housing_bore")]
    assert job.positions[0].upper == ("box-1", "01")  # a lock to a shell without a wall is no mistake
    assert [(s.wall_nm, s.wall_to_metal_nm) for s in job.shells] == [(None, None), (None, None)]


def test_every_column_of_positions(tmp_path: Path) -> None:
    """Overrides, locks, pin, accept and seating reach the position; a note is read past."""
    job = read_job(
        write_job(
            tmp_path,
            JOB + "seating = -0.0001\n",
            positions=(
                "position,kind,journal,housing_bore,target,min,max,seating,upper,lower,pin,accept,note\n"
                "R1,rod,1.8162,1.9421,0.0024,0.0020,0.0030,0.0002,01,box-1/02,2,honed by eye,checked twice\n"
                "R2,rod,1.8162,1.9421,,,,,,,,,\n"
            ),
        )
    )
    one, two = job.positions
    assert (one.target_nm, one.min_nm, one.max_nm, one.seating_nm) == (60_960, 50_800, 76_200, 5_080)
    assert (one.upper, one.lower, one.pin, one.accept) == (("box-1", "01"), ("box-1", "02"), 2, "honed by eye")
    assert (two.target_nm, two.min_nm, two.max_nm, two.seating_nm) == (55_880, 45_720, 71_120, -2_540)
    assert (two.upper, two.lower, two.pin, two.accept) == (None, None, None, None)


def test_every_column_of_shells(tmp_path: Path) -> None:
    """Box, grade, family, hold and the rest reach the shell; families lose their case, names keep it."""
    job = read_job(
        write_job(
            tmp_path,
            JOB + 'family = ["A12", "b7 "]\n',
            shells=(
                "box,shell,kind,half,wall,grade,family,series,condition,hold,note\n"
                "Left,A-1,rod,UPPER,0.0618,Std,A12,s1,new,,x\n"
                ",A-1,rod,Lower,0.0618,,a12,s1,new,scratched,\n"
            ),
        )
    )
    one, two = job.shells
    assert (one.box, one.name, one.half, one.grade, one.family, one.hold) == (
        "Left",
        "A-1",
        "upper",
        "Std",
        "a12",
        None,
    )
    assert (two.box, two.grade, two.hold) == ("box-1", None, "scratched")  # a blank box is the file's
    assert job.fits["rod"].family == ("a12", "b7")


def test_every_setting(tmp_path: Path) -> None:
    """Rules, drawing limits and coating reach the job."""
    job = read_job(
        write_job(
            tmp_path,
            JOB
            + """
[drawing.rod]
journal = "1.8155..1.8165"
housing_bore = "49.31 mm .. 49.35 mm"
wall = ".0614...0622"

[rules]
wall_difference = "0.5 thou"
thick_half = { rod = "same" }
thick_half_from = 0.0001
match = ["Finish"]
same_in_bore = ["series", "finish", "CONDITION"]
limits_at = "mean"

[coating]
measured = "bare"
counts = false
""",
            positions="position,kind,journal,housing_bore,finish\nR1,rod,1.8162,1.9421,plain\n",
            shells=(
                "shell,kind,half,wall,finish,series,condition\n"
                "01,rod,upper,0.0618,Plain,S1,new\n02,rod,lower,0.0618,any,,\n"
            ),
        )
    )
    assert job.drawing["rod"] == {
        "journal": Band(46_113_700, 46_139_100),
        "housing_bore": Band(49_310_000, 49_350_000),
        "wall": Band(1_559_560, 1_579_880),  # split at the first `..`, so the high end is `.0622`
    }
    rules = rules_of(job)
    assert (rules.wall_difference_nm, rules.thick_half_from_nm) == (12_700, 2_540)
    assert (dict(rules.thick_half), rules.limits_at) == ({"rod": "same"}, "mean")
    assert rules.same_in_bore == ("series", "finish", "condition")
    assert job.matched_columns == ("finish",)
    assert job.shell_columns == ("finish", "series", "condition")
    assert [s.marks for s in job.shells] == [("plain", "s1", "new"), ("any", "", "")]
    assert job.positions[0].wants_upper == job.positions[0].wants_lower == ("plain",)
    assert job.coating_counts is False


def test_rules_that_are_off_or_not_written(tmp_path: Path) -> None:
    """Without [rules] only the wall difference is on; "off" removes it."""
    assert rules_of(read_job(write_job(tmp_path / "plain"))).wall_difference_nm == 15_240
    off = read_job(write_job(tmp_path / "off", JOB + '[rules]\nwall_difference = "off"\n'))
    assert rules_of(off).wall_difference_nm is None
    assert rules_of(off).thick_half_from_nm == 5_080
    zero = read_job(write_job(tmp_path / "zero", JOB + "[rules]\nwall_difference = 0\n"))
    assert rules_of(zero).wall_difference_nm == 0


def test_columns_matched_by_themselves(tmp_path: Path) -> None:
    """Flange and chamfer are matched when either file has them, width and od when positions.csv has them."""
    shells = "shell,kind,half,wall,flange,width\n01,rod,upper,0.0618,,wide\n02,rod,lower,0.0618,Yes,wide\n"
    by_shells = read_job(write_job(tmp_path / "shells", shells=shells))
    assert by_shells.matched_columns == ("flange",)
    assert [s.marks[0] for s in by_shells.shells] == ["", "yes"]
    assert by_shells.positions[0].wants_upper == ("",)
    positions = "position,kind,journal,housing_bore,chamfer,width_lower\nR1,rod,1.8162,1.9421,,Wide\n"
    by_both = read_job(write_job(tmp_path / "both", positions=positions, shells=shells))
    assert by_both.matched_columns == ("flange", "chamfer", "width")
    assert by_both.positions[0].wants_lower == ("", "", "wide")
    assert [s.marks for s in by_both.shells] == [("", "", "wide"), ("yes", "", "wide")]


def test_a_half_may_ask_for_its_own(tmp_path: Path) -> None:
    """A cell for one half wins over the whole column, and a blank one falls back to it."""
    job = read_job(
        write_job(
            tmp_path,
            positions=(
                "position,kind,journal,housing_bore,flange,flange_upper,flange_lower\n"
                "R1,rod,1.8162,1.9421,Thrust,,any\nR2,rod,1.8162,1.9421,,thrust,\n"
            ),
            shells="shell,kind,half,wall,flange\n01,rod,upper,0.0618,thrust\n02,rod,lower,0.0618,\n",
        )
    )
    assert [(p.wants_upper, p.wants_lower) for p in job.positions] == [(("thrust",), ("any",)), (("thrust",), ("",))]


def test_equal_marks_are_shared(tmp_path: Path) -> None:
    """Shells with equal cells share one tuple, in all files, so that a million of them stay small."""
    job = read_job(
        write_job(
            tmp_path,
            shells="shell,kind,half,wall,flange\n01,rod,upper,0.0618,\n02,rod,lower,0.0618,  \n",
            shells__box_2_DOT_csv="shell,kind,flange,half,wall\n01,rod,,upper,0.0618\n",
        )
    )
    first, *rest = job.shells
    assert len(rest) == 2
    assert all(shell.marks is first.marks for shell in rest)


@pytest.mark.parametrize(
    ("settings", "row", "wall", "to_metal"),
    [
        ("", "0.0618,0.0004,", 0.0618, 0.0614),
        ("", "0.0618,,", 0.0618, 0.0618),
        ("", "0.0618,0.0004,bare", 0.0622, 0.0618),
        ("", "0.0618,,bare", 0.0618, 0.0618),
        ('measured = "bare"', "0.0618,0.0004,", 0.0622, 0.0618),
        ('measured = "bare"', "0.0618,0.0004,Coated", 0.0618, 0.0614),
        ("counts = false", "0.0618,0.0004,", 0.0614, 0.0614),
        ("counts = false", "0.0618,0.0004,bare", 0.0618, 0.0618),
        ("counts = false", "0.0618,10 um,", 0.0618 - 0.01 / 25.4, 0.0618 - 0.01 / 25.4),
    ],
)
def test_coating(tmp_path: Path, settings: str, row: str, wall: float, to_metal: float) -> None:
    """Which wall counts follows from how it was measured and whether the coating counts."""
    shells = f"shell,kind,half,wall,coating,measured\n01,rod,upper,{row}\n"
    job = read_job(write_job(tmp_path, f"{JOB}[coating]\n{settings}\n", shells=shells))
    (shell,) = job.shells
    assert shell.wall_nm == round(wall * 25_400_000)
    assert shell.wall_to_metal_nm == round(to_metal * 25_400_000)


def test_a_coating_waits_for_its_wall(tmp_path: Path) -> None:
    """A coated shell without a wall keeps its coating and is not yet measured."""
    shells = "shell,kind,half,wall_1,wall_2,coating\n01,rod,upper,,,0.0004\n02,rod,lower,0.0618,0.0619,0.0004\n"
    job = read_job(write_job(tmp_path, shells=shells))
    assert [(s.wall_nm, s.coating_nm, s.wall_to_metal_nm) for s in job.shells] == [
        (None, 10_160, None),
        (1_570_990, 10_160, 1_560_830),  # averaged first, then the coating comes off
    ]


def test_a_target_by_ratio(tmp_path: Path) -> None:
    """A ratio gives ratio x exact mean journal, rounded to 0.00005 in; without a journal the target waits."""
    positions = (
        "position,kind,journal_1,journal_2,housing_bore,target\n"
        "R1,rod,1.8162,1.8163,1.9421,\nR2,rod,2.2515,,2.3775,\nR3,rod,,,1.9421,\nR4,rod,,,1.9421,0.0019\n"
    )
    job = read_job(write_job(tmp_path, JOB.replace("target = 0.0022", "target_ratio = 0.001"), positions))
    # 0.00181625 in is 36.325 steps of 0.00005 in; 0.0022515 in is 45.03 steps.
    assert [p.target_nm for p in job.positions] == [36 * 1_270, 45 * 1_270, None, 48_260]
    assert job.fits["rod"].target_ratio == Fraction("0.001")


def test_a_ratio_rounds_halves_to_even_in_both_units(tmp_path: Path) -> None:
    """A target exactly between two steps goes to the even one."""
    metric = read_job(
        write_job(
            tmp_path / "mm",
            'unit = "mm"\n[fit.rod]\ntarget_ratio = 1e-3\n',
            "position,kind,journal,housing_bore\nR1,rod,45.5,48.7\nR2,rod,46.5,49.7\n",
            METRIC_SHELLS,
        )
    )
    assert [p.target_nm for p in metric.positions] == [46_000, 46_000]  # 45.5 and 46.5 um
    inch = read_job(
        write_job(
            tmp_path / "in",
            'unit = "in"\n[fit.rod]\ntarget_ratio = 0.0001\n',
            "position,kind,journal,housing_bore\nR1,rod,2.25,2.4\nR2,rod,2.75,2.9\n",
        )
    )
    assert [p.target_nm for p in inch.positions] == [4 * 1_270, 6 * 1_270]  # 4.5 and 5.5 steps


@pytest.mark.parametrize("journals", [("45.1234", "45.1235", "45.1237"), ("60", "60.001")])
def test_a_ratio_takes_the_exact_mean(tmp_path: Path, journals: tuple[str, ...]) -> None:
    """The ratio multiplies the mean as a fraction, before any rounding of the mean itself."""
    header = ",".join(f"journal_{i}" for i, _ in enumerate(journals, 1))
    job = read_job(
        write_job(
            tmp_path,
            'unit = "mm"\n[fit.rod]\ntarget_ratio = 0.00112345\n',
            f"position,kind,{header},housing_bore\nR1,rod,{','.join(journals)},65\n",
            METRIC_SHELLS,
        )
    )
    exact_nm = Fraction("0.00112345") * sum(Fraction(j) for j in journals) / len(journals) * 1_000_000
    assert job.positions[0].target_nm == 1_000 * round(exact_nm / 1_000)


def test_the_middle_of_min_and_max(tmp_path: Path) -> None:
    """With neither target nor ratio the middle of the limits that hold at a position is its target."""
    positions = (
        "position,kind,journal,housing_bore,min,max\n"
        "R1,rod,1.8162,1.9421,,\nR2,rod,1.8162,1.9421,0.0020,\nR3,rod,1.8162,1.9421,,45.721 um\n"
    )
    job = read_job(write_job(tmp_path, JOB.replace("target = 0.0022\n", ""), positions))
    assert job.fits["rod"].target_nm == 58_420
    assert [p.target_nm for p in job.positions] == [58_420, 60_960, 45_720]  # 45,720.5 goes to the even one


def test_every_position_may_bring_its_own_target(tmp_path: Path) -> None:
    """A kind's table may give no target where each of its rows does, by target or by both limits."""
    positions = (
        "position,kind,journal,housing_bore,target,min,max\n"
        "R1,rod,1.8162,1.9421,0.0022,,\nR2,rod,1.8162,1.9421,,0.002,0.003\n"
    )
    job = read_job(write_job(tmp_path, 'unit = "in"\n[fit.rod]\n', positions))
    assert [p.target_nm for p in job.positions] == [55_880, 63_500]


def test_files_come_in_natural_order(tmp_path: Path) -> None:
    """Globs count in the order written, and within one box-2 comes before box-10."""
    one = "shell,kind,half,wall\n01,rod,upper,0.0618\n"
    job = read_job(
        write_job(
            tmp_path,
            JOB + '[sources]\nshells = ["late/*.csv", "shells/*.csv", "late/*.csv"]\n',
            shells=None,
            shells__box_10_DOT_csv=one.replace("18", "19"),
            shells__box_2_DOT_csv=one.replace("18", "17"),
            shells__box_1_DOT_csv=one.replace("18", "16"),
            late__z_DOT_csv=one,
        )
    )
    assert [s.box for s in job.shells] == ["z", "box_1", "box_2", "box_10"]


def test_shared_boxes_lie_outside(tmp_path: Path) -> None:
    """[sources] shared may leave the folder; the default shell files need not be there then."""
    put(tmp_path / "boxes/b2.csv", OTHER_SHELLS)
    put(tmp_path / "boxes/b1.csv", SHELLS)
    job = read_job(write_job(tmp_path / "job", JOB + '[sources]\nshared = ["../boxes/*.csv"]\n', shells=None))
    assert [s.file for s in job.shells if s.name == "01"] == ["../boxes/b1.csv", "../boxes/b2.csv"]


def test_a_file_reached_twice_is_read_once(tmp_path: Path) -> None:
    """Two globs, or a link beside its file, do not make the same shells twice."""
    folder = write_job(tmp_path, JOB + '[sources]\nshells = ["shells/*.csv", "shells/box-1.csv"]\n')
    (folder / "shells" / "copy.csv").symlink_to(folder / "shells" / "box-1.csv")
    assert len(read_job(folder).shells) == 3


def test_files_beside_the_tables_are_left_alone(tmp_path: Path) -> None:
    """Hidden files, folders and an open workbook's lock are no shell files."""
    folder = write_job(
        tmp_path, JOB + '[sources]\nshells = ["shells/*"]\n', **{"shells/.hidden.csv": "x", "shells/~$box-1.xlsx": "x"}
    )
    (folder / "shells" / "more").mkdir()
    assert len(read_job(folder).shells) == 3


def test_numbers_finer_than_a_nanometre(tmp_path: Path) -> None:
    """Rounding to whole nanometres is said in one warning, whichever file and however many numbers it concerns."""
    job = read_job(
        write_job(
            tmp_path,
            positions=POSITIONS.replace("1.8162", "1.81620000001"),
            shells=SHELLS.replace("0.0618\n", "0.06180000001\n").replace("0.06185", "0.06185000001"),
        )
    )
    assert job.warnings == (
        "numbers finer than a nanometre were rounded to the nearest, halves to even; "
        "the first is positions.csv:2: journal: `1.81620000001`",
    )
    assert bare(job.positions[0].journal) == size_of(46_131_480, 46_131_480)


def test_a_column_in_both_files_that_is_not_matched(tmp_path: Path) -> None:
    """It draws a warning, and none once it is matched or is in one file only."""
    positions = "position,kind,journal,housing_bore,lot\nR1,rod,1.8162,1.9421,a\n"
    shells = "shell,kind,half,wall,lot\n01,rod,upper,0.0618,a\n"
    (warning,) = read_job(write_job(tmp_path / "one", positions=positions, shells=shells)).warnings
    assert "`lot`" in warning
    assert "[rules] match" in warning
    matched = read_job(write_job(tmp_path / "two", JOB + '[rules]\nmatch = ["lot"]\n', positions, shells))
    assert matched.warnings == ()


def test_columns_nobody_asked_for(tmp_path: Path) -> None:
    """They are ignored, whatever is in them, even twice."""
    positions = "position,kind,journal,housing_bore,colour,colour\nR1,rod,1.8162,1.9421,1e9999,x\n"
    assert read_job(write_job(tmp_path, positions=positions)).positions[0].name == "R1"


def test_the_digest(tmp_path: Path) -> None:
    """Any change of a byte or a path changes the digest; copying the folder does not."""
    folder = write_job(tmp_path / "one")
    first = read_job(folder).digest
    assert len(first) == 64
    assert read_job(write_job(tmp_path / "two")).digest == first
    seen = {first}
    for path, text in [
        ("job.toml", JOB + "\n"),
        ("positions.csv", POSITIONS + "\n"),
        ("shells/box-1.csv", SHELLS + "\n"),
        ("shells/box-2.csv", OTHER_SHELLS),
    ]:
        put(folder / path, text)
        seen.add(read_job(folder).digest)
    (folder / "shells/box-2.csv").rename(folder / "shells/box-3.csv")
    seen.add(read_job(folder).digest)
    assert len(seen) == 6
    put(folder / "readme.txt", "not an input")
    assert read_job(folder).digest in seen


def test_no_two_inputs_run_together_alike() -> None:
    """Lengths frame every part of the digest: a byte moved from a path to its file or on to the next one shows."""

    def digest(*files: tuple[str, bytes]) -> str:
        return digest_of([Source(Paper(name, (0,)), data) for name, data in files])

    assert len({digest(("ab", b"c")), digest(("a", b"bc")), digest(("a", b"b"), ("c", b"")), digest(("abc", b""))}) == 4
    assert digest(("a", b"b"), ("c", b"d")) != digest(("c", b"d"), ("a", b"b"))


def test_text_and_path_give_the_same_job(tmp_path: Path) -> None:
    """The folder may be given as text or as a path."""
    folder = write_job(tmp_path)
    assert mistakes(folder) == []
    assert read_job(str(folder)) == read_job(folder)


@pytest.mark.parametrize(
    ("fit", "own", "at_middle"),
    [
        ("min = 0.0018\nmax = 0.0028", "", True),
        ("min = 0.0018\nmax = 0.0028\ntarget = 0.0023", "", False),
        ("min = 0.0018\nmax = 0.0028", "0.0023", False),
    ],
)
def test_whether_anybody_wrote_the_target(tmp_path: Path, fit: str, own: str, at_middle: bool) -> None:
    """A target taken from min and max is distinguished from an equal one that was written."""
    positions = f"position,kind,journal,housing_bore,target\nR1,rod,1.8162,1.9421,{own}\n"
    (rod,) = read_job(write_job(tmp_path, f'unit = "in"\n[fit.rod]\n{fit}\n', positions)).positions
    assert (rod.target_nm, rod.aims_at_middle) == (58_420, at_middle)
