"""`fitmatch sheet JOB` where the job's shells are on the shelf: which plan it shows, and what its labels say."""

import json
import re
import shlex
from collections.abc import Callable
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, POSITIONS, put, write_job
from made.shelves import BOX, ONE_ROD, Clock
from oracles.html_page import Element, page_of

from fitmatch.records.parts import KEPT_FOR
from fitmatch.shelf import (
    Shelf,
    fitted,
    open_shelf,
    read_assembled,
    read_measured_again,
    read_planned,
    read_stock,
    scrap,
    set_aside,
    show,
    take_in,
    teardown,
)
from fitmatch.shelf import engine as engine_of

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
    """A plan with the shelf's shells is shown without the shelf being named, and is the same sheet when they are free,
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
    assert "box-1 #1" in page(folder).text
    for shell in show(stocked).shells[6:]:
        scrap(stocked, str(shell.number), "dropped")
    assert sheet(folder).status == 0
    assert " box-1, no. " in page(folder).text and "#1" not in page(folder).text


def test_labels_say_where_shells_lie(stocked: Shelf, sheet: Sheet, tmp_path: Path, address: str) -> None:
    """Of a job whose own shells are on the shelf too, labels and the shells of the plan have number and location if the
    shelf is asked, and otherwise neither; everything else on the sheet is the same, with nothing to measure again."""
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
        assert after.startswith(f"{name} no. {numbers[name]} ") and "; location drawer 1 measured " in after
        assert "before 2026-03-01" in after
    before, after = (text.split("Labels to cut out")[0] for text in (plain, page(folder).text))
    assert after != before and re.sub(r",? no\. [0-9]+, drawer 1", "", after) == before
    assert "today's micrometer" not in after


def test_where_the_shells_of_a_plan_lie(stocked: Shelf, sheet: Sheet, tmp_path: Path) -> None:
    """Of a plan from the shelf each block and each line of the record has the number and the location of both shells,
    and the top of the sheet the caution to measure them again with today's micrometer."""
    folder = engine(tmp_path / "first")
    assert sheet(folder, "--from-shelf").status == 0
    numbers = {shell.shell: shell.number for shell in show(stocked).shells}
    document = json.loads((folder / "assignment.json").read_text(encoding="utf-8"))
    found = page(folder)
    assert "4 shells of this plan came from the shelf: measure them again with today's micrometer" in found.text
    record = next(one for one in found.all("section") if one["id"] == "record")
    for p in document["positions"]:
        (block,) = [one for one in found.all("article") if one["data-position"] == p["position"]]
        (line,) = [row.text for row in record.all("tr") if row.text.startswith(p["position"])]
        for side in ("upper", "lower"):
            lies = f"no. {numbers[p[side]['shell']]}, drawer 1"
            assert f"box-1, {lies} wall" in block.text and lies in line


@pytest.mark.parametrize("measured", ["position\n", "position,upper,lower\nR1,0.06175,0.06175\n"])
def test_an_engine_that_was_taken_down(
    measured: str,
    stocked: Shelf,
    sheet: Sheet,
    tmp_path: Path,
    address: str,
    capsys: pytest.CaptureFixture[str],
) -> None:
    """Neither sheet nor assembled work from the plan of an engine that has run and was taken down, whether its shells
    were measured then or not: both say when that was and where its record is, and nothing of a new plan; the command
    given runs."""
    folder = write_job(tmp_path / "first", FITS, ONE_ROD, None)
    assert sheet(folder, "--from-shelf").status == 0
    set_aside(stocked, read_planned(folder))
    fitted(stocked, read_planned(folder))
    (folder / "assembled.csv").write_text("position,clearance,method\nR1,0.0022,gauge\n", encoding="utf-8")
    assert Ran(capsys, "assembled", folder).status == 0
    again = tmp_path / "again.csv"
    again.write_text(measured, encoding="utf-8")
    teardown(stocked, 1, read_measured_again(again, {"R1": "rod"}, "in"))
    (folder / "sheet.html").unlink()
    for command, named in (("sheet", ()), ("sheet", ("--from-shelf", "--db", address)), ("assembled", ())):
        ran = Ran(capsys, command, folder, *named)
        words = ["fitmatch", "sheet", "--engine", "1", *named[1:]]
        assert ran.status == 2 and "engine 1, built by this plan of first, was taken down on 2026-03-01" in ran.err
        assert words in map(shlex.split, re.findall(r"`([^`]*)`", ran.err)) and "assign" not in ran.err
        assert Ran(capsys, *words[1:], "--output", tmp_path / "engine.html").status == 0
    assert not (folder / "sheet.html").exists()


