"""`fitmatch sheet JOB` where the job's shells are on the shelf: which plan it shows, and what its labels say."""

from collections.abc import Callable
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, POSITIONS, write_job
from made.shelves import BOX, Clock
from oracles.html_page import Element, page_of

from fitmatch.shelf import Shelf, fitted, open_shelf, read_planned, read_stock, scrap, set_aside, show, take_in

FITS = JOB + 'family = ["narrow-2"]\n'
Sheet = Callable[..., Ran]


@pytest.fixture
def stocked(address: str, tmp_path: Path) -> Shelf:
    """A shelf with one box of three pairs."""
    shelf = open_shelf(address, clock=Clock())
    take_in(shelf, read_stock([write_job(tmp_path / "stock", FITS, POSITIONS, BOX)]))
    return shelf


@pytest.fixture
def sheet(capsys: pytest.CaptureFixture[str], address: str, monkeypatch: pytest.MonkeyPatch) -> Sheet:
    """Runs `sheet` with that shelf as the user's own."""
    monkeypatch.setenv("FITMATCH_DB", address)
    return lambda *words: Ran(capsys, "sheet", *words)


def engine(folder: Path, shells: str | None = None) -> Path:
    return write_job(folder, FITS, POSITIONS, shells)


def page(folder: Path) -> Element:
    return page_of((folder / "sheet.html").read_text(encoding="utf-8"))


def html(folder: Path) -> str:
    return (folder / "sheet.html").read_text(encoding="utf-8")


def test_a_plan_from_the_shelf_has_its_sheet(
    stocked: Shelf, sheet: Sheet, tmp_path: Path, address: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """A plan with the shelf's shells is shown without a word about the shelf, and is the same sheet when they are free,
    set aside and fitted in its engine; without a plan --from-shelf makes and saves one that `assign` would make."""
    folder = engine(tmp_path / "first")
    assert sheet(folder).status == 2 and not (folder / "assignment.json").exists()
    ran = sheet(folder, "--from-shelf", "--db", address)
    assert ran.status == 0 and (folder / "assignment.json").exists(), ran.err
    saved = (folder / "assignment.json").read_bytes()
    assert Ran(capsys, "assign", folder, "--from-shelf", "--save").status == 0
    assert (folder / "assignment.json").read_bytes() == saved
    first = html(folder)
    for change in (lambda: None, set_aside, fitted):
        if change in (set_aside, fitted):
            change(stocked, read_planned(folder))  # type: ignore[call-arg]
        assert sheet(folder).status == 0 and html(folder) == first
    assert "VOID" not in first and len(list(page(folder).all(cls="tick"))) == 16
    assert "No shell is left over." in page(folder).text


def test_what_the_shelf_has_since(
    stocked: Shelf, sheet: Sheet, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Once a placed shell was measured again and reads otherwise, by ever so little, the sheet is VOID, with exit 1;
    once another job has set one aside the plan is contradicted, with exit 2, and nothing is written."""
    folder, other = engine(tmp_path / "first"), engine(tmp_path / "second")
    assert sheet(folder, "--from-shelf").status == 0
    text = (folder / "assignment.json").read_text(encoding="utf-8")
    placed = next(shell for shell in show(stocked).shells if f'"shell": "{shell.shell}"' in text)
    wall = (placed.wall_nm or 0) / 25_400_000 + 0.00001
    row = f"{placed.shell},rod,{placed.half},{wall:.5f},narrow-2,0.001,drawer 1"
    again = write_job(tmp_path / "again", FITS, POSITIONS, f"{BOX.splitlines()[0]}\n{row}\n")
    take_in(stocked, read_stock([again]), remeasured=[str(placed.number)])
    ran = sheet(folder)
    assert ran.status == 1 and "the sheet is VOID" in ran.err and "VOID" in page(folder).text
    assert not list(page(folder).all(cls="tick"))
    assert Ran(capsys, "assign", folder, "--from-shelf", "--save").status == 0
    assert sheet(folder).status == sheet(other, "--from-shelf").status == 0
    set_aside(stocked, read_planned(other))
    (folder / "sheet.html").unlink()
    ran = sheet(folder)
    assert ran.status == 2 and "is no longer in the files, nor on the shelf for this job" in ran.err
    assert not (folder / "sheet.html").exists()


def test_shells_are_known_by_their_numbers(stocked: Shelf, sheet: Sheet, tmp_path: Path) -> None:
    """A plan made while another box of the same name was there is still that plan once that box is gone, though its
    own box is then called by its name alone."""
    thick = BOX.replace(",0.06", ",0.07")
    take_in(stocked, read_stock([write_job(tmp_path / "more", FITS, POSITIONS, thick)]), new_box=True)
    folder = engine(tmp_path / "first")
    assert sheet(folder, "--from-shelf").status == 0
    assert "box box-1 #1" in page(folder).text
    for shell in show(stocked).shells[6:]:
        scrap(stocked, str(shell.number), "dropped")
    assert sheet(folder).status == 0
    assert "box box-1 wall" in page(folder).text and "#1" not in page(folder).text


def test_labels_say_where_shells_lie(stocked: Shelf, sheet: Sheet, tmp_path: Path, address: str) -> None:
    """Of a job whose own shells are on the shelf too, labels have number and location if the shelf is asked, and
    otherwise neither; the plan and everything else on the sheet are the same."""
    folder = engine(tmp_path / "first", BOX)
    assert sheet(folder).status == 0
    labels = [one.text for one in page(folder).all(cls="label")]
    assert len(labels) == 2 and not any("no. " in text or "location" in text for text in labels)
    plain = page(folder).text
    assert sheet(folder, "--from-shelf", "--db", address).status == 0
    told = [one.text for one in page(folder).all(cls="label")]
    numbers = {shell.shell: shell.number for shell in show(stocked).shells}
    for before, after in zip(labels, told, strict=True):
        name = before.split()[0]
        assert after.startswith(f"{name} no. {numbers[name]} ") and after.endswith("location drawer 1")
        assert "before 2026-03-01" in after
    assert page(folder).text.split("Labels to cut out")[0] == plain.split("Labels to cut out")[0]


def test_what_makes_no_sense_is_refused(
    stocked: Shelf, sheet: Sheet, tmp_path: Path, address: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """--db without --from-shelf, a plan that several jobs share, and a sheet in place of the shelf: exit 2."""
    folder = engine(tmp_path / "first", BOX)
    assert sheet(folder, "--db", address).status == 2
    other = engine(tmp_path / "second", BOX.replace("0.061", "0.062"))
    (other / "shells" / "box-1.csv").rename(other / "shells" / "box-2.csv")
    assert Ran(capsys, "assign", folder, other, "--save").status in (0, 1)
    ran = sheet(folder, "--from-shelf")
    assert ran.status == 2 and "--from-shelf takes one job at a time" in ran.err
    if Path(address).exists():
        ran = sheet(other, "--from-shelf", "--output", address, "--force")
        assert ran.status == 2 and "is the shelf itself" in ran.err
    assert not (folder / "sheet.html").exists()
