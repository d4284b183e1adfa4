"""What was read with the shells in is kept with the engine, when it is fitted and after that, and judged."""

import csv
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from made.commands import Ran
from made.intake_jobs import JOB, put, write_job
from made.shelves import Clock, save_plan
from oracles.html_page import page_of

from fitmatch.shelf import (
    Shelf,
    correct,
    engine,
    engines,
    export,
    fitted,
    history,
    import_,
    open_shelf,
    put_back,
    read_assembled,
    read_planned,
    read_stock,
    set_aside,
    show,
    take_in,
)

POSITIONS = "position,kind,journal,housing_bore\nR1,rod,1.8162,1.9421\nR2,rod,1.8162,1.9421\n"
BOX = """\
shell,kind,half,wall,family
01,rod,upper,0.0618,narrow-2
02,rod,lower,0.0618,narrow-2
03,rod,upper,0.0619,narrow-2
04,rod,lower,0.0619,narrow-2
"""
GAUGES = """
[gauge.mic]
limit = 0.00005
repeatability = 0.00002
[gauge.bore-1]
limit = 0.00005
repeatability = 0.00002
set_with = "mic"
[measured.rod]
journal = "mic"
housing_bore = "bore-1"
wall = "mic"
"""
HEAD = "position,clearance,method,by,date\n"
AGREE = f"{HEAD}R1,0.0023,gauge,K,2026-03-02\nR2,0.0022,gauge,,\n"
Run = Callable[..., Ran]
LETTER = "letter of 2 March"


@pytest.fixture
def job(shelf: Shelf, tmp_path: Path) -> Path:
    """A job of two rods whose shells are set aside."""
    return job_set_aside(shelf, tmp_path / "pump")


