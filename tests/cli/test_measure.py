"""`fitmatch measure` from a pipe: what is kept, what ends it, and with which exit status."""

import os
import shlex
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from made.bench_jobs import COMMAND, ENVIRONMENT, JOB, bench_job, measure, on_disk, said
from made.intake_jobs import POSITIONS, put, write_job

from fitmatch.intake.reading import read_job
from fitmatch.intake.writing.log_rows import HEADER

NEW = [sys.executable, "-m", "fitmatch", "new"]
ALL = "1.8162\n2.125\n2.125\n1.9421\n2.2514\n2.2514\n0.0618\n0.0619\n"


def test_a_whole_path(tmp_path: Path) -> None:
    """Every prompt and every echo comes in its turn; the path complete, the exit status is 0, and again so."""
    ran = measure(bench_job(tmp_path), ALL, "--by", "first")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert ran.stdout.startswith(
        "1/8 R1 journal, any station, 0 deg, no gauge named, in:\nsaved R1 journal 1.8162 in = 46.1315 mm\n2/8 M1 "
    )
    assert len(said(ran.stdout)) == 8 and set(map(tuple, on_disk(tmp_path, "by"))) == {("first",)}
    assert [path.name for path in sorted(tmp_path.iterdir())] == ["job.toml", "positions.csv", "readings.csv", "shells"]
    job = read_job(tmp_path)
    assert all(not position.missing for position in job.positions) and all(shell.wall_nm for shell in job.shells)
    again = measure(tmp_path, "")
    assert again.returncode == 0 and again.stdout.startswith("All 8 readings are there;")


@pytest.mark.parametrize("typed", ["", "1.8162\n", "1.8162\nquit\n2.125\n", "skip\n" * 20, "1.8162\nundo\n"])
def test_an_end_before_the_path_is_complete(tmp_path: Path, typed: str) -> None:
    """The end of the input, or `quit`, leaves 1 while readings are missing; nothing behind `quit` is taken."""
    ran = measure(bench_job(tmp_path), typed)
    assert (ran.returncode, ran.stderr) == (1, "")
    assert len(on_disk(tmp_path, "item")) == (1 if "1.8162" in typed and "undo" not in typed else 0)


def test_tabs_blanks_and_line_ends(tmp_path: Path) -> None:
    """Tab ends an entry as Enter does, on every system; what is empty is passed over."""
    ran = measure(bench_job(tmp_path), b"\r\n\t 1.8162\t\t2.125 in\r\n \n+2.126\r1,9421\n")
    assert ran.returncode == 1 and [row for (row,) in on_disk(tmp_path, "reading")] == [
        "1.8162",
        "2.125",
        "2.126",
        "1.9421",
    ]


@pytest.mark.parametrize(
    ("typed", "line"),
    [
        ("1.8162\n\nabc\n2.125\n", 3),
        ("1.8162\r\n\r\nabc\r\n", 3),
        ("1.8162\tabc\t2.125\n", 1),
        ("1.8162\n181\n", 2),
        ("1.8162\n2.12", 2),
        ("1.8162\nundo\nundo\n1.8162\n", 3),
        (b"1.8162\n\xff\xfe\n", 2),
        ("1.8162\n" + "9" * 100_000 + "\n", 2),
        ("1.8162\nkeep\n", 2),
    ],
)
def test_the_first_refused_entry_ends_it(tmp_path: Path, typed: str | bytes, line: int) -> None:
    """Exit status 2, its line named, everything before it kept, nothing after it taken. A number cut short is one."""
    ran = measure(bench_job(tmp_path), typed)
    assert ran.returncode == 2 and ran.stderr.startswith(f"line {line} of the input: ")
    assert ran.stderr.endswith("; what came before it is kept\n") and ran.stderr.count("\n") == 1
    undone = isinstance(typed, str) and "undo" in typed
    assert [row for (row,) in on_disk(tmp_path, "reading")] == ([] if undone else ["1.8162"])


def test_bad_input_writes_nothing(tmp_path: Path) -> None:
    """A job with mistakes is refused with all of them, and no file is made."""
    folder = bench_job(tmp_path, JOB + "[bench.rod]\njournal_stations = [0]\n[bench.rot]\n")
    put(folder / "positions.csv", "position,kind\nR1,rot\n")
    ran = measure(folder, ALL)
    assert (ran.returncode, ran.stdout, not (folder / "readings.csv").exists()) == (2, "", True)
    assert [line.split(": ")[1] for line in ran.stderr.splitlines()] == [
        "bench.rod.journal_stations",
        "bench.rot",
        "kind",
    ]
    assert measure(tmp_path / "nowhere", "").returncode == 2


