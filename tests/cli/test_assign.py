"""`fitmatch assign` from the outside: what is printed where, what is written, and the exit status."""

import csv
import json
import logging
import os
import random
import re
import signal
import subprocess
import sys
import time
from datetime import date
from io import StringIO
from pathlib import Path
from typing import Any

import click
import pytest
from made.commands import Ran
from made.pump_set import JOB_TOML, POSITIONS, SHELLS, written
from oracles.schemas import VALIDATOR

import fitmatch
from fitmatch.fit.answer.kernel import Kernel
from fitmatch.fit.assign import Stop, assign
from fitmatch.intake import reading
from fitmatch.problems import FaultInFitmatch
from fitmatch.records.answers.plans import Plan
from fitmatch.records.job import Job
from fitmatch.report.words.levels import WORDS


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A job whose two rods can both be filled, one shell of each half to spare in no box."""
    return written(tmp_path / "pump set")


FEW_BOXES = ("--strategy", "keep-sets")


def large(folder: Path) -> Path:
    """Readings to the nanometre, 24 positions, 240 shells of each half in 12 boxes: which boxes are the fewest takes
    minutes to prove."""
    chance = random.Random(1)
    offs = [200_000, 200_000, *(chance.randint(-8_000, 8_000) for _ in range(22))]
    bores = [f"R{i},rod,45,{(48_050_000 + off) / 1e6:.6f}\n" for i, off in enumerate(offs, 1)]
    shells = [
        f"{half[0]}{i},box-{i % 12 + 1},rod,{half},{(1_500_000 + chance.randint(-8_000, 8_000)) / 1e6:.6f}\n"
        for half in ("upper", "lower")
        for i in range(1, 241)
    ]
    return written(
        folder,
        toml='title = "Large"\nunit = "mm"\n[fit.rod]\ntarget = 0.050\nmin = 0.040\nmax = 0.060\n',
        positions="".join(["position,kind,journal,housing_bore\n", *bores]),
        shells="".join(["shell,box,kind,half,wall\n", *shells]),
    )


def run_process(*args: object, **options: Any) -> "subprocess.CompletedProcess[bytes]":
    command = [sys.executable, "-m", "fitmatch", *map(str, args)]
    return subprocess.run(command, capture_output=True, check=False, timeout=60, **options)


def test_a_good_job_is_answered_with_status_0(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The report goes to standard output, how long the proof took to standard error, and the status is 0."""
    ran = Ran(capsys, "assign", job)
    assert ran.status == 0
    assert ran.out.startswith("Pump set\nAll 2 positions filled, inside the limits.\n")
    assert ran.err.startswith("1 kind proven in ") and ran.err.count("\n") == 1


def test_a_position_out_of_limits_gives_status_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A bore that no pair of shells brings inside its limits is answered, marked, and status 1."""
    job = written(tmp_path / "tight", positions=POSITIONS.replace("R2,rod,1.8161", "R2,rod,1.8171"))
    ran = Ran(capsys, "assign", job)
    assert ran.status == 1
    assert any(line.startswith("R2 ") and line.endswith("NOT TO BE ASSEMBLED") for line in ran.out.splitlines())
    flat = " ".join(ran.out.split())
    assert flat.count("needs walls") == flat.count("too thick") == 1 and "R2 (rod): needs walls totalling" in flat


def test_too_few_shells_give_status_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With shells for one bore only the other is listed as not filled, with a reason."""
    job = written(tmp_path / "short", shells=SHELLS.replace("4,rod,lower,0.0618\n", ""))
    ran = Ran(capsys, "assign", job, "--json")
    answer = json.loads(ran.out)
    assert ran.status == 1 and len(answer["positions"]) == 1
    assert answer["unfilled"][0]["why"]
    VALIDATOR.validate(answer)


