"""Small files that would grow, and large ones of which nothing can be used: a message soon, in little memory."""

import os
import resource
import subprocess
import sys
from collections.abc import Callable
from glob import glob
from io import BytesIO
from pathlib import Path
from random import Random
from zipfile import ZIP_DEFLATED, ZipFile

import pytest
from made.bench_jobs import ENVIRONMENT
from made.intake_jobs import JOB, SHELLS, codes, mistakes, put, typed, workbook, write_job

from fitmatch.intake.job_toml.globbing import Allowance, matches
from fitmatch.intake.reading import read_job
from fitmatch.problems import MOST_PROBLEMS, InputError

SECONDS = 10
MEGABYTES = 500
HEADER = "shell,kind,half,wall\n"
SHEETS = JOB + '[sources]\nshells = ["shells/*.xlsx"]\n'
SHEET, STYLES, TEXTS = "xl/worksheets/sheet1.xml", "xl/styles.xml", "xl/sharedStrings.xml"
BOOK = "xl/workbook.xml"


def bomb(part: str, before: bytes, more: bytes) -> bytes:
    """A workbook with more in one of its parts, and a picture that does not compress, so that it unpacks to no more
    than real ones do."""
    with ZipFile(BytesIO(workbook(typed(SHELLS)))) as book:
        parts = {name: book.read(name) for name in book.namelist()}
    assert before in parts[part]
    parts[part] = parts[part].replace(before, more + before)
    out = BytesIO()
    with ZipFile(out, "w", ZIP_DEFLATED) as archive:
        for name, data in parts.items():
            archive.writestr(name, data)
        archive.writestr("xl/media/image1.png", Random(1).randbytes(1_200_000))
    return out.getvalue()


def deep_folders(folder: Path) -> None:
    """Folders in one another, far deeper than a path can be long."""
    handle = os.open(folder, os.O_RDONLY)
    for _ in range(1_500):
        os.mkdir("d", dir_fd=handle)
        inner = os.open("d", os.O_RDONLY, dir_fd=handle)
        os.close(handle)
        handle = inner
    os.close(handle)


def flat(folder: Path) -> None:
    """Take the folders apart again, which a test runner cannot."""
    while (folder / "d").exists():
        (folder / "d").rename(folder / "gone")
        if (folder / "gone" / "d").exists():
            (folder / "gone" / "d").rename(folder / "d")
        (folder / "gone").rmdir()


def wide_folders(folder: Path) -> None:
    put(folder / "job.toml", JOB + '[sources]\nshells = ["**/*.csv"]\n')
    for number in range(60_000):
        (folder / f"{number}").mkdir()


def links_to_itself(folder: Path) -> None:
    for name in "abc":
        (folder / name).symlink_to(".")


def of_rows(form: str, header: str = HEADER, name: str = "shells/box-1.csv") -> Callable[[Path], None]:
    """1.5 million rows."""
    return lambda folder: put(folder / name, header + "".join(form.format(number) for number in range(1_500_000)))


def of_book(part: str, before: bytes, more: bytes, times: int) -> Callable[[Path], None]:
    """A workbook with so much more in one of its parts."""

    def write(folder: Path) -> None:
        put(folder / "job.toml", SHEETS)
        put(folder / "shells/box-2.xlsx", bomb(part, before, more * times))

    return write


def of_columns(many: int) -> Callable[[Path], None]:
    """So many columns that nobody asked for."""
    return lambda folder: put(folder / "shells/box-1.csv", ",".join((HEADER.strip(), *(f"c{n}" for n in range(many)))))


def of_job(more: str) -> Callable[[Path], None]:
    return lambda folder: put(folder / "job.toml", JOB + more)


