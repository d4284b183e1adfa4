"""What only shows once all shells are known: halves that do not belong in one bore, boxes copied, marks nobody asks."""

from pathlib import Path

import pytest
from made.intake_jobs import JOB, POSITIONS, SHELLS, codes, mistakes, write_job
from oracles.rulebook import rules_of

import fitmatch
from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import read_job
from fitmatch.problems import InputError
from fitmatch.records.job import Job

ROD_AND_MAIN = JOB + "[fit.main]\ntarget = 0.002\n"


def shells(column: str, *cells: str, halves: tuple[str, ...] = ("upper", "lower"), kind: str = "rod") -> str:
    """Uppers and lowers in turn, with these cells in one more column."""
    rows = [f"{n},{kind},{halves[n % len(halves)]},0.061{80 + n},{cell}\n" for n, cell in enumerate(cells)]
    return f"shell,kind,half,wall,{column}\n" + "".join(rows)


def job_with(folder: Path, text: str, rules: str = "", positions: str = POSITIONS) -> Job:
    return read_job(write_job(folder, JOB + rules, positions, text))


# --- the halves of one bore ------------------------------------------------------------------------------------------


@pytest.mark.parametrize("column", ["series", "condition", "coating"])
def test_the_halves_of_a_bore_agree_by_default(tmp_path: Path, column: str) -> None:
    """Without a word in job.toml an old half is not put beside a new one, nor a coated half beside a bare one."""
    one, other = ("0.0003", "0.0003") if column == "coating" else ("new", "New")
    alike = job_with(tmp_path / "a", shells(column, one, other))
    assert rules_of(alike).same_in_bore == (column,)
    assert len(fitmatch.assign(alike).placements) == 1
    apart = fitmatch.assign(job_with(tmp_path / "b", shells(column, one, "")))
    assert apart.placements == () and len(apart.unfilled) == 2


def test_coatings_are_compared_as_coated_or_not(tmp_path: Path) -> None:
    """How thick a coating is, and how it is written, makes no difference; nought is uncoated, as blank is."""
    job = job_with(tmp_path, shells("coating [um]", "6", "7", "6.0", "0", "", "8"))
    at = job.shell_columns.index("coating")
    assert [s.marks[at] for s in job.shells] == ["coated", "coated", "coated", "", "", "coated"]


def test_what_is_written_comes_before_the_default(tmp_path: Path) -> None:
    """ "off" and an empty list remove the rule, and a list stands for the three columns."""
    text = "shell,kind,half,wall,series,condition,finish\n1,rod,upper,0.0618,a,new,x\n2,rod,lower,0.0618,b,new,y\n"

    def same(name: str, rules: str) -> tuple[str, ...]:
        return rules_of(job_with(tmp_path / name, text, rules)).same_in_bore

    assert same("1", "") == ("series", "condition")
    assert same("2", '[rules]\nsame_in_bore = "off"\n') == ()
    assert same("3", "[rules]\nsame_in_bore = []\n") == ()
    assert same("4", '[rules]\nsame_in_bore = ["finish"]\n') == ("finish",)


def test_a_column_without_a_word_in_it_binds_nothing(tmp_path: Path) -> None:
    """Blank in every row of every file a column is as if it were not there; filled in in one file, it binds in all."""
    blank = shells("series", "", "")
    job = job_with(tmp_path, blank)
    assert rules_of(job).same_in_bore == () and job.warnings == ()
    filled = shells("series", "x", "x").replace("618", "619")
    job = read_job(write_job(tmp_path, shells=blank, shells__two_DOT_csv=filled))
    assert rules_of(job).same_in_bore == ("series",)


