"""`fitmatch sheet --engine N`: the record of an engine, printed from what the shelf knows of it."""

import re
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, put, write_job
from made.shelves import Clock, save_plan
from oracles.html_page import Element, page_of

from fitmatch.shelf import (
    correct,
    engine,
    fitted,
    open_shelf,
    put_back,
    read_measured_again,
    read_planned,
    read_stock,
    set_aside,
    take_in,
    teardown,
)

POSITIONS = "position,kind,journal,housing_bore\nR1,rod,1.8162,1.9421\nR2,rod,1.8162,1.9405\n"
GAUGES = """
[gauge.mic-1]
resolution = 0.0001
limit = 0.0001
[gauge.mic-2]
resolution = 0.00005
[measured.rod]
journal = "mic-1"
housing_bore = "mic-1"
wall = "mic-1"
"""
BOX = """\
shell,kind,half,wall_1,wall_2,wall_gauge,family,part,price
06,rod,upper,0.0618,0.0620,mic-1,narrow-2,P-1,40
01,rod,lower,0.0619,,mic-2,narrow-2,P-1,40
03,rod,upper,0.0618,0.0618,mic-1,narrow-2,P-1,40
04,rod,lower,0.0618,0.0618,mic-1,narrow-2,P-2,40
"""
LETTER = "letter of 2 March <b>"


def built_engine(folder: Path, address: str, *, gauges: bool = True) -> Path:
    """An engine of two rods on the shelf, of which the second is outside its limits."""
    box = BOX if gauges else re.sub(",mic-.|,wall_gauge", "", BOX)
    job = write_job(folder / "saw", JOB + GAUGES if gauges else JOB, POSITIONS, box)
    save_plan(job)
    shelf = open_shelf(address, clock=Clock())
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job), permissions={"R2": LETTER}, by="night shift", note="second overhaul")
    return job


def record(ran: Ran, file: Path) -> Element:
    assert ran.status == 0, ran.err
    return page_of(file.read_text(encoding="utf-8"))


def line(found: Element, position: str) -> str:
    (row,) = [one.text for one in found.all("tr") if one.text.startswith(f"{position} ")]
    return row