def test_a_missing_reading_gives_status_1(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A position without a journal and a shell without a wall are listed as not yet measured; the rest is solved."""
    job = written(
        tmp_path / "half",
        positions=POSITIONS.replace("R2,rod,1.8161", "R2,rod,"),
        shells=SHELLS.replace("4,rod,lower,0.0618", "4,rod,lower,"),
    )
    ran = Ran(capsys, "assign", job, "--json")
    answer = json.loads(ran.out)
    assert ran.status == 1 and [p["position"] for p in answer["positions"]] == ["R1"]
    assert [u.get("position") or u["shell"] for u in answer["unmeasured"]] == ["R2", "4"]
    VALIDATOR.validate(answer)


def test_bad_input_prints_every_mistake_and_nothing_else(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Every mistake of every file is one line on standard error; standard output stays empty and nothing is written."""
    job = written(
        tmp_path / "bad",
        positions=POSITIONS.replace("1.9421", "wide"),
        shells=SHELLS.replace("0.0619", "thick", 1),
    )
    ran = Ran(capsys, "assign", job, "--save")
    assert ran.status == 2 and ran.out == ""
    lines = ran.err.splitlines()
    assert len(lines) == 2
    assert lines[0].startswith("positions.csv:2: housing_bore: ")
    assert lines[1].startswith("shells/box-1.csv:2: wall: ")
    assert not (job / "assignment.json").exists()


def test_a_folder_that_is_not_there(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A job that does not exist is bad input, not a fault."""
    ran = Ran(capsys, "assign", tmp_path / "nowhere")
    assert ran.status == 2 and ran.out == "" and ran.err
    assert "Traceback" not in ran.err and "fault" not in ran.err


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["--json", "--csv"], "cannot be used together"),
        (["--explain", "R1", "--csv"], "--csv has one row for each position and no place for --explain"),
        (["--explain", "R99"], "there is no position `R99`; did you mean `R1`?"),
        (["--explain", "R1", "--with", "1", "nothing"], "there is no shell `nothing`"),
        (["--alternatives=3", "--csv"], "--csv has one row for each position and no place for --alternatives"),
        (["--alternatives=0"], "0 is not in the range 1<=x<=20"),
        (["--with", "A1", "A2"], "add --explain POSITION"),
        (["--priority", "in-order"], "--priority ranks several jobs"),
        (["another-job", "--priority", "x"], "--priority"),
        (["--slack", "-0.0001"], "is below zero; a slack is 0 to 2 mm"),
        (["--slack", "2.1 mm"], "is 2.1 mm, and a slack is 0 to 2 mm"),
        (["--slack", "1 tenth"], "write tenths: `1 tenths`"),
        (["--slack", "0,0001"], "write a decimal point: `0.0001`"),
        (["--slack", "a little"], "is not a number"),
        (["--slack", "1 mil"], "write thou or mm"),
        (["--time-limit", "0"], "number of seconds"),
        (["--time-limit", "nan"], "number of seconds"),
        (["--time-limit", "soon"], "number of seconds"),
        (["--unit", "cm"], "--unit"),
        (["--strategy", "best"], "--strategy"),
    ],
)
def test_wrong_usage(job: Path, capsys: pytest.CaptureFixture[str], args: list[str], words: str) -> None:
    """Impossible requests are refused with a reason, status 2 and nothing on standard output."""
    ran = Ran(capsys, "assign", job, *args)
    assert (ran.status, ran.out) == (2, "")
    assert words in ran.err and ran.err.startswith("Usage: fitmatch assign")


def test_even_without_limits_is_refused(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`even` knows no target by itself; without min and max it is refused as wrong usage."""
    job = written(tmp_path / "open", toml=JOB_TOML.replace("max = 0.0028\n", ""))
    ran = Ran(capsys, "assign", job, "--strategy", "even")
    assert (ran.status, ran.out) == (2, "") and "needs min and max" in ran.err and "R1, R2" in ran.err


@pytest.mark.parametrize("name", ["sheets", "box"])
def test_commands_that_do_not_exist(name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """An unknown command is wrong usage."""
    ran = Ran(capsys, name)
    assert ran.status == 2 and "No such command" in ran.err


def test_json_alone_on_standard_output(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--json` prints one document and nothing else; `--unit` shows its lengths in another unit."""
    answer = json.loads(Ran(capsys, "assign", job, "--json").out)
    assert answer["status"] == "proven" and answer["unit"] == "in"
    VALIDATOR.validate(answer)
    metric = json.loads(Ran(capsys, "assign", job, "--json", "--unit", "mm").out)
    assert metric["unit"] == "mm"
    assert metric["positions"][0]["journal"] == 46.13148


def test_the_first_thousand_mistakes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of more than a thousand mistakes the first thousand are printed, and how many there are; of a thousand, all."""
    for count in (1000, 1001):
        shells = "shell,box,kind,half,wall\n" + "".join(f"{n},b,rod,top,1.5 mm\n" for n in range(count))
        ran = Ran(capsys, "assign", written(tmp_path / str(count), shells=shells))
        lines = ran.err.splitlines()
        assert ran.status == 2 and lines[999].startswith("shells/box-1.csv:1001: half: `top`")
        more = ["these are the first 1,000 of 1,001 mistakes; correct them and run it again"]
        assert lines[1000:] == (more if count > 1000 else [])


def test_leftovers_as_rows(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--csv leftovers` prints one row per shell left over, with its marks; before any other word `--csv` is what it
    was, wherever it stands."""
    shells = SHELLS.replace("wall\n", "wall,grade,flange\n") + "5,rod,upper,0.0617,std,thrust\n6,rod,either\n"
    folder = written(tmp_path / "pump", shells=shells)
    for args in ((folder, "--csv", "leftovers"), ("--csv", "leftovers", folder), ("--csv=leftovers", folder)):
        assert list(csv.reader(StringIO(Ran(capsys, "assign", *args).out))) == [
            ["shell", "box", "kind", "half", "wall [in]", "grade", "family", "flange"],
            ["5", "box-1", "rod", "upper", "0.0617", "std", "", "thrust"],
        ]
    in_mm = list(csv.reader(StringIO(Ran(capsys, "assign", folder, "--csv", "leftovers", "--unit", "mm").out)))
    assert (in_mm[0][4], in_mm[1][4]) == ("wall [mm]", "1.56718")
    plain = Ran(capsys, "assign", "--csv", folder).out
    assert plain.startswith("position,") and plain == Ran(capsys, "assign", folder, "--csv").out
    assert "cannot be used together" in Ran(capsys, "assign", folder, "--json", "--csv", "leftovers").err


def test_a_locked_shell_without_a_wall(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A position that waits for the wall of a shell locked there says so, in every form of the answer."""
    positions = "position,kind,journal,housing_bore,upper\nR1,rod,1.8162,1.9421,5\nR2,rod,,1.9420,6\n"
    folder = written(tmp_path / "pump", positions=positions, shells=SHELLS + "5,rod,upper,\n6,rod,upper\n")
    text = " ".join(Ran(capsys, "assign", folder, "--quiet").out.split())
    assert "NOT YET MEASURED: R1 (rod): no wall of box-1/5" in text
    assert "NOT YET MEASURED: R2 (rod): no reading of journal; no wall of box-1/6" in text
    document = json.loads(Ran(capsys, "assign", folder, "--quiet", "--json").out)
    assert [(one["position"], one["missing"]) for one in document["unmeasured"] if "position" in one] == [
        ("R1", ["wall"]), ("R2", ["journal", "wall"]),
    ]  # fmt: skip
    VALIDATOR.validate(document)
    rows = list(csv.DictReader(StringIO(Ran(capsys, "assign", folder, "--csv").out)))
    assert [row["remark"] for row in rows] == ["no wall of box-1/5", "no reading of journal; no wall of box-1/6"]


def test_warnings_stand_beside_mistakes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A lock into a workbook that job.toml does not name is told after the workbook that is not read, which is the
    cause; --quiet leaves the mistake alone."""
    positions = "position,kind,journal,housing_bore,upper\nR1,rod,1.8162,1.9421,99\n"
    folder = written(tmp_path / "pump", positions=positions)
    (folder / "shells" / "box-2.xlsx").write_bytes(b"x")
    first, second = Ran(capsys, "assign", folder).err.splitlines()
    assert first.startswith("warning: shells/box-2.xlsx is not read; to use it write shells = [")
    assert second.startswith("positions.csv:2: upper: there is no shell `99`")
    assert Ran(capsys, "assign", folder, "--quiet").err.splitlines() == [second]


def test_csv_alone_on_standard_output(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--csv` prints a header and one row per position and nothing else."""
    rows = list(csv.reader(StringIO(Ran(capsys, "assign", job, "--csv").out)))
    assert [row[0] for row in rows] == ["position", "R1", "R2"]
    assert len({len(row) for row in rows}) == 1


def test_quiet_leaves_standard_error_empty(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--quiet` silences times and warnings, not errors."""
    job = written(tmp_path / "fine", positions=POSITIONS.replace("1.8162", "1.81620000000001"))
    assert "warning: " in Ran(capsys, "assign", job).err
    assert Ran(capsys, "assign", job, "--quiet").err == ""
    assert Ran(capsys, "assign", job.parent / "nowhere", "--quiet").err != ""


def test_debug_tells_times(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--debug` shows on standard error how long each stage took and how far each kind was proven."""
    ran = Ran(capsys, "assign", job, "--debug")
    assert "loading the solver" in ran.err and "rod: proven True" in ran.err


def test_debug_tells_the_steps_of_the_proof(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """What the solver logs appears on standard error with `--debug`, as it happens, and nowhere without."""
    from fitmatch.fit.assign import assign

    def talking(*args: Any, **options: Any) -> Any:
        logging.getLogger("fitmatch.fit.assign").debug("spread is 3")
        return assign(*args, **options)

    monkeypatch.setattr("fitmatch.fit.assign.assign", talking)
    assert "spread is 3\n" not in Ran(capsys, "assign", job).err
    for _ in range(2):
        ran = Ran(capsys, "assign", job, "--debug")
        assert ran.err.count("spread is 3\n") == 1 and ran.err.index("spread is 3") < ran.err.index("reading ")
    assert "spread is 3\n" not in Ran(capsys, "assign", job).err


def test_slack_is_read_in_the_unit_of_the_job(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A plain slack is in the job's unit, one with a unit of its own in that; `keep-sets` has one by default."""

    def slack(*args: str) -> Any:
        return json.loads(Ran(capsys, "assign", job, "--json", *args).out)["slack"]

    assert slack() == 0
    assert slack("--slack", "0.0002") == slack("--slack", "2 tenths") == slack("--slack", "5.08um") == 0.0002
    assert slack("--strategy", "keep-sets") == 0.0001
    assert slack("--strategy", "keep-sets", "--slack", "0") == 0


def test_the_next_by_boxes(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With `keep-sets` alternatives say how many boxes they draw on, as their positions show; one box comes first."""
    (job / "shells" / "box-2.csv").write_text(SHELLS.replace("0.0618\n", "0.0617\n"), encoding="utf-8")
    ran = Ran(capsys, "assign", job, "--strategy", "keep-sets", "--alternatives", "20", "--json")
    found = json.loads(ran.out)
    VALIDATOR.validate(found)
    others = found["alternatives"]["rod"]["plans"]
    counts = [other["boxes"] for other in others]
    assert found["kinds"]["rod"]["boxes"] == counts[0] == 1 and 2 in counts and all(other["proven"] for other in others)
    drawn = [{p[half]["box"] for p in other["positions"] for half in ("upper", "lower")} for other in others]
    assert list(map(len, drawn)) == counts


def test_a_slack_finer_than_a_nanometre_is_told(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A slack that had to be rounded is said to be."""
    assert "warning: --slack" in Ran(capsys, "assign", job, "--slack", "0.00000001").err


def test_a_lock_that_breaks_a_rule_is_told_in_figures(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The flag of an excused rule says how far the walls differ and what is allowed, in the unit that is shown."""
    job = written(
        tmp_path / "locked",
        toml=JOB_TOML + '[rules]\nthick_half = { rod = "upper" }\n',
        positions="position,kind,journal,housing_bore,upper,lower\nR1,rod,1.8162,1.9421,1,2\n",
        shells="shell,kind,half,wall\n1,rod,upper,0.0614\n2,rod,lower,0.0623\n",
    )
    for unit, difference, allowed, passing in (
        ("in", "0.0009 in", "0.0006 in", "0.0002 in"),
        ("mm", "0.02286 mm", "0.01524 mm", "0.00508 mm"),
    ):
        text = " ".join(Ran(capsys, "assign", job, "--unit", unit).out.split())
        assert f"its two walls differ by {difference}, and wall_difference allows {allowed}" in text
        assert (
            f"its thicker half is not the upper one: walls differ by {difference}, and up to {passing} is allowed"
        ) in text


def unstamped(saved: str) -> str:
    """A saved document without its number, date and time, as --json prints it."""
    first, number, day, time, *rest = saved.splitlines(keepends=True)
    assert re.fullmatch(r'  "plan_number": [1-9][0-9]*,\n', number)
    assert re.fullmatch(r'  "plan_date": "20[0-9]{2}-[0-9]{2}-[0-9]{2}",\n', day)
    assert re.fullmatch(r'  "plan_time": "[0-9]{2}:[0-9]{2}:[0-9]{2}",\n', time)
    return "".join([first, *rest])


def test_each_save_of_another_plan_counts_one_up(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The first plan of a folder is number 1; saving the same again keeps number, date and time, another plan, or the
    same shells for other inputs, is the next. A plan of an earlier version, without a number, counts as the first."""

    def saved(*options: str) -> tuple[object, object]:
        assert Ran(capsys, "assign", job, "--save", *options).status in (0, 1)
        document = json.loads((job / "assignment.json").read_bytes())
        return document["plan_number"], document["plan_date"]

    assert saved() == (1, date.today().isoformat())
    path, old = job / "assignment.json", '"plan_date": "2024-02-29"'
    path.write_text(re.sub(r'"plan_date": "[^"]*"', old, path.read_text("utf-8")), encoding="utf-8")
    stamped = path.read_bytes()
    assert saved() == (1, "2024-02-29") and path.read_bytes() == stamped
    (job / "job.toml").write_text((job / "job.toml").read_text("utf-8") + "# looked at again\n", encoding="utf-8")
    assert saved() == (2, date.today().isoformat())
    path.write_text(unstamped(path.read_text("utf-8")), encoding="utf-8")
    assert saved() == (1, date.today().isoformat())
    path.write_text(unstamped(path.read_text("utf-8")), encoding="utf-8")
    (job / "job.toml").write_text((job / "job.toml").read_text("utf-8") + "# and again\n", encoding="utf-8")
    assert saved() == (2, date.today().isoformat())


def test_save_writes_the_document_twice_the_same(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--save` leaves the JSON document, with the digest of the inputs and with its number, date and time, and nothing
    else; saved again it is the same to the byte, since the saved file is no part of the inputs."""
    before = sorted(path.name for path in job.iterdir())
    document = Ran(capsys, "assign", job, "--json").out
    assert f"saved to {job / 'assignment.json'}\n" in Ran(capsys, "assign", job, "--save").err
    first = (job / "assignment.json").read_bytes()
    assert Ran(capsys, "assign", job, "--save", "--csv", "--unit", "mm", "--quiet").err == ""
    assert (job / "assignment.json").read_bytes() == first and unstamped(first.decode()) == document
    assert json.loads(first)["digest"] == fitmatch.read_job(job).digest != ""
    assert sorted(path.name for path in job.iterdir()) == sorted([*before, "assignment.json"])


def test_reasons_come_in_the_unit_that_is_shown(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--unit` holds for reasons and flags as well, in every form; what is saved stays in the job's unit throughout."""
    positions = POSITIONS.replace("R2,rod,1.8161", "R2,rod,1.8171") + "R3,rod,1.8161,1.9450\n"
    toml = JOB_TOML + '[drawing.rod]\nhousing_bore = "1.9400..1.9425"\n'
    job = written(tmp_path / "tight", positions=positions, toml=toml)
    document = Ran(capsys, "assign", job, "--json").out
    assert " in:" in json.loads(document)["unfilled"][0]["why"] and " in:" in json.loads(document)["flags"][0]["text"]
    for form in ((), ("--json",), ("--csv",)):
        shown = Ran(capsys, "assign", job, *form, "--unit", "mm", "--save").out
        assert "um too thick, clearance 0.0" in " ".join(shown.split())
        assert "tenths" not in shown and "0 in" not in shown and " in:" not in shown
        assert unstamped((job / "assignment.json").read_text(encoding="utf-8")) == document


def test_the_users_words_stay_on_one_line(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A line break inside a quoted cell breaks no line of the report and no row of the table."""
    job = written(
        tmp_path / "lines",
        toml=JOB_TOML + '[drawing.rod]\nhousing_bore = "1.9300..1.9400"\n',
        positions='position,kind,journal,housing_bore,accept,note\nR1,rod,1.8162,1.9421,"sleeved\nand bored","a\nb"\n',
        shells=SHELLS.replace("wall\n", "wall,hold,grade\n")
        .replace("0.06185\n", '0.06185,,"blue\nbatch"\n')
        .replace("0.0618\n", '0.0618,"dropped\non the floor",\n')
        .replace("0.0619\n", '0.0619,,"blue\nbatch"\n'),
    )
    text = Ran(capsys, "assign", job, "--full").out
    for words in ("accepted: sleeved and bored", "(rod, lower): dropped on the floor", "blue batch"):
        assert words in text
    assert Ran(capsys, "assign", job, "--csv").out.count("\n") == 2


def test_a_folder_that_cannot_be_written(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """When the answer cannot be saved it is not printed either, and the status says that it was not done."""
    (job / "assignment.json").mkdir()
    ran = Ran(capsys, "assign", job, "--save")
    assert (ran.status, ran.out) == (2, "") and "assignment.json cannot be written" in ran.err
    assert [path.name for path in job.iterdir() if path.name.startswith(".")] == []


@pytest.mark.deep
def test_the_same_job_gives_the_same_bytes(job: Path) -> None:
    """Two processes, with other hash seeds, print the same bytes in every form."""
    for form in ((), ("--json",), ("--csv",)):
        runs = [run_process("assign", job, *form, env={**os.environ, "PYTHONHASHSEED": seed}) for seed in "12"]
        assert [run.returncode for run in runs] == [0, 0]
        assert runs[0].stdout == runs[1].stdout != b""


def test_a_broken_pipe_is_no_traceback(job: Path) -> None:
    """When the reader of standard output has gone there is no traceback, and the status is the answer's."""
    process = subprocess.Popen(
        [sys.executable, "-m", "fitmatch", "assign", str(job), "--quiet"],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE,
    )  # fmt: skip
    assert process.stdout is not None and process.stderr is not None
    process.stdout.close()
    assert process.stderr.read() == b""
    process.stderr.close()
    assert process.wait(timeout=60) == 0


def test_a_full_disk_is_told(job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """An answer that standard output does not take is an error, not a success."""

    echo = click.echo

    def full(message: str, *, err: bool = False, **options: Any) -> None:
        if not err:
            raise OSError(28, "No space left on device")
        echo(message, err=True, **options)

    monkeypatch.setattr("fitmatch.cli.shared.console.click.echo", full)
    monkeypatch.setattr("fitmatch.cli.shared.console._abandon", lambda _: None)
    ran = Ran(capsys, "assign", job)
    assert (ran.status, ran.out) == (2, "")
    assert "the answer cannot be written: No space left on device" in ran.err


@pytest.mark.parametrize("no_colour", [None, "1"])
def test_colour_on_a_terminal_only(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, no_colour: str | None
) -> None:
    """What must not be assembled is red on a terminal; not in a file, and not where NO_COLOR is set."""
    job = written(tmp_path / "tight", positions=POSITIONS.replace("R2,rod,1.8161", "R2,rod,1.8171"))
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.delenv("NO_COLOR", raising=False)
    plain = Ran(capsys, "assign", job)
    assert "\x1b" not in plain.out + plain.err
    if no_colour is not None:
        monkeypatch.setenv("NO_COLOR", no_colour)
    monkeypatch.setattr(sys.stdout, "isatty", lambda: True)
    on_terminal = Ran(capsys, "assign", job).out
    assert ("\x1b[1;31mNOT TO BE ASSEMBLED\x1b[0m" in on_terminal) == (no_colour is None)
    assert on_terminal.replace("\x1b[1;31m", "").replace("\x1b[0m", "") == plain.out


def test_progress_on_a_terminal_only(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Progress is shown where standard error is a terminal, is wiped away after itself, and is off when quiet."""
    monkeypatch.setenv("TERM", "xterm")
    monkeypatch.setattr(sys.stderr, "isatty", lambda: True)
    shown = Ran(capsys, "assign", job).err
    assert "proving which shell goes where" in shown and shown.count("\r\x1b[K") == 2
    assert Ran(capsys, "assign", job, "--quiet").err == ""


def test_names_that_a_console_cannot_show(tmp_path: Path) -> None:
    """On a console with few letters the report still comes out; the JSON document is UTF-8 all the same."""
    job = written(tmp_path / "odd", toml=JOB_TOML.replace("Pump set", "Säge ポンプ"))
    env = {**os.environ, "PYTHONIOENCODING": "ascii"}
    text = run_process("assign", job, env=env)
    assert (text.returncode, text.stdout.splitlines()[0]) == (0, b"S?ge ???")
    assert json.loads(run_process("assign", job, "--json", env=env).stdout)["title"] == "Säge ポンプ"


def test_a_fault_is_called_a_fault(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """An answer that fails its check is never printed: a short message, status 70, a traceback only with --debug."""

    def wrong(*_: object, **__: object) -> None:
        raise FaultInFitmatch("R1 got two uppers")

    monkeypatch.setattr("fitmatch.fit.assign.assign", wrong)
    ran = Ran(capsys, "assign", job, "--save")
    assert (ran.status, ran.out) == (70, "")
    assert "fault in fitmatch" in ran.err and "R1 got two uppers" in ran.err and "Traceback" not in ran.err
    assert not (job / "assignment.json").exists()
    assert "Traceback" in Ran(capsys, "assign", job, "--debug").err


def test_an_unforeseen_error_is_a_fault_too(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Any other exception is reported as a fault too, without a traceback unless requested."""

    def wrong(*_: object, **__: object) -> None:
        raise KeyError("wall")

    monkeypatch.setattr("fitmatch.fit.assign.assign", wrong)
    ran = Ran(capsys, "assign", job)
    assert (ran.status, ran.out) == (70, "")
    assert "KeyError: 'wall'" in ran.err and "Traceback" not in ran.err


def test_ctrl_c_prints_the_best_so_far(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Ctrl-C during the proof still prints an answer, marked unproven, with status 130; the handler is put back."""
    solve = Kernel.solve

    def interrupted(*args: Any, **options: Any) -> Any:
        signal.raise_signal(signal.SIGINT)
        return solve(*args, **options)

    monkeypatch.setattr(Kernel, "solve", interrupted)
    before = signal.getsignal(signal.SIGINT)
    ran = Ran(capsys, "assign", job, "--json")
    answer = json.loads(ran.out)
    assert (ran.status, answer["status"], len(answer["positions"])) == (130, "unproven", 2)
    assert answer["kinds"]["rod"]["proven"] is False
    assert "0 of 1 kind proven" in ran.err
    assert signal.getsignal(signal.SIGINT) is before


def test_a_second_ctrl_c_does_not_wait(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Pressed twice, Ctrl-C ends the command at once, without an answer."""

    pressed = 0

    def impatient(*_: object, **__: object) -> None:
        nonlocal pressed
        for _time in range(2):
            pressed += 1
            signal.raise_signal(signal.SIGINT)

    monkeypatch.setattr(Kernel, "solve", impatient)
    ran = Ran(capsys, "assign", job)
    assert (ran.status, ran.out, pressed) == (130, "", 2) and "Traceback" not in ran.err


@pytest.mark.parametrize("stage", ["doubts_of", "as_boxed", "by_hand"])
@pytest.mark.parametrize("command", ["assign", "compare", "advise"])
def test_ctrl_c_before_there_is_any_plan(
    command: str, stage: str, job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """While readings are looked through, and until the plan by hand is there, Ctrl-C ends the command at once, with one
    line and status 130."""

    def interrupted(*_: object) -> None:
        signal.raise_signal(signal.SIGINT)
        pytest.fail("it went on")

    monkeypatch.setattr(f"fitmatch.fit.answer.best_plan.{stage}", interrupted)
    ran = Ran(capsys, command, job)
    assert (ran.status, ran.out, ran.err) == (130, "", "stopped by Ctrl-C\n")


def test_ctrl_c_while_reading(job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Before there is anything to answer with, Ctrl-C just ends the command with status 130."""

    def interrupted(_: Path, **_options: bool) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("fitmatch.intake.reading.read_job", interrupted)
    ran = Ran(capsys, "assign", job)
    assert (ran.status, ran.out) == (130, "") and "Traceback" not in ran.err


def test_a_time_limit_counts_from_the_start(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The limit is for the whole command: time used before the proof is subtracted from it, and a limit that strikes
    before there is a plan gives one all the same, unproven, with status 1."""
    monkeypatch.setattr("fitmatch.cli.shared.solving.STARTED", -1e9)
    ran = Ran(capsys, "assign", job, "--json", "--time-limit", "5")
    answer = json.loads(ran.out)
    assert (ran.status, answer["status"], len(answer["positions"])) == (1, "unproven", 2)


def test_a_time_limit_leaves_room_for_what_follows(
    job: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """The search ends so much before the limit as checking and writing the answer of a large lot are likely to take,
    judged by how long it took to read; of a small job it has all of the time."""
    left: dict[float, float] = {}
    read_job = reading.read_job
    for takes in (0.0, 1.2):

        def slowly(folder: Path, takes: float = takes, **options: bool) -> Job:
            time.sleep(takes)
            return read_job(folder, **options)

        def noted(task: Job, *rest: Any, stop: Stop, takes: float = takes, **named: Any) -> Plan:
            left[takes] = stop.seconds_left() or 0.0
            return assign(task, *rest, stop=stop, **named)

        monkeypatch.setattr(reading, "read_job", slowly)
        monkeypatch.setattr("fitmatch.fit.assign.assign", noted)
        monkeypatch.setattr("fitmatch.cli.shared.solving.STARTED", time.monotonic())
        assert Ran(capsys, "assign", job, "--time-limit", "100").status == 0
    assert left[0.0] > 98 and left[0.0] - left[1.2] > 2


def unproven(output: bytes) -> Any:
    """The document of an answer that was stopped early: valid, with all positions accounted for, and honest about its
    proof."""
    answer = json.loads(output)
    VALIDATOR.validate(answer)
    kind = answer["kinds"]["rod"]
    assert (answer["status"], kind["proven"], len(answer["positions"])) == ("unproven", False, 24)
    assert kind["level"] in WORDS
    if kind["level"] == "positions_inside" and kind["bound"] is not None:
        assert 22 <= kind["bound"] <= 24
    return answer


def test_a_time_limit_stops_a_long_proof(tmp_path: Path) -> None:
    """A proof of minutes ends soon after its limit, with a plan that is no worse than by hand, unproven, status 1."""
    job = large(tmp_path / "large")
    began = time.monotonic()
    ran = run_process("assign", job, *FEW_BOXES, "--json", "--time-limit", "2")
    assert ran.returncode == 1 and 1.5 < time.monotonic() - began < 20
    answer = unproven(ran.stdout)
    assert answer["kinds"]["rod"]["counted"] >= answer["baselines"]["by-hand"]["rod"]["counted"]
    assert ran.stderr.startswith(b"0 of 1 kind proven in ") and ran.stderr.count(b"\n") == 1


def test_a_limit_before_there_is_a_plan_gives_the_one_by_hand(tmp_path: Path) -> None:
    """A limit that strikes before any plan exists gives the by-hand plan, unproven, also as text."""
    job = large(tmp_path / "large")
    ran = run_process("assign", job, *FEW_BOXES, "--json", "--time-limit", "0.001")
    answer = unproven(ran.stdout)
    by_hand = answer["baselines"]["by-hand"]["rod"]
    assert ran.returncode == 1 and by_hand.items() - {("rules_broken", 0)} <= answer["kinds"]["rod"].items()
    text = run_process("assign", job, *FEW_BOXES, "--time-limit", "0.001")
    assert text.returncode == 1
    assert b"ROD: NOT PROVEN: stopped at the total excess over max" in text.stdout  # no more than 22 fit
    assert b"Allow more time (--time-limit)" in text.stdout and b"Traceback" not in text.stderr


# Runs the command, and writes every stage of its work into a file named first.
WITH_STAGES = """
import sys
from fitmatch import stages
from fitmatch.cli.main import main
told = open(sys.argv.pop(1), "w", buffering=1)
stages.listen(lambda stage: print(stage, file=told))
main()
"""


@pytest.mark.parametrize("form", ["--json", "--quiet"])
def test_ctrl_c_stops_a_long_proof(tmp_path: Path, form: str) -> None:
    """Ctrl-C in the middle of a long proof prints the best answer so far, unproven, with status 130."""
    told, job = tmp_path / "stages", large(tmp_path / "large")
    command = [sys.executable, "-c", WITH_STAGES, told, "assign", job, *FEW_BOXES, form]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE) as process:
        while process.poll() is None and not (told.exists() and told.read_text(encoding="utf-8").count(" pairs") > 1):
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert process.returncode == 130 and b"Traceback" not in err
    if form == "--json":
        unproven(out)
    else:
        assert b"ROD: NOT PROVEN: stopped at" in out and err == b""


def test_a_generous_time_limit_changes_nothing(job: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With time enough the answer is the same as without a limit."""
    assert Ran(capsys, "assign", job, "--time-limit", "9999").out == Ran(capsys, "assign", job).out
