"""What is taken onto the shelf, and that doing it again is safe."""

import json
from datetime import datetime
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import put, write_job
from made.shelves import BOX
from openpyxl import Workbook

from fitmatch.problems import InputError
from fitmatch.report.shelf.data import taken_document
from fitmatch.report.shelf.texts import taken_text
from fitmatch.report.shelf.words import words
from fitmatch.shelf import Filters, RefusedError, Shelf, count, history, open_shelf, read_stock, show, take_in, value
from fitmatch.shelf.jobs.supplying import offered


def files(folder: Path, text: str = BOX, name: str = "box-1.csv") -> list[Path]:
    put(folder / name, text)
    return [folder / name]


def codes(error: RefusedError) -> list[str]:
    return [reason.code for reason in error.reasons]


def test_shells_get_numbers_in_file_order(shelf: Shelf, tmp_path: Path) -> None:
    """Numbers begin at 1 and follow the files, and every shell is free, with what its row says of it."""
    taken = take_in(shelf, read_stock(files(tmp_path), "in"))
    assert (taken.new, taken.first, taken.unchanged) == (6, 1, 0)
    shells = show(shelf).shells
    assert [(s.number, s.label, s.half, s.wall_nm) for s in shells[:2]] == [
        (1, "box-1/01", "upper", 1_569_720),
        (2, "box-1/02", "lower", 1_569_720),
    ]
    assert {(s.state, s.family, s.step, s.location, s.single) for s in shells} == {
        ("free", "narrow-2", "0.001", "drawer 1", False)
    }


def test_a_job_and_its_files_alone_give_the_same_shells(shelf: Shelf, tmp_path: Path) -> None:
    """What was taken in by its file is known again when the job of that file is."""
    take_in(shelf, read_stock(files(tmp_path / "spreadsheets"), "in"))
    taken = take_in(shelf, read_stock([write_job(tmp_path / "job", shells=BOX)]))
    assert (taken.new, taken.unchanged) == (0, 6)


def test_again_adds_nothing(shelf: Shelf, tmp_path: Path) -> None:
    """The same files once more change nothing and leave no event behind."""
    for _ in range(2):
        taken = take_in(shelf, read_stock(files(tmp_path), "in"))
    assert (taken.new, taken.unchanged, taken.changed) == (0, 6, ())
    assert len(history(shelf, "1").events) == 1


def test_what_is_described_anew_is_said(shelf: Shelf, tmp_path: Path) -> None:
    """A row that says more of a shell than before changes it, in an event, and says which; where a shell lies is what
    the shelf says."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    again = BOX.replace("family,step,location", "family,step,location,note").replace("drawer 1\n", "drawer 9,\n")
    again = again.replace(
        "01,rod,upper,0.0618,narrow-2,0.001,drawer 9,", "01,rod,upper,0.0618,narrow-2,0.001,x,odd lug"
    )
    taken = take_in(shelf, read_stock(files(tmp_path, again), "in"))
    assert [(s.label, s.note, s.location) for s in taken.changed] == [("box-1/01", "odd lug", "drawer 1")]
    assert taken.unchanged == 5 and [e.action for e in history(shelf, "1").events] == ["take-in", "described"]


def test_other_readings_are_refused(shelf: Shelf, tmp_path: Path) -> None:
    """A known label with another reading is refused, each one named, and nothing is taken in."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    other = BOX.replace("01,rod,upper,0.0618", "01,rod,upper,0.0620") + "07,rod,lower,0.0618,,,\n"
    with pytest.raises(RefusedError) as refused:
        take_in(shelf, read_stock(files(tmp_path, other), "in"))
    assert codes(refused.value) == ["other-readings"]
    assert refused.value.reasons[0].slots["number"] == 1 and len(show(shelf).shells) == 6


@pytest.mark.parametrize("name", ["1", "box-1/01"])
def test_a_shell_measured_again_keeps_its_number(shelf: Shelf, tmp_path: Path, name: str) -> None:
    """The new reading counts, the number stays and the history says so."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    other = BOX.replace("01,rod,upper,0.0618", "01,rod,upper,0.0620")
    taken = take_in(shelf, read_stock(files(tmp_path, other), "in"), remeasured=[name])
    assert [(s.number, s.wall_nm) for s in taken.remeasured] == [(1, 1_574_800)]
    assert [e.action for e in history(shelf, "1").events] == ["take-in", "remeasured"]
    assert take_in(shelf, read_stock(files(tmp_path, other), "in")).unchanged == 6


def test_measured_again_with_the_same_wall(shelf: Shelf, tmp_path: Path) -> None:
    """A second reading that agrees is a reading of its own: with its day and gauge, and counted as the same."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    again = BOX.replace("location\n", "location,gauge,measured_on\n").replace("drawer 1\n", "drawer 1,mic,2026-02-27\n")
    taken = take_in(shelf, read_stock(files(tmp_path, again), "in"), remeasured=["1", "2"])
    assert ([s.number for s in taken.remeasured], taken.same, taken.unchanged) == ([1, 2], 2, 4)
    assert "2 measured again, 2 with the wall that they had" in taken_text(taken, "in")
    assert [e.action for e in history(shelf, "1").events] == ["take-in", "remeasured"]
    found = offered(shelf, "narrow-2")
    assert [(s.day, s.day_known, s.readings[0].gauge) for s in found[:3]] == [
        ("2026-02-27", True, "mic of 2026-02-27"),
        ("2026-02-27", True, "mic of 2026-02-27"),
        ("2026-03-01", False, None),
    ]


