"""What stands in a file's place and is none: pipes, devices, folders; and files without end."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from made.bench_jobs import ENVIRONMENT
from made.commands import Ran
from made.intake_jobs import JOB, mistakes, put, write_job

from fitmatch.cli.main import main
from fitmatch.intake.common.files import LARGEST, LARGEST_PLAN
from fitmatch.intake.common.findings import POSITIONS, Findings, Paper
from fitmatch.intake.reading import read_job
from fitmatch.intake.tables import opening
from fitmatch.intake.writing import saving
from fitmatch.problems import InputError

NAMES = ("job.toml", "positions.csv", "shells/box-1.csv", "readings.csv", "assembled.csv", "assignment.json")
COMMANDS = (("assign", "--save"), ("check",), ("assembled", "--learn"), ("measure",))


def refusal(folder: Path, *words: str) -> str:
    """What a command says of a folder that it refuses, within seconds and without a fault."""
    ran = subprocess.run(
        [sys.executable, "-m", "fitmatch", words[0], str(folder), *words[1:]],
        input="1.8162\n", capture_output=True, encoding="utf-8", env=ENVIRONMENT, timeout=10, check=False,
    )  # fmt: skip
    assert ran.returncode == 2 and not ran.stdout and "fault" not in ran.stderr, ran.stdout + ran.stderr
    return ran.stderr


def place(folder: Path, name: str, what: str) -> None:
    """Put something else in a file's place."""
    path = folder / name
    path.unlink(missing_ok=True)
    if what == "pipe":
        os.mkfifo(path)
    elif what == "folder":
        path.mkdir()
    elif what == "device":
        path.symlink_to("/dev/zero")
    else:
        with path.open("wb") as file:
            file.truncate(4_000_000_000)


WORDS = {
    "pipe": "is a pipe, a device or the like; put a file in its place",
    "folder": "is a folder; name a file",
    "device": "leads out of the job folder; only paths under `shared` in [sources] may do that",
    "hole": "is too large: it has 4000 MB, and may have ",
}


@pytest.mark.parametrize(
    ("name", "what"),
    # A folder among the shell files is none of them.
    [(name, what) for name in NAMES[:3] for what in WORDS if (name, what) != ("shells/box-1.csv", "folder")],
)
def test_what_is_no_file_is_refused_and_not_waited_for(tmp_path: Path, name: str, what: str) -> None:
    """A pipe, a folder, a device or a file of 4 GB in the place of any file is one mistake, which says so."""
    folder = write_job(tmp_path)
    place(folder, name, what)
    (told,) = mistakes(folder)
    assert told.startswith(f"{name}: {WORDS[what]}")


@pytest.mark.deep
@pytest.mark.parametrize("what", ["pipe", "hole"])
@pytest.mark.parametrize("name", NAMES)
def test_no_command_waits_for_what_is_no_file(tmp_path: Path, name: str, what: str) -> None:
    """The same with every command that reads the file; `assign --save` does not write there either."""
    for number, (word, *options) in enumerate(COMMANDS):
        folder = write_job(tmp_path / str(number), assembled_DOT_csv="position,clearance,method\nR1,0.002,bore\n")
        if (name, what) == ("shells/box-1.csv", "folder"):
            continue
        place(folder, name, what)
        if name in ("assembled.csv", "assignment.json") and word in ("check", "measure"):
            continue  # not read
        if (name, word) == ("assembled.csv", "assign"):
            continue  # asked only where a plan is replaced
        assert f"{name}: " in (told := refusal(folder, word, *options)) or name in told


@pytest.mark.parametrize("name", ["box.csv", "box.xlsx"])
def test_a_shared_device_is_refused(tmp_path: Path, name: str) -> None:
    """What may leave the folder must be a file all the same."""
    folder = write_job(tmp_path / "job", JOB + f'[sources]\nshared = ["../{name}"]\n', shells=None)
    (tmp_path / name).symlink_to("/dev/zero")
    assert mistakes(folder) == [f"../{name}: {WORDS['pipe']}"]


