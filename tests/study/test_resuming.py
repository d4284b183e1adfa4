"""Draws kept in a file: nothing that was worked is lost or counted twice, however a run ended."""

import os
import random
import shutil
import signal
import subprocess
import sys
import time
from contextlib import closing
from itertools import islice
from pathlib import Path

import pytest
from made.clusters import PATHS, ROOT
from made.toy_draws import Toy, interrupted, toy

from fitmatch.intake.reading import read_job
from fitmatch.problems import NotPossible
from fitmatch.report.words.refusals import refused
from fitmatch.study.boxes.boxes import task_of
from fitmatch.study.workers.crews import in_this_process
from fitmatch.study.workers.resuming import digest_of, work_on

SAMPLE = ROOT / "samples" / "generator-five"


def kept(path: Path, most: int = 20) -> bytes:
    """What the file has after a run to its end, in which every draw came once and in order."""
    found = list(work_on(path, in_this_process, toy, Toy(), range(most)))
    assert found == [(number, toy(Toy(), number)) for number in range(most)]
    return path.read_bytes()


def refusal(path: Path, seed: int = 1) -> str:
    """Why a file is refused, which is not touched."""
    before = path.lstat(), path.read_bytes() if path.is_file() else b""
    with pytest.raises(NotPossible) as raised:
        list(work_on(path, in_this_process, toy, Toy(seed), range(20)))
    after = path.lstat(), path.read_bytes() if path.is_file() else b""
    assert after[0].st_mtime_ns == before[0].st_mtime_ns and after[1] == before[1]
    return refused(raised.value.why, "mm")


def test_a_file_cut_anywhere_becomes_whole_again(tmp_path: Path) -> None:
    """Whatever part of the file a kill has left, the next run drops an incomplete line, works what is missing and
    leaves the file as one run would have."""
    path = tmp_path / "draws"
    whole = kept(path)
    places = range(len(whole) + 1)
    for place in [*places[:90], *random.Random(18).sample(places[90:], 60), len(whole)]:
        path.write_bytes(whole[:place])
        assert kept(path) == whole


def test_the_digest_is_of_what_outcomes_depend_on(tmp_path: Path) -> None:
    """The digest of a job's task is the same in another process, in which sets have another order, and in a copy of its
    folder; it is another one with another seed, budget or reading."""
    here = tmp_path / "here"
    shutil.copytree(SAMPLE, here)
    code = "import sys, pathlib, study.test_resuming as t; print(t.digest(pathlib.Path(sys.argv[1])))"
    known = digest(here)
    for number in range(2):
        there = here.rename(tmp_path / f"there-{number}")
        env = {**os.environ, **PATHS, "PYTHONHASHSEED": f"{number}"}
        line = [sys.executable, "-c", code, str(there)]
        assert subprocess.run(line, env=env, capture_output=True, text=True, check=True).stdout.strip() == known
        here = there
    others = {digest(here, seed=2), digest(here, budget=1)}
    positions = here / "positions.csv"
    positions.write_text(positions.read_text().replace("2.24890", "2.24885"))
    assert len({known, digest(here), *others}) == 4


def digest(folder: Path, seed: int = 1, budget: int = 2) -> str:
    """Of the task that a job is, and of a set."""
    task, _ = task_of(read_job(folder), seed=seed, budget=budget, tolerance_nm=None, sealed=None)
    return digest_of((task, frozenset("shells")))


def test_draws_in_the_file_are_not_worked_again(tmp_path: Path) -> None:
    """Those that are there come from the file and nobody is hired if they are enough; of more than are asked for the
    first ones come, and the file keeps all."""
    path = tmp_path / "draws"
    whole = kept(path)
    changed = whole.replace(b"\n7 7 ", b"\n7 77 ")
    path.write_bytes(changed)

    def nobody(*_: object) -> None:
        raise AssertionError

    for most in (12, 20):
        found = dict(work_on(path, nobody, toy, Toy(), range(most)))  # type: ignore[arg-type]
        assert len(found) == most and found[7][0] == 77
    assert path.read_bytes() == changed


