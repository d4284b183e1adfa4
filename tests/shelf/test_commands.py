"""The commands under `fitmatch shelf`: what they print, in every form, and how they leave."""

import csv
import io
import json
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click
import pytest
from made.commands import Ran
from made.intake_jobs import put
from made.shelves import BOX, ONE_ROD, planned_job

from fitmatch.cli.main import group
from fitmatch.cli.shelf.main import command as shelf_group
from fitmatch.report.shelf.data import engine_document
from fitmatch.report.shelf.texts import engine_text
from fitmatch.shelf.answers.engines import EnginePosition, EngineRecord, EngineShell

Run = Callable[..., Ran]


@pytest.fixture
def run(capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Run:
    """Runs a command of one shelf."""
    monkeypatch.setenv("FITMATCH_DB", str(tmp_path / "shelf.db"))
    return lambda *args: Ran(capsys, "shelf", *args)


@pytest.fixture
def job(run: Run, tmp_path: Path) -> Path:
    """A job with one rod whose box is on the shelf."""
    folder = planned_job(tmp_path / "first", ONE_ROD)
    assert run("take-in", folder).status == 0
    return folder


def test_nothing_was_counted(run: Run, job: Path, tmp_path: Path) -> None:
    """A file of stock-taking without rows would make everything missing, and is refused."""
    put(tmp_path / "counted.csv", "number\n")
    assert run("count", tmp_path / "counted.csv").status == 2
    assert "6 shells" in run("show", "--state", "free").out


def test_one_shell_has_no_clearance() -> None:
    """A position with one shell only says so, and shows no clearance."""
    one = EngineShell("upper", 1, "box-1/01", 1_569_720, None, None, "fitted")
    position = EnginePosition("R1", "rod", (one,), 46_131_480, 49_329_340, 55_880, None, None, None, True, "", None)
    record = EngineRecord(1, "first", "", "2026-03-01T09:00:00Z", "", "", "", (position,))
    shown = engine_text(record, "in")
    assert "one shell only" in shown and "0.0022" not in shown
    assert json.loads(engine_document(record, "in"))["engine"]["positions"][0]["clearance"] is None


def document(ran: Ran) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(ran.out)
    assert found["schema"] == 1 and found["unit"] in ("in", "mm")
    return found


def rows(ran: Ran) -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(ran.out)))


def test_shown_in_every_form(run: Run, job: Path) -> None:
    """Text, JSON and CSV have the same shells; lengths are in inches unless a unit is asked for."""
    assert "6 shells on the shelf" in run("show").out
    shells = document(run("show", "--json"))["shells"]
    assert (
        shells[0].items()
        >= {
            "box": "box-1",
            "shell": "01",
            "family": "narrow-2",
            "kind": "rod",
            "half": "upper",
            "wall": 0.0618,
            "state": "free",
            "single": False,
            "job": None,
            "engine": None,
            "location": "drawer 1",
            "number": 1,
        }.items()
    )
    assert document(run("show", "--json", "--unit", "mm"))["shells"][0]["wall"] == 1.56972
    assert [row["wall [in]"] for row in rows(run("show", "--csv"))][:2] == ["0.0618", "0.0618"]


@pytest.mark.parametrize(
    ("options", "numbers"),
    [
        ([], [1, 2, 3, 4, 5, 6]),
        (["--half", "upper"], [1, 3, 5]),
        (["--wall", "0.06175..0.0619"], [1, 2, 3, 4]),
        (["--wall", "0.0619..61.9 thou", "--half", "lower"], [4]),
        (["--family", "narrow-2", "--kind", "rod", "--box", "box-1", "--location", "drawer 1"], [1, 2, 3, 4, 5, 6]),
        (["--step", "0.001"], [1, 2, 3, 4, 5, 6]),
        (["--step", "1 thou"], [1, 2, 3, 4, 5, 6]),
        (["--family", "narrow"], []),
        (["--state", "scrapped"], [2]),
        (["--single"], []),
        (["--older-than", "0"], []),
    ],
)
def test_filters_are_joined_by_and(run: Run, job: Path, options: list[str], numbers: list[int]) -> None:
    """Each filter is exact, and all of them must agree."""
    if "scrapped" in options:
        run("scrap", "2", "dropped")
    assert [shell["number"] for shell in document(run("show", *options, "--json"))["shells"]] == numbers


def test_boxes_without_a_date_are_told(run: Run, job: Path, tmp_path: Path) -> None:
    """Asked for an age, the answer says in every form how many shells and boxes it leaves out as nobody dated them."""
    box = "shell,kind,half,wall,opened\n1,rod,upper,0.0618,2025-01-01\n2,rod,lower,0.0618,\n"
    put(tmp_path / "dated.csv", box)
    run("take-in", tmp_path / "dated.csv", "--unit", "in")
    asked = ("show", "--older-than", "30", "--half", "upper")
    assert "left out: 3 shells of 1 box of which nobody wrote down when it was opened" in run(*asked).out
    found = document(run(*asked, "--json"))
    assert found["undated"] == {"shells": 3, "boxes": 1} and [s["number"] for s in found["shells"]] == [7]
    assert document(run(*asked, "--group-by", "half", "--json"))["undated"] == {"shells": 3, "boxes": 1}
    ran = run(*asked, "--csv")
    assert [row["number"] for row in rows(ran)] == ["7"] and "left out: 3 shells" in ran.err
    assert "undated" not in document(run("show", "--json"))