def test_a_workbook_is_not_added_to(tmp_path: Path) -> None:
    """Readings go into a .csv file only."""
    ran = measure(bench_job(tmp_path, JOB + '[sources]\nreadings = "readings.xlsx"\n'), ALL)
    assert ran.returncode == 2 and "only be added to a .csv file" in ran.stderr


def test_another_name_for_the_readings(tmp_path: Path) -> None:
    """The file that [sources] names is the one that is made, in a folder of its own if need be."""
    measure(bench_job(tmp_path, JOB + '[sources]\nreadings = "log/all.csv"\n'), "1.8162\n")
    assert (tmp_path / "log" / "all.csv").read_bytes().startswith(HEADER + b"R1,journal,,0,1.8162,")
    outside = tmp_path / "b"
    ran = measure(bench_job(outside, JOB + '[sources]\nreadings = "../all.csv"\n'), "1.8162\n")
    assert ran.returncode == 2 and "leaves the job folder" in ran.stderr and not (tmp_path / "all.csv").exists()


def test_a_torn_row_is_told_of(tmp_path: Path) -> None:
    """A last row cut short is moved aside with a message, and asked for again; nothing of it is lost."""
    folder = bench_job(tmp_path)
    measure(folder, "1.8162\n2.125\n")
    path = folder / "readings.csv"
    whole = path.read_bytes()
    path.write_bytes(whole[:-12])
    ran = measure(folder, "")
    assert ran.stderr == "warning: the last row of readings.csv was cut short; it was moved to readings.torn\n"
    assert ran.stdout.startswith("2/8 M1 journal")
    assert path.read_bytes() + (folder / "readings.torn").read_bytes()[:-1] == whole[:-12]
    assert measure(folder, "").stderr == ""