MANY = "these are the first 1,000 of "
KEYS = "more than 10,000 keys and tables or 30,000 items"
QUICK: dict[str, tuple[Callable[[Path], None], str]] = {
    "20 million cells": (of_book(SHEET, b"</sheetData>", b"<row>" + b"<c/>" * 20 + b"</row>", 10**6), "500000 cells"),
    "3 million styles": (of_book(STYLES, b"</cellXfs>", b"<xf/>", 3_000_000), "more rows, texts or styles"),
    "a text of 100 MB": (of_book(SHEET, b"</sheetData>", b"1", 10**8), "a text far longer"),
    "60,000 sheets": (of_book(BOOK, b"</sheets>", b'<sheet name="a" sheetId="1" r:id="rId1"/>', 60_000), "1000 sheets"),
    "one sheet 999 times": (
        of_book(BOOK, b"</sheets>", b'<sheet name="a" sheetId="1" r:id="rId1"/>', 998),
        "names one sheet several times",
    ),
    "20,000 gauges": (of_job("".join(f"[gauge.g{n}]\n" for n in range(20_000))), KEYS),
    "20,000 tables": (of_job("".join(f"[t{n}]\na = 1\n" for n in range(20_000))), KEYS),
    "100,000 keys": (of_job("".join(f"k{n} = 1\n" for n in range(100_000))), KEYS),
    "100,000 keys in a line": (of_job(f"a = {{{', '.join(f'k{n} = 1' for n in range(100_000))}}}"), KEYS),
    "100,000 globs": (of_job(f"[sources]\nshells = {[f'{n}' for n in range(100_000)]}\n"), KEYS),
    "5,000 globs": (
        of_job(f"[sources]\nshells = {[f'**/{n}' for n in range(5_000)]}\n"),
        "has 5,000 items, and may have 1,000",
    ),
    "29,000 matched columns": (of_job(f"[rules]\nmatch = {[f'c{n}' for n in range(29_000)]}\n"), "has 29,000 items"),
    "29,000 families": (of_job(f"family = {[f'c{n}' for n in range(29_000)]}\n"), "has 29,000 items"),
    "100,000 columns": (of_columns(100_000), "half a million characters"),
    "40,000 columns": (of_columns(40_000), "has 40,004 columns"),
    "ten million rows": (lambda folder: put(folder / "shells/box-1.csv", HEADER + "\n" * 10**7), "has 10,000,000 rows"),
    "positions": (of_rows("{}\n", "position,kind,journal,housing_bore\n", "positions.csv"), "1,500,000 rows, and may"),
}
DEEP: dict[str, tuple[Callable[[Path], None], str]] = {
    "short rows": (of_rows("{}\n"), f"{MANY}1,500,000 mistakes"),
    "unknown kinds": (of_rows("{0},k{0},upper,0.0618\n"), f"{MANY}1,500,000 mistakes"),
    "bad walls": (of_rows("{0},rod,upper,x{0}\n"), f"{MANY}1,500,000 mistakes"),
    "bad quotes": (of_rows('{0},"a"b,c,d\n'), f"{MANY}1,500,000 mistakes"),
    "one name": (of_rows("1,rod,upper,0.0618\n"), f"{MANY}1,499,999 mistakes"),
    "unknown items": (
        of_rows("{0},journal,1,0,1.8162\n", "item,feature,station,angle,reading\n", "readings.csv"),
        f"{MANY}1,500,000 mistakes",
    ),
    "many folders": (wide_folders, "looks through far more files than a job has"),
}
CHECK = """
import re, resource, sys
from pathlib import Path
from fitmatch.cli.main import main
try:
    main(["check", sys.argv[1]])
finally:
    used = resource.getrusage(resource.RUSAGE_SELF)
    # ru_maxrss would count what the tests held when this process was begun.
    most = int(re.search(r"VmHWM:\\s+(\\d+) kB", Path("/proc/self/status").read_text())[1])
    print(int(1000 * (used.ru_utime + used.ru_stime)), most // 1000)
"""


@pytest.mark.parametrize("what", [*QUICK, *(pytest.param(what, marks=pytest.mark.deep) for what in DEEP)])
def test_a_bomb_ends_in_a_message(tmp_path: Path, what: str) -> None:
    """Within 10 s of processor time and 500 MB, without a fault, in at most a thousand mistakes and their number."""
    place, words = (QUICK | DEEP)[what]
    folder = write_job(tmp_path)
    place(folder)

    def limited() -> None:
        resource.setrlimit(resource.RLIMIT_CPU, (6 * SECONDS, 6 * SECONDS))
        resource.setrlimit(resource.RLIMIT_AS, (4 * MEGABYTES * 10**6,) * 2)

    ran = subprocess.run(
        [sys.executable, "-c", CHECK, str(folder)],
        capture_output=True, encoding="utf-8", env=ENVIRONMENT, timeout=120, check=False, preexec_fn=limited,
    )  # fmt: skip
    assert ran.returncode == 2 and words in ran.stderr, ran.stderr[-2_000:]
    assert ran.stderr.count("\n") <= MOST_PROBLEMS + 2
    milliseconds, megabytes = map(int, ran.stdout.split())
    assert milliseconds <= 1_000 * SECONDS and megabytes <= MEGABYTES


