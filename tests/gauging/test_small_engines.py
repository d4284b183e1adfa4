"""Doubts as a builder of a small engine sees them: what is alike, what may differ, and what is not a doubt."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import pytest
from made.intake_jobs import write_job

from fitmatch import read_job
from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.records.answers.doubted import but_of_held, doubted
from fitmatch.records.measuring import Doubt
from fitmatch.records.parts import Shell
from fitmatch.report.words.doubts import likely, looks_wrong, measure_again

JOB = 'unit = "mm"\n[sources]\nreadings = "readings.csv"\n[fit.rod]\ntarget = 0.056\n'
JOURNALS = ("66.850", "66.852", "66.851", "66.853")
BORES = ("70.103", "70.101", "70.102", "70.104")
WALLS = ("1.598", "1.599", "1.597", "1.598", "1.600")
LOG = "item,feature,station,angle,reading,by\n"


def positions(journals: Sequence[str] = JOURNALS, bores: Sequence[str] = BORES, more: str = "") -> str:
    """positions.csv; an empty size is in the long file. `more` is a column and its cells, separated by spaces."""
    name, *cells = more.split() or [""]
    head = f"position,kind,journal,housing_bore{',' + name if name else ''}\n"
    rows = [f"R{i},rod,{j},{b}" for i, (j, b) in enumerate(zip(journals, bores, strict=True), 1)]
    if cells:
        rows = [f"{row},{cell}" for row, cell in zip(rows, cells, strict=True)]
    return head + "\n".join(rows) + "\n"


def shells(uppers: Sequence[str] = WALLS, more: str = "") -> str:
    """One box: uppers as given and good lowers. `more` is a column and its cells for the uppers."""
    name, *cells = more.split() or [""]
    cells += [cells[0] if cells else ""] * (len(uppers) - len(cells))
    rows = [f"u{i},rod,upper,{w},{c}" for i, (w, c) in enumerate(zip(uppers, cells, strict=True), 1)]
    rows += [f"l{i},rod,lower,{w},{cells[0]}" for i, w in enumerate(WALLS, 1)]
    return f"shell,kind,half,wall,{name or 'note'}\n" + "\n".join(rows) + "\n"


def found(folder: Path, *, job: str = JOB, log: Sequence[str] = (), **files: str) -> tuple[Doubt, ...]:
    """The doubts about an engine of four rods; what is not given is good."""
    files = {
        "positions": positions(),
        "shells": shells(),
        "readings_DOT_csv": LOG + "".join(f"{row}\n" for row in log),
    } | files
    return doubts_of(read_job(write_job(folder, job=job, **files)))


def told(doubts: Sequence[Doubt]) -> list[tuple[str, str, str]]:
    return [(d.item, d.feature, d.signatures[0]) for d in doubts]


def test_a_good_engine_raises_no_doubt(tmp_path: Path) -> None:
    """Four rods that agree within a few micrometres are believed."""
    assert found(tmp_path) == ()


@pytest.mark.parametrize("place", ["1,0", "2,90", ",0", ","])
def test_readings_of_both_ways_of_entry_are_one_group(tmp_path: Path, place: str) -> None:
    """A thimble turn in a reading taken with `measure` is found beside readings in columns, wherever it was taken."""
    some = positions(journals=(*JOURNALS[:3], ""))
    assert found(tmp_path / "good", positions=some, log=[f"R4,journal,{place},66.852,"]) == ()
    doubts = found(tmp_path / "turned", positions=some, log=[f"R4,journal,{place},67.352,"])
    assert told(doubts) == [("R4", "journal", "thimble-turn")]
    assert (doubts[0].file, doubts[0].row) == ("readings.csv", 2)


def test_repeats_of_one_item_do_not_outvote_the_others(tmp_path: Path) -> None:
    """Many repeats of a part that is off are one voice against three other parts."""
    some = positions(bores=(*BORES[:3], ""))
    log = [
        f"R4,housing_bore,{station},0,{reading}," for station in (1, 2) for reading in ("70.145", "70.146", "70.145")
    ]
    assert told(found(tmp_path, positions=some, log=log)) == [("R4", "housing_bore", "bore-high")]


def test_two_clusters_that_nothing_explains(tmp_path: Path) -> None:
    """Two and two journals far apart are in doubt, whatever their order; as a moved gauge if they are in order."""
    (moved,) = found(tmp_path / "moved", positions=positions(("66.850", "66.852", "66.906", "66.904")))
    assert (moved.item, moved.signatures[0]) == ("R3", "gauge-setting")
    assert looks_wrong(moved, "mm").startswith("every journal from R3 to R4 reads 0.054 mm high")
    (mixed,) = found(tmp_path / "mixed", positions=positions(("66.850", "66.906", "66.852", "66.904")))
    assert mixed.signatures[0] == "two-sizes" and "R2 and R4" in looks_wrong(mixed, "mm")
    assert measure_again(mixed) == "measure every journal of rod again in one session, the gauge set anew"
    job = read_job(tmp_path / "mixed")
    assert set(doubted([(job, [mixed])]).journals) == {p.key for p in job.positions}
    bores = positions(bores=("70.103", "70.153", "70.102", "70.154"))
    assert [d.signatures[0] for d in found(tmp_path / "bores", positions=bores)] == ["two-sizes"]


def test_what_explains_two_clusters_of_journals(tmp_path: Path) -> None:
    """The drawing, the step of a regrind and a label explain two clusters; shells for both must be there."""
    apart = ("66.850", "66.906", "66.852", "66.904")
    drawing = JOB + '[drawing.rod]\njournal = "66.84..66.91"\n'
    assert found(tmp_path / "drawing", job=drawing, positions=positions(apart)) == ()
    narrow = drawing.replace("66.91", "66.87")
    assert "journal" in [d.feature for d in found(tmp_path / "narrow", job=narrow, positions=positions(apart))]
    labelled = positions(apart, more="undersize a b a b")
    assert found(tmp_path / "labelled", positions=labelled) == ()
    ground = positions(("66.850", "66.600", "66.852", "66.601"))
    both = shells() + "".join(f"v{i},rod,{h},1.723,\n" for i, h in enumerate(["upper", "lower"] * 4))
    assert (
        found(tmp_path / "ground", positions=ground, shells=both.replace(",note", ",box").replace("723,", "723,b"))
        == ()
    )


def test_shells_are_looked_through_once_for_all_doubts(tmp_path: Path) -> None:
    """However many doubts there are, what they are about takes one look through the shells: there may be a million."""

    class Watched(tuple[Shell, ...]):
        looks = 0

        def __iter__(self) -> Iterator[Shell]:
            self.looks += 1
            return super().__iter__()

    (doubt,) = found(tmp_path, shells=shells(("1.598", "1.611", "1.599", "1.610")))
    job = read_job(tmp_path)
    for doubts in ([doubt], [doubt] * 9):
        watched = Watched(job.shells)
        assert doubted([(replace(job, shells=watched), doubts)]).shells
        assert but_of_held(replace(job, shells=watched), doubts) == tuple(doubts)
        assert watched.looks == 2


def test_what_explains_two_clusters_of_walls(tmp_path: Path) -> None:
    """Walls of one box and half in two clusters are in doubt, unless grade or step tells them apart."""
    walls = ("1.598", "1.611", "1.599", "1.610")
    (doubt,) = found(tmp_path / "bare", shells=shells(walls))
    assert doubt.signatures[0] == "two-sizes"
    job = read_job(tmp_path / "bare")
    assert set(doubted([(job, [doubt])]).shells) == {s.key for s in job.shells if s.half == "upper"}
    for column in ("grade thin thick thin thick", "step 0 0.025 0 0.025", "undersize 0 0.025 0 0.025"):
        assert found(tmp_path / column.split()[0], shells=shells(walls, column)) == ()


@pytest.mark.parametrize("feature", ["journal", "housing_bore"])
def test_a_gauge_that_moved_is_named(tmp_path: Path, feature: str) -> None:
    """Of four parts the last two read with a gauge that moved; also between the two ways of entry."""
    good = JOURNALS if feature == "journal" else BORES
    off = [f"{float(size) - 0.03:.3f}" for size in good[2:]]
    moved = (*good[:2], *off)
    some = positions(moved) if feature == "journal" else positions(bores=moved)
    assert told(found(tmp_path / "columns", positions=some)) == [("R3", feature, "gauge-setting")]
    left = (*good[:2], "", "")
    some = positions(left) if feature == "journal" else positions(bores=left)
    log = [f"R{i},{feature},,0,{reading}," for i, reading in enumerate(off, 3)]
    assert told(found(tmp_path / "mixed", positions=some, log=log)) == [("R3", feature, "gauge-setting")]


def test_mixing_both_ways_of_entry_raises_no_doubt(tmp_path: Path) -> None:
    """Repeats of two parts that differ by a little more than repeats do, beside columns, are no step."""
    some = positions(bores=(*BORES[:2], "", ""))
    log = [f"R3,housing_bore,1,0,70.09{n}," for n in (8, 9, 8)] + [f"R4,housing_bore,1,0,70.10{n}," for n in (6, 7, 6)]
    assert found(tmp_path, positions=some, log=log) == ()


def test_a_shell_for_another_grind_is_named(tmp_path: Path) -> None:
    """One shell that is half a regrind thicker than the others of its box."""
    walls = (*WALLS[:3], "1.724", WALLS[4])
    assert told(found(tmp_path, shells=shells(walls))) == [("box-1/u4", "wall", "shells-for-another-grind")]


def two_boxes(first: Sequence[str], second: Sequence[str], steps: tuple[str, str]) -> str:
    rows = [
        f"{box}{half[0]}{i},rod,{half},{wall},{box},{step}\n"
        for box, walls, step in (("a", first, steps[0]), ("b", second, steps[1]))
        for half in ("upper", "lower")
        for i, wall in enumerate(walls)
    ]
    return "shell,kind,half,wall,box,step\n" + "".join(rows)


def test_labels_of_two_boxes_exchanged(tmp_path: Path) -> None:
    """Where the box with the thicker step has the thinner walls both are in doubt; rightly labelled, neither."""
    thick = [f"{float(w) + 0.0125:.4f}" for w in WALLS]
    assert found(tmp_path / "right", shells=two_boxes(WALLS, thick, ("0", "0.025"))) == ()
    doubts = found(tmp_path / "wrong", shells=two_boxes(WALLS, thick, ("0.025", "0")))
    assert told(doubts) == [("a/au0", "wall", "labels-exchanged"), ("b/bu0", "wall", "labels-exchanged")]
    assert likely(doubts[0])[0].startswith("the labels of two boxes exchanged")
    job = read_job(tmp_path / "wrong")
    assert len(doubted([(job, doubts)]).shells) == 20


def test_a_whole_box_at_the_joint(tmp_path: Path) -> None:
    """Of two boxes with one step the thin one, which is further from the target, was read at the joint; without a label
    it may be another step."""
    thin = [f"{float(w) - 0.018:.3f}" for w in WALLS]
    assert told(found(tmp_path / "same", shells=two_boxes(WALLS, thin, ("0", "0")))) == [("b/bu0", "wall", "wall-low")]
    assert found(tmp_path / "unlabelled", shells=two_boxes(WALLS, thin, ("", ""))) == ()
    assert found(tmp_path / "text", shells=two_boxes(WALLS, thin, ("std", "thin"))) == ()
    assert len(found(tmp_path / "alike", shells=two_boxes(WALLS, thin, ("std", "std")))) == 1


def test_small_boxes_may_be_of_two_steps(tmp_path: Path) -> None:
    """Boxes of one pair each are judged together; those of a thicker step without a label are no mistake, and with one
    label they are."""
    rows = [
        f"u,rod,upper,{wall},{box},{{}}\nl,rod,lower,1.598,{box},{{}}\n"
        for box, wall in enumerate(("1.598", "1.599", "1.597", "1.611", "1.612", "1.610"))
    ]
    text = "shell,kind,half,wall,box,grade\n" + "".join(rows)
    assert found(tmp_path / "bare", shells=text.replace("{}", "")) == ()
    (labelled,) = found(tmp_path / "labelled", shells=text.replace("{}", "std"))
    assert looks_wrong(labelled, "mm").startswith("every wall from 3/u to 5/u reads 0.013 mm high")


def test_coated_shells_are_no_mistake(tmp_path: Path) -> None:
    """A maker may thin the shells that it coats, so that their metal is thinner than that of the others of the box."""
    walls = (*WALLS, "1.598", "1.599")
    assert found(tmp_path, shells=shells(walls, "coating " + "0 " * 5 + "0.009 0.009")) == ()


def test_a_lost_last_digit_is_named(tmp_path: Path) -> None:
    """A reading with one decimal fewer than all others, and too small by what that digit may have been."""
    job = JOB.replace('unit = "mm"', 'unit = "in"').replace("0.056", "0.0022")
    inch = "position,kind,journal,housing_bore\n" + "".join(
        f"R{i},rod,{j},1.9421\n" for i, j in enumerate(("1.8169", "1.816", "1.8169", "1.8168", "1.8169"), 1)
    )
    walls = "shell,kind,half,wall\nu,rod,upper,0.0615\nl,rod,lower,0.0615\n"
    assert told(found(tmp_path, job=job, positions=inch, shells=walls)) == [("R2", "journal", "digit-dropped")]


def test_two_people_at_one_place(tmp_path: Path) -> None:
    """Readings of one place that two people agree on by themselves, but not with each other."""
    some = positions(journals=("", *JOURNALS[1:]))
    log = [f"R1,journal,1,0,66.85{n},first" for n in (1, 1)] + [f"R1,journal,1,0,66.86{n},second" for n in (4, 5)]
    (doubt,) = found(tmp_path / "apart", positions=some, log=log)
    assert (doubt.item, doubt.signatures[0], doubt.row) == ("R1", "two-hands", 4)
    alike = [row.replace("second", "first") for row in log]
    assert [d.signatures[0] for d in found(tmp_path / "one", positions=some, log=alike)] != ["two-hands"]
    near = [row.replace("66.86", "66.85") for row in log]
    assert found(tmp_path / "near", positions=some, log=near) == ()


def test_two_people_who_took_turns(tmp_path: Path) -> None:
    """The second half of the journals read by somebody else, all a little higher: the hands come before the gauge."""
    log = [f"R{i},journal,,0,{j},{'first' if i < 3 else 'second'}" for i, j in enumerate(JOURNALS, 1)]
    apart = [row.replace("66.85", "66.87") if "second" in row else row for row in log]
    some = positions(journals=("",) * 4)
    assert found(tmp_path / "alike", positions=some, log=log) == ()
    (doubt,) = found(tmp_path / "apart", positions=some, log=apart)
    assert doubt.signatures[:2] == ("two-hands", "gauge-setting")