def test_alike_ones_are_counted(run: Run, job: Path) -> None:
    """Grouped, shells are counted by what they have in common."""
    run("scrap", "2", "dropped")
    args = ("show", "--state", "free", "--group-by", "half", "--group-by", "wall")
    tallies = document(run(*args, "--json"))["tallies"]
    assert [(t["alike"]["half"], t["shells"]) for t in tallies] == [("lower", 1)] * 2 + [("upper", 1)] * 3
    assert [row["shells"] for row in rows(run(*args, "--csv"))] == ["1"] * 5 and "half" in run(*args).out


def test_no_shelf_yet(run: Run, tmp_path: Path) -> None:
    """Where there is no shelf yet the list is empty, the status 0, and none is made."""
    ran = run("show", "--json")
    assert (ran.status, document(ran)["shells"]) == (0, []) and not (tmp_path / "shelf.db").exists()
    assert run("history", "1").status == 2


@pytest.mark.parametrize("before", [True, False])
def test_the_shelf_is_named_before_or_after_the_action(
    capsys: pytest.CaptureFixture[str], job: Path, tmp_path: Path, before: bool
) -> None:
    """`--db` may stand on either side, and outranks FITMATCH_DB."""
    db = ["--db", str(tmp_path / "other.db")]
    args = [*db, "take-in", str(job)] if before else ["take-in", str(job), *db]
    assert "6 new: numbers 1 to 6" in Ran(capsys, "shelf", *args).out and (tmp_path / "other.db").exists()


def test_files_need_a_unit(run: Run, tmp_path: Path) -> None:
    """Plain numbers of files that belong to no job are read only in a unit that was said; then as in a job."""
    put(tmp_path / "old.csv", BOX)
    assert run("take-in", tmp_path / "old.csv").status == 2
    assert run("take-in", tmp_path / "old.csv", "--unit", "in").status == 0
    assert document(run("show", "--json"))["shells"][0]["wall"] == 0.0618


def test_what_another_job_has_is_status_3(run: Run, job: Path, tmp_path: Path) -> None:
    """The job that has the shell is named, with the position, and nothing is printed on standard output."""
    assert run("set-aside", job).status == 0
    ran = run("set-aside", planned_job(tmp_path / "second"))
    assert (ran.status, ran.out) == (3, "") and "is set aside for first at R1" in ran.err


def test_changed_inputs_are_status_2(run: Run, job: Path) -> None:
    """A plan whose inputs have changed since is not set aside."""
    put(job / "positions.csv", ONE_ROD.replace("1.9421", "1.9422"))
    ran = run("set-aside", job)
    assert ran.status == 2 and "have changed" in ran.err


def test_an_engine_from_box_to_record(run: Run, job: Path) -> None:
    """Setting aside, fitting and the record of the engine, each in text and JSON."""
    events = document(run("set-aside", job, "--by", "night shift", "--json"))["events"]
    assert {(e["action"], e["from"], e["to"], e["job"]) for e in events} == {
        ("set-aside", "free", "set-aside", "first")
    }
    assert run("fitted", job).status == 0
    assert "engine 1" in run("engine", "1").out and "first" in run("engines").out
    (position,) = document(run("engine", "1", "--json"))["engine"]["positions"]
    assert position["upper"]["label"].startswith("box-1/") and position["within_limits"] is True
    assert [row["position"] for row in rows(run("engines", "--csv"))] == ["R1"]


def test_a_permission_is_told_for_ever(run: Run, tmp_path: Path) -> None:
    """Fitted outside its limits with the maker's permission, a position says OUT OF LIMITS with that text."""
    folder = planned_job(tmp_path / "tight", ONE_ROD.replace("1.9421", "1.9405"))
    run("take-in", folder)
    assert run("set-aside", folder).status == 1
    refused = run("fitted", folder)
    assert refused.status == 2 and "NOT TO BE ASSEMBLED" in refused.err
    assert run("fitted", folder, "--permission", "R1=letter of 2 March").status == 1
    out = run("engine", "1").out
    assert "OUT OF LIMITS" in out and "letter of 2 March" in out


def test_a_dropped_shell_says_what_to_do_next(run: Run, job: Path) -> None:
    """Scrapping what is set aside is status 1, and the next command is named."""
    run("set-aside", job)
    number = str(document(run("show", "--state", "set-aside", "--json"))["shells"][0]["number"])
    ran = run("scrap", number, "dropped")
    told = " ".join(ran.out.split())
    assert ran.status == 1 and f"`fitmatch assign {job} --save`, then `fitmatch shelf set-aside {job}`" in told