def test_a_second_sitting_is_refused(tmp_path: Path) -> None:
    """While one is at work another does not start; when the first is killed the next one does."""
    folder = bench_job(tmp_path)
    first = subprocess.Popen([*COMMAND, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=ENVIRONMENT)
    assert first.stdin is not None and first.stdout is not None and first.stdout.readline()
    ran = measure(folder, ALL)
    assert (ran.returncode, ran.stdout) == (2, "") and "another fitmatch measure is already running" in ran.stderr
    first.kill()
    first.communicate()
    assert measure(folder, ALL).returncode == 0


def test_ctrl_c(tmp_path: Path) -> None:
    """Exit status 130, nothing that was echoed lost."""
    folder = bench_job(tmp_path)
    ran = subprocess.Popen([*COMMAND, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                           stderr=subprocess.PIPE, env=ENVIRONMENT)  # fmt: skip
    assert ran.stdin is not None and ran.stdout is not None
    ran.stdin.write(b"1.8162\n2.125\n")
    ran.stdin.flush()
    for _ in range(5):
        ran.stdout.readline()
    ran.send_signal(signal.SIGINT)
    _, err = ran.communicate()
    assert ran.returncode == 130 and b"stopped by Ctrl-C" in err and b"Traceback" not in err
    assert on_disk(folder, "item", "reading") == [["R1", "1.8162"], ["M1", "2.125"]]


def test_a_file_written_by_another_program_meanwhile(tmp_path: Path) -> None:
    """Nothing is written over it; the session ends with 2 and says so."""
    folder = bench_job(tmp_path)
    ran = subprocess.Popen([*COMMAND, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                           stderr=subprocess.PIPE, env=ENVIRONMENT)  # fmt: skip
    assert ran.stdin is not None and ran.stdout is not None and ran.stdout.readline()
    put(folder / "readings.csv", HEADER + b"R1,journal,,0,1.7,,,,\n")
    _, err = ran.communicate(b"1.8162\n")
    assert ran.returncode == 2 and b"another program has changed readings.csv" in err
    assert on_disk(folder, "reading") == [["1.7"]]


def test_nobody_to_tell(tmp_path: Path) -> None:
    """When the echo can no longer be shown the session ends with 2: nothing more is taken unseen."""
    folder = bench_job(tmp_path)
    ran = subprocess.Popen([*COMMAND, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                           stderr=subprocess.PIPE, env=ENVIRONMENT)  # fmt: skip
    assert ran.stdin is not None and ran.stdout is not None and ran.stderr is not None and ran.stdout.readline()
    ran.stdout.close()
    ran.stdin.write(ALL.encode())
    ran.stdin.close()
    err = ran.stderr.read()
    ran.stderr.close()
    assert ran.wait() == 2 and b"no more output can be shown" in err and b"Traceback" not in err
    assert len(on_disk(folder, "item")) == 1


def test_one_sitting_though_job_toml_is_replaced(tmp_path: Path) -> None:
    """An editor, or `assembled --learn`, puts another file in the place of job.toml: a second sitting still does not
    start, and `--learn` is not kept from its work."""
    folder = tmp_path / "job"
    copy = [*NEW, str(folder), "--sample", "metrology-bench"]
    subprocess.run(copy, stdout=subprocess.DEVNULL, env=ENVIRONMENT, timeout=60, check=True)
    before = (folder / "job.toml").stat().st_ino
    first = subprocess.Popen([*COMMAND, str(folder)], stdin=subprocess.PIPE, stdout=subprocess.PIPE, env=ENVIRONMENT)
    assert first.stdin and first.stdout and first.stdout.readline()
    learn = [*COMMAND[:-1], "assembled", str(folder), "--learn"]
    assert subprocess.run(learn, capture_output=True, env=ENVIRONMENT, timeout=60, check=False).returncode in (0, 1)
    assert (folder / "job.toml").stat().st_ino != before
    second = measure(folder, "")
    assert second.returncode == 2 and "another fitmatch measure is already running" in second.stderr
    first.stdin.close()
    first.wait(60)
    first.stdout.close()
    assert "already running" not in measure(folder, "").stderr


@pytest.mark.parametrize(
    "closed",
    [
        "<&-",
        "<&- >&- 2>&-",
        *(pytest.param(one, marks=pytest.mark.deep) for one in (">&-", "2>&-", "<&- >&-", "0>/dev/null")),
    ],
)
def test_closed_streams_are_no_fault(tmp_path: Path, closed: str) -> None:
    """Without standard input there are no readings, without standard output no echo; and nothing else is written into
    the files of the job instead."""
    folder = bench_job(tmp_path)
    measure(folder, "1.8162\n")
    before = (folder / "readings.csv").read_bytes()
    line = f"{shlex.join([*COMMAND, str(folder)])} {closed}"
    typed = b"" if "<" in closed or "0>" in closed else b"2.125\n"
    ran = subprocess.run(["sh", "-c", line], input=typed, capture_output=True, env=ENVIRONMENT, timeout=60, check=False)
    unreadable = closed == "0>/dev/null"
    assert ran.returncode == (2 if unreadable else 1), ran.stderr
    assert ran.stderr.startswith(b"Error: the input cannot be read: ") if unreadable else ran.stderr == b""
    after = (folder / "readings.csv").read_bytes()
    assert after.startswith(before) and after.count(b"\n") == before.count(b"\n") + (1 if typed else 0)


@pytest.mark.parametrize("words", [["assign", "--debug"], ["check"], ["nowhere"], ["assign", "none"]])
def test_a_full_disk_behind_standard_error(tmp_path: Path, words: list[str]) -> None:
    """The answer and its exit status are the same: there is nobody to tell the rest to."""
    folder = write_job(tmp_path, positions=POSITIONS.replace("bore", "bore,idle").replace("1.9421", "1.9421,x"))
    line = shlex.join([*COMMAND[:-1], words[0], *([] if "none" in words else [str(folder)]), *words[1:]])
    seen = subprocess.run(["sh", "-c", line], capture_output=True, env=ENVIRONMENT, timeout=60, check=False)
    ran = subprocess.run(["sh", "-c", f"{line} 2>/dev/full"], capture_output=True, env=ENVIRONMENT, timeout=60)
    assert seen.stderr and (ran.returncode, ran.stdout) == (seen.returncode, seen.stdout)


@pytest.mark.parametrize("words", [["--help"], ["--version"], ["assign", "--help"], ["assign", "."], ["check", "."]])
def test_a_full_disk_behind_standard_output(tmp_path: Path, words: list[str]) -> None:
    """It is said in one line and is no fault of the program, whatever was to be printed."""
    folder = write_job(tmp_path)
    line = f"{shlex.join([*COMMAND[:-1], *words])} >/dev/full"
    ran = subprocess.run(["sh", "-c", line], capture_output=True, env=ENVIRONMENT, timeout=60, cwd=folder)
    assert ran.returncode == 2
    assert ran.stderr.decode().splitlines()[-1] == "Error: the answer cannot be written: No space left on device"


@pytest.mark.parametrize(
    "words",
    [["check"], *(pytest.param(["assign", *how], marks=pytest.mark.deep) for how in ([], ["--json"], ["--full"]))],
)
def test_other_commands_without_streams(tmp_path: Path, words: list[str]) -> None:
    """Where an answer cannot be seen by anybody, its exit status still stands."""
    folder = write_job(tmp_path)
    line = shlex.join([*COMMAND[:-1], words[0], str(folder), *words[1:]])
    seen = subprocess.run(["sh", "-c", line], capture_output=True, env=ENVIRONMENT, timeout=60, check=False)
    for closed in ("<&- >&-", "2>&-"):
        ran = subprocess.run(["sh", "-c", f"{line} {closed}"], capture_output=True, env=ENVIRONMENT, timeout=60)
        assert ran.returncode == seen.returncode and b"fault" not in ran.stderr


@pytest.mark.parametrize(
    ("link", "target", "told"),
    [
        ("readings.csv", "none", "readings.csv: is a link that leads nowhere; remove it or put the file there"),
        ("readings.csv", "readings.csv", "readings.csv: links lead round in a circle there; remove the link"),
        ("readings.csv", "positions.csv", "readings.csv cannot be written: it is a link to positions.csv; remove the"),
        ("readings.torn", "positions.csv", "readings.torn cannot be written: it is a link to positions.csv; remove"),
        ("readings.torn", "", "readings.torn cannot be written: it is not a file but a pipe, a device or the like"),
    ],
)
def test_links_in_the_place_of_the_readings(tmp_path: Path, link: str, target: str, told: str) -> None:
    """A link to nothing, round in a circle or to another file of the job is refused by its own name, and nothing is
    made or changed; so it is with the file for a row that was cut short."""
    folder = bench_job(tmp_path)
    if link == "readings.torn":
        put(folder / "readings.csv", HEADER + b"R1,jour")
    if target:
        (folder / link).symlink_to(target)
    else:
        os.mkfifo(folder / link)
    before = {path: path.lstat().st_size for path in folder.iterdir()}
    ran = measure(folder, "1.8162\n")
    assert ran.returncode == 2 and told in ran.stderr and ran.stderr.count("\n") == 1
    assert {path: path.lstat().st_size for path in folder.iterdir()} == before


def test_boxes_that_differ_in_capitals_alone(tmp_path: Path) -> None:
    """On many disks they would be one file: refused, by the box or by the name of its file."""
    folder = bench_job(tmp_path)
    put(folder / "shells" / "Late.csv", "shell,kind,half,box\n1,rod,upper,other\n")
    told = "there is already a box `box-1`, and capitals alone do not tell files apart everywhere; give this one"
    assert told in measure(folder, "box BOX-1 rod 1 1\n").stderr
    assert "shells/Late.csv already exists; give the box another name" in measure(folder, "box late rod 1 1\n").stderr
    assert sorted(path.name for path in (folder / "shells").iterdir()) == ["Late.csv", "box-1.csv"]


def test_nothing_is_read_or_written_outside(tmp_path: Path) -> None:
    """Readings or a box behind a link out of the folder, and a pipe in place of the readings, are refused at once."""
    outside = tmp_path / "outside"
    outside.mkdir()
    for number, name in enumerate(("readings.csv", "shells")):
        folder = bench_job(tmp_path / str(number))
        if name == "shells":
            (folder / "shells" / "box-1.csv").rename(folder / "box-1.csv")
            (folder / "shells").rmdir()
            put(folder / "job.toml", JOB + '[sources]\nshells = ["box-*.csv", "shells/*.csv"]\n')
            put(outside / "box-2.csv", "shell,kind,half\n")
        (folder / name).symlink_to(outside / "none" if name == "readings.csv" else outside)
        ran = measure(folder, "box C rod 1 1\n")
        assert ran.returncode == 2 and "out of the job folder" in ran.stderr
    assert [path.name for path in outside.iterdir()] == ["box-2.csv"]
    folder = bench_job(tmp_path / "pipe")
    os.mkfifo(folder / "readings.csv")
    assert "readings.csv: is a pipe, a device or the like" in measure(folder, "1.8162\n").stderr


def test_readings_that_stand_in_the_tables_are_not_asked_for(tmp_path: Path) -> None:
    """Where the tables have every reading there is nothing to ask for, and no count of nothing."""
    ran = measure(write_job(tmp_path), "")
    assert ran.stdout.startswith("The tables have every reading already, and none is asked for;")