def test_an_empty_cell_is_no_measuring(shelf: Shelf, tmp_path: Path) -> None:
    """`remeasured` without a reading takes no wall away."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    with pytest.raises(RefusedError) as refused:
        take_in(shelf, read_stock(files(tmp_path, BOX.replace("upper,0.0618", "upper,")), "in"), remeasured=["1"])
    assert codes(refused.value) == ["other-readings", "not-remeasured"]


def test_columns_of_the_shelf_are_used(tmp_path: Path) -> None:
    """A job whose shell files have columns for the shelf is taken in without a warning that they are not used; one that
    nobody knows still has it."""
    box = BOX.replace("location\n", "location,price,opened,measured_on,colour\n")
    box = box.replace("drawer 1\n", "drawer 1,80,2026-02-01,2026-02-02,x\n")
    stock = read_stock([write_job(tmp_path / "job", shells=box)])
    assert [w for w in stock.warnings if "not used" in w] == ["shells/box-1.csv: column `colour` is not used"]
    assert {shell.measured_on for shell in stock.shells} == {"2026-02-02"}


@pytest.mark.parametrize("column", ["opened", "measured_on"])
def test_a_date_in_the_future_is_refused(shelf: Shelf, tmp_path: Path, column: str) -> None:
    """Nothing was opened or measured after today."""
    box = BOX.replace("location\n", f"location,{column}\n").replace("drawer 1\n", "drawer 1,2026-03-05\n")
    with pytest.raises(RefusedError) as refused:
        take_in(shelf, read_stock(files(tmp_path, box), "in"))
    assert set(codes(refused.value)) == {"future"} and show(shelf).shells == ()


def test_sealed_boxes_again_say_what_changed(shelf: Shelf, tmp_path: Path) -> None:
    """Sealed boxes taken in again are not new, and what is told of them otherwise is said, prices plainly."""
    order = "part,box,price,seller\nX-100,1402,80,\nX-100,1403,1000,\n"
    assert take_in(shelf, read_stock(files(tmp_path, order), "in")).sealed == 2
    other = order.replace("1402,80,", "1402,85.5,by the river")
    taken = take_in(shelf, read_stock(files(tmp_path, other, "again.csv"), "in"))
    assert (taken.sealed, taken.sealed_before) == (0, 2)
    assert [tuple(c) for c in taken.box_changes] == [
        ("1402", "seller", "", "by the river"),
        ("1402", "price", 80_000, 85_500),
    ]
    text = taken_text(taken, "in")
    assert "2 sealed boxes here already" in text and "box 1402: price is 85.5, was 80" in text
    assert '"before": 80, "after": 85.5' in taken_document(taken, "in")


@pytest.mark.parametrize("also", ["", "box-1.csv"])
def test_a_file_that_is_not_there(tmp_path: Path, also: str) -> None:
    """It is named, and nothing is said of a job."""
    paths = [tmp_path / "nosuch.csv", *(files(tmp_path) if also else [])]
    with pytest.raises(InputError) as error:
        read_stock(paths)
    assert [p.text for p in error.value.problems] == ["there is no such file; correct the path"]


def test_prices_are_plain(tmp_path: Path) -> None:
    """A price is written as people write money."""
    with pytest.raises(InputError) as error:
        read_stock(files(tmp_path, "part,box,price\nX,1,1e3\n"), "in")
    assert "write it plainly" in error.value.problems[0].text


SIZES = """\
shell,kind,half,wall,undersize,step
1,rod,upper,0.0618,0.010,
2,rod,upper,0.0618,,+0.010
3,rod,upper,0.0618,STD,0.010
4,rod,upper,0.0618,std,
5,rod,upper,0.0618,,0
6,rod,upper,0.0618,0.010,STD
7,rod,upper,0.0618,-0.010,
8,rod,upper,0.0618,,
"""


@pytest.mark.parametrize(
    ("step", "found"),
    [("0.010", [1, 2, 3, 6]), ("+0.010", [1, 2, 3, 6]), ("0.01", [1, 2, 3, 6]), ("std", [4, 5]), ("-0.010", [7])],
)
def test_a_size_however_it_is_printed(
    capsys: pytest.CaptureFixture[str], address: str, tmp_path: Path, step: str, found: list[int]
) -> None:
    """One size is found under undersize and under step, however it is written; thinner is not thicker. The table shows
    what is printed."""
    take_in(open_shelf(address), read_stock(files(tmp_path, SIZES), "in"))
    ran = Ran(capsys, "shelf", "--db", address, "show", "--step", step, "--json")
    assert [shell["number"] for shell in json.loads(ran.out)["shells"]] == found
    assert "STD 0.010" in Ran(capsys, "shelf", "--db", address, "show").out


def test_remeasured_must_name_what_is_in_the_files(shelf: Shelf, tmp_path: Path) -> None:
    """`remeasured` for a shell that no file has is refused."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    with pytest.raises(RefusedError) as refused:
        take_in(shelf, read_stock(files(tmp_path), "in"), remeasured=["99"])
    assert codes(refused.value) == ["not-remeasured"]