def test_sizes_are_bounded(tmp_path: Path) -> None:
    """The message has both figures and what to do; job.toml, which nobody fills with data, may have less."""
    folder = write_job(tmp_path, JOB + "#" * 4_000_000)
    assert mistakes(folder) == [
        "job.toml: is too large: it has 5 MB, and may have 4 MB; take out what does not belong to this job"
    ]
    put(folder / "job.toml", JOB)
    put(folder / "assembled.csv", "position,clearance,method\nR1,0.002,bore\n")
    put(folder / "assignment.json", b"[" + b"{}," * (LARGEST_PLAN // 3) + b"{}]")
    with pytest.raises(InputError) as refused:
        read_job(folder, assembled=True)
    told = str(refused.value)
    assert told.startswith("assignment.json: is too large: it has 17 MB, and may have 16 MB; save the plan again")
    with (folder / "positions.csv").open("ab") as file:
        file.truncate(LARGEST + 10**6)
    assert mistakes(folder) == [
        "positions.csv: is too large: it has 65 MB, and may have 64 MB; split it into several files"
    ]


@pytest.mark.parametrize("end", ["", "\n", "\r\n", "\r"])
def test_only_rows_below_the_header_count(monkeypatch: pytest.MonkeyPatch, end: str) -> None:
    """As many rows as a table may have are read, however its last line ends; one more is refused, with their number."""
    monkeypatch.setattr(opening, "_MOST_POSITIONS", 3)
    lines = ["position,journal", *("R,1",) * 4]
    for rows in (3, 4):
        findings = Findings()
        data = ((end or "\n").join(lines[: rows + 1]) + end).encode()
        table = opening.open_table(data, Paper("positions.csv", (POSITIONS,)), findings)
        if rows == 3:
            assert table is not None and len(list(table.rows)) == 3 and not findings.problems
        else:
            assert table is None and "has 4 rows, and may have 3;" in str(findings.problems)


@pytest.mark.parametrize("what", ["to a file", "to nothing"])
def test_a_saved_plan_is_not_written_through_a_link(
    tmp_path: Path, what: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """assignment.json as a link out of the folder: refused, and what it leads to is as it was."""
    folder, outside = write_job(tmp_path / "job"), tmp_path / "elsewhere"
    if what == "to a file":
        outside.write_bytes(b"kept")
    (folder / "assignment.json").symlink_to(outside)
    with pytest.raises(SystemExit) as left:
        main(["assign", str(folder), "--save"])
    out, err = capsys.readouterr()
    assert (left.value.code, out) == (2, "") and "a link leads out of the job folder there; remove the link" in err
    assert outside.read_bytes() == b"kept" if what == "to a file" else not outside.exists()
    assert (folder / "assignment.json").is_symlink()


@pytest.mark.parametrize("target", ["job.toml", "shells/box-1.csv"])
def test_saving_never_writes_over_a_file_of_the_job(
    tmp_path: Path, target: str, capsys: pytest.CaptureFixture[str]
) -> None:
    """assignment.json as a link to an input: refused by both names, and the input is as it was."""
    folder = write_job(tmp_path)
    (folder / "assignment.json").symlink_to(target)
    before = (folder / target).read_bytes()
    ran = Ran(capsys, "assign", folder, "--save")
    told = f"assignment.json cannot be written: it is a link to {Path(target).name}; remove the link, or put the file"
    assert (ran.status, ran.out) == (2, "") and told in ran.err and "; nothing was saved" in ran.err
    assert (folder / target).read_bytes() == before


@pytest.mark.parametrize("name", [*NAMES[:4], "assembled.csv", "assignment.json"])
def test_links_that_lead_to_no_file_are_refused(tmp_path: Path, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    """A link to nothing and a link in a circle are mistakes of the file that is one, also where it may be missing."""
    folder = write_job(tmp_path, assembled_DOT_csv="position,clearance,method\nR1,0.002,bore\n")
    path, command = folder / name, "assembled" if name.startswith("ass") else "check"
    for target, told in (
        ("none", "is a link that leads nowhere; remove it or put the file there"),
        (path.name, "links lead round in a circle there; remove the link"),
    ):
        path.unlink(missing_ok=True)
        path.symlink_to(target)
        ran = Ran(capsys, command, folder)
        assert (ran.status, ran.out) == (2, "") and f"{name}: {told}\n" in ran.err
    if command == "assembled":
        assert (Ran(capsys, "assign", folder, "--save").status == 2) is (name == "assignment.json")


def test_a_folder_in_the_place_of_the_only_shell_file(tmp_path: Path) -> None:
    """It is named as what it is, not the glob as a mistake alone."""
    folder = write_job(tmp_path, shells=None)
    (folder / "shells/A.csv").mkdir(parents=True)
    assert mistakes(folder) == [
        "job.toml: sources.shells: no file matches `shells/*.csv`, and shells/A.csv is a folder; put a file in its "
        "place, or correct the glob"
    ]


def test_no_plan_is_saved_that_could_not_be_read_again(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """One beyond the bound for saved plans is refused, also with --force, and the old one stays."""
    folder = write_job(tmp_path, assignment_DOT_json="old")
    monkeypatch.setattr(saving, "LARGEST_PLAN", 1_000)
    ran = Ran(capsys, "assign", folder, "--save", "--force")
    assert ran.status == 2 and "assignment.json: would have 1 MB, and may have 0 MB; leave out --save" in ran.err
    assert [path.name for path in folder.glob("ass*")] == ["assignment.json"]
    assert (folder / "assignment.json").read_bytes() == b"old"


def test_a_new_folder_is_not_written_through_a_link(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A link that waits where `new` makes its draft is neither followed nor removed."""
    (tmp_path / "elsewhere").mkdir()
    draft = tmp_path / f".job.{os.getpid()}"
    draft.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(SystemExit) as left:
        main(["new", str(tmp_path / "job")])
    assert left.value.code == 2 and "cannot be written: File exists" in capsys.readouterr().err
    assert draft.is_symlink() and not list((tmp_path / "elsewhere").iterdir()) and not (tmp_path / "job").exists()
