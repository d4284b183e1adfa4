"""Names of files are data, whatever stands in them: no terminal ever obeys one."""

import json
import re
import shlex
import subprocess
import sys
import time
from collections.abc import Sequence
from pathlib import Path
from unicodedata import category

import pytest
from made.bench_jobs import ENVIRONMENT, bench_job
from made.bench_jobs import JOB as BENCH_JOB
from made.intake_jobs import JOB, OTHER_SHELLS, POSITIONS, SHELLS, put, write_job
from terminals import PATIENCE_S, Bare

# A colour, a title for the window, the direction of writing turned, a line that begins anew, and half a character.
EVIL = "a\x1b[31mred\x1b]0;title\x07\u202eb\u2028c\rd\ne\udcff"
SHOWN = "a?[31mred?]0;title??b?c?d?e?"
FILES = {
    "another table": {f"positions.{EVIL}": "x"},
    "another ending": {f"positions.csv.{EVIL}": "x"},
    "a bad row": {f"shells/{EVIL}.csv": "shell,kind,half,wall\n1,rod,upper,x\n"},
    "tables that are not read": {f"shells/{EVIL}.xlsx": "x", f"shells/{EVIL}.txt": "x"},
    "a column that is not used": {f"shells/{EVIL}.csv": "shell,kind,half,wall,odd\n1,rod,upper,0.0618,x\n"},
    "a shell twice": {f"shells/{EVIL}.csv": "shell,kind,half,wall,box\n01,rod,upper,0.0618,box-1\n"},
    "a box copied": {f"shells/{EVIL}.csv": SHELLS},
}


def shown(words: list[str], folder: Path) -> str:
    """Everything that a command sends to a terminal, until it has ended."""
    line = shlex.join([sys.executable, "-m", "fitmatch", *words])
    terminal = Bare(f"cd {shlex.quote(str(folder))}; {line}; echo the end", ENVIRONMENT | {"NO_COLOR": "1"}, folder)
    end, text = time.monotonic() + PATIENCE_S, ""
    while "the end\n" not in text and time.monotonic() < end:
        text = terminal.shown()
    terminal.close()
    assert "the end\n" in text and "fault" not in text, text
    return text


def obeyed(text: str) -> list[str]:
    """Marks in a text that a terminal would obey, apart from line ends and the progress that fitmatch itself shows."""
    own = re.sub(r"\r\x1b\[K", "", text)
    return [c for c in own if c != "\n" and category(c) in ("Cc", "Cf", "Cs", "Zl", "Zp")]


FORMS = (["assign"], ["assign", "--full"], ["check", "--json"])


@pytest.mark.parametrize("what", FILES)
@pytest.mark.parametrize("forms", [FORMS[:1], pytest.param(FORMS[1:], marks=pytest.mark.deep)], ids=["short", "others"])
def test_no_name_reaches_a_terminal_raw(tmp_path: Path, what: str, forms: Sequence[list[str]]) -> None:
    """In messages, warnings and reports, on a terminal, such marks are shown as `?`."""
    shown_as_marks(tmp_path, what, forms)


def test_nor_in_any_other_form(tmp_path: Path) -> None:
    """The same in full and in JSON, here of one file that is no mistake and of one that is."""
    for what in ("a column that is not used", "a bad row"):
        shown_as_marks(tmp_path / what, what, FORMS[1:])


def shown_as_marks(tmp_path: Path, what: str, forms: Sequence[list[str]]) -> None:
    folder = write_job(tmp_path / "job", positions=None if what.startswith("another") else POSITIONS)
    for name, text in FILES[what].items():
        put(folder / name, text)
    for words in forms:
        text = shown([words[0], "job", *words[1:]], tmp_path)
        assert obeyed(text) == [] and SHOWN in text


def test_nor_does_the_name_of_a_folder(tmp_path: Path) -> None:
    """The same of the job folder itself: saved, refused, made; of two that share their shells; and at the bench."""
    for number in (1, 2):
        job = JOB + 'family = ["n"]\n'
        shells = OTHER_SHELLS.replace("wall\n", "wall,family,odd\n").replace("\n0", ",n,\n0").rstrip() + ",n,x\n"
        write_job(tmp_path / f"{EVIL}{number}", job, shells=None, **{f"shells/{number}.csv": shells})
    for words in (
        ["assign", f"{EVIL}1", "--save"],
        ["new", f"{EVIL}1"],
        ["new", f"{EVIL}3"],
    ):
        text = shown(words, tmp_path)
        assert obeyed(text) == [] and SHOWN in text
    assert obeyed(shown(["assign", f"{EVIL}1", f"{EVIL}2"], tmp_path)) == []
    put(tmp_path / EVIL / "job.toml", BENCH_JOB)
    (tmp_path / EVIL / "readings.csv").symlink_to("positions.csv")
    put(tmp_path / EVIL / "positions.csv", "position,kind\nR1,rod\n")
    put(tmp_path / EVIL / "shells/1.csv", "shell,kind,half\n1,rod,upper\n")
    text = shown(["measure", EVIL], tmp_path)
    assert obeyed(text) == [] and f"{SHOWN}/readings.csv cannot be written" in text


def test_nor_does_that_of_the_readings(tmp_path: Path) -> None:
    """The same of the file of readings in a warning."""
    name = EVIL.removesuffix("\udcff")
    folder = bench_job(tmp_path, BENCH_JOB + f"[sources]\nreadings = {json.dumps(f'{name}.csv')}\n")
    put(folder / f"{name}.csv", "item,feature,station,angle,reading\nR1,jour")
    ran = subprocess.run(
        [sys.executable, "-m", "fitmatch", "measure", str(folder)],
        input=b"", capture_output=True, env=ENVIRONMENT, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert f"was cut short; it was moved to {SHOWN[:-1]}.torn" in ran.stderr.decode()
    assert obeyed(ran.stderr.decode()) == []


def test_a_document_has_such_names_all_the_same(tmp_path: Path) -> None:
    """In JSON the marks stand as numbers: a program reads the name, and a terminal obeys nothing."""
    name = EVIL.removesuffix("\udcff")
    job = JOB + f"[sources]\npositions = {json.dumps(f'{name}.csv')}\n"
    rows = "".join(f"R{number},rod,1.8162,1.9421\n" for number in range(8))
    folder = write_job(
        tmp_path, job, None, **{f"{name}.csv": POSITIONS.partition("\n")[0] + f"\n{rows}R9,rod,1.8612,1.9421\n"}
    )
    ran = subprocess.run(
        [sys.executable, "-m", "fitmatch", "check", str(folder), "--json"],
        capture_output=True, encoding="utf-8", env=ENVIRONMENT, timeout=PATIENCE_S, check=False,
    )  # fmt: skip
    assert obeyed(ran.stdout) == []
    assert json.loads(ran.stdout)["doubts"][0]["file"] == f"{name}.csv"
