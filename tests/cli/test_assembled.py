"""`fitmatch assembled`, from files to files: what is refused, what is printed, and what `--learn` writes."""

import csv
import io
import json
import re
import shutil
from datetime import datetime
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from made.commands import Ran
from made.intake_jobs import put, typed, workbook, write_job

import fitmatch
from fitmatch.facts import Fact
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.reading import read_job
from fitmatch.intake.saved.saved_plan import read_saved_plan
from fitmatch.intake.writing.rewriting import CannotRewrite
from fitmatch.lengths import NM_PER_UNIT
from fitmatch.problems import InputError
from fitmatch.records.measuring import Doubt

SAMPLES = Path(__file__).parents[2] / "samples"
DATA = Path(__file__).parents[1] / "data"
FIRST_PLAN = DATA / "first-assignment.json"  # as the first version with --save wrote it
SCHEMA: dict[str, Any] = json.loads(
    (Path(fitmatch.__file__).parent / "report" / "data" / "assembled.schema.json").read_text(encoding="utf-8")
)

JOB = """\
title = "Sawmill engine"
unit  = "in"

[fit.rod]
min = 0.0015
max = 0.0030
"""
POSITIONS = """\
position,kind,journal,housing_bore
R1,rod,1.8162,1.9421
R2,rod,1.8163,1.9424
R3,rod,1.8162,1.9417
R4,rod,1.8161,1.9419
"""
SHELLS = """\
shell,kind,half,wall
1,rod,upper,0.0618
2,rod,upper,0.0620
3,rod,upper,0.0616
4,rod,upper,0.0618
5,rod,lower,0.0618
6,rod,lower,0.0619
7,rod,lower,0.0616
8,rod,lower,0.0617
"""
# Calculated: R1 0.0023, R2 0.0022, R3 0.0023, R4 0.0023.
READINGS = """\
position,upper,lower,clearance,method
R1,,,0.0024,gauge
R2,,,0.0024,gauge
R3,,,0.0025,gauge
R4,,,0.0024,gauge
"""


def mill(folder: Path, readings: str | bytes | None = READINGS, *, job: str = JOB, plan: bool = True) -> Path:
    files = {} if readings is None else {"assembled_DOT_csv": readings}
    write_job(folder, job, POSITIONS, None, shells__box_DOT_csv=SHELLS, **files)
    if plan:
        shutil.copy(FIRST_PLAN, folder / "assignment.json")
    return folder


def told(folder: Path) -> list[str]:
    """Every mistake in the job, its readings with the shells in among them."""
    try:
        read_job(folder, assembled=True)
    except InputError as error:
        return [str(problem) for problem in error.problems]
    return []


def everything(folder: Path) -> dict[str, bytes]:
    return {p.relative_to(folder).as_posix(): p.read_bytes() for p in sorted(folder.rglob("*")) if p.is_file()}


# --- against the plan ------------------------------------------------------------------------------------------------


def test_other_shells_than_the_plans_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A last row with other shells than the saved plan's is told, with status 1 though all readings agree, in text and
    JSON; without a plan there is nothing to tell."""
    rows = "position,upper,lower,clearance,method\nR1,4,5,0.0023,gauge\nR2,2,6,0.0022,gauge\n"
    folder = mill(tmp_path, rows)
    found = Ran(capsys, "assembled", folder)
    said = "assembled.csv says box/4 is in R1, the plan says box/1"
    text = " ".join(found.out.split())
    assert found.status == 1 and f"SHELLS NOT AS PLANNED: R1 and R4: {said}." in text
    assert "Find out which is in: R1, R4. If it is what the plan says, clear the reading of the other row" in text
    document = json.loads(Ran(capsys, "assembled", folder, "--json").out)
    jsonschema.validate(document, SCHEMA)
    assert [one["position"] for one in document["not_as_planned"]] == ["R1", "R4"]
    assert document["not_as_planned"][0]["told"] == [said]
    alone = Ran(capsys, "assembled", mill(tmp_path / "alone", rows, plan=False))
    assert alone.status == 0 and "NOT AS PLANNED" not in alone.out


def test_shells_that_are_out_again_are_not_judged(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A row of other shells above one with the plan's own makes nothing NOT TO BE RUN: it says that they are out again,
    and which row settles it."""
    rows = "position,upper,lower,clearance,method\nR1,4,5,0.0050,gauge\nR1,,,0.0023,gauge\n"
    folder = mill(tmp_path, rows)
    found = Ran(capsys, "assembled", folder)
    text = " ".join(found.out.split())
    assert found.status == 0 and "NOT TO BE RUN" not in text and "A MISTAKE" not in text
    assert "2 assembled readings: 1 in agreement with the calculation, 1 of shells that are out again." in text
    assert "R1 (row 2): read with box/4 and box/5, not as planned; row 3 has what the plan says." in text
    document = json.loads(Ran(capsys, "assembled", folder, "--json").out)
    jsonschema.validate(document, SCHEMA)
    assert [one["out_again_by"] for one in document["readings"]] == [3, None] and document["not_as_planned"] == []