def test_another_box_of_the_same_name(shelf: Shelf, tmp_path: Path) -> None:
    """With `new_box` a box of a known name is another one; afterwards each is known by its readings."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    other = BOX.replace("0.0618", "0.0621")
    assert take_in(shelf, read_stock(files(tmp_path, other), "in"), new_box=True).first == 7
    for text in (BOX, other):
        assert take_in(shelf, read_stock(files(tmp_path, text), "in")).unchanged == 6
    with pytest.raises(RefusedError) as refused:
        history(shelf, "box-1/01")
    assert refused.value.reasons[0].slots["numbers"] == (1, 7)


def test_a_shell_of_another_half_is_refused(shelf: Shelf, tmp_path: Path) -> None:
    """A label that was an upper half cannot become a lower one."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    with pytest.raises(RefusedError) as refused:
        take_in(shelf, read_stock(files(tmp_path, BOX.replace("01,rod,upper", "01,rod,lower")), "in"))
    assert codes(refused.value) == ["other-half"]


def test_shells_are_what_their_sealed_box_said(shelf: Shelf, tmp_path: Path) -> None:
    """What was told of a sealed box is true of its shells, now and when more of them come, where they say nothing
    themselves; a size told as undersize is not told as step as well. Again is safe, and other boxes give nothing."""
    sealed = "X-100,box-1,narrow-2,rod,B,0.001,9,cellar"
    put(tmp_path / "boxes.csv", f"part,box,family,kind,series,step,price,location\n{sealed}\n")
    put(tmp_path / "box-2.csv", "shell,kind,half,wall,family\n1,rod,upper,0.0616,wide\n")
    take_in(shelf, read_stock([tmp_path / "boxes.csv", tmp_path / "box-2.csv"], "in"))
    header = "shell,kind,half,wall,family,undersize,location\n"
    rows = ["1,rod,upper,0.0618,,,\n", "2,rod,lower,0.0618,wide,0.010,bin 1\n", "3,rod,upper,0.0619,,,\n"]
    put(tmp_path / "box-2.csv", header + "1,rod,upper,0.0616,wide,,\n2,rod,lower,0.0617,,,\n")
    for known in (2, 3, 3):
        put(tmp_path / "box-1.csv", header + "".join(rows[:known]))
        taken = take_in(shelf, read_stock([tmp_path / "box-1.csv", tmp_path / "box-2.csv"], "in"))
    assert taken.new == 0 and taken.changed == ()
    found = {s.label: (s.family, s.part, s.series, s.undersize, s.step, s.location) for s in show(shelf).shells}
    assert found == {
        "box-1/1": ("narrow-2", "X-100", "B", "", "0.001", "cellar"),
        "box-1/2": ("wide", "X-100", "B", "0.010", "", "bin 1"),
        "box-1/3": ("narrow-2", "X-100", "B", "", "0.001", "cellar"),
        "box-2/1": ("wide", "", "", "", "", ""),
        "box-2/2": ("", "", "", "", "", ""),
    }
    assert [s.number for s in show(shelf, Filters(step="0.001", step_nm=25_400)).shells] == [2, 5]
    assert [t.worth_thousandths for t in value(shelf).tied_up if t.family == "narrow-2"] == [6_000]