def test_pairs_that_a_blank_keeps_apart_are_counted(tmp_path: Path) -> None:
    """Where one half says something and the other nothing, the number of pairs is told by column and kind; halves on
    hold or without a wall, `any`, and two that could not share a bore anyhow do not count."""
    rows = (
        "shell,kind,half,wall,series,hold\n"
        "1,rod,upper,0.0618,a,\n2,rod,upper,0.0619,,\n3,rod,lower,0.0618,b,\n4,rod,lower,0.0619,,\n"
        "5,rod,either,0.0617,,\n6,rod,lower,0.0618,any,\n7,rod,lower,0.0618,,dropped\n8,rod,lower,,,\n"
    )
    # 1 with 4 and 5; 3 with 2 and 5.
    assert job_with(tmp_path / "a", rows).warnings == (
        "same_in_bore: 4 pairs are kept apart (rod 4), as `series` is filled in for one half and blank for the other; "
        "fill it in for every shell, as printed or measured",
    )
    two = "shell,kind,half,wall,condition\n1,rod,upper,0.0618,new\n2,rod,lower,0.0619,\n"
    (told,) = job_with(tmp_path / "b", two).warnings
    assert told.startswith("same_in_bore: 1 pair is kept apart (rod 1), as `condition`")
    coated = "shell,kind,half,wall,coating\n1,rod,upper,0.0618,0.0003\n2,rod,lower,0.0619,\n"
    (told,) = job_with(tmp_path / "d", coated).warnings
    assert told.endswith(
        "(rod 1), as one half is coated and the `coating` of the other is blank; if that is coated too, fill it in"
    )
    assert job_with(tmp_path / "c", two, '[rules]\nsame_in_bore = "off"\n').warnings == ()


def test_in_a_pool_a_column_binds_that_one_job_has(tmp_path: Path) -> None:
    """The shells of all jobs are compared alike: a column that another job's files fill in binds here too."""
    job = JOB.replace("[fit.rod]", '[fit.rod]\nfamily = ["a"]')
    plain = "shell,kind,half,wall,family\n1,rod,upper,0.0618,a\n2,rod,lower,0.0619,a\n"
    marked = "shell,kind,half,wall,family,condition\n5,rod,upper,0.0618,a,used\n6,rod,lower,0.0619,a,used\n"
    one = write_job(tmp_path / "one", job, shells=None, shells__A_DOT_csv=plain)
    other = write_job(tmp_path / "other", job, shells=None, shells__B_DOT_csv=marked)
    pool = read_jobs([one, other])
    assert [rules_of(job).same_in_bore for job in pool.jobs] == [("condition",), ("condition",)]
    assert all("2 pairs are kept apart (rod 2)" in job.warnings[-1] for job in pool.jobs)


# --- what is asked of all shells -------------------------------------------------------------------------------------


@pytest.mark.parametrize("column", ["od", "width"])
def test_widths_that_differ_need_a_column_of_positions(tmp_path: Path, column: str) -> None:
    """Shells of one kind that differ in width or od, held ones too, are refused until positions.csv says which goes
    where."""
    text = shells(column, "", "+0.25")
    assert mistakes(write_job(tmp_path / "a", shells=text)) == [
        f"positions.csv: {column}: the column is missing, and rod shells differ in it: they have nothing and `+0.25`; "
        "add it and write what each position takes"
    ]
    positions = f"position,kind,journal,housing_bore,{column}\nR1,rod,1.8162,1.9421,+0.25\nR2,rod,1.8162,1.9421,\n"
    assert mistakes(write_job(tmp_path / "b", positions=positions, shells=text)) == []
    halves = positions.replace(f",{column}\n", f",{column}_upper\n")
    assert mistakes(write_job(tmp_path / "c", positions=halves, shells=text)) == []
    assert mistakes(write_job(tmp_path / "d", shells=shells(column, "x", "X ", "any"))) == []
    held = text.replace(f",{column}\n", f",{column},hold\n").replace("+0.25\n", "+0.25,bent\n")
    assert mistakes(write_job(tmp_path / "e", shells=held)) == mistakes(tmp_path / "a")


def test_kinds_and_families_may_differ_in_width(tmp_path: Path) -> None:
    """Rods are narrower than mains, and shells of a family that does not fit go nowhere."""
    two = shells("width", "n", "n") + "8,main,upper,0.0618,w\n9,main,lower,0.0618,w\n"
    positions = POSITIONS + "M1,main,1.8162,1.9421\n"
    assert mistakes(write_job(tmp_path / "a", ROD_AND_MAIN, positions, two)) == []
    families = (
        "shell,kind,half,wall,width,family\n1,rod,upper,0.0618,n,a\n2,rod,lower,0.0618,n,a\n3,rod,lower,0.062,w,b\n"
    )
    narrow = JOB.replace("[fit.rod]", '[fit.rod]\nfamily = ["a"]')
    assert mistakes(write_job(tmp_path / "b", narrow, shells=families)) == []
    assert codes(write_job(tmp_path / "c", JOB, shells=families)) == ["unlike-shells"]