def test_a_lock_to_a_shell_of_the_shelf(
    stocked: Shelf, sheet: Sheet, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Where a position locks a shell that is on the shelf alone, beside a box of the job's own, sheet, assembled and
    what is learned work with a plan made --from-shelf; without one they say how the shelf is looked at. Cards need
    neither."""
    rods = POSITIONS + "R3,rod,1.8162,1.9421\nR4,rod,1.8162,1.9421\n"
    own = "".join(f"{n},rod,{half},0.0618,narrow-2\n" for n in range(1, 4) for half in ("upper",))
    own += "".join(f"{n},rod,lower,0.0618,narrow-2\n" for n in range(4, 7))
    header, *rows = rods.splitlines()
    locked = "\n".join([f"{header},upper", f"{rows[0]},box-1/01", *(f"{row}," for row in rows[1:])]) + "\n"
    folder = write_job(tmp_path / "first", FITS, locked, "shell,kind,half,wall,family\n" + own)
    (folder / "shells" / "box-1.csv").rename(folder / "shells" / "box-2.csv")
    assert sheet(folder, "--only", "cards").status == 0
    ran = sheet(folder)
    assert ran.status == 2 and "there is no shell `box-1/01`" in ran.err and "the shelf too: --from-shelf" in ran.err
    assert Ran(capsys, "assign", folder, "--from-shelf", "--save").status == 0
    assert sheet(folder).status == 0 and "locked here" in page(folder).text
    document = json.loads((folder / "assignment.json").read_text(encoding="utf-8"))
    read = "".join(f"{p['position']},{p['clearance']},gauge\n" for p in document["positions"])
    (folder / "assembled.csv").write_text(f"position,clearance,method\n{read}", encoding="utf-8")
    for words in ((), ("--from-shelf",), ("--learn",)):
        ran = Ran(capsys, "assembled", folder, *words)
        assert ran.status == 0, ran.err


def shared(folder: Path, capsys: pytest.CaptureFixture[str]) -> tuple[Path, Path]:
    """Two engines of one rod whose shells came from the shelf in one solve."""
    both = [write_job(folder / name, FITS, ONE_ROD, None) for name in ("first", "second")]
    assert Ran(capsys, "assign", *both, "--from-shelf", "--save").status == 0
    return both[0], both[1]


def test_a_plan_that_several_jobs_share(
    stocked: Shelf, sheet: Sheet, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Each engine of a plan that several share has its sheet, with its own shells alone to fit: the same while shells
    are free, set aside and fitted, whichever engine comes first, and with the readings taken with the shells in."""
    both = shared(tmp_path, capsys)
    for folder in both:
        assert sheet(folder).status == 0
    first = [html(folder) for folder in both]
    assert first[0] != first[1] and not any("VOID" in text for text in first)
    for folder, other in (both, both[::-1]):  # what is to be measured again
        (mine,), (theirs,) = (read_planned(one).positions for one in (folder, other))
        cards = next(one.text for one in page(folder).all("section") if one["id"] == "cards").split()
        assert all(name in cards for _, name in mine.shells.values())
        assert not any(name in cards for _, name in theirs.shells.values())
    for change in (set_aside, fitted):
        for folder in both:
            change(stocked, read_planned(folder))  # type: ignore[operator]
            assert sheet(both[0]).status == sheet(both[1]).status == 0
            kept = f"match {KEPT_FOR}; "  # the rule that has come into force is told
            assert [html(one).replace(kept, "") for one in both] == first
    put(both[1] / "assembled.csv", "position,clearance,method\nR1,0.0023,gauge\n")
    assert sheet(both[1]).status == 0 and html(both[1]) != first[1] and "0.0023" in page(both[1]).text
    fitted(stocked, read_planned(both[1]), read=read_assembled(stocked, both[1]))
    assert [one.assembled_nm for n in (1, 2) for one in engine_of(stocked, n).positions] == [None, 58_420]


def test_a_shared_plan_that_changed(
    stocked: Shelf, sheet: Sheet, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Once a shell of one engine is scrapped that engine's plan is contradicted, with exit 2, and the other's sheet is
    what it was, also once a file of the first has changed; as long as neither is set aside a new plan is for both, and
    once the other is, the command is for the one alone."""
    both = shared(tmp_path, capsys)
    assert sheet(both[0]).status == 0
    before = html(both[0])
    (mine,) = read_planned(both[1]).positions
    scrap(stocked, str(mine.numbers["upper"]), "dropped")
    assert sheet(both[0]).status == 0 and html(both[0]) == before
    ran = sheet(both[1])
    assert ran.status == 2 and "nor on the shelf for this job" in ran.err
    put(both[1] / "positions.csv", ONE_ROD.replace("1.9421", "1.94211"))
    assert sheet(both[0]).status == 0 and html(both[0]) == before
    assert Ran(capsys, "assign", both[1], "--from-shelf", "--save").status == 2
    assert Ran(capsys, "assign", *both, "--from-shelf", "--save").status == 0
    assert sheet(both[0]).status == sheet(both[1]).status == 0
    put(both[1] / "positions.csv", ONE_ROD)
    assert sheet(both[1]).status == 1 and f"fitmatch assign {both[1]} {both[0]} --from-shelf" in page(both[1]).text
    set_aside(stocked, read_planned(both[0]))
    assert sheet(both[1]).status == 1 and f"fitmatch assign {both[1]} --from-shelf --save" in page(both[1]).text


def test_what_makes_no_sense_is_refused(stocked: Shelf, sheet: Sheet, tmp_path: Path, address: str) -> None:
    """--db without --from-shelf, and a sheet in place of the shelf: exit 2."""
    folder = engine(tmp_path / "first", BOX)
    assert sheet(folder, "--db", address).status == 2
    if Path(address).exists():
        ran = sheet(folder, "--from-shelf", "--output", address, "--force")
        assert ran.status == 2 and "is the shelf itself" in ran.err
    assert not (folder / "sheet.html").exists()
