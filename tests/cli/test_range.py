"""`fitmatch range`: from options and job folders to text, JSON, CSV and pictures, and what is refused."""

import csv
import io
import json
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from made.commands import Ran

import fitmatch

SAMPLE = Path(__file__).parents[2] / "samples" / "generator-five"
SCHEMA: dict[str, Any] = json.loads(
    (Path(fitmatch.__file__).parent / "report" / "data" / "ranges.schema.json").read_text(encoding="utf-8")
)
PLAIN = ("--housing-bore", "60 H6", "--journal", "55.95 h5", "--wall", "2.000..2.008", "--unit", "mm")
JOB = """\
title = "Pump engine"
unit = "mm"
[fit.rod]
min = 0.03
max = 0.07
[drawing.rod]
housing_bore = "60 H6"
journal = "55.95 h5"
wall = "2.004 ±0.004"
"""
TWO_KINDS = JOB + JOB[JOB.index("[fit") :].replace("rod", "main")


def job(folder: Path, text: str = JOB) -> Path:
    (folder / "job.toml").write_text(text, encoding="utf-8")
    return folder


def document(capsys: pytest.CaptureFixture[str], *args: object) -> Any:
    ran = Ran(capsys, "range", *args, "--json")
    assert (ran.status, ran.err) == (0, "")
    found = json.loads(ran.out)
    jsonschema.Draft202012Validator(SCHEMA).validate(found)
    return found


