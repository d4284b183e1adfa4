"""`fitmatch sheet --engine N`: the record of an engine, printed from what the shelf knows of it."""

import json
import re
import shutil
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
    read_assembled,
    read_measured_again,
    read_planned,
    read_stock,
    set_aside,
    take_in,
    teardown,
)
from fitmatch.shelf.answers.engines import Assembled, together

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


def record(ran: Ran, file: Path, status: int = 0) -> Element:
    """The page; the status is 1 where something is not there, is outside its limits, or rests on readings in doubt."""
    assert ran.status == status, ran.err
    return page_of(file.read_text(encoding="utf-8"))


def line(found: Element, position: str) -> str:
    (row,) = [one.text for one in found.all("tr") if one.text.startswith(f"{position} ")]
    return row


def note(found: Element, position: str) -> str:
    """What stands of a position below its table."""
    (text,) = [one.text for one in found.all(cls="note") if one.text.startswith(f"{position}: ")]
    return text


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
    found = record(ran, tmp_path / "engine-1.html", 1)
    assert ran.out == "" and ran.err == "written to engine-1.html\n"
    first, second = line(found, "R1"), line(found, "R2")
    walls = {"06": (1, "0.06190"), "01": (2, "0.06190"), "03": (3, "0.06180"), "04": (4, "0.06180")}
    twice = "0.0618 0.0618 in by mic-1"
    read = {"06": "0.0618 0.0620 in by mic-1", "01": "by mic-2", "03": twice, "04": twice}
    for name, (number, wall) in walls.items():
        (where,) = [text for text in (first, second) if f"/{name} " in text]
        assert f"box-1/{name} no. {number} {wall} " in where
        pair = sorted((other for other in read if f"/{other} " in where), key=lambda one: where.index(f"/{one} "))
        assert f" read {'; '.join(read[one] for one in pair)} " in where
        assert ("part P-1" if name in ("06", "01") else f"{wall} part P-{2 if name == '04' else 1}") in where
    assert first.startswith("R1 1.81620 1.94210 beam box-1/") and " cap box-1/" in first
    sums = [
        sum(float(wall.split()[0]) for n, (_, wall) in walls.items() if f"/{n} " in text) for text in (first, second)
    ]
    assert f" {1.9421 - 1.8162 - sums[0]:.5f}" in first and f" {1.9405 - 1.8162 - sums[1]:.5f}" in second
    assert "OUT OF LIMITS" not in first and "OUT OF LIMITS" in second
    permitted = f"OUT OF LIMITS, permitted in writing: {LETTER}; 2026-03-01 by night shift; second overhaul"
    assert permitted in note(found, "R2")
    text = found.text
    assert "OUT OF LIMITS, permitted in writing: R2." in next(found.all("header")).text
    assert "Engine 1 of the shelf, built 2026-03-01" in text and "job saw" in text and "by night shift" in text
    assert "Gauge mic-1: journals, housing bores, walls, resolution 0.00010 in, limit +/- 0.00010 in." in text
    assert "Gauge mic-2: walls, resolution" in text
    assert "price" not in text.lower() and "40" not in re.findall(r"\b[0-9]+\b", text)
    blanks = [one.text for one in found.all(cls="blank")]
    assert blanks.count("") == 2 and {"crank", "customer", "room", "limits from", "checked by, date"} <= set(blanks)
    assert not {"seating counted in", "journals and bores read with"} & set(blanks)
    assert "VOID" not in text and [one["id"] for one in found.all("section")] == ["record"]
    html = (tmp_path / "engine-1.html").read_text(encoding="utf-8")
    assert "default-src 'none'" in html and "&lt;b&gt;" in html and '@bottom-left { content: "Engine ' in html
    assert next(iter(found.all("u"))).text == "6"