def test_sealed_boxes_are_opened_by_their_shells(shelf: Shelf, tmp_path: Path) -> None:
    """A file of parts writes down sealed boxes; once shells of one come, it is opened and its price is kept."""
    sealed = (
        "part,box,family,kind,step,price\nX-100,box-1,narrow-2,rod,0.001,84.50\nX-100,box-2,narrow-2,rod,0.001,84.5\n"
    )
    assert take_in(shelf, read_stock(files(tmp_path, sealed, "order.csv"), "in")).sealed == 2
    assert [(b.name, b.state, b.price_thousandths) for b in show(shelf).sealed] == [
        ("box-1", "sealed", 84_500),
        ("box-2", "sealed", 84_500),
    ]
    taken = take_in(shelf, read_stock(files(tmp_path), "in"))
    assert [(b.name, b.state, b.price_thousandths, b.part) for b in taken.opened] == [
        ("box-1", "opened", 84_500, "X-100")
    ]
    assert [b.name for b in show(shelf).sealed] == ["box-2"]


def test_every_mistake_of_the_files_is_told(tmp_path: Path) -> None:
    """A bad price, a bad date and a bad wall come in one go, with file and row."""
    text = "shell,kind,half,wall,price,opened\n1,rod,upper,0.0618,cheap,2026-03-01\n2,rod,lower,61.8,,yesterday\n"
    with pytest.raises(InputError) as error:
        read_stock(files(tmp_path, text), "in")
    assert sorted((p.row, p.column) for p in error.value.problems) == [(2, "price"), (3, "opened"), (3, "wall")]


def test_walls_are_kept_over_the_coating(shelf: Shelf, tmp_path: Path) -> None:
    """However a job measures and counts coatings, the shelf keeps the wall over the coating."""
    text = "shell,kind,half,wall,coating,measured\n1,rod,upper,0.0618,0.0003,coated\n2,rod,lower,0.0618,0.0003,bare\n"
    take_in(shelf, read_stock(files(tmp_path, text), "in"))
    assert [s.wall_nm for s in show(shelf).shells] == [1_569_720, 1_577_340]


def test_singles_are_free_shells_without_a_free_partner(shelf: Shelf, tmp_path: Path) -> None:
    """Single is what has no free opposite half of its kind in its own box; an `either` shell goes with any other."""
    text = "shell,kind,half,wall,box\n1,rod,upper,0.0618,a\n2,rod,lower,0.0618,b\n3,rod,upper,0.0618,c\n"
    text += "4,rod,either,0.0618,c\n5,main,lower,0.0618,a\n6,rod,either,0.0618,d\n"
    take_in(shelf, read_stock(files(tmp_path, text), "in"))
    assert [s.shell for s in show(shelf, Filters(single=True)).shells] == ["1", "2", "5", "6"]


@pytest.mark.parametrize("column", ["opened", "measured_on"])
def test_dates_of_a_spreadsheet(shelf: Shelf, tmp_path: Path, column: str) -> None:
    """In the columns in which a date is meant a cell may be a date; one with a time of day is refused with
    just that as the reason, and a date in another column as a date."""
    head, *rows = (line.split(",") for line in BOX.splitlines())
    day = datetime(2026, 2, 3)

    def workbook(name: str, own: object, grade: object = "A") -> Path:
        book = Workbook()
        sheet = book.active
        assert sheet is not None
        for row in ([*head, column, "grade"], *([*cells, own, grade] for cells in rows)):
            sheet.append(row)
        book.save(tmp_path / name)
        return tmp_path / name

    stock = read_stock([workbook("box-1.xlsx", day)], "in")
    assert {s.measured_on for s in stock.shells} == {"2026-02-03" if column == "measured_on" else ""}
    assert {b.bought.opened for b in stock.boxes} == {"2026-02-03" if column == "opened" else ""}
    assert take_in(shelf, stock).new == 6
    for own, grade in ((day.replace(hour=9), "A"), (day, day)):
        with pytest.raises(InputError) as refused:
            read_stock([workbook("box-2.xlsx", own, grade)], "in")
        told = ("time-cell", column) if grade == "A" else ("date-cell", "grade")
        assert {(p.code, p.column) for p in refused.value.problems} == {told}


def test_a_missing_shell_that_is_measured_is_told(shelf: Shelf, tmp_path: Path) -> None:
    """Who measures a shell that is missing by the records has it in hand: that is said, with the command that finds it
    again."""
    take_in(shelf, read_stock(files(tmp_path), "in"))
    count(shelf, [str(n) for n in range(2, 7)])
    other = BOX.replace("01,rod,upper,0.0618", "01,rod,upper,0.0620")
    taken = take_in(shelf, read_stock(files(tmp_path, other), "in"), remeasured=["1"])
    assert [fact.code for fact in taken.attention] == ["measured-missing"]
    assert '`fitmatch shelf count FILE --location "drawer 1"`' in words(taken.attention[0])