def test_options_alone_are_enough(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a job the options say it all: the stack of 48 and 25.65 um."""
    (row,) = document(capsys, *PLAIN, "--kind", "rod")["rows"]
    assert row["name"] == "rod" and row["worst"] == {"min": 0.034, "max": 0.082}
    assert row["root_sum_square"]["max"] - row["root_sum_square"]["min"] == pytest.approx(0.02565, abs=5e-6)
    assert (row["mean"], row["chance"]) == (0.058, None)
    assert sum(row["shares"].values()) == pytest.approx(1, abs=2e-6)


def test_job_toml_alone_is_enough(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Of a job only job.toml is read: there are neither positions nor shells yet."""
    found = document(capsys, job(tmp_path))
    (row,) = found["rows"]
    assert (found["title"], found["left_out"], len(found["digest"])) == ("Pump engine", [], 64)
    assert (row["name"], row["min"], row["max"]) == ("rod", 0.03, 0.07)
    assert row["chance"] + row["below_min"] + row["above_max"] == pytest.approx(1, abs=2e-7)
    assert row["grid_change"] < 1e-6


def test_the_same_in_inches(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Inch and metric mix: metric limits in options of an inch job give the same clearances, shown in either unit."""
    metric = document(capsys, *PLAIN)["rows"][0]
    inch = document(capsys, "--unit", "in", "--housing-bore", "60 mm H6", "--journal", "55.937 mm..55.95 mm", "--wall",
                    "2000 um..2008 um")["rows"][0]  # fmt: skip
    assert inch["worst"]["min"] * 25.4 == pytest.approx(metric["worst"]["min"], abs=1e-6)
    shown = document(capsys, job(tmp_path), "--unit", "in")["rows"][0]
    assert shown["worst"]["max"] * 25.4 == pytest.approx(0.082, abs=1e-6)


def test_options_go_before_the_job(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Limits, min and max given as options replace those of job.toml; the others stay."""
    (row,) = document(capsys, job(tmp_path), "--journal", "55.90..55.91", "--max", "80 um")["rows"]
    assert row["journal"] == {"min": 55.9, "max": 55.91}
    assert (row["min"], row["max"], row["housing_bore"]["max"]) == (0.03, 0.08, 60.019)


def test_several_parts_are_rows_of_one_table(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Named journals and walls combine to rows, the names behind the kind's."""
    args = ("--journal", "standard=55.95 h5", "--journal", "ground=55.70 h5", "--wall", "plain=2.004 ±0.004", "--wall",
            "thick = 2.129 ±0.004")  # fmt: skip
    names = [row["name"] for row in document(capsys, job(tmp_path), *args)["rows"]]
    assert names == ["rod, standard, plain", "rod, standard, thick", "rod, ground, plain", "rod, ground, thick"]


def test_coating_and_step_add_rows(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """With and without a coating, with no, one and both halves a step thicker: six rows, named apart."""
    rows = document(capsys, job(tmp_path), "--coating", "0.005", "--step", "0.02")["rows"]
    assert len({row["name"] for row in rows}) == 6 and rows[0]["name"] == "rod"
    means = [round(row["mean"], 6) for row in rows]
    assert means == [0.058, 0.048, 0.038, 0.048, 0.038, 0.028]


def test_csv_has_the_figures_and_the_curves(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """--csv has a row for each row; --csv distribution the numbers of the picture, which integrate to one."""
    folder = job(tmp_path)
    (row,) = csv.DictReader(io.StringIO(Ran(capsys, "range", folder, "--csv").out))
    assert row["worst_min [mm]"] == "0.034" and 0 < float(row["chance"]) < 1
    curve = list(csv.DictReader(io.StringIO(Ran(capsys, "range", folder, "--csv", "distribution").out)))
    at = [float(point["clearance [mm]"]) for point in curve]
    density = [float(point["density"]) for point in curve]
    assert (at[0], at[-1]) == (0.034, 0.082)
    assert sum(density) * (at[1] - at[0]) == pytest.approx(1, abs=1e-3)
    assert float(curve[-1]["below"]) == 1


def test_the_report_says_what_it_assumes(capsys: pytest.CaptureFixture[str]) -> None:
    """The text names units, shape, what walls have in common, and that limits say nothing about parts that are made."""
    ran = Ran(capsys, "range", SAMPLE, "--shape", "normal", "--shared", "0.5", "--quiet")
    text = " ".join(ran.out.split())
    for words in ("Clearances in inches, diametral.",
                  "three standard deviations from the middle",
                  "50 % of the variance of a wall",
                  "it says nothing about any part that has been made",
                  "Limits of journal, housing bore and walls from [drawing.rod] and [drawing.main] in job.toml.",
                  "Limits of clearance from a source not written (limits_from in [fit.KIND]).",
                  "Decision rule: inside is at least min and at most max.", "so there is no U.",
                  "limits and clearances are at 20 °C. Seating is left out.",
                  "NO CLEARANCE AT ALL with all parts at their limits: rod.", "Digest of job.toml: "):  # fmt: skip
        assert words in text
    assert all(len(line) <= 100 for line in ran.out.splitlines())


def test_each_limit_says_whether_an_option_gives_it(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """By part: the options, the table of job.toml, and the class of ISO 286 as written; in text, picture and JSON."""
    folder, picture = job(tmp_path), tmp_path / "note.svg"
    args = ("--journal", "55.95 h6")
    told = " ".join(Ran(capsys, "range", folder, *args, "--plot", picture).out.split())
    source = "Limits of journal from the options; of housing bore and walls from [drawing.rod] in job.toml."
    classes = "Classes of ISO 286: journal 55.95 h6, housing bore 60 H6."
    found = document(capsys, folder, *args)
    for text in (source, classes):
        assert text in told and text in picture.read_text(encoding="utf-8")
    assert found["by_option"] == ["journal"] and found["rows"][0]["journal"]["iso_286"] == "55.95 h6"
    assert "iso_286" not in found["rows"][0]["wall"]
    whole = (*args, "--housing-bore", "60..60.02", "--wall", "2..2.01")
    told = " ".join(Ran(capsys, "range", folder, *whole).out.split())
    assert "Limits of journal, housing bore and walls from the options. Classes of ISO 286: journal 55.95 h6." in told


def test_a_picture_prints_limits_worst_case_and_chances(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Of every row, as the table has them; of very many rows the first, and how many more there are."""
    folder, picture = job(tmp_path), tmp_path / "note.svg"
    Ran(capsys, "range", folder, "--plot", picture)
    (row,) = document(capsys, folder)["rows"]
    drawn = " ".join(re.findall(r">([^<>\n]+)</text>", picture.read_text(encoding="utf-8")))
    for text in ("bore 60.0000..60.0190", "journal 55.9370..55.9500", "each wall 2.0000..2.0080", "min 0.0300",
                 "max 0.0700", "worst case 0.0340 to 0.0820", f"inside {100 * row['chance']:.2f} %"):  # fmt: skip
        assert text in drawn, text
    assert "NO CLEARANCE AT ALL" not in drawn
    Ran(capsys, "range", folder, "--journal", "55.99..56.00", "--plot", picture, "--force")
    assert "NO CLEARANCE AT ALL with all parts at their limits: rod." in picture.read_text(encoding="utf-8")
    many = [arg for n in range(14) for arg in ("--journal", f"j{n}=55.{930 + n}..55.950")]
    Ran(capsys, "range", folder, *many, "--plot", picture, "--force")
    assert "And 2 more rows: see the table." in picture.read_text(encoding="utf-8")


def test_what_the_limits_come_from_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """limits_from of each kind, but for what options give in its place; in the text, the picture and JSON."""
    folder = job(tmp_path, TWO_KINDS.replace("[drawing.rod]", 'limits_from = "manual, p. 12"\n[drawing.rod]'))
    picture = tmp_path / "note.svg"
    told = " ".join(Ran(capsys, "range", folder, "--plot", picture).out.split())
    assert "Limits of clearance from manual, p. 12 (rod); not written for main." in told
    assert "Limits of clearance from manual, p. 12 (rod); not written for main." in picture.read_text()
    found = document(capsys, folder)
    assert (found["limits_from"], found["by_option"]) == ({"rod": "manual, p. 12", "main": None}, [])
    part = ("--kind", "rod", "--min", "0.02")
    told = " ".join(Ran(capsys, "range", folder, *part).out.split())
    assert "Limits of clearance from manual, p. 12 (rod); min from the options." in told
    found = document(capsys, folder, *part, "--max", "0.08")
    assert (found["limits_from"], found["by_option"]) == ({}, ["min", "max"])
    told = " ".join(Ran(capsys, "range", *PLAIN, "--max", "0.08").out.split())
    assert "walls from the options." in told and "Limits of clearance: max from the options." in told
    told = " ".join(Ran(capsys, "range", *PLAIN).out.split())
    assert "Decision rule" not in told and "Limits of clearance" not in told


def test_what_cannot_be_has_no_sign(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A chance of nothing is written 0.00 %, not with the sign of what rounding leaves."""
    out = Ran(capsys, "range", job(tmp_path), "--journal", "thin=55.70..55.71", "--journal", "thick=56.00..56.01").out
    assert "100.00 %" in out and "-0.00 %" not in out and "<0.01 %" not in out


def test_kinds_without_limits_are_named(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A kind that [drawing] does not have is left out, and the report says so."""
    folder = job(tmp_path, JOB + "[fit.main]\ntarget = 0.05\n")
    assert document(capsys, folder)["left_out"] == ["main"]
    assert "has nothing for it: main." in Ran(capsys, "range", folder).out


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_pictures(capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str) -> None:
    """A picture is written whole, the same each time, never over another file unless told to."""
    picture = tmp_path / f"rods.{ending}"
    folder = job(tmp_path)
    ran = Ran(capsys, "range", folder, "--plot", picture)
    assert (ran.status, ran.err) == (0, f"drawn in {picture}\n")
    first = picture.read_bytes()
    assert first.startswith(b"<?xml" if ending == "svg" else b"\x89PNG")
    ran = Ran(capsys, "range", folder, "--plot", picture)
    assert ran.status == 2 and "is there already; add --force to replace it" in ran.err and ran.out == ""
    assert Ran(capsys, "range", folder, "--plot", picture, "--force").status == 0
    assert picture.read_bytes() == first
    if ending == "svg":
        text = first.decode()
        assert all(
            words in text
            for words in (
                "Pump engine",
                "clearance, mm, diametral",
                ">min 0.0300<",
                ">max 0.0700<",
                ">rod<",
                "Limits of clearance from",
                "Decision rule:",
                "Digest of job.toml",
            )
        )


def test_a_missing_extra_is_told(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Without matplotlib --plot ends with the line that installs it, and no answer."""
    monkeypatch.setitem(sys.modules, "matplotlib", None)
    ran = Ran(capsys, "range", *PLAIN, "--plot", "a.svg")
    assert (ran.status, ran.out) == (2, "") and "pip install 'fitmatch[plots]'" in ran.err


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (PLAIN[:-2], "add --unit mm or --unit in"),
        (PLAIN[2:], "--housing-bore: nothing gives these limits"),
        ((*PLAIN, "--wall", "2..2.1"), "of several each is NAME=LIMITS"),
        ((*PLAIN[:4], "--wall", "a=2..2.1", "--wall", "a=2..2.2", "--unit", "mm"), "`a` is given twice"),
        ((*PLAIN[:4], "--wall", "=2..2.1", "--unit", "mm"), "is not a name; write NAME=LIMITS"),
        ((*PLAIN[:4], "--wall", "2.1..2", "--unit", "mm"), "--wall: the low end"),
        ((*PLAIN[:4], "--wall", "2 H6", "--unit", "mm"), "no classes for walls"),
        ((*PLAIN[:4], "--wall", "4..4.01", "--unit", "mm"), "nothing fits"),
        ((*PLAIN[:4], "--wall", "0.5..0.51", "--unit", "mm"), "more than any bearing has"),
        (("--housing-bore", "50 H6", *PLAIN[2:]), "is not larger than a journal"),
        ((*PLAIN, "--min", "0.05", "--max", "0.04"), "min 0.05 mm is above max 0.04 mm"),
        ((*PLAIN, "--min", "3"), "--min: `3` is 3 mm"),
        ((*PLAIN, "--step", "0"), "--step: `0` is not more than zero"),
        ((*PLAIN, "--coating", "1.5"), "half the wall or more"),
        ((*PLAIN, "--shared", "1.5"), "outside 0 to 1"),
        ((*PLAIN, "--shared", "half"), "is not a number"),
        ((*PLAIN, "--shape", "round"), "'uniform', 'triangular', 'normal'"),
        ((*PLAIN, "--plot", "a.pdf"), "not a kind of picture"),
        ((*PLAIN, "--force"), "add --plot FILE"),
        ((*PLAIN, "--json", "--csv"), "cannot be used together"),
    ],
)  # fmt: skip
def test_wrong_options(capsys: pytest.CaptureFixture[str], args: tuple[str, ...], words: str) -> None:
    """A wrong option ends with status 2, names what is wrong and what to do, and prints no answer."""
    ran = Ran(capsys, "range", *args)
    assert (ran.status, ran.out) == (2, "") and words in " ".join(ran.err.split())


@pytest.mark.parametrize(
    ("text", "args", "words"),
    [
        (JOB.partition("[drawing")[0], (), "job.toml: drawing: no kind has drawing limits; write [drawing.rod]"),
        (JOB.replace('wall = "2.004 ±0.004"\n', ""), (), "job.toml:6: drawing.rod.wall: is missing"),
        (JOB.replace("60 H6", "60 H3"), (), "job.toml:7: drawing.rod.housing_bore: there is no class `H3` here"),
        (JOB.replace("[fit.rod]", "[fti.rod]"), (), "job.toml"),
        (JOB, ("--kind", "rdo"), "there is no [fit.rdo]; the nearest is `rod`"),
        (TWO_KINDS, ("--max", "0.08"), "--max: is about one kind; add --kind rod or --kind main"),
    ],
)  # fmt: skip
def test_wrong_jobs(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, text: str, args: tuple[str, ...], words: str
) -> None:
    """A job without the limits that are needed is refused at its keys, with what to write."""
    ran = Ran(capsys, "range", job(tmp_path, text), *args)
    assert (ran.status, ran.out) == (2, "") and words in " ".join(ran.err.split())


def test_a_missing_folder(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A job folder that is not there is refused as by every command."""
    assert "there is no such job folder" in Ran(capsys, "range", tmp_path / "none").err


def test_numbers_too_fine_are_told(capsys: pytest.CaptureFixture[str]) -> None:
    """A limit finer than a nanometre is rounded, with a warning on standard error and in the document."""
    ran = Ran(capsys, "range", *PLAIN, "--min", "0.0200000001", "--json")
    assert "warning: --min: `0.0200000001` is finer than a nanometre" in ran.err
    assert json.loads(ran.out)["warnings"]


def test_nothing_heavy_is_loaded(tmp_path: Path) -> None:
    """The command loads neither the solver, pandas nor matplotlib."""
    code = (
        "import sys\nfrom fitmatch.cli.main import main\ntry:\n    main(sys.argv[1:])\nfinally:\n"
        "    print([m for m in ('ortools', 'pandas', 'matplotlib', 'scipy') if m in sys.modules], file=sys.stderr)"
    )
    ran = subprocess.run([sys.executable, "-c", code, "range", str(SAMPLE)], capture_output=True, text=True, check=True)
    assert ran.stderr.strip() == "[]"