def test_files_of_others_are_refused_and_left(tmp_path: Path) -> None:
    """Another digest, another kind of file, a line that is not the draw of its place, a link, a folder, a pipe and a
    place where nothing can be are refused, and stay as they were."""
    path = tmp_path / "draws"
    whole = kept(path)
    assert "has draws of other inputs" in refusal(path, 2)
    lines = whole.split(b"\n")
    for row, line in ((2, b"0 x 5"), (5, b"4 4 5 6"), (9, b""), (21, b"19  1"), (7, b"5 5 \x006"), (3, b"1 1 2\r")):
        path.write_bytes(b"\n".join([*lines[: row - 1], line, *lines[row:]]))
        assert refusal(path).startswith(f"{path}:{row}: this is not the draw that belongs here; ")
    for other in (b"position,kind\nR1,rod\n", b"\n", whole[1:]):
        path.write_bytes(other)
        assert "is another kind of file, and was left as it is" in refusal(path)
    path.write_bytes(whole)
    (tmp_path / "link").symlink_to(path)
    assert "it is a link" in refusal(tmp_path / "link")
    (tmp_path / "again").hardlink_to(path)
    assert "it has another name elsewhere" in refusal(path)
    (tmp_path / "folder").mkdir()
    os.mkfifo(tmp_path / "pipe")
    assert "Is a directory" in refusal(tmp_path / "folder")
    assert "no ordinary file" in refusal(tmp_path / "pipe")
    with pytest.raises(NotPossible) as raised:
        list(work_on(tmp_path / "nowhere" / "draws", in_this_process, toy, Toy(), range(20)))
    assert "No such file" in refused(raised.value.why, "mm")


def test_one_run_at_a_time(tmp_path: Path) -> None:
    """While a run has the file another one is refused; afterwards it goes on."""
    path = tmp_path / "draws"
    with closing(work_on(path, in_this_process, toy, Toy(), range(20))) as first:
        assert len(list(islice(first, 5))) == 5
        with pytest.raises(NotPossible) as raised:
            list(work_on(path, in_this_process, toy, Toy(), range(20)))
    assert "in use by another run" in refused(raised.value.why, "mm")
    assert len(path.read_bytes().splitlines()) == 6
    kept(path)


def test_a_full_disk_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where no more can be written the run ends and says so; what is in the file is used by the next."""
    path = tmp_path / "draws"
    whole = kept(path)
    path.unlink()
    from resource import RLIMIT_FSIZE, getrlimit, setrlimit

    before, handler = getrlimit(RLIMIT_FSIZE), signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    try:
        setrlimit(RLIMIT_FSIZE, (250, before[1]))
        with pytest.raises(NotPossible) as raised:
            list(work_on(path, in_this_process, toy, Toy(), range(20)))
    finally:
        setrlimit(RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)
    assert refused(raised.value.why, "mm").startswith(f"draws cannot be kept in {path}: ")
    assert path.read_bytes() == whole[:250] and kept(path) == whole


def test_ctrl_c_keeps_what_was_worked(tmp_path: Path) -> None:
    """Ctrl-C in the middle of a draw of this process leaves all draws before it in the file."""
    task = Toy(at=12, marks=(str(tmp_path / "mark"),))
    with pytest.raises(KeyboardInterrupt):
        list(work_on(tmp_path / "draws", in_this_process, interrupted, task, range(20)))
    assert len((tmp_path / "draws").read_bytes().splitlines()) == 13
    assert kept(tmp_path / "draws") == kept(tmp_path / "other")


@pytest.mark.parametrize("way", [signal.SIGINT, signal.SIGKILL], ids=["Ctrl-C", "killed"])
def test_workers_end_with_the_run(tmp_path: Path, way: signal.Signals) -> None:
    """Ctrl-C, which a terminal sends to workers too, and `kill -9`, which reaches the run alone, end it and its
    workers without waiting for draws that take minutes, and no worker complains; what came is in the file, and goes on
    to the same bytes."""
    path, marks = tmp_path / "draws", tmp_path / "begun"
    marks.mkdir()
    line = [sys.executable, "-m", "made.toy_run", str(path), "9", str(marks)]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True, "start_new_session": True}
    with subprocess.Popen(line, env={**os.environ, **PATHS}, **pipes) as process:  # type: ignore[call-overload]
        while len(list(marks.iterdir())) < 2 and process.poll() is None:
            time.sleep(0.01)
        (os.killpg if way is signal.SIGINT else os.kill)(process.pid, way)
        out, err = process.communicate(timeout=60)  # as long as a worker lives its end of the pipe is open
    assert out == "0\n1\n2\n" and err.count("Traceback") == (way is signal.SIGINT)
    assert kept(path, 9) == kept(tmp_path / "other", 9)
