"""`fitmatch measure` in a real terminal, and killed at any moment."""

import os
import shlex
import signal
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from made.bench_jobs import COMMAND, ENVIRONMENT, bench_job, on_disk
from terminals import Bare, Terminal, Tmux, kinds, wait_for

Start = Callable[[Path], Terminal]
MEMORY = Path("/dev/shm")  # where a write need not wait for a disk; a kill is the same to both


@pytest.fixture(params=kinds(), ids=lambda kind: kind.__name__)
def start(request: pytest.FixtureRequest) -> Iterator[Start]:
    """Starts the command on a job folder in a terminal; behind it come its status and the state of the terminal."""
    running: list[Terminal] = []
    with TemporaryDirectory() as place:  # a short path: that of a socket must be

        def started(folder: Path) -> Terminal:
            command = f"trap : INT; {shlex.join([*COMMAND, str(folder)])}; echo status $?; stty -a"
            running.append(request.param(command, ENVIRONMENT, Path(place)))
            return running[-1]

        yield started
        for terminal in running:
            terminal.close()


def test_enter_and_tab_end_an_entry(tmp_path: Path, start: Start) -> None:
    """A session as a person sees it: keys are shown, both ends and words work, the last reading completes the path."""
    terminal = start(bench_job(tmp_path))
    shown = wait_for(terminal, "1/8 R1 journal, any station, 0 deg, no gauge named, in: ")
    assert "undo         take back the newest reading" in shown and "help or ?    show these words" in shown
    terminal.type(b"1.8162\t")
    wait_for(terminal, "in: 1.8162\nsaved R1 journal 1.8162 in = 46.1315 mm\n2/8 M1 journal")
    terminal.type(b"\n  \t2.125x\x7f\n")
    wait_for(terminal, "in: ")
    wait_for(terminal, "saved M1 journal 2.125 in = 53.975 mm\n3/8 M2 journal")
    terminal.type(b"9.9\x15\x1b[A\x1bOBundo\n")
    wait_for(terminal, "took back M1 journal 2.125 in = 53.975 mm\n2/8 M1 journal")
    terminal.type(b"2.1251\nkeep clean and cold\t")
    wait_for(terminal, "kept M1 journal 2.1251 in = 53.9775 mm: clean and cold\n3/8 M2 journal")
    terminal.type(b"2.1250\t1.9421\t2.2514\t2.2515\t0.0618\t0.0619\tquit\n")
    shown = wait_for(terminal, "status 0")
    assert "All 8 readings are there; undo, skip, back, keep REASON" in shown
    assert [row for (row,) in on_disk(tmp_path, "reading")] == [
        *("1.8162", "2.1251", "2.1250", "1.9421", "2.2514", "2.2515", "0.0618", "0.0619")
    ]


def test_anything_else_rings_and_asks_again(tmp_path: Path, start: Start) -> None:
    """What is neither a number nor a word stores nothing; the prompt comes again."""
    terminal = start(bench_job(tmp_path))
    wait_for(terminal, "1/8 R1 journal")
    terminal.type(b"hello\t")
    shown = wait_for(terminal, "1/8 R1 journal", times=2)
    assert "`hello` is neither a number nor" in shown
    if isinstance(terminal, Bare):
        assert "hello\n\a`hello` is neither" in shown
    terminal.type(b"\x04")
    wait_for(terminal, "status 1")
    assert on_disk(tmp_path, "item") == []


def test_readings_sent_at_once_wait_in_order(tmp_path: Path, start: Start) -> None:
    """A burst sent before the first prompt is there, with a word that is refused among it, fills the path in order."""
    terminal = start(bench_job(tmp_path))
    if isinstance(terminal, Tmux):
        wait_for(terminal, "1/8 R1 journal")  # what is sent before tmux has the window ready would be lost by tmux
    terminal.type(b"1.8162\t2.1250\tbad\t2.1251\n1.9421\tskip\t2.2515\tback\tback\t2.2514\t0.0618\t0.0619\tquit\n")
    wait_for(terminal, "status 0")
    assert on_disk(tmp_path, "item", "reading") == [
        ["R1", "1.8162"],
        ["M1", "2.1250"],
        ["M2", "2.1251"],
        ["R1", "1.9421"],
        ["M2", "2.2515"],
        ["M1", "2.2514"],
        ["box-1/1", "0.0618"],
        ["box-1/2", "0.0619"],
    ]