def test_counted_moved_sent_back_and_corrected(run: Run, job: Path, tmp_path: Path) -> None:
    """The other commands in one go, and the history of a shell tells them oldest first."""
    put(tmp_path / "counted.csv", "box,shell\n" + "".join(f"box-1,0{n}\n" for n in (1, 2, 3, 4, 5)))
    assert run("count", tmp_path / "counted.csv").status == 1
    put(tmp_path / "counted.csv", "number\n6\n")
    assert run("count", tmp_path / "counted.csv", "--location", "drawer 2").status == 1
    assert run("move", "6", "5", "drawer 2").status == 0
    event = document(run("history", "6", "--json"))["events"][-1]["number"]
    assert run("correct", str(event), "--note", "wrong drawer").status == 0
    assert run("send-back", "box-1").status == 0
    events = document(run("history", "6", "--json"))["events"]
    assert [e["action"] for e in events] == ["take-in", "count", "count", "move", "correct", "send-back"]
    assert [e["to"] for e in events] == ["free", "missing", "free", "free", "free", "sent-back"]
    put(tmp_path / "counted.csv", "number\n99\n")
    assert run("count", tmp_path / "counted.csv").status == 2


def test_what_it_is_worth(run: Run, job: Path) -> None:
    """Worth and cost in every form; shells without a price are counted and not added up."""
    put(job.parent / "more.csv", "shell,kind,half,wall,family,price\n1,rod,upper,0.0618,narrow-2,7.5\n")
    run("take-in", job.parent / "more.csv", "--unit", "in")
    found = document(run("value", "--json"))
    assert (found["total"], found["tied_up"][0]["unpriced"], found["engines"]) == (7.5, 6, [])
    assert "7.50" in run("value").out and [row["worth"] for row in rows(run("value", "--csv"))] == ["7.5"]


def test_exported_and_imported(run: Run, job: Path, tmp_path: Path) -> None:
    """An export says what it holds, and is imported into another shelf; again is refused, as there is something."""
    assert document(run("export", tmp_path / "out", "--json"))["rows"]["shells"] == 6
    assert run("export", tmp_path / "out").status == 2
    ran = run("import", tmp_path / "out", "--db", tmp_path / "other.db")
    assert (ran.status, ran.out) == (0, "copied: boxes 1, shells 6, readings 6, engines 0, events 6\n")
    refused = run("import", tmp_path / "out")
    assert (refused.status, refused.out) == (2, "") and "not empty" in refused.err


def test_no_row_is_a_formula(run: Run, tmp_path: Path) -> None:
    """What people typed stays text in a spreadsheet that opens the rows."""
    put(tmp_path / "box.csv", "shell,kind,half,wall,location,grade\n1,rod,upper,0.0618,=1+1,-2\n")
    run("take-in", tmp_path / "box.csv", "--unit", "in")
    (row,) = rows(run("show", "--csv"))
    assert (row["location"], row["grade"]) == ("'=1+1", "-2")


def commands() -> list[click.Command]:
    context = click.Context(shelf_group)
    found = [shelf_group.get_command(context, name) for name in shelf_group.list_commands(context)]
    return [shelf_group, *(command for command in found if command is not None)]


@pytest.mark.parametrize("command", commands(), ids=lambda command: str(command.name))
def test_every_command_has_help_with_an_example(command: click.Command) -> None:
    """Help says what the command does, shows how to call it, and every option has a sentence of its own."""
    with click.Context(command, info_name="fitmatch") as context:
        text = command.get_help(context)
    assert "Example:\n    fitmatch shelf " in text
    assert all(p.help for p in command.params if isinstance(p, click.Option))


def test_the_list_says_what_each_says_of_itself() -> None:
    """The line that the list shows of a command is the beginning of the command's own help."""
    listed = shelf_group.get_help(click.Context(shelf_group, terminal_width=200, max_content_width=200))
    for command in commands()[1:]:
        assert f"  {command.name}" in listed and command.get_short_help_str(limit=200) in listed
    assert group.get_command(click.Context(group), "shelf") is shelf_group


def test_help_loads_no_database() -> None:
    """Help of the shelf and of its commands comes without SQLAlchemy."""
    program = "import sys\nfrom fitmatch.cli.main import main\ntry:\n    main(sys.argv[1:])\n"
    program += "finally:\n    print('sqlalchemy' in sys.modules, file=sys.stderr)"
    for args in (["shelf", "--help"], ["shelf", "show", "--help"]):
        ran = subprocess.run([sys.executable, "-c", program, *args], capture_output=True, text=True, check=False)
        assert ran.returncode == 0 and ran.stderr.strip() == "False"


@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("show", "--older-than", "999999999999"), "--older-than"),
        (("show", "--older-than", "1000000"), "--older-than"),
        (("engine", "1e9"), "`1e9` is not a whole number"),
        (("teardown", "one", "--never-run"), "`one` is not a whole number"),
        (("correct", "1.5"), "`1.5` is not a whole number"),
    ],
)
def test_numbers_that_are_none(run: Run, words: tuple[str, ...], told: str) -> None:
    """What is no number of days, or no whole number, is refused in plain words."""
    ran = run(*words)
    assert ran.status == 2 and told in ran.err