def test_the_record_stays_what_it_was(address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Readings taken when the engine was taken down are not those that it was built with: the record has both, and
    says when that was; so it does where the teardown was a mistake and is corrected."""
    job = built_engine(tmp_path, address)
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    found = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    before = line(found, "R1")
    assert not [one for one in found.all(cls="note") if one.text.startswith("R1: ")]
    shelf = open_shelf(address, clock=Clock())
    put(tmp_path / "again.csv", "position,upper,lower\nR1,0.0617,0.0617\n")
    again = read_measured_again(tmp_path / "again.csv", {"R1": "rod", "R2": "rod"}, None, job)
    gone = teardown(shelf, 1, again, by="Bob & Co", note="to be <inspected>")
    found = record(Ran(capsys, *words), tmp_path / "e.html")
    after = line(found, "R1")
    assert "built 2026-03-01, taken down on 2026-03-01" in found.text
    assert after.replace("taken down on 2026-03-01 ", "") == before
    assert note(found, "R1") == "R1: measured again then: upper 0.06170, lower 0.06170."
    assert "taken down by Bob & Co noted then to be <inspected>" in found.text
    assert "by Bob & Co; to be <inspected>" in Ran(capsys, "shelf", "engine", 1, "--db", address).out
    correct(shelf, gone.events[0].number)
    found = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    assert line(found, "R1").startswith(before.rpartition(" ")[0]) and "Bob" not in found.text


def test_a_permission_outlives_its_shells(address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A position that was fitted outside its limits, put back, and fitted inside them with other shells was once out of
    limits, with the permission, its day, who and the note; in between it is put back. Now its readings are in
    doubt, which the head and its line say."""
    job = built_engine(tmp_path, address)
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    shelf = open_shelf(address, clock=Clock())
    put_back(shelf, "saw", ["R2"])
    found = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    assert "put back on 2026-03-01" in line(found, "R2") and LETTER in note(found, "R2")
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
    found = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    second = line(found, "R2")
    assert "IN DOUBT when fitted: R2 rested on readings in doubt." in next(found.all("header")).text
    assert "IN DOUBT" in second and "rested on readings in doubt" in note(found, "R2")
    assert "/11 " in second and "/12 " in second and "was once OUT OF LIMITS" in second
    told = f"was once OUT OF LIMITS, permitted in writing: {LETTER}; 2026-03-01 by night shift; second"
    assert told in note(found, "R2")


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
    assert Ran(capsys, *words, "--force").status == 1 and Ran(capsys, *words).status == 1
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
    found = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    assert re.search("read (beam|cap) 0.0618 0.0620 in", found.text)
    assert "Gauge" not in found.text and "+/-" not in found.text


FULL = """
[temperature]
gauges = 23.0
parts = 26.0
limit = 1.0
[material.rod]
journal = "steel"
housing_bore = "steel"
[record]
engine = "No. <7>"
crank = "C 12"
"""
THREE = """\
position,kind,journal_1,journal_2,housing_bore_1,housing_bore_2,seating
R1,rod,1.8162,1.8163,1.9421,1.9422,
R2,rod,1.8162,1.8162,1.9421,1.9421,0.0002
R3,rod,,,1.9421,1.9421,
"""


def checkable(folder: Path, address: str, *, coated: bool = False) -> Path:
    """An engine of which R3 is not measured, with all that a job can say of how it was built."""
    toml = JOB.replace("[fit.rod]\n", '[fit.rod]\nlimits_from = "manual, p. <9>"\nseating = 0.0001\n') + GAUGES + FULL
    box = BOX
    if coated:
        toml += "[coating]\ncounts = false\n"
        head, *rows = re.sub("0.06(18|19|20)", lambda found: f"0.06{int(found[1]) + 3}", BOX).splitlines()
        box = "\n".join([f"{head},coating", *(f"{row},0.0003" for row in rows)]) + "\n"
    job = write_job(folder / "saw", toml, THREE, box)
    save_plan(job)
    shelf = open_shelf(address, clock=Clock())
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    return job


@pytest.mark.parametrize("coated", [False, True])
def test_the_record_can_be_checked_on_paper(
    coated: bool, address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Housing bore less journal less both walls, with the seating and what coating does not count, is the clearance;
    readings, gauges, temperatures, where limits come from, uncertainty, the user's own words, the plan and the day of
    printing stand there too, though the job folder is gone. What is known is not asked for."""
    job = checkable(tmp_path, address, coated=coated)
    plan = json.loads((job / "assignment.json").read_text(encoding="utf-8"))
    for path in sorted(job.rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    found = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    text = found.text
    for p in plan["positions"]:
        cells = [one.text for one in found.all("tr") if one.text.startswith(f"{p['position']} ")]
        sizes = [float(x) for x in re.findall(r"(?<![0-9./-])[0-9]+\.[0-9]{6}(?![0-9])", cells[0])]
        journal, bore, upper, lower, clearance = sizes[:5]
        assert (journal, bore) == pytest.approx((p["journal"], p["housing_bore"]), abs=1e-6)
        coating = 0.0006 if coated else 0.0
        assert clearance == pytest.approx(bore - journal - upper - lower + p["seating"] + coating, abs=2.6e-6)
        assert clearance == pytest.approx(p["clearance"], abs=1e-6)
        sure = re.findall(r"at least ([0-9.]+)", cells[0].split(f"{clearance:.6f}")[1])
        assert [float(one) for one in sure] == [pytest.approx(p["uncertainty"]["expanded"] * 1e4, abs=0.1)]
    assert text.count("0.000600 in of coating does not count as wall: add it. Clearances") == int(coated)
    assert "1.8162 1.8163 in" in line(found, "R1")
    assert "seating 0.00010 in (R1); 0.00020 in (R2) counted in" in text
    assert "limits: manual, p. <9>" in text and "Gauge mic-1: journals, housing bores" in text
    assert "Sizes corrected to 20 C from gauges 23 C, parts 26 C, +/- 1 K." in text
    assert "engine No. <7>" in text and "crank C 12" in text
    blanks = {one.text for one in found.all(cls="blank")}
    assert "customer" in blanks
    assert not blanks & {"crank", "the engine's own number", "room", "seating counted in", "limits from"}
    top = next(found.all("header")).text
    assert "built 2026-03-01; to plan 1" in top or "built 2026-03-01; printed" in top
    assert re.search(r"; printed [0-9]{4}-[0-9]{2}-[0-9]{2}", top) and "Not fitted in this engine: R3." in top


def test_the_plan_that_it_was_built_to(address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The number, day and time of the saved plan stand at the head and in the JSON document."""
    job = write_job(tmp_path / "saw", JOB + GAUGES, POSITIONS.replace("1.9405", "1.9421"), BOX)
    assert Ran(capsys, "assign", job, "--save").status == 0
    saved = json.loads((job / "assignment.json").read_text(encoding="utf-8"))
    for words in (("take-in", job), ("set-aside", job), ("fitted", job)):
        assert Ran(capsys, "shelf", *words, "--db", address).status == 0
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    found = record(Ran(capsys, *words), tmp_path / "e.html")
    assert f"to plan 1 of {saved['plan_date']}, {saved['plan_time']}; printed " in next(found.all("header")).text
    told = json.loads(Ran(capsys, "shelf", "engine", 1, "--json", "--db", address).out)["engine"]["positions"]
    assert {(p["plan_number"], p["plan_date"], p["plan_time"]) for p in told} == {
        (1, saved["plan_date"], saved["plan_time"])
    }
    for p, planned in zip(told, saved["positions"], strict=True):
        assert 0 <= p["clearance_u"] - planned["uncertainty"]["expanded"] < 1e-5 and p["clearance_u_least"] is True


def test_what_was_put_back_keeps_its_walls(address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A position that was put back keeps its walls as they were when it was fitted, on paper and as JSON; the head says
    that it has no shells, nothing is to be written in for it, and the status is 1. Fitted again all is as before."""
    job = checkable(tmp_path, address)
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    first = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    before = line(first, "R2")
    shelf = open_shelf(address, clock=Clock())
    put_back(shelf, "saw", ["R2"])
    found = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    after = line(found, "R2")
    assert after.replace(" put back on 2026-03-01", "") == f"{before} -"
    assert "R2: put back on 2026-03-01, has no shells." in next(found.all("header")).text
    document = json.loads(Ran(capsys, "shelf", "engine", 1, "--json", "--db", address).out)["engine"]
    walls = {p["position"]: (p["upper"]["wall"], p["upper"]["tried"]) for p in document["positions"]}
    assert walls["R2"][0] and walls["R2"][1] is True and walls["R1"][1] is False
    assert document["never_fitted"] == ["R3"]
    assert "R3 was not fitted in this engine" in Ran(capsys, "shelf", "engine", 1, "--db", address).out
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job), ["R2"])
    found = record(Ran(capsys, *words), tmp_path / "e.html", 1)
    assert line(found, "R2") == before and "put back" not in found.text


def test_an_engine_of_an_earlier_version_has_blanks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What an earlier version did not keep is a line to write on, and no figure is made up."""
    path = shutil.copy(Path(__file__).parents[1] / "data" / "shelf" / "version-0001.db", tmp_path / "old.db")
    words = ("sheet", "--engine", 1, "--db", path, "--output", tmp_path / "e.html")
    found = record(Ran(capsys, *words), tmp_path / "e.html")
    blanks = {one.text for one in found.all(cls="blank")}
    assert {"room", "seating counted in", "limits from", "journals and bores read with"} <= blanks
    assert "plan" not in next(found.all("header")).text and "+/-" not in found.text


def test_readings_stand_in_the_unit_they_were_read_in(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Of an inch job whose gauges read millimetres the record has every reading in millimetres, with the decimals of
    its gauge: journals, bores, walls over a ball, and each of two readings with the shells in, beside what the
    micrometer was set to and what the gauge had to read. Ball and coefficients of expansion are told, so that a size
    can be worked out from its readings."""
    gauges = """
[gauge.mic-m]
unit = "mm"
resolution = 0.001
expansion = 10.9e-6
[gauge.bore-m]
unit = "mm"
resolution = 0.002
set_with = "mic-m"
[gauge.tube]
unit = "mm"
resolution = 0.001
ball = 5.000
[measured.rod]
journal = "mic-m"
housing_bore = "bore-m"
wall = "tube"
"""
    positions = "position,kind,journal_1,journal_2,housing_bore\nR1,rod,46.130,46.132,49.330\n"
    box = "shell,kind,half,wall,family\n01,rod,upper,6.570,narrow-2\n02,rod,lower,6.571,narrow-2\n"
    job = write_job(tmp_path / "saw", JOB + gauges + FULL, positions, box)
    save_plan(job)
    shelf = open_shelf(address, clock=Clock())
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    (job / "assembled.csv").write_text("position,clearance_1,clearance_2,method\nR1,0.0580,0.0560,gauge\n")
    fitted(shelf, read_planned(job), read=read_assembled(shelf, job))
    assert Ran(capsys, "sheet", job, "--only", "record").status in (0, 1)
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    Ran(capsys, *words)
    for file in (tmp_path / "e.html", job / "sheet.html"):
        found = page_of(file.read_text(encoding="utf-8"))
        first = next(one.text for one in found.all("tr") if one.text.startswith("R1 "))
        assert "46.130 46.132 mm" in first and "49.330 mm" in first and "read 6.570 mm; 6.571 mm" in first
        assert "set mic-m 46.131 mm, must read 0.0" in first and "reads 0.0580 0.0560 mm (bore-m)" in first
        assert not re.search(r"[0-9]\.[0-9]{7,} in", found.text)
        text = found.text
        assert "ball 5.0000 mm" in text and "expansion 10.9e-6 per kelvin" in text
        steel = "journal 11.5e-6, housing bore 11.5e-6, gauges 11.5e-6 where none is told"
        assert f"xpansion per kelvin: {steel}" in text


def test_bare_walls_and_whose_expansion_a_gauge_has_are_told(
    address: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A wall that was read without its coating says so on the record of an engine as on that of its job; and a gauge
    that has its expansion from the one it was set with says from which."""
    bore = '[gauge.bore-1]\nset_with = "mic-1"\n[measured.rod]'
    gauges = GAUGES.replace("[gauge.mic-1]\n", "[gauge.mic-1]\nexpansion = 10.9e-6\n").replace("[measured.rod]", bore)
    gauges = gauges.replace('housing_bore = "mic-1"', 'housing_bore = "bore-1"')
    toml = JOB + gauges + FULL + '[coating]\ncounts = false\nmeasured = "bare"\n'
    head, *rows = BOX.splitlines()
    box = "\n".join([f"{head},coating", *(f"{row},0.0003" for row in rows)]) + "\n"
    job = write_job(tmp_path / "saw", toml, THREE, box)
    save_plan(job)
    shelf = open_shelf(address, clock=Clock())
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    assert Ran(capsys, "sheet", job, "--only", "record").status in (0, 1)
    words = ("sheet", "--engine", 1, "--db", address, "--output", tmp_path / "e.html")
    told = record(Ran(capsys, *words), tmp_path / "e.html", 1).text
    for text in (told, page_of((job / "sheet.html").read_text(encoding="utf-8")).text):
        assert text.count("bare, 0.06") + text.count("read bare") >= 2
        assert "expansion 10.9e-6 per kelvin" in text and "expansion 10.9e-6 per kelvin, as mic-1, set with" in text


def test_what_an_earlier_version_kept_of_a_reading_stands() -> None:
    """A reading on record without what is kept of it now is that reading still: fitted again with the same file nothing
    is new, and its permission stays."""
    then = Assembled(58_000, 57_000, None, "gauge", "bore-m", "clearance", 58_000, "", "", "", 0, 500, permitted=True)
    now = then._replace(permitted=False, readings_nm=(58_000,), typed=("0.058 mm",), set_to_nm=46_131_000, most_nm=9)
    assert together([then], [now]) == (then,)
    assert together([then], [now._replace(assembled_nm=59_000)]) == (now._replace(assembled_nm=59_000),)
    assert together([now], [now._replace(readings_nm=(57_000, 59_000))])[0].readings_nm == (57_000, 59_000)