def test_in_a_pool_shells_of_two_jobs_may_differ_in_width(tmp_path: Path) -> None:
    """A job that does not ask for the width cannot tell another job's shells from its own."""
    job = JOB.replace("[fit.rod]", '[fit.rod]\nfamily = ["a"]')
    text = "shell,kind,half,wall,family,width\n1,rod,upper,0.0618,a,n\n2,rod,lower,0.0619,a,n\n"
    one = write_job(tmp_path / "one", job, shells=None, shells__A_DOT_csv=text)
    other = write_job(
        tmp_path / "other", job, shells=None, shells__B_DOT_csv=text.replace(",n", ",w").replace("8", "7")
    )
    with pytest.raises(InputError) as caught:
        read_jobs([one, other])
    assert [str(p) for p in caught.value.problems] == [
        f"{name}/positions.csv: width: the column is missing, and rod shells differ in it: they have `n` and `w`; "
        "add it and write what each position takes"
        for name in ("one", "other")
    ]


def test_a_family_that_no_shell_has(tmp_path: Path) -> None:
    """Where a family is asked for and no shell of the kind has one, that is told, and not that shells are short."""
    asked = JOB.replace("[fit.rod]", '[fit.rod]\nfamily = ["narrow-2"]')
    assert mistakes(write_job(tmp_path / "a", asked)) == [
        "job.toml:5: fit.rod.family: no rod shell has a family, so that none would fit; fill in the column `family` of "
        "the shell files, as printed on the box"
    ]
    assert mistakes(write_job(tmp_path / "b", asked, shells=shells("family", "", "wide-1"))) == []
    one, two = (write_job(tmp_path / name, asked, shells=None, **{f"shells__{name}_DOT_csv": SHELLS}) for name in "cd")
    with pytest.raises(InputError) as caught:
        read_jobs([one, two])
    assert {(p.file, p.row, p.code) for p in caught.value.problems} >= {
        ("c/job.toml", 5, "no-family"),
        ("d/job.toml", 5, "no-family"),
    }


# --- one box under two names -----------------------------------------------------------------------------------------


def test_a_copied_box(tmp_path: Path) -> None:
    """Two boxes with the same names, halves and readings throughout are one box under two names, in whatever order."""
    turned = "".join(SHELLS.splitlines(keepends=True)[i] for i in (0, 3, 1, 2))
    assert mistakes(write_job(tmp_path / "a", shells__box_2_DOT_csv=turned)) == [
        "shells/box_2.csv: box `box_2` has the shells and readings of box `box-1` (shells/box-1.csv), one box under "
        "two names; take this file out or write in its own readings; if two boxes truly read alike, say why in a "
        "column `copy_confirmed`"
    ]
    for change in (("0.0619", "0.0620"), ("03,", "04,"), ("either", "upper")):
        text = SHELLS.replace(*change)
        assert mistakes(write_job(tmp_path / change[1], shells__box_2_DOT_csv=text)) == []


def test_readings_are_compared_not_their_means(tmp_path: Path) -> None:
    """Two shells of one mean that were read differently are two shells."""
    text = "shell,kind,half,wall_1,wall_2\n1,rod,upper,0.0618,0.0620\n2,rod,lower,0.0617,0.0619\n"
    other = text.replace("0.0618,0.0620", "0.0619,0.0619")
    assert mistakes(write_job(tmp_path / "a", shells=text, shells__b_DOT_csv=other)) == []
    assert codes(write_job(tmp_path / "b", shells=text, shells__b_DOT_csv=text)) == ["box-copied"]