def job_set_aside(shelf: Shelf, folder: Path, settings: str = JOB) -> Path:
    save_plan(write_job(folder, settings, POSITIONS, BOX))
    take_in(shelf, read_stock([folder]))
    set_aside(shelf, read_planned(folder))
    return folder


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], address: str, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command with that shelf."""
    monkeypatch.setenv("FITMATCH_DB", address)
    return lambda *words: Ran(capsys, *words)


def of_engine(run: Run) -> dict[str, Any]:
    found = json.loads(run("shelf", "engine", 1, "--json").out)["engine"]
    return {p["position"]: p for p in found["positions"]} | {"not_to_be_run": found["not_to_be_run"]}


def test_readings_are_kept_when_it_is_fitted(shelf: Shelf, tmp_path: Path, run: Run) -> None:
    """The engine keeps what `assembled` shows of the readings of its very shells: corrected, with the uncertainty, the
    method, who and when; in text, JSON, CSV and on its record. A row of other shells is none of them."""
    job = job_set_aside(shelf, tmp_path / "pump", JOB + GAUGES)
    plan = {p.position: p.shells for p in read_planned(job).positions}
    other = ",".join("/".join(key) for key in plan["R1"].values())
    rows = f"R1,0.0023,gauge,K,2026-03-02,,\nR2,0.0019,strip,,,{other}\nR2,0.0022,gauge,,,,\n"
    put(job / "assembled.csv", f"position,clearance,method,by,date,upper,lower\n{rows}")
    shown = json.loads(run("assembled", job, "--json").out)["readings"][0]
    assert run("shelf", "fitted", job).status == 0
    found = of_engine(run)
    assert found["R1"]["assembled"] == shown["assembled"] and found["R2"]["assembled"] == 0.0022
    assert [one["method"] for one in found["R2"]["readings"]] == ["gauge"] and found["not_to_be_run"] == []
    (one,) = found["R1"]["readings"]
    assert [one[key] for key in ("assembled", "calculated", "method", "gauge", "by", "date")] == [
        *(shown[key] for key in ("assembled", "calculated")),
        "gauge",
        "bore-1",
        "K",
        "2026-03-02",
    ]
    assert (one["read"], one["as_read"]) == (shown["read"], shown["as_read"])
    assert one["difference_u"] == pytest.approx(shown["uncertainty"]["expanded"], rel=0.1) and one["verdict"] is None
    text = run("shelf", "engine", 1).out
    assert "R1: assembled 0.0023 in by gauge bore-1 (K, 2026-03-02), calculated" in text and "ATTENTION" not in text
    (row, _) = csv.DictReader(run("shelf", "engine", 1, "--csv").out.splitlines())
    row = {name.partition(" [")[0]: cell for name, cell in row.items()}
    assert (row["assembled"], row["assembled_method"], row["not_to_be_run"]) == ("0.0023", "gauge", "false")
    assert run("sheet", "--engine", 1, "--output", tmp_path / "e.html").status == 0
    page = page_of((tmp_path / "e.html").read_text(encoding="utf-8")).text
    assert "reads 0.0023 in (bore-1, by K, 2026-03-02), corrected 0.00230 in" in page and "NOT TO BE RUN" not in page


@pytest.mark.parametrize("counts", [False, True])
def test_a_clearance_to_the_metal_is_called_so(counts: bool, shelf: Shelf, tmp_path: Path, run: Run) -> None:
    """Where coating does not count as wall, what is refused or told of a reading says that it is to the metal."""
    head, *rows = (BOX if counts else BOX.replace("0.0618", "0.0621").replace("0.0619", "0.0622")).splitlines()
    box = "\n".join([f"{head},coating", *(f"{row},0.0003" for row in rows)]) + "\n"
    job = tmp_path / "pump"
    save_plan(write_job(job, JOB + GAUGES + f"[coating]\ncounts = {str(counts).lower()}\n", POSITIONS, box))
    take_in(shelf, read_stock([job]))
    set_aside(shelf, read_planned(job))
    put(job / "assembled.csv", f"{HEAD}R1,0.0060,gauge,,\n")
    what = "assembled clearance" if counts else "assembled clearance to the metal"
    assert f"R1 of pump: {what} 0." in run("shelf", "fitted", job).err
    assert run("shelf", "fitted", job, "--permission", f"R1={LETTER}").status == 1
    assert f"R1: {what} 0." in run("shelf", "engine", 1).out


def test_shells_that_are_noted_elsewhere_are_not_recorded(shelf: Shelf, tmp_path: Path, run: Run) -> None:
    """Where assembled.csv says that other shells are in than the plan's, or a planned shell elsewhere, `fitted` records
    nothing of that position and says which shells; others can be named, and a later row with the plan's own shells
    settles it."""
    job = job_set_aside(shelf, tmp_path / "pump", JOB + GAUGES)
    plan = {p.position: {side: "/".join(key) for side, key in p.shells.items()} for p in read_planned(job).positions}
    head = "position,clearance,method,upper,lower\n"
    other = f"R2,0.0023,gauge,{plan['R1']['upper']},{plan['R2']['lower']}\n"
    put(job / "assembled.csv", head + other)
    refused = run("shelf", "fitted", job)
    assert refused.status == 2
    said = f"assembled.csv says {plan['R1']['upper']} is in R2, the plan says"
    assert f"R2 of pump: {said} {plan['R2']['upper']}: find out which is in" in refused.err
    assert f"R1 of pump: {said} R1: find out which is in" in refused.err
    assert run("shelf", "fitted", job, "R1").status == 2 and run("shelf", "engine", 1).status == 2
    crosswise = f"R1,0.0023,gauge,{plan['R2']['upper']},{plan['R2']['lower']}\n"
    put(job / "assembled.csv", f"{head}{crosswise}R2,0.0023,gauge,{plan['R1']['upper']},{plan['R1']['lower']}\n")
    told = "assembled.csv has the shells of R1 and R2 the other way round"
    assert f"R1 of pump: {told}" in (err := run("shelf", "fitted", job).err) and f"R2 of pump: {told}" in err
    put(job / "assembled.csv", f"{head}{other}R2,0.0022,gauge,,\n")
    assert run("shelf", "fitted", job).status == 0
    assert of_engine(run)["R2"]["assembled"] == 0.0022
    put(job / "assembled.csv", f"{head}R1,0.0022,gauge,,\n{other}")
    assert run("shelf", "fitted", job).status == 2 and of_engine(run)["R1"]["assembled"] is None


def test_readings_taken_later_are_added(shelf: Shelf, job: Path, run: Run) -> None:
    """`fitted` again adds what was read since, says what it was before where it was something else, and is refused
    where nothing is new; the history has every value, and `correct` brings the one before back, and forth again."""
    assert run("shelf", "fitted", job).status == 0
    ran = run("shelf", "fitted", job)
    assert ran.status == 2 and "nothing set aside, and no reading with its shells in that is not on record" in ran.err
    put(job / "assembled.csv", f"{HEAD}R1,0.0023,gauge,,\n")
    ran = run("shelf", "fitted", job, "--by", "K", "--json")
    assert (
        ran.status == 0 and [e["note"] for e in json.loads(ran.out)["events"]] == ["assembled: empty > 0.0023 in"] * 2
    )
    assert run("shelf", "fitted", job, "R1").status == run("shelf", "fitted", job, "R2").status == 2
    put(job / "assembled.csv", f"{HEAD}R1,0.0024,gauge,,\nR2,0.0023,strip,,\n")
    ran = run("shelf", "fitted", job, "R1", "--json")
    told = [(e["action"], e["position"], e["note"]) for e in json.loads(ran.out)["events"]]
    assert ran.status == 0 and told == [("assembled", "R1", "assembled: 0.0023 in > 0.0024 in")] * 2
    assert run("shelf", "fitted", job).status == 0
    put(job / "assembled.csv", f"{HEAD}R2,0.0024,gauge,,\n")
    assert run("shelf", "fitted", job).status == 0
    first, second = engine(shelf, 1).positions
    assert (first.assembled_nm, second.assembled_nm) == (60_960, 60_960)
    assert [(one.method, one.assembled_nm) for one in second.readings] == [("gauge", 60_960), ("strip", 58_420)]
    (number,) = [s.number for s in first.shells if s.half == "upper"]
    events = history(shelf, str(number)).events
    assert [c.after for e in events for c in e.changes] == [58_420, 60_960]
    for nm in (58_420, 60_960):
        correct(shelf, history(shelf, str(number)).events[-1].number)
        found = engine(shelf, 1).positions[0]
        assert found.assembled_nm == nm and [one.assembled_nm for one in found.readings] == [nm]
    assert run("shelf", "correct", events[-1].number).status == 2


def test_what_reads_outside_is_not_fitted(shelf: Shelf, job: Path, run: Run) -> None:
    """A position that reads outside its limits is refused, whatever was calculated, until the maker's permission is
    quoted; then it is OUT OF LIMITS for ever. The others can be fitted."""
    put(job / "assembled.csv", f"{HEAD}R1,0.0017,gauge,,\nR2,0.0023,gauge,,\n")
    ran = run("shelf", "fitted", job)
    assert ran.status == 2 and {s.state for s in show(shelf).shells} == {"set-aside"}
    assert "0.0001 in below min at its tightest: NOT TO BE RUN; take it apart and find out why" in ran.err
    assert run("shelf", "fitted", job, "--permission", "R2=x of 2 March", "--permission", f"R1={LETTER}").status == 2
    assert run("shelf", "fitted", job, "R2").status == 0
    ran = run("shelf", "fitted", job, "--permission", f"R1={LETTER}")
    assert ran.status == 1 and f"R1 is fitted OUT OF LIMITS, permitted: {LETTER}" in ran.out
    found = of_engine(run)
    assert found["R1"]["permission"] == LETTER and found["R1"]["within_limits"] and found["not_to_be_run"] == []
    text = run("shelf", "engine", 1).out
    assert f"R1 is OUT OF LIMITS, permitted in writing: {LETTER}" in text and "NOT TO BE RUN" not in text
    last = history(shelf, str(engine(shelf, 1).positions[0].shells[0].number)).events[-1]
    assert last.remarks == ("outside-limits",) and last.note == LETTER


def test_both_reasons_are_given(shelf: Shelf, tmp_path: Path, run: Run) -> None:
    """A position that is outside by calculation and as read is refused for both, so that whoever quotes a permission
    knows what it must cover."""
    folder = write_job(tmp_path / "pump", JOB, POSITIONS.replace("R2,rod,1.8162", "R2,rod,1.8168"), BOX)
    save_plan(folder)
    take_in(shelf, read_stock([folder]))
    set_aside(shelf, read_planned(folder))
    put(folder / "assembled.csv", f"{HEAD}R2,0.0016,gauge,,\n")
    ran = run("shelf", "fitted", folder)
    assert ran.status == 2 and "NOT TO BE ASSEMBLED" in ran.err and "NOT TO BE RUN" in ran.err
    assert run("shelf", "fitted", folder, "--permission", f"R2={LETTER}").status == 1
    assert of_engine(run)["not_to_be_run"] == [] and len(engine(shelf, 1).to_frame()) == 2


def test_a_seating_that_was_learned(shelf: Shelf, tmp_path: Path, run: Run) -> None:
    """Once what the readings teach is in job.toml, the plan set aside again and `fitted` run again, the record has what
    is calculated now, and the history what was calculated before."""
    rows = "".join(f"R{n},rod,1.8162,1.9421\n" for n in (3, 4))
    shells = BOX + "".join(f"{n:02},rod,{'lower' if n % 2 else 'upper'},0.06185,narrow-2\n" for n in (6, 7, 8, 9))
    folder = write_job(tmp_path / "pump", JOB, POSITIONS + rows, shells)
    save_plan(folder)
    take_in(shelf, read_stock([folder]))
    set_aside(shelf, read_planned(folder))
    read = "".join(f"R{n},0.0024,gauge,,\n" for n in (1, 2, 3, 4))
    put(folder / "assembled.csv", HEAD + read)
    assert run("shelf", "fitted", folder).status == run("assembled", folder, "--learn").status == 0
    assert run("shelf", "fitted", folder).status == 2
    assert run("shelf", "set-aside", folder).status == 0
    ran = run("shelf", "fitted", folder, "--json")
    notes = {event["note"] for event in json.loads(ran.out)["events"]}
    assert ran.status == 0 and len(notes) == 1 and notes.pop().endswith(" > 0.0024 in")
    (one,) = engine(shelf, 1).positions[0].readings
    assert one.calculated_nm == one.assembled_nm == 60_960


def test_what_turns_out_to_be_outside_is_not_to_be_run(shelf: Shelf, job: Path, run: Run, tmp_path: Path) -> None:
    """Where the engine is together already the record says NOT TO BE RUN, everywhere, until a permission for
    that reading is quoted, a reading inside the limits is taken, or its shells are out; the sheet of the engine has
    status 1 then and while a permission is all that it stands on."""
    fitted(shelf, read_planned(job))
    put(job / "assembled.csv", f"{HEAD}R1,0.0029,gauge,,\nR2,0.0023,gauge,,\n")
    ran = run("shelf", "fitted", job)
    text = "R1: assembled clearance 0.0029 in by gauge, 0.0001 in above max: NOT TO BE RUN"
    assert ran.status == 1 and text in ran.out
    assert of_engine(run)["not_to_be_run"] == ["R1"]
    number = engine(shelf, 1).positions[0].shells[0].number
    for words in (("engine", 1), ("engines",), ("history", number)):
        assert "NOT TO BE RUN" in run("shelf", *words).out, words
    assert run("sheet", "--engine", 1, "--output", tmp_path / "e.html").status == 1
    page = page_of((tmp_path / "e.html").read_text(encoding="utf-8"))
    assert "NOT TO BE RUN: R1." in next(page.all("header")).text
    assert run("shelf", "fitted", job).status == 2
    ran = run("shelf", "fitted", job, "--permission", f"R1={LETTER}", "--by", "K", "--note", "asked")
    assert ran.status == 1 and f"R1 is fitted OUT OF LIMITS, permitted: {LETTER}" in ran.out
    assert of_engine(run)["not_to_be_run"] == [] and of_engine(run)["R1"]["permission"] == LETTER
    assert run("sheet", "--engine", 1, "--output", tmp_path / "e.html").status == 1
    marks = page_of((tmp_path / "e.html").read_text(encoding="utf-8")).text
    assert f"permitted in writing: {LETTER}; " in marks and " by K; asked" in marks
    put(job / "assembled.csv", f"{HEAD}R1,0.0030,gauge,,\n")
    assert run("shelf", "fitted", job).status == 1 and of_engine(run)["not_to_be_run"] == ["R1"]
    put(job / "assembled.csv", f"{HEAD}R1,0.0023,gauge,,\n")
    assert run("shelf", "fitted", job).status == 0 and of_engine(run)["not_to_be_run"] == []
    assert f"R1 was once OUT OF LIMITS, permitted in writing: {LETTER}" in run("shelf", "engine", 1).out
    put(job / "assembled.csv", f"{HEAD}R1,0.0017,gauge,,\n")
    assert run("shelf", "fitted", job).status == 1
    put_back(shelf, "pump", ["R1"])
    assert of_engine(run)["not_to_be_run"] == [] and "NOT TO BE RUN" not in run("shelf", "engines").out


def test_what_is_apart_is_said(shelf: Shelf, job: Path, run: Run) -> None:
    """A reading inside its limits that is not as calculated is recorded and told, with status 1."""
    put(job / "assembled.csv", f"{HEAD}R1,0.0027,gauge,,\nR2,0.0023,gauge,,\n")
    verdict = json.loads(run("assembled", job, "--json").out)["readings"][0]["verdict"]
    ran = run("shelf", "fitted", job)
    assert ran.status == 1 and verdict != "agrees" and f": {verdict.upper()}; find out why before" in ran.out
    assert f": {verdict.upper()}; find out why" in run("shelf", "engine", 1).out
    assert of_engine(run)["R1"]["readings"][0]["verdict"] == verdict


def test_a_mistake_in_the_readings_stops_it(shelf: Shelf, job: Path, run: Run) -> None:
    """Readings that cannot be read are told as bad input, and nothing is fitted."""
    put(job / "assembled.csv", f"{HEAD}R7,0.0023,gauge,,\n")
    ran = run("shelf", "fitted", job)
    assert ran.status == 2 and "assembled.csv:2: position:" in ran.err and engines(shelf).engines == ()


def test_fitted_again_with_other_shells(shelf: Shelf, job: Path) -> None:
    """What was read with other shells in is none of the record of those that took their place."""
    put(job / "assembled.csv", AGREE)
    fitted(shelf, read_planned(job), read=read_assembled(shelf, job))
    put_back(shelf, "pump", ["R1", "R2"])
    assert engine(shelf, 1).positions[0].assembled_nm == 58_420
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job))
    assert [(p.assembled_nm, p.readings) for p in engine(shelf, 1).positions] == [(None, ())] * 2


def test_shells_of_the_shelf(shelf: Shelf, tmp_path: Path, run: Run) -> None:
    """A plan of the shelf's own shells is read with them."""
    stock = write_job(tmp_path / "stock", JOB, POSITIONS, BOX)
    take_in(shelf, read_stock([stock]))
    job = write_job(tmp_path / "pump", JOB + 'family = ["narrow-2"]\n', POSITIONS, None)
    assert run("assign", job, "--from-shelf", "--save").status == 0
    assert run("shelf", "set-aside", job).status == 0
    put(job / "assembled.csv", AGREE)
    assert run("shelf", "fitted", job).status == 0
    assert [p.assembled_nm for p in engine(shelf, 1).positions] == [58_420, 55_880]
    put(job / "assembled.csv", AGREE.replace("0.0023", "0.0024"))
    assert run("shelf", "fitted", job).status == 0
    assert [p.assembled_nm for p in engine(shelf, 1).positions] == [60_960, 55_880]


