"""`fitmatch boxes` by several workers, kept in a file, and stopped."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
from made.clusters import PATHS, ROOT, a_cluster
from made.commands import Ran

from fitmatch.study.boxes import boxes as study

SAMPLE = ROOT / "samples" / "generator-five"
LINE = ("boxes", SAMPLE, "--budget", 1, "--json")


def test_the_same_bytes_whoever_works(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One process, two, a run that finds some draws in its file and one that finds all print the same; what is kept is
    the same too."""
    path = tmp_path / "draws"
    alone = Ran(capsys, *LINE, "--draws", 40, "--workers", 1)
    assert alone.status in (0, 1) and alone.out
    Ran(capsys, *LINE, "--draws", 15, "--workers", 1, "--resume", path)
    for workers in (2, 1):
        ran = Ran(capsys, *LINE, "--draws", 40, "--workers", workers, "--resume", path)
        assert (ran.status, ran.out, ran.err) == (alone.status, alone.out, "")
    assert len(path.read_bytes().splitlines()) == 41


def test_a_corrected_price_keeps_the_draws(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With another price a file of draws goes on to be used, and the new price is what is printed."""
    path, job = tmp_path / "draws", tmp_path / "job.toml"
    (tmp_path / "positions.csv").write_text("position,kind,journal,housing_bore\nR1,rod,46,50.05\n", encoding="utf-8")
    for price in (45, 54):
        boxes = 'budget = 1\nwithin = 0.0016\nbetween = 0.001\n[boxes.step.std]\nkind = "rod"\nwall = 2.0\n'
        text = f'unit = "mm"\n[fit.rod]\ntarget = 0.05\n[boxes]\n{boxes}shells = 2\nprice = {price}\n'
        job.write_text(text, encoding="utf-8")
        ran = Ran(capsys, "boxes", tmp_path, "--json", "--draws", 3, "--workers", 1, "--resume", path)
        assert ran.status == 0 and f'"price": {price}' in ran.out
    assert len(path.read_bytes().splitlines()) == 4


def test_what_cannot_be_is_exit_status_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A file with draws of other inputs, one that is no such file, both sorts of workers at once, and a cluster that is
    not there: exit status 2, a line that says what to do, and nothing printed or changed."""
    path = tmp_path / "draws"
    Ran(capsys, *LINE, "--draws", 2, "--workers", 1, "--resume", path)
    kept = path.read_bytes()
    for options, text in (
        (("--seed", 2, "--resume", path), "has draws of other inputs, other options or another version; name another"),
        (("--resume", SAMPLE / "job.toml"), "is another kind of file, and was left as it is"),
        (("--workers", 2, "--cluster", "127.0.0.1:1"), "choose one"),
        (("--cluster", "nowhere"), "no scheduler of a cluster can be reached at `nowhere`"),
    ):
        ran = Ran(capsys, *LINE, "--draws", 2, *options)
        assert (ran.status, ran.out) == (2, "") and text in ran.err
    assert path.read_bytes() == kept


@pytest.mark.parametrize("kept", [True, False])
def test_ctrl_c_says_how_to_go_on(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, kept: bool
) -> None:
    """Ctrl-C is exit status 130 and one line, which says how the draws so far are not lost; with them the answer is
    the same."""
    path, draw = tmp_path / "draws", study.draw
    resume = ("--resume", path) if kept else ()

    def interrupted(task: study.Task, number: int) -> study.Outcome:
        if number == 5:
            raise KeyboardInterrupt
        return draw(task, number)

    with monkeypatch.context() as changed:
        changed.setattr(study, "draw", interrupted)
        ran = Ran(capsys, *LINE, "--draws", 9, "--workers", 1, *resume)
    assert (ran.status, ran.out) == (130, "") and ran.err.count("\n") == 1
    assert (f"in {path}: the same command goes on" if kept else "with --resume FILE draws are kept") in ran.err
    whole = Ran(capsys, *LINE, "--draws", 9, "--workers", 1).out
    assert Ran(capsys, *LINE, "--draws", 9, "--workers", 1, *resume).out == whole


def started(path: Path, draws: int, lines: int, *options: str) -> subprocess.Popen[str]:
    """The command with its draws kept in a file, once that has so many lines."""
    process = subprocess.Popen(
        [sys.executable, "-m", "fitmatch", *map(str, LINE), "--draws", str(draws), "--resume", str(path), *options],
        env={**os.environ, **PATHS},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    while not path.exists() or path.read_bytes().count(b"\n") < lines:
        assert process.poll() is None
        time.sleep(0.05)
    return process


def assert_ends_by_ctrl_c(process: subprocess.Popen[str], path: Path) -> None:
    """Ctrl-C in a terminal, which every process of the command gets, ends all of them with one line."""
    with process:
        os.killpg(process.pid, signal.SIGINT)
        out, err = process.communicate(timeout=60)
    assert (process.returncode, out) == (130, "") and err.startswith("stopped by Ctrl-C; ") and err.count("\n") == 1
    assert path.read_bytes().endswith(b"\n")


def test_ctrl_c_with_processes_is_one_line(tmp_path: Path) -> None:
    """Ctrl-C ends the command and its workers with one line and no traceback; what was worked is in the file."""
    path = tmp_path / "draws"
    assert_ends_by_ctrl_c(started(path, 100_000, 3, "--workers", "2"), path)


@pytest.mark.deep
def test_a_cluster_prints_the_same_bytes(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """`--cluster`, with one of its workers killed in the middle, prints what this process alone prints, and keeps the
    same file; Ctrl-C is one line there too."""
    alone = Ran(capsys, *LINE, "--draws", 300, "--workers", 1, "--resume", tmp_path / "alone")
    with a_cluster(tmp_path, 2) as found:
        path = tmp_path / "stopped"
        assert_ends_by_ctrl_c(started(path, 100_000, 10, "--cluster", found.address), path)
        path = tmp_path / "cluster"
        with started(path, 300, 10, "--cluster", found.address) as process:
            found.workers[0].kill()
            out, err = process.communicate(timeout=300)
        assert found.alive() == 1
    assert (process.returncode, out, err) == (alone.status, alone.out, "")
    assert path.read_bytes() == (tmp_path / "alone").read_bytes()