def test_boxes_still_to_be_measured_are_no_copies(tmp_path: Path) -> None:
    """Two blank boxes, and two of which one shell each was read so far, may become anything."""
    blank = "shell,kind,half,wall\n1,rod,upper,\n2,rod,lower,\n3,rod,lower,\n"
    assert mistakes(write_job(tmp_path / "a", shells=blank, shells__b_DOT_csv=blank)) == []
    begun = blank.replace("upper,", "upper,0.0618")
    assert mistakes(write_job(tmp_path / "b", shells=begun, shells__b_DOT_csv=begun)) == []
    half = begun.replace("2,rod,lower,", "2,rod,lower,0.0617")
    assert codes(write_job(tmp_path / "c", shells=half, shells__b_DOT_csv=half)) == ["box-copied"]


def test_a_box_within_another(tmp_path: Path) -> None:
    """A box of four measured shells or more that all stand in another one is told of, wherever that comes in order."""
    rows = [f"{n},rod,{'upper' if n % 2 else 'lower'},0.061{80 + n}\n" for n in range(1, 7)]
    head = "shell,kind,half,wall\n"
    whole, four, three = (head + "".join(rows[:n]) for n in (6, 4, 3))
    (told,) = mistakes(write_job(tmp_path / "a", shells=four, shells__whole_DOT_csv=whole))
    assert told.startswith(
        "shells/box-1.csv: box `box-1` has the shells and readings of box `whole` (shells/whole.csv)"
    )
    assert codes(write_job(tmp_path / "b", shells=whole, shells__few_DOT_csv=three)) == []
    begun = four.replace(rows[3], "4,rod,lower,\n")
    assert codes(write_job(tmp_path / "c", shells=whole, shells__few_DOT_csv=begun)) == []


def test_a_copy_within_one_file(tmp_path: Path) -> None:
    """In a file with several boxes rows are to be taken out, not the file, and a box is told by its first row."""
    rows = SHELLS.splitlines(keepends=True)
    one_file = f"box,{rows[0]}" + "".join(f"{box},{row}" for box in "AB" for row in rows[1:])
    todo = (
        "one box under two names; take its rows out or write in its own readings; if two boxes truly read alike, say "
        "why in a column `copy_confirmed`"
    )
    assert mistakes(write_job(tmp_path / "a", shells=one_file)) == [
        f"shells/box-1.csv:5: box: box `B` has the shells and readings of box `A` (shells/box-1.csv:2), {todo}"
    ]
    beside = one_file.replace("A,01,rod,upper,0.06185", "A,01,rod,upper,0.06195")
    assert mistakes(write_job(tmp_path / "b", shells__two_DOT_csv=beside)) == [
        f"shells/two.csv:5: box: box `B` has the shells and readings of box `box-1` (shells/box-1.csv), {todo}"
    ]


def test_a_copy_with_other_shell_names_is_asked_about(tmp_path: Path) -> None:
    """Another box may read alike by chance: where four shells or more have the same halves and readings row by row, and
    that is unlikely by how often two shells read the same, a warning names both boxes; a reason in
    `copy_confirmed` answers it."""
    head, names, halves = "shell,kind,half,wall\n", "12345678abcdefgh", ("upper", "lower") * 4

    def box(first: int, walls: str, last: str = "lower") -> str:
        half = walls.split()
        cells = zip(names[first:], (*halves[: len(half) - 1], last), half, strict=False)
        return head + "".join(f"{name},rod,{half},0.06{wall}\n" for name, half, wall in cells)

    def told(name: str, one: str, two: str) -> tuple[str, ...]:
        return read_job(write_job(tmp_path / name, shells=one, shells__two_DOT_csv=two)).warnings

    one = box(0, "18 19 18 17")
    assert told("a", one, box(4, "18 19 18 17")) == (
        "shells/two.csv: box `two` has row by row the halves and readings of box `box-1` (shells/box-1.csv), under "
        "other shell names; if it is a copy not yet filled in, write in its own readings; if two boxes truly read "
        "alike, say why in a column `copy_confirmed`",
    )
    assert told("b", one, box(4, "18 19 17 18")) == () == told("c", one, box(4, "18 19 18 17", "either"))
    assert told("d", box(0, "18 19 18 19"), box(4, "18 19 18 19")) == ()
    few = "18 18 19 19 18 18 19 19"
    assert len(told("g", box(0, few), box(8, few))) == 1 and told("h", box(0, few), box(8, few[::-1])) == ()
    rare = "18 18 18 18 18 18 18 19"
    assert told("j", box(0, rare), box(8, rare)) == ()
    reason = box(4, "18 19 18 17").replace("wall\n", "wall,copy_confirmed\n").replace("17\n", "17,read twice\n")
    assert told("e", one, reason.replace("18\n", "18,\n").replace("19\n", "19,\n")) == ()
    begun = [text.replace("0.0617", "") for text in (one, box(4, "18 19 18 17"))]
    assert told("f", begun[0], begun[1]) == ()