def test_a_difference_never_looks_as_if_it_agreed_when_it_does_not(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A difference just beyond what agrees has as many decimals as it takes to see that; others have one."""
    rows = "position,upper,lower,clearance,method\nR1,,,{},gauge\n"
    line = r"R1 +box/1 +box/5 +\S+ +\S+ +(\S+) +(\S+)"
    for reading, off in (("0.002602", "+3.02 APART"), ("0.0026", "+3.0 agrees"), ("0.0024", "+1.0 agrees")):
        folder = mill(tmp_path / reading, rows.format(reading))
        match = re.search(line, Ran(capsys, "assembled", folder).out)
        assert match is not None and " ".join(match.groups()) == off


# --- reading ---------------------------------------------------------------------------------------------------------


def test_blank_shells_are_those_of_the_saved_plan(tmp_path: Path) -> None:
    """The very pair of each row: its own shells by NAME or BOX/NAME, each half by itself, else the plan's."""
    rows = "position,upper,lower,clearance,method\nR1,,,0.0024,gauge\nR2,4,,0.0024,gauge\nR3,box/1,8,0.0024,Gauge\n"
    found = read_job(mill(tmp_path, rows), assembled=True).measuring.assembled
    pairs = [(r.upper[1], r.lower[1]) for r in found]
    assert pairs == [("1", "5"), ("4", "6"), ("1", "8")] and [r.row for r in found] == [2, 3, 4]


def test_units_gauges_and_repeats(tmp_path: Path) -> None:
    """A length is in the unit of its cell, its header, its gauge or the job, in this order; numbered columns are
    repeats; the gauge of the housing bores reads where the row names none, but no strip."""
    job = JOB + '[gauge.b]\nunit = "mm"\n[gauge.c]\n[measured.rod]\nhousing_bore = "b"\n'
    rows = (
        "position,clearance_1,clearance_2 [thou],bore,method,gauge,by,date\n"
        "R1,0.05,2.5,,gauge,,first,2024-05-06\nR2,2 thou,,,gauge,b,,\nR3,0.002,,,strip,,,\nR4,,,1.8185,gauge,c,,\n"
    )
    folder = mill(tmp_path, rows, job=job)
    put(folder / "positions.csv", POSITIONS.replace("housing_bore", "housing_bore [in]"))
    found = read_job(folder, assembled=True).measuring.assembled
    assert [r.readings_nm for r in found] == [(50_000, 63_500), (50_800,), (50_800,), (46_189_900,)]
    assert [(r.feature, r.method, r.gauge) for r in found] == [
        ("clearance", "gauge", "b"),
        ("clearance", "gauge", "b"),
        ("clearance", "strip", None),
        ("bore", "gauge", "c"),
    ]
    assert (found[0].by, found[0].date) == ("first", "2024-05-06")


def test_a_row_without_a_reading_is_yet_to_be_measured(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A sheet of blank rows is no mistake: nothing is compared, which needs attention."""
    job = mill(tmp_path, "position,upper,lower,clearance,method\nR1,,,,\nR2,,,,gauge\n")
    ran = Ran(capsys, "assembled", job)
    assert ran.status == 1 and "No assembled reading yet." in ran.out
    assert "No reading yet with the shells in: R1, R2, R3, R4." in ran.out


def test_every_mistake_is_told_at_once(tmp_path: Path) -> None:
    """Mistakes of job.toml and of every kind in assembled.csv come in one list, in reading order."""
    shells = SHELLS + "9,main,upper,0.0618\n10,rod,either,0.0618\n"
    job = JOB + "[fit.main]\nmn = 1\ntarget = 0.002\n"
    rows = (
        "position,upper,lower,clearance,bore,method,gauge\n"
        "R9,1,5,0.0024,,gauge,\n,1,5,0.0024,,gauge,\nR1,1,99,0.0024,,gauge,\nR1,5,6,0.0024,,gauge,\n"
        "R1,9,5,0.0024,,gauge,\nR1,10,10,0.0024,,gauge,\nR1,1,5,0.0024,1.8186,gauge,\nR1,1,5,0.0024,,,\n"
        "R1,1,5,0.0024,,feeler,\nR1,1,5,24,,gauge,\nR1,1,5,-0.001,,gauge,\nR1,1,5,,1.8162,gauge,\n"
        "R1,1,5,,1.8186,strip,\nR1,1,5,0.0024,,gauge,mic\nR2,1,5,0.0024,,gauge,\nR2,1,5,0.0025,,gauge,\nR1,a/b/c,5,0.002,,gauge,\n"
    )
    write_job(tmp_path, job, POSITIONS, None, shells__box_DOT_csv=shells, assembled_DOT_csv=rows)
    lines = told(tmp_path)
    assert [line.split(": ")[:2] for line in lines] == [
        ["job.toml:8", "fit.main.mn"],
        ["assembled.csv:2", "position"],
        ["assembled.csv:3", "position"],
        ["assembled.csv:4", "lower"],
        ["assembled.csv:5", "upper"],
        ["assembled.csv:6", "upper"],
        ["assembled.csv:7", "lower"],
        ["assembled.csv:8", "clearance"],
        ["assembled.csv:9", "method"],
        ["assembled.csv:10", "method"],
        ["assembled.csv:11", "clearance"],
        ["assembled.csv:12", "clearance"],
        ["assembled.csv:13", "bore"],
        ["assembled.csv:14", "method"],
        ["assembled.csv:15", "gauge"],
        ["assembled.csv:17", "position"],
        ["assembled.csv:18", "upper"],
    ]
    assert all("; " in line for line in lines)


@pytest.mark.parametrize(
    ("rows", "expected"),
    [
        ("position,clearence,method\nR1,0.002,gauge\n", ["assembled.csv:1: clearence: no such column"]),
        ("position,methd,clearance\nR1,gauge,0.002\n", ["assembled.csv:1: methd: no such column"]),
        ("position,method\nR1,gauge\n", ["assembled.csv:1: clearance: there is no column clearance or bore"]),
        ("position,method,clearance,bore [xx]\nR1,gauge,0.002,\n", ["assembled.csv:1: bore: unknown unit `xx`"]),
        ("position,method,clearance\n", ["assembled.csv: has a header and no rows"]),
        ("position,method,clearance\nR1,gauge,1,2\n", ["assembled.csv:2: 4 cells where the header has 3"]),
        ("Engine\nposition,method,clearance\n", ["assembled.csv:1: `Engine` is not a header"]),
        ("", ["assembled.csv: is empty"]),
        (None, ["assembled.csv: the file is missing"]),
    ],
)
def test_faults_of_the_whole_file(tmp_path: Path, rows: str | None, expected: list[str]) -> None:
    """A misspelt, missing or wrongly headed column, no rows, or no file: one mistake, and nothing that follows."""
    lines = told(mill(tmp_path, rows))
    assert len(lines) == len(expected)
    assert all(line.startswith(start) for line, start in zip(lines, expected, strict=True)), lines


def test_another_file_may_be_named_and_a_workbook_reads_alike(tmp_path: Path) -> None:
    """`sources.assembled` names the file; the same rows in a workbook are the same readings, a date cell or not."""
    plain = read_job(mill(tmp_path / "csv"), assembled=True).measuring.assembled
    cells = [[*row, note] for row, note in zip(typed(READINGS), ["date", *[datetime(2024, 5, 6)] * 4], strict=True)]
    folder = mill(tmp_path / "xlsx", None, job=JOB + '[sources]\nassembled = "checks/one.xlsx"\n')
    put(folder / "checks/one.xlsx", workbook(cells))
    found = read_job(folder, assembled=True).measuring
    assert found.assembled == plain and found.assembled_file == "checks/one.xlsx"


def test_other_commands_do_not_read_it_and_the_digest_leaves_it_out(tmp_path: Path) -> None:
    """A broken assembled.csv affects no other command and changes no digest."""
    digest = read_job(mill(tmp_path)).digest
    put(tmp_path / "assembled.csv", b"\xff\xfe nonsense")
    assert read_job(tmp_path).digest == digest and told(tmp_path)


# --- the saved plan --------------------------------------------------------------------------------------------------


def test_the_first_saved_plan_still_loads(tmp_path: Path) -> None:
    """assignment.json of the first version that saved one: shells and digest are read, and the digest still fits."""
    job = mill(tmp_path)
    plan = read_saved_plan(job, Findings())
    assert plan is not None and plan.digest == read_job(job).digest
    assert plan.shells["R4", "lower"] == ("box", "8") and len(plan.shells) == 8


@pytest.mark.parametrize(
    ("saved", "pairs", "housings"),
    [
        ("first-assignment.json", "box/1+box/5 box/2+box/6 box/3+box/7 box/4+box/8", [None] * 4),
        ("assignment-several-jobs.json", "box/1+box/5 box/2+box/6 box/3+box/7 more/1+more/2", [None] * 4),
        ("assignment-moved-housings.json", "box/1+box/5 box/4+box/6 box/3+box/7 box/2+box/8", ["R4", None, None, "R1"]),
        ("assignment-reasons.json", "box/1+box/5 box/2+box/6 box/3+box/7 box/4+box/8", [None] * 4),
    ],
)
def test_plans_of_every_earlier_layout_still_load(
    tmp_path: Path, saved: str, pairs: str, housings: list[str | None]
) -> None:
    """A plan saved before several jobs, moved housings or reasons were known to the document, and by the first version
    that knew each, says which shells and housing are in where a row leaves it open."""
    job = mill(tmp_path / "mill")
    put(job / "shells/more.csv", "shell,kind,half,wall\n1,rod,upper,0.0618\n2,rod,lower,0.0618\n")
    shutil.copy(DATA / saved, job / "assignment.json")
    found = read_job(job, assembled=True).measuring.assembled
    assert " ".join(f"{'/'.join(r.upper)}+{'/'.join(r.lower)}" for r in found) == pairs
    assert [r.housing for r in found] == housings


@pytest.mark.parametrize(
    ("saved", "status"),
    [
        ("first-assignment.json", 0),
        ("assignment-several-jobs.json", 1),
        ("assignment-moved-housings.json", 2),
        ("assignment-reasons.json", 1),
    ],
)
def test_plans_of_every_earlier_layout_have_their_sheet(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], saved: str, status: int
) -> None:
    """A sheet is made of a plan of every earlier layout: the first, of which no date is known, and VOID where the
    inputs are others; one that moves housings where none may move is refused."""
    job = mill(tmp_path / "mill")
    (job / "assembled.csv").unlink()
    if saved != "first-assignment.json":
        put(job / "shells/more.csv", "shell,kind,half,wall\n1,rod,upper,0.0618\n2,rod,lower,0.0618\n")
    shutil.copy(DATA / saved, job / "assignment.json")
    ran = Ran(capsys, "sheet", job)
    assert ran.status == status
    if status == 2:
        assert "cannot be shown: the housing of R4 may not move to R1" in ran.err
        return
    text = (job / "sheet.html").read_text(encoding="utf-8")
    assert "Plan 1, date not recorded" in text and ("VOID" in text) == bool(status)


@pytest.mark.parametrize(
    ("plan", "expected"),
    [
        ("{", "assignment.json: is not a plan saved by fitmatch"),
        ("[]", "assignment.json: is not a plan saved by fitmatch"),
        ('{"schema": 0, "positions": []}', "assignment.json: is not a plan saved by fitmatch"),
        (
            ('{"schema": 1, "positions": [{"position": "R1", "upper": 3}]}'),
            "assignment.json: is not a plan saved by fitmatch",
        ),
        ('{"schema": 2, "positions": []}', "assignment.json: was saved by a newer fitmatch (schema 2, known up to 1)"),
    ],
)
def test_a_file_that_is_no_plan_is_refused(tmp_path: Path, plan: str, expected: str) -> None:
    """What cannot be read as a plan is one mistake; the blank shells that refer to it are not reported as well."""
    job = mill(tmp_path)
    put(job / "assignment.json", plan)
    (line,) = told(job)
    assert line.startswith(expected)


def test_blank_shells_without_a_plan_are_refused(tmp_path: Path) -> None:
    """No plan, a plan without that position, and a plan with a shell that no longer exists are each reported at the
    blank cells."""
    job = mill(tmp_path, plan=False)
    assert len(told(job)) == 8 and told(job)[0] == (
        "assembled.csv:2: upper: is empty, and there is no assignment.json to take it from; write the shells that are "
        "in; a plan is saved before fitting, with `fitmatch assign JOB --save`"
    )
    document = json.loads(FIRST_PLAN.read_text(encoding="utf-8"))
    del document["positions"][0]
    put(job / "assignment.json", json.dumps(document))
    lacking = "is empty, and assignment.json has no shells there; write the shell that is in"
    assert told(job) == [f"assembled.csv:2: {side}: {lacking}" for side in ("upper", "lower")]
    shutil.copy(FIRST_PLAN, job / "assignment.json")
    put(job / "shells/box.csv", SHELLS.replace("8,rod", "88,rod"))
    (line,) = told(job)
    assert line.startswith("assembled.csv:5: lower: is empty, and assignment.json has shell `box/8` there")


def test_inputs_that_changed_since_are_told_and_nothing_else(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A warning in the report, in JSON and on standard error, there also beside mistakes, but not with --quiet; the
    answer is otherwise the same; a plan without a digest warns as well."""
    job = mill(tmp_path)
    fresh = Ran(capsys, "assembled", job)
    assert fresh.err == "" and fresh.status == 0
    put(job / "job.toml", JOB + "# more\n")
    stale = Ran(capsys, "assembled", job)
    assert stale.err.startswith("warning: the inputs have changed since assignment.json was saved")
    before, after = re.split(r"WARNINGS\n(?:  .*\n)+\n", stale.out)
    assert before + after == fresh.out and stale.status == 0
    assert "the inputs have changed since assignment.json was saved" in " ".join(stale.out.split())
    (warning,) = json.loads(Ran(capsys, "assembled", job, "--json").out)["warnings"]
    assert stale.err == f"warning: {warning}\n"
    assert Ran(capsys, "assembled", job, "--quiet").err == ""
    document = json.loads(FIRST_PLAN.read_text(encoding="utf-8"))
    del document["digest"]
    put(job / "assignment.json", json.dumps(document))
    assert Ran(capsys, "assembled", job).err == stale.err
    put(job / "assembled.csv", READINGS.replace("R1", "R9"))
    refused = Ran(capsys, "assembled", job)
    assert refused.status == 2 and stale.err in refused.err and "R9" in refused.err


def test_one_shell_in_two_positions_is_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A shell that rows, or the saved plan for them, have in two positions: a warning with both rows, in the report, in
    JSON and on standard error, there also beside mistakes. Two rows of one position are no reason for it."""
    job = mill(tmp_path, READINGS.replace("R2,,", "R2,1,") + "R2,1,,0.0024,strip\n")
    ran = Ran(capsys, "assembled", job)
    assert ran.err.startswith("warning: assembled.csv: box/1 is in R1 (row 2) and R2 (row 3); ")
    assert ran.err.count("warning") == 1
    assert "box/1 is in R1 (row 2) and R2 (row 3)" in " ".join(ran.out.split())
    (warning,) = json.loads(Ran(capsys, "assembled", job, "--json").out)["warnings"]
    assert ran.err == f"warning: {warning}\n"
    put(job / "assembled.csv", READINGS.replace("R2,,", "R2,1,") + "R9,,,0.0024,gauge\n")
    refused = Ran(capsys, "assembled", job)
    assert refused.status == 2 and ran.err in refused.err
    put(job / "assembled.csv", READINGS + "R2,,,0.0024,strip\n")
    assert Ran(capsys, "assembled", job).err == ""


# --- saving another plan ---------------------------------------------------------------------------------------------

# With shell 4 locked at R1 the plan swaps 1 and 4, which are alike; R2 and R3 keep their shells.
LOCKED = POSITIONS.replace("bore\n", "bore,upper\n").replace("21\n", "21,4\n").replace("24\n", "24,\n")
LOCKED = LOCKED.replace("17\n", "17,\n").replace("19\n", "19,\n")
NAMED = READINGS
for _i in (1, 2, 3, 4):
    NAMED = NAMED.replace(f"R{_i},,", f"R{_i},{_i},{_i + 4}")


def test_a_plan_that_rows_refer_to_is_not_replaced_by_one_of_other_shells(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """--save is refused with a line for each row that has a reading and a blank shell, whether or not its position
    keeps its shells; the line says what to write. No answer is printed and no file touched, as long as one such row is
    left. Once all name their shells it is saved, and the readings keep their shells."""
    job = mill(tmp_path)
    put(job / "positions.csv", LOCKED)
    before = everything(job)
    ran = Ran(capsys, "assign", job, "--save")
    assert (ran.status, ran.out) == (2, "") and everything(job) == before
    lines = ran.err.splitlines()
    assert [line.split(": ")[:2] for line in lines] == [[f"assembled.csv:{row}", "upper"] for row in (2, 3, 4, 5)]
    assert lines[0] == (
        "assembled.csv:2: upper: this row names no upper shell or lower shell and so refers to box/1 and box/5 in "
        "assignment.json; the new plan has box/4 and box/5 there; write box/1 and box/5 into the row, or save with "
        "--force, which keeps the old plan as assignment-1.json"
    )
    assert lines[1] == (
        "assembled.csv:3: upper: this row names no upper shell or lower shell and so refers to box/2 and box/6 in "
        "assignment.json; the new plan has the same here but differs at other positions; write box/2 and box/6 into "
        "the row, which settles it too, or save with --force, which keeps the old plan as assignment-1.json"
    )
    put(job / "assembled.csv", NAMED.replace("R3,3,7", "R3,3,"))
    (last,) = Ran(capsys, "assign", job, "--save").err.splitlines()
    assert last.startswith("assembled.csv:4: lower: this row names no lower shell and so refers to box/7 in ")
    put(job / "assembled.csv", NAMED)
    assert Ran(capsys, "assign", job, "--save").status == 0
    found = read_job(job, assembled=True).measuring.assembled
    assert [r.upper[1] + r.lower[1] for r in found] == ["15", "26", "37", "48"]
    assert not list(job.glob("assignment-*.json"))


def test_what_does_not_refer_to_the_plan_does_not_prevent_saving(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The same plan again, a row without a reading, rows that name their shells, no assembled.csv, no plan before; and
    --force adds nothing then."""
    unread = NAMED.replace("R1,1,5,0.0024", "R1,,,")
    for name, readings, positions, plan in (
        ("same", READINGS, POSITIONS, True),
        ("unread", unread, LOCKED, True),
        ("no rows", None, LOCKED, True),
        ("no plan", READINGS, LOCKED, False),
    ):
        job = mill(tmp_path / name, readings, plan=plan)
        put(job / "positions.csv", positions)
        files = sorted({*everything(job), "assignment.json"})
        for more in ((), ("--force",)):
            assert Ran(capsys, "assign", job, "--save", *more).status == 0, name
            assert sorted(everything(job)) == files


def test_force_keeps_the_plan_and_then_the_rows_must_name_their_shells(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The old plan is kept byte for byte as assignment-1.json, the next one as assignment-2.json; from then on every
    row with a reading and a blank shell is refused, with what each plan has there, until it names its shells."""
    job = mill(tmp_path)
    put(job / "positions.csv", LOCKED)
    ran = Ran(capsys, "assign", job, "--save", "--force")
    assert ran.status == 0 and "the previous plan is kept as " in ran.err
    assert "assignment-1.json; write the shells that were fitted into assembled.csv" in ran.err
    assert (job / "assignment-1.json").read_bytes() == FIRST_PLAN.read_bytes()
    second = (job / "assignment.json").read_bytes()
    assert Ran(capsys, "assign", job, "--save").status == 0 and not (job / "assignment-2.json").exists()
    refused = Ran(capsys, "assembled", job, "--learn")
    assert (refused.status, refused.out) == (2, "") and len(refused.err.splitlines()) == 8
    assert refused.err.splitlines()[0] == (
        "assembled.csv:2: upper: is empty, and another plan was saved over the one it refers to: assignment-1.json has "
        "box/1, assignment.json has box/4; write the shell that was fitted"
    )
    assert refused.err.splitlines()[2] == (
        "assembled.csv:3: upper: is empty, and another plan was saved over the one it refers to: both plans have box/2 "
        "there; write the shell that was fitted"
    )
    put(job / "positions.csv", POSITIONS)
    again = Ran(capsys, "assign", job, "--save")
    assert again.status == 2 and again.err.splitlines()[:2] == [
        "assembled.csv:2: upper: this row names no upper shell or lower shell and so refers to one of several plans: "
        "assignment-1.json has box/1 and box/5, assignment.json has box/4 and box/5; write the upper shell and lower "
        "shell that were fitted into the row, or save with --force, which keeps the old plan as assignment-2.json",
        "assembled.csv:3: upper: this row names no upper shell or lower shell and so refers to one of several plans: "
        "both plans have box/2 and box/6 there; write the upper shell and lower shell that were fitted into the row, "
        "or save with --force, which keeps the old plan as assignment-2.json",
    ]
    assert Ran(capsys, "assign", job, "--save", "--force").status == 0
    assert (job / "assignment-2.json").read_bytes() == second
    assert "assignment-1.json has box/1, assignment-2.json has box/4, assignment.json has box/1" in told(job)[0]
    assert ": all 3 plans have box/2 there; write the shell that was fitted" in told(job)[2]
    put(job / "assembled.csv", NAMED)
    assert Ran(capsys, "assembled", job, "--learn").status == 0
    put(job / "assembled.csv", NAMED.replace("R4,4,8,0.0024", "R4,,,"))
    assert told(job) == []


def test_a_plan_that_cannot_be_read_is_not_replaced_either(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Nobody can tell then which shells the rows refer to; --force keeps its bytes, if they can be read. A table that
    cannot be read is refused for the same reason, and neither matters if no row refers to a plan."""
    job = mill(tmp_path)
    put(job / "assignment.json", "{")
    ran = Ran(capsys, "assign", job, "--save")
    assert (
        ran.status == 2 and ran.err.count("which cannot be read; write the upper shell and lower shell that were") == 4
    )
    assert Ran(capsys, "assign", job, "--save", "--force").status == 0
    assert (job / "assignment-1.json").read_bytes() == b"{"
    assert told(job)[0].endswith(
        "refers to: assignment-1.json cannot be read, assignment.json has box/1; write the shell that was fitted"
    )
    (job / "assignment.json").unlink()
    put(tmp_path.parent / "elsewhere.json", "{}")
    (job / "assignment.json").symlink_to(tmp_path.parent / "elsewhere.json")
    outside = Ran(capsys, "assign", job, "--save", "--force")
    assert outside.status == 2 and outside.err.count("assignment.json cannot be read; write the upper") == 4
    (job / "assignment.json").unlink()
    shutil.copy(FIRST_PLAN, job / "assignment.json")
    put(job / "positions.csv", LOCKED)
    put(job / "assembled.csv", READINGS.replace("clearance", "clearence"))
    broken = Ran(capsys, "assign", job, "--save")
    assert broken.status == 2 and broken.err.startswith("assembled.csv:1: clearence: no such column")
    (job / "assembled.csv").unlink()
    put(job / "assignment.json", "{")
    assert Ran(capsys, "assign", job, "--save").status == 0


def test_a_position_that_the_plan_lacks_is_refused_too(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A row refers to the saved plan even if that has nothing at its position: what was fitted is to be written."""
    job = mill(tmp_path)
    document = json.loads(FIRST_PLAN.read_text(encoding="utf-8"))
    del document["positions"][1]
    put(job / "assignment.json", json.dumps(document))
    put(job / "assembled.csv", NAMED.replace("R2,2,6", "R2,,"))
    (line,) = Ran(capsys, "assign", job, "--save").err.splitlines()
    assert "refers to assignment.json, which has no shells there; write the upper shell and lower shell that" in line


def test_a_housing_that_moves_is_asked_for_as_a_shell_is(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """If the new plan puts another housing on a journal, a row with a reading there must name the one that was fitted,
    in a column of its own, even if it names its shells; the calculation then goes by it. Rows with blank shells are
    refused although all shells stay where they are."""
    job = mill(tmp_path, READINGS.replace("R1,,", "R1,1,5"), job=JOB + '[rules]\nmovable = ["rod"]\n', plan=False)
    document = json.loads(FIRST_PLAN.read_text(encoding="utf-8"))
    moved = {"R1": "R3", "R3": "R1"}
    for position in document["positions"]:
        position["housing"] = moved.get(position["position"], position["position"])
    put(job / "assignment.json", json.dumps(document))
    before = fitmatch.assembled(read_job(job, assembled=True)).checks[0].placement.clearance_nm
    ran = Ran(capsys, "assign", job, "--save")
    lines = ran.err.splitlines()
    assert ran.status == 2 and len(lines) == 4
    assert "assembled.csv:2: housing: this row names no housing and so refers to R3 in assignment.json" in lines[0]
    assert "the new plan has R1 there; write R3 into the row" in lines[0]
    assert "names no upper shell or lower shell and so refers to box/2 and box/6 in assignment.json; the" in lines[1]
    assert "names no upper shell, lower shell or housing and so refers to box/3, box/7 and R1 in" in lines[2]
    Ran(capsys, "assign", job, "--save", "--force")
    assert "assembled.csv:2: housing: is empty, and another plan was saved" in told(job)[0]
    rows = [f"R{i},{i},{i + 4},{moved.get(f'R{i}', '')},0.0024,gauge\n" for i in (1, 2, 3, 4)]
    put(job / "assembled.csv", "position,upper,lower,housing,clearance,method\n" + "".join(rows))
    found = fitmatch.assembled(read_job(job, assembled=True))
    assert found.checks[0].placement.clearance_nm == before
    assert [c.reading.housing for c in found.checks] == ["R3", None, "R1", None]
    put(job / "assembled.csv", "position,upper,lower,housing,clearance,method\nR1,1,5,R9,0.0024,gauge\n")
    assert told(job) == [
        "assembled.csv:2: housing: there is no position `R9`; write the row whose housing was fitted",
    ]


def test_force_goes_with_save(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Alone it is a usage error, so that nobody takes it for something else."""
    ran = Ran(capsys, "assign", mill(tmp_path), "--force")
    assert ran.status == 2 and "add --save" in ran.err


# --- what is printed -------------------------------------------------------------------------------------------------


def test_apart_and_mistake_are_named_with_causes_and_status_1(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """4 tenths looser is apart and 6 tighter a mistake; each has its own likely causes; what agrees has none."""
    job = mill(
        tmp_path, "position,clearance,method\nR1,0.0027,gauge\nR2,0.0022,gauge\nR3,0.0023,gauge\nR4,0.0017,gauge\n"
    )
    ran = Ran(capsys, "assembled", job)
    flat = " ".join(ran.out.split())
    assert ran.status == 1
    assert "4 assembled readings: 2 in agreement with the calculation, 1 apart from it, 1 a mistake." in flat
    assert "APART: R1 (rod): 4.0 tenths looser than calculated. Likely: a cap that is not fully seated" in flat
    assert "A MISTAKE: R4 (rod): 6.0 tenths tighter than calculated. Likely: dirt or a burr behind a shell" in flat
    assert "Measure R1, R4 again, assembled." in flat and max(map(len, ran.out.split("\n"))) <= 100


def test_a_clearance_outside_its_limits_is_not_to_be_run(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The assembled clearance decides, though it agrees with a calculation that is inside."""
    job = mill(tmp_path, READINGS, job=JOB.replace("max = 0.0030", "max = 0.00245"))
    ran = Ran(capsys, "assembled", job, "--quiet")
    assert ran.status == 1
    assert "NOT TO BE RUN: R3 (rod): assembled clearance 0.00250 in, max 0.00245 in: 0.5 tenths above" in ran.out


def test_what_is_wrong_comes_before_the_tables(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """First what is not to be run, then mistakes, then what is apart, those that are alike in one paragraph; the table
    repeats it, so that no position outside its limits seems to agree; what is learned and what to do come last."""
    rows = "position,clearance,method\nR1,0.0027,gauge\nR2,0.0026,gauge\nR3,0.0017,gauge\nR4,0.0026,gauge\n"
    job = mill(tmp_path, rows, job=JOB.replace("0.0030", "0.00265").replace("0.0015", "0.0018"))
    out = Ran(capsys, "assembled", job, "--quiet").out
    places = [
        out.index(words)
        for words in (
            "4 assembled readings: 2 NOT TO BE RUN, ",
            "NOT TO BE RUN: R1 (rod)",
            "NOT TO BE RUN: R3 (rod)",
            "A MISTAKE: R3 (rod): 6.0 tenths tighter",
            "APART: R1 (rod) 4.0 and R2 (rod) 4.0 tenths looser than calculated.",
            "ROD: assembled by gauge against calculated",
            "+4.0  NOT TO BE RUN, APART",
            "SEATING",
            "NEXT",
        )
    ]
    assert places == sorted(places)
    put(job / "assembled.csv", "position,clearance,method\nR1,0.0023,gauge\n")
    put(job / "job.toml", JOB.replace("0.0030", "0.0022"))
    assert " 0.0  NOT TO BE RUN\n" in Ran(capsys, "assembled", job, "--quiet").out


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_document_is_valid_and_its_sums_add_up(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], unit: str
) -> None:
    """The JSON document keeps to its schema; difference is assembled - calculated; the CSV rows say the same."""
    jsonschema.Draft202012Validator.check_schema(SCHEMA)
    blind = POSITIONS.replace("1.9419", "") + "R5,rod,1.8161,1.9419\n"
    job = mill(tmp_path, READINGS.replace("R3,,,0.0025", "R3,,,0.0017").replace("R4,,", "R4,4,8"))
    put(job / "positions.csv", blind)
    sample = shutil.copytree(SAMPLES / "metrology-bench", tmp_path / "bench")
    for folder, count in ((job, 3), (sample, 3)):
        ran = Ran(capsys, "assembled", folder, "--json", "--unit", unit, "--quiet")
        document = json.loads(ran.out)
        jsonschema.Draft202012Validator(SCHEMA).validate(document)
        rows = list(csv.DictReader(io.StringIO(Ran(capsys, "assembled", folder, "--csv", "--unit", unit).out)))
        assert len(document["readings"]) == len(rows) == count
        for entry, row in zip(document["readings"], rows, strict=True):
            nm = [entry[key] * NM_PER_UNIT[unit] for key in ("assembled", "calculated", "difference")]
            assert nm[0] - nm[1] == pytest.approx(nm[2], abs=1)
            assert float(row[f"difference [{unit}]"]) == pytest.approx(entry["difference"])
            assert (row["position"], row["verdict"]) == (entry["position"], entry["verdict"])
    document = json.loads(Ran(capsys, "assembled", job, "--json", "--quiet").out)
    assert document["not_compared"] == [{"row": 5, "position": "R4", "kind": "rod", "missing": ["housing bore"]}]
    assert document["unread"] == [{"position": "R5", "kind": "rod"}] and document["seating"]["rod"]["learned"] is None


def test_the_same_in_python(tmp_path: Path) -> None:
    """`assembled` gives a frame with a row per reading; of a job that was read without them it says so."""
    job = mill(tmp_path)
    found = fitmatch.assembled(fitmatch.read_job(job, assembled=True))
    frame = found.to_frame()
    assert list(frame["position"]) == [c.reading.position for c in found.checks]
    assert abs(frame["difference"][0] * NM_PER_UNIT["in"] - found.checks[0].difference_nm) < 1e-6
    with pytest.raises(ValueError, match="assembled=True"):
        fitmatch.assembled(fitmatch.read_job(job))


def test_json_and_csv_exclude_each_other(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Both at once are a usage error."""
    ran = Ran(capsys, "assembled", mill(tmp_path), "--json", "--csv")
    assert ran.status == 2 and ran.out == ""


# --- learning --------------------------------------------------------------------------------------------------------

# Off by 1, 2, 2 and 1 tenths: median 1.5; s = 1 / sqrt 3; u = 1.25 / sqrt 12 = 0.361 tenths = 917 nm
TAUGHT = 'seating = 0.00015\nseating_u = "0.917 um"\nseating_readings = 4\n'


def test_learning_writes_three_keys_and_renews_the_digest(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """job.toml has three lines more, assignment.json another digest, both by hand; no other file or byte changes, no
    draft is left, the plan is valid for the new inputs, and the permissions of the file are kept."""
    job = mill(tmp_path)
    (job / "job.toml").chmod(0o640)
    before = everything(job)
    old = read_job(job).digest
    ran = Ran(capsys, "assembled", job, "--learn")
    after = everything(job)
    new = read_job(job).digest
    assert ran.status == 0 and "seating of rod written" in ran.err and "was updated to match" in ran.err
    assert after.pop("job.toml") == (JOB + TAUGHT).encode()
    assert after.pop("assignment.json") == FIRST_PLAN.read_bytes().replace(old.encode(), new.encode())
    assert after == {name: data for name, data in before.items() if name not in ("job.toml", "assignment.json")}
    assert new != old and (job / "job.toml").stat().st_mode & 0o777 == 0o640
    fit = read_job(job).fits["rod"]
    assert (fit.seating_nm, fit.seating_u_nm, fit.seating_readings) == (3_810, 917, 4)


@pytest.mark.parametrize("sample", [False, True])
def test_learning_twice_changes_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str], sample: bool) -> None:
    """The second run writes no byte and prints the same answer, for a small job and for one with gauges and heat."""
    if sample:
        job = shutil.copytree(SAMPLES / "metrology-bench", tmp_path / "job")
        Ran(capsys, "assign", job, "--save")
    else:
        job = mill(tmp_path / "job")
    first = Ran(capsys, "assembled", job, "--learn")
    files = everything(job)
    times = {p: p.stat().st_mtime_ns for p in job.rglob("*")}
    second = Ran(capsys, "assembled", job, "--learn")
    assert (second.out, second.status) == (first.out, first.status) == (second.out, 0)
    assert everything(job) == files and {p: p.stat().st_mtime_ns for p in job.rglob("*")} == times
    assert "nothing was written" in second.err


def test_a_stale_plan_stays_stale(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plan saved from other inputs keeps its digest, and the warning stays."""
    job = mill(tmp_path, job=JOB + "# changed since\n")
    ran = Ran(capsys, "assembled", job, "--learn")
    assert (job / "assignment.json").read_bytes() == FIRST_PLAN.read_bytes()
    assert "warning: the inputs have changed" in ran.err and "stands for the new" not in ran.err
    assert (job / "job.toml").read_text(encoding="utf-8") == JOB + TAUGHT + "# changed since\n"


def test_too_few_positions_teach_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With two gauge readings and two by strip nothing is written, which --learn says and takes for status 1."""
    job = mill(
        tmp_path, READINGS.replace("0.0025,gauge", "0.0025,strip").replace("R4,,,0.0024,gauge", "R4,,,0.0024,strip")
    )
    before = everything(job)
    assert Ran(capsys, "assembled", job).status == 0
    ran = Ran(capsys, "assembled", job, "--learn")
    assert ran.status == 1 and "nothing was learned" in ran.err and everything(job) == before


def test_doubts_of_the_job_keep_positions_from_teaching(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """With doubts about two of four journals nothing is learned, and the report says of which and why."""
    off = Fact("off", {"error_nm": 1})
    doubts = tuple(Doubt("positions.csv", r, f"R{r}", "journal", 1, off, ("unknown",)) for r in (1, 2))
    monkeypatch.setattr("fitmatch.gauging.assembled.doubts_of", lambda _: doubts)
    job = mill(tmp_path)
    ran = Ran(capsys, "assembled", job, "--learn")
    assert ran.status == 1 and (job / "job.toml").read_text(encoding="utf-8") == JOB
    assert "Nothing is learned from R1 (row 2) and R2 (row 3), each because its journal is in doubt." in ran.out


def test_a_layout_that_cannot_be_written_is_refused_with_the_lines_to_add(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Exit status 2, one line on standard error that says what to write by hand, and no file touched; once that is
    written by hand, nothing is left to learn."""

    def refuse(*_: object) -> str:
        raise CannotRewrite("its layout is not understood")

    job = mill(tmp_path)
    before = everything(job)
    monkeypatch.setattr("fitmatch.intake.writing.learning.with_seatings", refuse)
    ran = Ran(capsys, "assembled", job, "--learn")
    assert (ran.status, ran.out) == (2, "") and everything(job) == before
    assert ran.err == (
        "job.toml:4: fit.rod: --learn cannot write here, as its layout is not understood; write `seating = 0.00015`, "
        '`seating_u = "0.917 um"` and `seating_readings = 4` into [fit.rod] by hand\n'
    )
    put(job / "job.toml", JOB + TAUGHT)
    assert Ran(capsys, "assembled", job, "--learn").status == 0


def test_more_than_crush_explains_is_not_learned(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """All positions 6 tenths off are a gauge set wrongly: --learn writes nothing, says what to do, and ends with 1; by
    hand it may be written, and then the readings agree, but even so none of it is learned."""
    job = mill(tmp_path, READINGS.replace("0.0024", "0.0029").replace("0.0025", "0.0029"), plan=True)
    before = everything(job)
    ran = Ran(capsys, "assembled", job, "--learn")
    assert ran.status == 1 and everything(job) == before
    assert "warning: nothing was learned about rod: 4 of 4 positions read by gauge (R1, R2, R3, R4)" in ran.err
    assert "more than crush explains" in ran.err and "set the gauge again" in ran.err
    flat = " ".join(ran.out.split())
    assert "rod: nothing is learned: 4 of 4 positions" in flat and "--learn" not in flat
    assert "Set the bore gauge for rod again and measure all of them again" in flat
    put(job / "job.toml", JOB + "seating = 0.0006\n")
    assert Ran(capsys, "assembled", job).status == 0
    by_hand = everything(job)
    again = Ran(capsys, "assembled", job, "--learn", "--json")
    assert again.status == 1 and everything(job) == by_hand
    document = json.loads(again.out)
    jsonschema.Draft202012Validator(SCHEMA).validate(document)
    assert document["seating"]["rod"]["learned"] is None and "set the gauge" in document["seating"]["rod"]["refused"]


def test_a_mistake_is_left_out_of_what_is_learned(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One of four called a mistake is no more than a quarter: the other three are learned from, and learning again
    changes nothing."""
    job = mill(tmp_path, READINGS.replace("R3,,,0.0025", "R3,,,0.0029"))
    document = json.loads(Ran(capsys, "assembled", job, "--json").out)
    assert [(r["verdict"], r["teaches"]) for r in document["readings"]][2] == ("a mistake", False)
    Ran(capsys, "assembled", job, "--learn")
    fit, files = read_job(job).fits["rod"], everything(job)
    assert (fit.seating_nm, fit.seating_readings) == (2_540, 3)
    Ran(capsys, "assembled", job, "--learn")
    assert everything(job) == files


def test_a_mistake_stays_one_when_the_others_have_taught(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """R3, 6 tenths off where the others are 2, is a mistake before --learn and after it, and NEXT is to measure it."""
    read = {"R1": 0.0026, "R2": 0.0025, "R3": 0.0029, "R4": 0.0026}
    rows = "".join(f"{name},,,{clearance},gauge\n" for name, clearance in read.items())
    folder = mill(tmp_path, f"position,upper,lower,clearance,method\n{rows}")
    for option in ([], ["--learn"], []):
        ran = Ran(capsys, "assembled", folder, *option)
        text = " ".join(ran.out.split())
        assert ran.status == 1 and "A MISTAKE: R3 (rod)" in text and "Measure R3 again, assembled." in text
    assert "looser than calculated" in text and "(without seating 6.0)" in text


def test_a_seating_of_another_setting_is_the_likely_cause(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """If only the seating in the files makes mistakes of the readings, that is the likely cause, NEXT is to remove it,
    and nothing advises the --learn that was refused."""
    folder = mill(tmp_path, job=JOB.replace("max =", "seating = 0.0009\nmax ="))
    ran = Ran(capsys, "assembled", folder, "--learn")
    text = " ".join(ran.out.split())
    assert ran.status == 1 and "Likely: the seating of 0.0009 in in job.toml;" in text
    assert "NEXT: If the seating of rod belongs to another setting of the gauge, remove it" in text
    assert "records as seating" not in text and "--learn writes" not in text and "Measure R" not in text
    rows = [f"{row},{'seating' if row[0] == 'p' else 0.0009 if row[1] == '1' else ''}" for row in POSITIONS.split()]
    (folder / "positions.csv").write_text("\n".join(rows), encoding="utf-8")
    put(folder / "job.toml", JOB)
    text = " ".join(Ran(capsys, "assembled", folder).out.split())
    assert "A MISTAKE: R1 (rod)" in text and "the seating of 0.0009 in in the positions file" in text
    assert "NEXT: If the seating of rod" in text and "take the cap off" not in text


def test_how_far_apart_large_bores_may_be(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The figures for a bore above 60 mm are told as they are, beside what they are up to 60 mm."""
    folder = write_job(
        tmp_path,
        JOB.replace('"in"', '"mm"').replace("0.0015", "0.05").replace("0.0030", "0.12"),
        "position,kind,journal,housing_bore\nR1,rod,110,120.1\n",
        "shell,kind,half,wall\n1,rod,upper,5.01\n2,rod,lower,5.01\n",
        assembled_DOT_csv="position,upper,lower,clearance,method\nR1,box-1/1,box-1/2,0.081,gauge\n",
    )
    text = " ".join(Ran(capsys, "assembled", folder).out.split())
    assert "within 15.3 um (7.6 up to a bore of 60 mm, in proportion above; a mistake: more than 25.4)" in text


def test_one_kind_may_learn_while_another_does_not(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """That nothing is learned about the mains does not prevent it for the rods, and the status is 1 all the same."""
    more = "".join(f"M{i},main,1.8162,1.9421\n" for i in (1, 2, 3))
    shells = "".join(f"m{i}{half},main,{half},0.0618\n" for i in (1, 2, 3) for half in ("upper", "lower"))
    off = "".join(f"M{i},m{i}upper,m{i}lower,0.0031,gauge\n" for i in (1, 2, 3))
    job = mill(tmp_path, READINGS + off, job=JOB + "[fit.main]\nmin = 0.001\nmax = 0.004\nseating = 0.0008\n")
    put(job / "positions.csv", POSITIONS + more)
    put(job / "shells/box.csv", SHELLS + shells)
    ran = Ran(capsys, "assembled", job, "--learn")
    assert ran.status == 1 and "seating of rod written" in ran.err and "nothing was learned about main" in ran.err
    assert read_job(job).fits["main"].seating_readings is None
    assert Ran(capsys, "assembled", job).status == 0


def test_a_seating_that_no_key_can_hold_is_not_written(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """In a bore of 1.2 m crush explains 0.254 mm, which is more than `seating` can be."""
    rows = "".join(f"R{i},rod,1186,1200\n" for i in (1, 2, 3))
    shells = "".join(f"{i}{half},rod,{half},6.5\n" for i in (1, 2, 3) for half in ("upper", "lower"))
    read = "".join(f"R{i},{i}upper,{i}lower,1.21,gauge\n" for i in (1, 2, 3))
    toml = 'unit = "mm"\n[fit.rod]\nmin = 0.5\nmax = 1.5\n'
    write_job(
        tmp_path,
        toml,
        f"position,kind,journal,housing_bore\n{rows}",
        None,
        shells__box_DOT_csv=f"shell,kind,half,wall\n{shells}",
        assembled_DOT_csv=f"position,upper,lower,clearance,method\n{read}",
    )
    ran = Ran(capsys, "assembled", tmp_path, "--learn")
    assert ran.status == 2 and "is not a possible seating, which is -0.2 to 0.2 mm" in ran.err
    assert (tmp_path / "job.toml").read_text(encoding="utf-8") == toml


def test_files_are_replaced_whole_and_the_plan_first(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """When job.toml cannot be written it is unchanged, and the plan is already valid for what is learned next: after
    that both agree, as if nothing had gone wrong."""
    from fitmatch.intake.writing import whole_files as wholefiles

    job, real = mill(tmp_path / "job"), wholefiles.write_whole

    def fail(path: Path, data: bytes, folder: Path) -> None:
        if path.name == "job.toml":
            raise OSError(28, "No space left on device")
        real(path, data, folder)

    monkeypatch.setattr("fitmatch.intake.writing.whole_files.write_whole", fail)
    ran = Ran(capsys, "assembled", job, "--learn")
    assert ran.status == 2 and "No space left on device" in ran.err
    assert (job / "job.toml").read_text(encoding="utf-8") == JOB
    monkeypatch.setattr("fitmatch.intake.writing.whole_files.write_whole", real)
    assert "warning" not in Ran(capsys, "assembled", job, "--learn").err
    straight = mill(tmp_path / "straight")
    Ran(capsys, "assembled", straight, "--learn")
    assert everything(job) == everything(straight)


def test_job_toml_keeps_its_marks(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With a byte order mark, carriage returns and a remark behind a value in another unit: figures change."""
    text = "\ufeff" + JOB.replace("\n", "\r\n") + 'seating = "9 um"   # été\r\nseating_u = 0.1e-3\r\n[rules]\r\n'
    job = mill(tmp_path, job=text)
    assert Ran(capsys, "assembled", job, "--learn").status == 0
    wanted = text.replace('"9 um"', "0.00015").replace("0.1e-3", '"0.917 um"\r\nseating_readings = 4')
    assert (job / "job.toml").read_bytes() == wanted.encode()


def test_a_metric_job_learns_in_its_own_unit(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The sample learns 3.25 um in millimetres, and the clearances of the next plan are that much larger and surer."""
    job = shutil.copytree(SAMPLES / "metrology-bench", tmp_path / "job")

    def plan() -> Any:
        return json.loads(Ran(capsys, "assign", job, "--json").out)

    before = plan()
    limits = Ran(capsys, "assembled", job, "--learn")
    after = plan()
    assert limits.status == 0
    text = (job / "job.toml").read_text(encoding="utf-8")
    assert "max    = 0.062   # the largest\nseating = 0.00325\nseating_u = 0.000681\nseating_readings = 3\n" in text
    for old, new in zip(before["positions"], after["positions"], strict=True):
        assert new["seating"] == 0.00325
        walls = new["housing_bore"] - new["journal"] - new["wall_sum"]
        assert new["clearance"] == pytest.approx(walls + 0.00325, abs=1e-9)
        # Error limits give way to seating_u: 1 um of the micrometer at journal and at bore and of the bore gauge, twice
        # 0.5 um of the wall micrometer, all rectangular. That of the bore gauge at the journal is part of seating_u.
        gone = (2 * 0.001**2 + 0.001**2 + (2 * 0.0005) ** 2) / 3
        u_old, u_new = old["uncertainty"]["standard"], new["uncertainty"]["standard"]
        assert u_old**2 - u_new**2 == pytest.approx(gone - (0.000361**2 + 0.001**2 / 3), rel=0.02)