def test_the_first_mistakes_in_reading_order_are_kept(tmp_path: Path) -> None:
    """Of more than a thousand mistakes those that come first are told, whatever was found first; all are counted."""
    shells = HEADER + "".join(f"{n},rod,upper,x\n" for n in range(2_500)) + "0,rod,upper,0.0618\n"
    folder = write_job(
        tmp_path, JOB + "\n[rules]\nmatch = ['none']\n", shells=shells, shells__a_DOT_csv="\n" + SHELLS + "x\n"
    )
    with pytest.raises(InputError) as refused:
        read_job(folder)
    error = refused.value
    assert error.number == 2_503 and error.problems[0].file == "job.toml"
    assert [p.file for p in error.problems[1:2]] == ["shells/a.csv"]
    assert [p.row for p in error.problems[2:MOST_PROBLEMS]] == list(range(2, MOST_PROBLEMS))


def test_globs_follow_no_links_round(tmp_path: Path) -> None:
    """With links that lead back to the folder each file is found once."""
    folder = write_job(tmp_path / "round", JOB + '[sources]\nshells = ["**/box-*.csv"]\n')
    links_to_itself(folder)
    assert [shell.file for shell in read_job(folder).shells] == ["shells/box-1.csv"] * 3


@pytest.mark.deep
def test_globs_end_in_deep_folders(tmp_path: Path) -> None:
    """Folders deeper than a path can be long: each `**` looks at each once."""
    folder = write_job(tmp_path / "deep", JOB + '[sources]\nshells = ["**/**/**/box-*.csv"]\n')
    try:
        deep_folders(folder)
        assert mistakes(folder) == []
    finally:
        flat(folder)


@pytest.mark.parametrize(
    ("pattern", "found"),
    [
        ("*.csv", ["a.csv"]),
        ("**/*.csv", ["a.csv", "s/b.csv", "s/t/c.csv"]),
        ("s/**/*.csv", ["s/b.csv", "s/t/c.csv"]),
        ("s/**/**/*.csv", ["s/b.csv", "s/t/c.csv"]),
        ("*/*.csv", ["s/b.csv"]),
        ("s/../s/[bc].csv", ["s/../s/b.csv"]),
        ("s/b.csv", ["s/b.csv"]),
        ("*/t/?.csv", ["s/t/c.csv"]),
        ("s/.*.csv", ["s/.d.csv"]),
        ("s/[b.csv", []),
        ("none/*.csv", []),
        ("a.csv/*", []),
        ("s/**", ["s/b.csv", "s/t/c.csv"]),
    ],
)
def test_globs_find_what_they_say(tmp_path: Path, pattern: str, found: list[str]) -> None:
    """As the standard library's globs, files only."""
    for name in ("a.csv", "s/b.csv", "s/t/c.csv", "s/.d.csv", ".h/e.csv"):
        put(tmp_path / name, "x")
    got = [name for name in matches(pattern, tmp_path, Allowance()) if not (tmp_path / name).is_dir()]
    assert sorted(got) == found
    library = glob(pattern, root_dir=tmp_path, recursive=True)  # noqa: PTH207 (as strings)
    assert sorted({name for name in library if not (tmp_path / name).is_dir()}) == found


def test_a_workbook_of_styles_that_a_spreadsheet_can_write(tmp_path: Path) -> None:
    """Formats without cells do no harm below the bounds."""
    folder = write_job(tmp_path, SHEETS, shells=None, shells__a_DOT_xlsx=bomb(STYLES, b"</cellXfs>", b"<xf/>" * 1_000))
    assert codes(folder) == []