@pytest.mark.parametrize(("keys", "status"), [(b"\x03", 130), (b"quit\t", 1), (b"\x04", 1)])
def test_the_terminal_is_left_as_it_was(tmp_path: Path, start: Start, keys: bytes, status: int) -> None:
    """After Ctrl-C (130), `quit` or Ctrl-D lines and echo are on again, and what was reported as saved is on disk."""
    terminal = start(bench_job(tmp_path))
    wait_for(terminal, "1/8 R1 journal")
    terminal.type(b"1.8162\t")
    wait_for(terminal, "2/8 M1 journal")
    terminal.type(b"2.12" + keys if keys == b"\x03" else keys)
    wait_for(terminal, f"status {status}")
    left = wait_for(terminal, " echo ").rpartition("status")[2]
    assert " icanon" in left and "-icanon" not in left and "-echo " not in left
    assert on_disk(tmp_path, "reading") == [["1.8162"]]


@pytest.mark.parametrize("name", ["TERM", "HUP", "QUIT"])
def test_a_signal_that_ends_it_leaves_the_terminal_as_it_was(tmp_path: Path, start: Start, name: str) -> None:
    """The same where another process ends it: the status is that of the signal, the readings are on disk."""
    terminal = start(bench_job(tmp_path))
    wait_for(terminal, "1/8 R1 journal")
    terminal.type(b"1.8162\t2.1")
    wait_for(terminal, "2/8 M1 journal")
    number = getattr(signal, f"SIG{name}")
    mine = [int(path.name) for path in Path("/proc").iterdir() if path.name.isdecimal() and _runs_on(path, tmp_path)]
    assert len(mine) == 1
    os.kill(mine[0], number)
    left = wait_for(terminal, f"status {128 + number}") and wait_for(terminal, " echo ").rpartition("status")[2]
    assert " icanon" in left and "-icanon" not in left and "-echo " not in left
    assert on_disk(tmp_path, "reading") == [["1.8162"]]


def _runs_on(process: Path, folder: Path) -> bool:
    """Whether a process is the command itself on this folder, and not the shell around it."""
    with suppress(OSError):
        words = (process / "cmdline").read_bytes().split(b"\0")
        return words[-2:-1] == [str(folder).encode()] and b"measure" in words
    return False


@pytest.mark.parametrize("many", [10, pytest.param(100, marks=pytest.mark.deep)])
def test_no_row_of_another_program_is_lost(tmp_path: Path, many: int) -> None:
    """While readings are saved, taken back and kept, another program opens the file and adds rows: each is there in the
    end, whole and once."""
    tests = Path(__file__).parents[1]
    with TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else tmp_path) as home:
        ran = subprocess.run(
            [sys.executable, str(tests / "bench_kills.py"), home, str(many), "neighbour"],
            capture_output=True, encoding="utf-8", timeout=600, check=False,
            env=ENVIRONMENT | {"PYTHONPATH": f"{ENVIRONMENT['PYTHONPATH']}:{tests}"},
        )  # fmt: skip
    assert ran.returncode == 0, ran.stdout + ran.stderr
    runs, lost, noticed = (int(word) for word in ran.stdout.split() if word.isdecimal())
    assert (runs, lost) == (many, 0) and noticed > 0


@pytest.mark.parametrize("many", [12, pytest.param(60, marks=pytest.mark.deep)])
def test_a_kill_at_any_moment_loses_no_echoed_reading(tmp_path: Path, many: int) -> None:
    """Killed after the k-th byte of output, for dozens or hundreds of k, while saving, undoing, keeping or writing a
    box, the file has what was reported as saved and at most the entry being saved, each once; the next start finds it
    so."""
    script = str(Path(__file__).parents[1] / "bench_kills.py")
    tests = str(Path(__file__).parents[1])
    with TemporaryDirectory(dir=MEMORY if MEMORY.is_dir() else tmp_path) as home:
        ran = subprocess.run(
            [sys.executable, script, home, str(many)],
            capture_output=True, encoding="utf-8", timeout=600, check=False,
            env=ENVIRONMENT | {"PYTHONPATH": f"{ENVIRONMENT['PYTHONPATH']}:{tests}"},
        )  # fmt: skip
    *_, summary = ran.stdout.splitlines() or [ran.stderr]
    assert ran.returncode == 0, ran.stdout + ran.stderr
    kills, broken, places, in_work = (int(word) for word in summary.replace(",", "").split() if word.isdecimal())
    assert (kills, broken) == (many, 0) and places > min(20, many // 2) and in_work > 0
