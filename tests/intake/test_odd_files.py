"""What stands in a file's place and is none: pipes, devices, folders; and files without end."""

import os
import subprocess
import sys
from pathlib import Path

import pytest
from made.bench_jobs import ENVIRONMENT
from made.intake_jobs import JOB, mistakes, put, write_job

from fitmatch.cli.main import main
from fitmatch.intake.common.files import LARGEST

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
@pytest.mark.parametrize("what", WORDS)
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
    with (folder / "positions.csv").open("ab") as file:
        file.truncate(LARGEST + 10**6)
    assert mistakes(folder) == [
        "positions.csv: is too large: it has 65 MB, and may have 64 MB; split it into several files"
    ]


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


def test_a_new_folder_is_not_written_through_a_link(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A link that waits where `new` makes its draft is neither followed nor removed."""
    (tmp_path / "elsewhere").mkdir()
    draft = tmp_path / f".job.{os.getpid()}"
    draft.symlink_to(tmp_path / "elsewhere")
    with pytest.raises(SystemExit) as left:
        main(["new", str(tmp_path / "job")])
    assert left.value.code == 2 and "cannot be written: File exists" in capsys.readouterr().err
    assert draft.is_symlink() and not list((tmp_path / "elsewhere").iterdir()) and not (tmp_path / "job").exists()