def test_what_the_shelf_knows_is_printed(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without its folder an engine has each position with its sizes, both shells by box, name and number, with walls,
    readings and gauges, and the calculated clearance; what is outside its limits says so with the permission, its day,
    who and the note. No price stands there, and what the shelf does not know is a line to write on."""
    job = built_engine(tmp_path, address)
    for path in sorted(job.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("FITMATCH_DB", address)
    ran = Ran(capsys, "sheet", "--engine", 1)
    found = record(ran, tmp_path / "engine-1.html")
    assert ran.out == "" and ran.err == "written to engine-1.html\n"
    first, second = line(found, "R1"), line(found, "R2")
    walls = {"06": (1, "0.06190 (0.06180 0.06200 by mic-1)"), "01": (2, "0.06190 (by mic-2)")}
    walls |= {"03": (3, "0.06180 (0.06180 0.06180 by mic-1)"), "04": (4, "0.06180 (0.06180 0.06180 by mic-1)")}
    for name, (number, wall) in walls.items():
        (where,) = [text for text in (first, second) if f"/{name} " in text]
        assert f"box-1/{name} no. {number} {wall} part P-{2 if name == '04' else 1}" in where
    assert first.startswith("R1 1.81620 1.94210 beam box-1/") and " cap box-1/" in first
    sums = [
        sum(float(wall.split()[0]) for n, (_, wall) in walls.items() if f"/{n} " in text) for text in (first, second)
    ]
    assert first.endswith(f" {1.9421 - 1.8162 - sums[0]:.5f}") and f" {1.9405 - 1.8162 - sums[1]:.5f}" in second
    assert "OUT OF LIMITS" not in first
    assert f"OUT OF LIMITS, permitted in writing: {LETTER}; 2026-03-01 by night shift; second overhaul" in second
    text = found.text
    assert "OUT OF LIMITS, permitted in writing: R2." in next(found.all("header")).text
    assert "Engine 1 of the shelf, built 2026-03-01" in text and "job saw" in text and "by night shift" in text
    assert "Gauge mic-1: walls, resolution 0.00010 in, limit +/- 0.00010 in." in text and "Gauge mic-2: walls" in text
    assert "price" not in text.lower() and "40" not in re.findall(r"\b[0-9]+\b", text)
    blanks = [one.text for one in found.all(cls="blank")]
    assert blanks.count("") == 2 and {"crank", "customer", "room", "limits from", "checked by, date"} <= set(blanks)
    assert "VOID" not in text and [one["id"] for one in found.all("section")] == ["record"]
    html = (tmp_path / "engine-1.html").read_text(encoding="utf-8")
    assert "default-src 'none'" in html and "&lt;b&gt;" in html and '@bottom-left { content: "Engine ' in html
    assert next(iter(found.all("u"))).text == "6"


def test_the_record_stays_what_it_was(address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Readings taken when the engine was taken down are not those that it was built with: the record has both, and
    says when that was; so it does where the teardown was a mistake and is corrected."""
    job = built_engine(tmp_path, address)
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    before = line(record(Ran(capsys, *words), tmp_path / "e.html"), "R1")
    shelf = open_shelf(address, clock=Clock())
    put(tmp_path / "again.csv", "position,upper,lower\nR1,0.0617,0.0617\n")
    again = read_measured_again(tmp_path / "again.csv", {"R1": "rod", "R2": "rod"}, None, job)
    gone = teardown(shelf, 1, again)
    found = record(Ran(capsys, *words), tmp_path / "e.html")
    after = line(found, "R1")
    assert "built 2026-03-01, taken down on 2026-03-01" in found.text
    assert after.replace("taken down on 2026-03-01; measured again then: upper 0.06170, lower 0.06170 ", "") == before
    correct(shelf, gone.events[0].number)
    assert line(record(Ran(capsys, *words), tmp_path / "e.html"), "R1").startswith(before.rpartition(" ")[0])


def test_a_permission_outlives_its_shells(address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A position that was fitted outside its limits, put back, and fitted inside them with other shells was once out of
    limits, with the permission, its day, who and the note; in between it is put back."""
    job = built_engine(tmp_path, address)
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    shelf = open_shelf(address, clock=Clock())
    put_back(shelf, "saw", ["R2"])
    assert "put back on 2026-03-01" in line(record(Ran(capsys, *words), tmp_path / "e.html"), "R2")
    shells = (job / "shells" / "box-1.csv").read_text(encoding="utf-8")
    new = "11,rod,upper,0.0611,,mic-1,narrow-2,P-1,40\n12,rod,lower,0.0610,,mic-1,narrow-2,P-1,40\n"
    put(job / "shells" / "box-1.csv", shells + new)
    upper, lower = (shell.label for shell in engine(shelf, 1).positions[0].shells)
    head, first, second = POSITIONS.splitlines()
    put(job / "positions.csv", f"{head},upper,lower\n{first},{upper},{lower}\n{second},,\n")
    save_plan(job)
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job), by="day shift")
    second = line(record(Ran(capsys, *words), tmp_path / "e.html"), "R2")
    assert "/11 " in second and "/12 " in second
    assert f"was once OUT OF LIMITS, permitted in writing: {LETTER}; 2026-03-01 by night shift; second" in second


def test_what_is_refused_writes_nothing(address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A shelf that is not there, an engine that it does not know, a JOB beside it, options that need one, a file in the
    way and the shelf's own file: exit 2, nothing is written or replaced."""
    built_engine(tmp_path, address)
    out = tmp_path / "e.html"
    words = ("sheet", "--engine", 1, "--db", address, "--output", out)
    for more, why in (
        (("--engine", 2), "there is no engine 2"),
        (("--db", tmp_path / "none.db"), f"there is no shelf {tmp_path / 'none.db'}"),
        (("--db", "mysql://x/y"), "mysql"),
        ((tmp_path / "saw",), "no JOB"),
        (("--only", "record"), "no --only"),
        (("--label", "70x37"), "no --label"),
        (("--engine", 0), "--engine"),
        (("--output", tmp_path / "none" / "e.html"), "there is no folder"),
    ):
        ran = Ran(capsys, *words, *more)
        assert (ran.status, ran.out) == (2, "") and why in ran.err, (more, ran.err)
        assert not out.exists() and not (tmp_path / "none.db").exists()
    assert Ran(capsys, "sheet", tmp_path / "saw", "--db", address).status == 2
    assert Ran(capsys, "sheet").status == 2
    out.write_text("mine", encoding="utf-8")
    assert Ran(capsys, *words).status == 2 and out.read_text(encoding="utf-8") == "mine"
    assert Ran(capsys, *words, "--force").status == 0 and Ran(capsys, *words).status == 0
    own = tmp_path / "shelf.db"
    if own.exists():
        kept = own.read_bytes()
        for way in (own, tmp_path / "shelf.db-wal"):
            ran = Ran(capsys, "sheet", "--engine", 1, "--db", address, "--output", way, "--force")
            assert ran.status == 2 and "is the shelf itself and is never replaced" in ran.err
        assert own.read_bytes() == kept and not (tmp_path / "shelf.db-wal").exists()


def test_without_gauges_nothing_is_made_up(address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of walls that were read by nobody knows what, the readings stand alone, no gauge is named, and no uncertainty."""
    built_engine(tmp_path, address, gauges=False)
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    found = record(Ran(capsys, *words), tmp_path / "e.html")
    assert "(0.06180 0.06200)" in found.text and "Gauge" not in found.text and "+/-" not in found.text