def test_exported_and_imported(shelf: Shelf, job: Path, tmp_path: Path) -> None:
    """Readings go out and come in again with their history; an export without the column is read as one that has
    none."""
    put(job / "assembled.csv", AGREE)
    fitted(shelf, read_planned(job), read=read_assembled(shelf, job))
    export(shelf, tmp_path / "out")
    import_(other := open_shelf(tmp_path / "other.db", clock=Clock()), tmp_path / "out")
    assert engine(other, 1) == engine(shelf, 1) and engine(other, 1).positions[0].readings
    path = tmp_path / "out" / "engine_positions.csv"
    rows = [*csv.reader(path.read_text(encoding="utf-8").splitlines())]
    at = rows[0].index("assembled_nm")
    path.write_text("".join(",".join(c for i, c in enumerate(row) if i != at) + "\n" for row in rows), encoding="utf-8")
    import_(older := open_shelf(tmp_path / "older.db", clock=Clock()), tmp_path / "out")
    assert [p.assembled_nm for p in engine(older, 1).positions] == [None, None]


def test_the_lists_of_engines_tell_by_their_status(job: Path, run: Run, shelf: Shelf) -> None:
    """`engines` and `engine` exit with 1 while a position that stands is outside its limits, permitted or not, and show
    the words by which it was; once it is taken apart `engines` exits with 0."""
    run("shelf", "fitted", job)
    looks = ("shelf", "engines"), ("shelf", "engine", 1)
    assert [run(*look).status for look in looks] == [0, 0]
    put(job / "assembled.csv", f"{HEAD}R1,0.0033,gauge,,\n")
    run("shelf", "fitted", job)
    assert [(ran.status, "NOT TO BE RUN" in ran.out) for ran in (run(*look) for look in looks)] == [(1, True)] * 2
    assert run("shelf", "fitted", job, "--permission", f"R1={LETTER}").status == 1
    for look in looks:
        ran = run(*look)
        assert ran.status == 1 and "OUT OF LIMITS" in ran.out and LETTER in ran.out and "NOT TO BE RUN" not in ran.out
    put_back(shelf, "pump", ["R1"])
    assert run("shelf", "engines").status == 0