@pytest.mark.parametrize("where", [0, 1])
def test_boxes_that_truly_read_alike(tmp_path: Path, where: int) -> None:
    """A reason in the column `copy_confirmed` of either file takes them as two boxes, and a warning says so."""
    text = SHELLS.replace("wall\n", "wall,copy_confirmed\n").replace("0.0618\n", "0.0618,both measured twice\n")
    files = [SHELLS, SHELLS]
    files[where] = text.replace("0.06185\n", "0.06185,\n").replace("0.0619\n", "0.0619,\n")
    job = read_job(write_job(tmp_path, shells=files[0], shells__two_DOT_csv=files[1]))
    assert len(job.shells) == 6
    assert job.warnings == (
        "shells/two.csv: box `two` reads like box `box-1` (shells/box-1.csv) and is taken as another one, as its "
        "column `copy_confirmed` says: both measured twice",
    )


def test_copies_among_the_boxes_of_several_jobs(tmp_path: Path) -> None:
    """A copy is found across jobs, and boxes of one name are named as taken for one and the same."""
    job = JOB.replace("[fit.rod]", '[fit.rod]\nfamily = ["a"]')
    text = "shell,kind,half,wall,family\n1,rod,upper,0.0618,a\n2,rod,lower,0.0619,a\n"
    one = write_job(tmp_path / "one", job, shells=None, shells__A_DOT_csv=text)
    other = write_job(tmp_path / "other", job, shells=None, shells__B_DOT_csv=text)
    with pytest.raises(InputError) as caught:
        read_jobs([one, other])
    (told,) = map(str, caught.value.problems)
    assert told.startswith("other/shells/B.csv: box `B` has the shells and readings of box `A` (one/shells/A.csv)")
    (other / "shells" / "C.xlsx").write_bytes(b"x")
    with pytest.raises(InputError) as caught:
        read_jobs([one, other])
    assert [w.split(";")[0] for w in caught.value.warnings] == ["other: shells/C.xlsx is not read"]
    (other / "shells" / "C.xlsx").unlink()
    (other / "shells" / "B.csv").rename(other / "shells" / "A.csv")
    pool = read_jobs([one, other])
    assert pool.jobs[0].warnings == (
        "box `A` of one and other is taken as one and the same box; if they are different boxes, rename one",
    )


def test_two_jobs_know_boxes_that_may_be_copies(tmp_path: Path) -> None:
    """The boxes that may be copies are noted in the job, and in all that share them; not where a reason is given."""
    job = JOB.replace("[fit.rod]", '[fit.rod]\nfamily = ["a"]')
    text = "shell,kind,half,wall,family\n" + "".join(
        f"{n},rod,{'upper' if n < 5 else 'lower'},0.06{wall},a\n" for n, wall in enumerate(["1819", "1820", "1821"] * 3)
    )
    one = write_job(tmp_path / "one", job, shells=None, shells__A_DOT_csv=text)
    other = write_job(tmp_path / "other", job, shells=None, shells__B_DOT_csv=text.replace(",rod", "x,rod"))
    assert read_job(one).look_alikes == ()
    assert [one.look_alikes for one in read_jobs([one, other]).jobs] == [(("B", "A"),)] * 2
    (one / "shells" / "B.csv").write_bytes((other / "shells" / "B.csv").read_bytes())
    assert read_job(one).look_alikes == (("B", "A"),)
    confirmed = text.replace(",rod", "x,rod").replace("family\n", "family,copy_confirmed\n").replace(",a\n", ",a,yes\n")
    (one / "shells" / "B.csv").write_text(confirmed, encoding="utf-8")
    assert read_job(one).look_alikes == ()