def test_what_is_fitted_and_outside_is_not_to_be_fitted(
    shelf: Shelf, run: Run, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Planned again from the shelf, what is fitted is said to be fitted and not locked, and is not to be laid out; a
    position of it that was read outside its limits is named, with exit status 1, and no shell of its kind is to be
    fitted until that is found out. In the document it is a flag."""
    job = write_job(tmp_path / "saw", JOB + 'family = ["narrow-2"]\n', POSITIONS, None)
    take_in(shelf, read_stock([write_job(tmp_path / "stock", JOB, POSITIONS, BOX)]))
    plan = ("assign", job, "--from-shelf", "--save")
    assert run(*plan).status == 0
    set_aside(shelf, read_planned(job))
    fitted(shelf, read_planned(job), ["R1"])
    ran = run(*plan)
    assert ran.status == 0 and "fitted" in ran.out and "locked" not in ran.out
    assert "Lay out the shells as shown, but for what is fitted already" in " ".join(ran.out.split())
    put(job / "assembled.csv", f"{HEAD}R1,0.0033,gauge,,\n")
    run("shelf", "fitted", job, "R1")
    ran = run(*plan)
    text = " ".join(ran.out.split())
    assert ran.status == 1 and "R1: NOT TO BE RUN" in text and "take R1 apart" in text and "Lay out" not in text
    flags = json.loads(run(*plan, "--json").out)["flags"]
    assert [(flag["code"], flag["position"]) for flag in flags] == [("fitted-not-to-be-run", "R1")]
    put(job / "assembled.csv", f"{HEAD}R1,0.0023,gauge,,\n")
    assert run("shelf", "fitted", job).status == 0
    ran = run(*plan)
    assert ran.status == 0 and "All that is shown is fitted already" in " ".join(ran.out.split())
