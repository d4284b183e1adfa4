"""`fitmatch boxes`: from a job folder to text, JSON and CSV, and what is refused."""

import csv
import io
import json
import re
import shutil
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from made.commands import Ran

import fitmatch
from fitmatch.study.workers import crews

SAMPLE = Path(__file__).parents[2] / "samples" / "generator-five"
SCHEMA: dict[str, Any] = json.loads(
    (Path(fitmatch.__file__).parent / "report" / "data" / "boxes.schema.json").read_text(encoding="utf-8")
)
JOB = """\
title = "Pump engine"
unit = "mm"
[fit.rod]
target = 0.050
min = 0.030
max = 0.070
family = ["narrow"]
[boxes]
budget = 2
within = 0.0016
between = 0.001
[boxes.step.std]
kind = "rod"
wall = 2.000
shells = 4
price = 45.5
"""
POSITIONS = """\
position,kind,journal,housing_bore
R1,rod,46.001,50.052
R2,rod,46.003,50.050
R3,rod,45.998,50.049
R4,rod,46.000,50.053
"""


@pytest.fixture(autouse=True)
def no_workers(monkeypatch: pytest.MonkeyPatch) -> None:
    """Draws are worked in this process, as on a machine with one core; test_boxes_workers.py has processes start."""
    monkeypatch.setattr(crews, "cores", lambda: 1)


def job(folder: Path, text: str = JOB, positions: str = POSITIONS) -> Path:
    folder.mkdir(exist_ok=True)
    (folder / "job.toml").write_text(text, encoding="utf-8")
    (folder / "positions.csv").write_text(positions, encoding="utf-8")
    return folder


def document(capsys: pytest.CaptureFixture[str], *args: object) -> Any:
    ran = Ran(capsys, "boxes", *args, "--json")
    assert (ran.status, ran.err) == (0, "")
    found = json.loads(ran.out)
    jsonschema.Draft202012Validator(SCHEMA).validate(found)
    return found


def test_the_document(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A mix for each number of boxes, with all figures, their intervals, prices and what the last box gained."""
    found = document(capsys, job(tmp_path), "--draws", 50, "--seed", 7, "--tolerance", 0.003)
    assert (found["seed"], found["draws"], found["unit"], found["tolerance"]) == (7, 50, "mm", 0.003)
    one, two = found["mixes"]
    assert (one["kind"], one["open"], one["boxes"], one["price"]) == ("rod", {"std": 1}, 1, 45.5)
    assert (two["open"], two["price"], two["left"], two["left_price"]) == ({"std": 2}, 91, 8, 45.5)
    assert (two["left_half_width"], two["left_price_half_width"], two["empty"]) == (0, 0, {})
    for name in ("inside", "within_tolerance"):
        gain = [two["gain"][f"{name}{end}"] for end in ("_low", "", "_high")]
        assert gain == sorted(gain) and gain[0] < gain[2]
        assert gain[1] == pytest.approx(two[name] - one[name], abs=2e-6)
    assert found["kinds"]["rod"]["verdict"] == "too-few-draws" and not found["left_out"]
    assert one["gain"] is None and two["gain"]["over"] == {"std": 1}
    worst = [mix["worst_deviation"] for mix in (one, two)]
    assert two["gain"]["worst_deviation"]["mean"] == pytest.approx(worst[0]["mean"] - worst[1]["mean"], abs=2e-6)
    for mix in (one, two):
        for figure in (mix["worst_deviation"], mix["spread"]):
            assert figure["half_width"] > 0 and figure["p90_low"] <= figure["p90"]
        assert mix["inside"] == 1 and mix["inside_low"] < 1 == mix["inside_high"]
        assert mix["within_tolerance_low"] <= mix["within_tolerance"] <= mix["within_tolerance_high"]


def test_the_same_bytes_again(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """The same job, seed and draws give the same output; another seed does not."""
    first, again, other = (Ran(capsys, "boxes", job(tmp_path), "--draws", 20, "--seed", s).out for s in (1, 1, 2))
    assert first == again != other


def test_the_text_is_one_screen(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With one kind everything is told in 45 lines of 80 columns: figures, the next box, what was assumed."""
    monkeypatch.setenv("COLUMNS", "80")
    ran = Ran(capsys, "boxes", job(tmp_path), "--draws", 20, "--tolerance", 0.003)
    lines = ran.out.splitlines()
    assert (ran.status, ran.err) == (0, "") and len(lines) <= 45 and max(map(len, lines)) <= 80
    text = " ".join(ran.out.split())
    assert "4 upper + 4 lower a box, as written" in text and "between boxes 1 um, as written" in text
    assert "Readings were taken as true" in text and "No figure knows of walls that are not normal" in text


def test_rows(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """One row per mix, lengths with their unit."""
    ran = Ran(capsys, "boxes", job(tmp_path), "--draws", 20, "--csv", "--unit", "in")
    rows = list(csv.DictReader(io.StringIO(ran.out)))
    assert [(row["kind"], row["open"], row["boxes"]) for row in rows] == [("rod", "1 std", "1"), ("rod", "2 std", "2")]
    assert 0 < float(rows[0]["worst_deviation_mean [in]"]) < 0.001


def test_measured_boxes_are_the_pattern(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """With boxes open nothing need be written but the budget: scatter is estimated, and what is assumed is told."""
    found = document(capsys, SAMPLE, "--budget", 1, "--draws", 10)
    assert [mix["open"] for mix in found["mixes"]] == [{}, {"rod": 1}, {}, {"main": 1}]
    step = found["kinds"]["rod"]["steps"][0]
    assert (step["shells_from"], step["within_from"], step["between_from"]) == ("open", "measured", "assumed")
    assert "between boxes" in Ran(capsys, "boxes", SAMPLE, "--budget", 1, "--draws", 10).out


def test_a_job_that_is_not_measured_yet(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Sizes that are missing are drawn between drawing limits; without these the position is left out, exit 1."""
    bores = '[drawing.rod]\nhousing_bore = "50.040..50.060"\n'
    unmeasured = POSITIONS.replace("50.053", "")
    drawn = document(capsys, job(tmp_path, JOB + bores, unmeasured), "--draws", 5)
    assert drawn["kinds"]["rod"]["drawn"] == ["R4"] and drawn["kinds"]["rod"]["positions"] == 4
    ran = Ran(capsys, "boxes", job(tmp_path, JOB, unmeasured), "--draws", 5)
    assert ran.status == 1 and "LEFT OUT, neither measured nor with drawing limits: R4" in ran.out


def test_sealed_boxes_on_the_shelf(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """With --from-shelf only the shelf's sealed boxes can be opened, at their prices."""
    db = tmp_path / "shelf.db"
    sealed = tmp_path / "sealed.csv"
    sealed.write_text(
        "box,part,kind,family,step,price\nA,7,rod,narrow,std,50\nB,7,rod,narrow,std,40\nC,8,rod,wide,std,1\n",
        encoding="utf-8",
    )
    folder = job(tmp_path / "my-build", JOB.replace("budget = 2\n", ""))
    empty = Ran(capsys, "boxes", folder, "--from-shelf", "--db", db, "--draws", 5)
    assert empty.status == 2 and "the shelf has no sealed box of this job's families" in empty.err
    assert Ran(capsys, "shelf", "--db", db, "take-in", sealed, "--unit", "mm").status == 0
    found = document(capsys, folder, "--from-shelf", "--db", db, "--draws", 5)
    assert [(mix["open"], mix["price"]) for mix in found["mixes"]] == [({"std": 1}, 40), ({"std": 2}, 90)]


def test_figures_stand_with_their_intervals(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A percentile and a chance stand before the ends of their intervals; one draw is one draw."""
    out = Ran(capsys, "boxes", job(tmp_path), "--draws", 100, "--tolerance", 0.003).out
    assert re.search(r" [0-9]+\.0 \([0-9]+\.0\.\.[0-9]+\.0\) ", out) and "100 (96..100)" in out
    assert "fewer than 200 draws cannot tell" in out
    assert ": 1 draw, seed 1." in Ran(capsys, "boxes", job(tmp_path), "--draws", 1).out


def test_what_no_box_can_mend(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A bore above its drawing limits is named, and nothing is said to be worth buying: exit 1."""
    ran = Ran(capsys, "boxes", job(tmp_path, JOB + '[drawing.rod]\nhousing_bore = "50.040..50.0525"\n'), "--draws", 5)
    text = " ".join(ran.out.split())
    assert ran.status == 1 and "may be worth" not in text and "POINTLESS" not in text
    assert "R4 cannot be filled whatever is opened: the housing bore is above its drawing limits" in text


def test_too_few_shells_are_said_so(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Where all boxes hold too few shells that is what the report says, and which positions stay empty."""
    ran = Ran(capsys, "boxes", job(tmp_path, JOB.replace("shells = 4", "shells = 1")), "--draws", 5)
    text = " ".join(ran.out.split())
    assert ran.status == 1 and "may be worth" not in text and "hold halves for 2 of 4 positions" in text
    assert "left empty, in how many of 5 draws: 1 std: " in text


def test_what_is_locked_is_told_and_left_out(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A position that no box changes is named with its deviation, and the verdict is about the others."""
    folder = job(tmp_path, positions=POSITIONS.replace("housing_bore\n", "housing_bore,upper,lower\n"))
    rows = (folder / "positions.csv").read_text(encoding="utf-8").splitlines()
    rows = [rows[0], f"{rows[1]},U,L", *(f"{row},," for row in rows[2:])]
    (folder / "positions.csv").write_text("\n".join(rows), encoding="utf-8")
    (folder / "shells").mkdir()
    walls = "shell,kind,half,wall,family\nU,rod,upper,1.992,narrow\nL,rod,lower,1.992,narrow\n"
    (folder / "shells" / "A.csv").write_text(walls, encoding="utf-8")
    found = document(capsys, folder, "--draws", 200)
    assert found["kinds"]["rod"]["locked"] == {"R1": 0.017}
    assert found["mixes"][-1]["worst_deviation"]["mean"] == 0.017
    text = " ".join(Ran(capsys, "boxes", folder, "--draws", 200).out.split())
    assert "rod: R1, 17.0 um off, is locked and stays so whatever is opened" in text
    assert "may be worth it" in text or "MORE THAN 1 BOX" in text


def test_the_mix_is_named_and_the_cheaper_of_twins_shown(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Of several steps the text shows the cheapest mix of those as good, and names it where more are pointless."""
    steps = "".join(
        f'[boxes.step.{name}]\nkind = "rod"\nwall = 2.000\nshells = 4\nprice = {price}\n'
        for name, price in (("dear", 450), ("std", 45.5))
    )
    text = JOB.split("[boxes.step.std]", maxsplit=1)[0].replace("budget = 2", "budget = 3") + steps
    folder = job(tmp_path, text.replace("0.0016", "0.0002").replace("0.001\n", "0.0001\n"))
    out = Ran(capsys, "boxes", folder, "--draws", 200).out
    assert re.search(r"^1 std .* 45.50 ", out, re.MULTILINE) and not re.search(r"^1 dear", out, re.MULTILINE)
    assert "MORE THAN 1 BOX (1 std): POINTLESS" in " ".join(out.split())
    assert (
        "or the cheapest of those that differ from it by less than counts, or by less than these draws can tell; 6 more"
    ) in " ".join(out.split())


def test_several_cheap_boxes_that_do_as_well_as_a_dear_one(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Three cheap boxes that do as well as one that costs more than all of them are named and shown, and nothing warns
    off them."""
    steps = "".join(
        f'[boxes.step.{name}]\nkind = "rod"\nwall = 1.976\nshells = {shells}\nprice = {price}\n'
        for name, shells, price in (("std", 6, 40), ("dear", 18, 900))
    )
    toml = f"""unit = "mm"
[fit.rod]
target = 0.050
min = 0.042
max = 0.058
[boxes]
budget = 3
within = "1.5 um"
between = "0.3 um"
{steps}"""
    sizes = (("56.000", "60.004"), ("55.999", "60.004"), ("56.003", "60.004"))
    sizes += (("56.005", "60.000"), ("56.000", "60.001"), ("55.998", "60.002"))
    rows = "".join(f"R{at},rod,{journal},{bore}\n" for at, (journal, bore) in enumerate(sizes, 1))
    folder = job(tmp_path, toml, "position,kind,journal,housing_bore\n" + rows)
    out = Ran(capsys, "boxes", folder, "--draws", 200).out
    text = " ".join(out.split())
    assert len(re.findall(r"^3 std  ", out, re.MULTILINE)) == 2
    assert "rod: CHEAPEST THAT DOES AS WELL: 3 std, 120.00. Against it 1 std + 1 dear, 940.00, and the best" in text
    assert "To pay more than 940.00 for more than 2 boxes is POINTLESS: against 1 std + 1 dear that gains less" in text
    assert "MORE THAN" not in text and "these draws can tell; 5 more: add --full" in text
    assert document(capsys, folder, "--draws", 200)["kinds"]["rod"]["as_well"] == {"std": 3}


def test_a_scatter_of_few_shells_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A scatter of few degrees of freedom is told as such, and so is one that rounding may hide."""
    text = JOB.replace("within = 0.0016\nbetween = 0.001\n", "").replace("wall = 2.000\n", "")
    folder = job(tmp_path, text)
    (folder / "shells").mkdir()
    for lower, told in ((2.004, "1 degree of freedom: FEW, it may be twice"), (2.0, "0.29 um, what rounding may hide")):
        rows = f"U,rod,upper,2.000,narrow,std\nV,rod,upper,{lower},narrow,std\nL,rod,lower,2.000,narrow,std\n"
        (folder / "shells" / "A.csv").write_text(f"shell,kind,half,wall,family,step\n{rows}", encoding="utf-8")
        assert told in " ".join(Ran(capsys, "boxes", folder, "--draws", 2).out.split())


def test_a_mix_that_works_is_not_hidden(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Of two steps the one whose boxes put all inside is shown, though it now and then leaves a position empty, and the
    thicker one, which is never inside, does not."""
    steps = "".join(
        f'[boxes.step.{name}]\nkind = "rod"\nwall = {wall}\nshells = 4\nprice = 45.5\n'
        for name, wall in (("std", "1.974"), ("thick", "1.990"))
    )
    toml = f"""unit = "mm"
[fit.rod]
target = 0.052
min = 0.040
max = 0.064
[boxes]
budget = 1
within = "1 um"
between = "0.5 um"
{steps}[rules]
wall_difference = "2 um"
"""
    bores = ("60.000", "60.001", "59.999", "60.010")
    rows = "".join(f"R{at},rod,56.000,{bore}\n" for at, bore in enumerate(bores, 1))
    folder = job(tmp_path, toml, "position,kind,journal,housing_bore\n" + rows)
    ran = Ran(capsys, "boxes", folder, "--draws", 120, "--json")
    std, thick = json.loads(ran.out)["mixes"]
    assert std["best"] and std["inside"] > 0.9 and std["empty"]
    assert not thick["best"] and thick["inside"] == 0


def test_a_bore_that_reads_outside_is_told(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Where a drawn bore is refused by its reading in most draws it is said so, and there is no verdict."""
    more = (
        '[drawing.rod]\nhousing_bore = "50.051..50.053"\n[gauge.g]\nrepeatability = 0.02\n'
        '[measured.rod]\njournal = "g"\nhousing_bore = "g"\nwall = "g"\n'
    )
    header, *rows, last = POSITIONS.replace("50.053", "").splitlines()
    positions = "\n".join([f"{header},accept", *(f"{row},letter" for row in rows), f"{last},\n"])
    ran = Ran(capsys, "boxes", job(tmp_path, JOB + more, positions), "--budget", 1, "--draws", 200)
    text = " ".join(ran.out.split())
    assert ran.status == 0 and re.search(r"so refused, in how many of 200 draws: R4 in 1[0-9]{2}\.", text)
    assert re.search(r"NO VERDICT: no mix fills all 4 positions in more than [0-9]+ of 200 draws", text)


def test_figures_of_fewer_positions_are_not_shown(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Where most draws leave a position empty there is neither a worst deviation nor a spread to show."""
    out = Ran(capsys, "boxes", job(tmp_path, JOB.replace("shells = 4", "shells = 1")), "--draws", 5).out
    (row, *_) = [line.split() for line in out.splitlines() if line.startswith("1 std")]
    assert row == ["1", "std", "-", "never", "all", "filled", "-", "-", "-"]


def test_one_kind_of_several(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A kind without walls is left out and named, exit 1; with --kind nothing is said of it."""
    text = JOB + "[fit.main]\ntarget = 0.05\n"
    folder = job(tmp_path, text, POSITIONS + "M1,main,46.001,50.052\n")
    both, rods = (Ran(capsys, "boxes", folder, "--draws", 5, *more) for more in ((), ("--kind", "rod")))
    assert both.status == 1 and "LEFT OUT: main: nothing says what walls a box of main has" in both.out
    assert rods.status == 0 and "main" not in rods.out
    assert "there is no kind `cam`" in Ran(capsys, "boxes", folder, "--kind", "cam").err


def test_a_precision_that_is_not_reached(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """A mean that does not exist is named where a precision is asked for."""
    folder = job(tmp_path, JOB.replace("shells = 4", "shells = 3"))
    text = " ".join(Ran(capsys, "boxes", folder, "--draws", 110, "--precision", 0.01).out.split())
    assert "NOT REACHED by all; no mean, as some draw leaves a position empty: 1 std." in text


@pytest.mark.parametrize(
    ("old", "new", "told"),
    [
        ("budget = 2\n", "", "nothing says how many boxes may be opened; write budget under [boxes]"),
        ("budget = 2", "budget = 0", "job.toml:9: boxes.budget: `0` is not a number of boxes"),
        ("wall = 2.000\n", "", "nothing says what walls a box of std has; measure an open one, or write wall in"),
        ("within = 0.0016\n", "", "nothing says how far the walls of rod scatter"),
    ],
)
def test_what_is_refused(capsys: pytest.CaptureFixture[str], tmp_path: Path, old: str, new: str, told: str) -> None:
    """Without a budget, walls or scatter there is nothing to draw: exit 2, with what to do."""
    ran = Ran(capsys, "boxes", job(tmp_path, JOB.replace(old, new)), "--draws", 5)
    assert (ran.status, ran.out) == (2, "") and told in " ".join(ran.err.split())


@pytest.mark.parametrize(
    "args", [("--json", "--csv"), ("--full", "--csv"), ("--tolerance", "x"), ("--precision", "0"), ("--draws", "0")]
)
def test_options_that_make_no_sense(capsys: pytest.CaptureFixture[str], tmp_path: Path, args: tuple[str, ...]) -> None:
    """Usage errors are told, and nothing is printed."""
    ran = Ran(capsys, "boxes", job(tmp_path), *args)
    assert (ran.status, ran.out) == (2, "") and "Error: " in ran.err


def test_a_picture(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """--plot draws a panel for each kind, the same bytes each time, and replaces no file unasked."""
    folder, one, two = job(tmp_path / "my-build"), tmp_path / "one.svg", tmp_path / "two.svg"
    for file in (one, two):
        assert Ran(capsys, "boxes", folder, "--draws", 10, "--plot", file).status == 0
    assert one.read_bytes() == two.read_bytes() and b"rod: 4 positions" in one.read_bytes()
    assert Ran(capsys, "boxes", folder, "--draws", 10, "--plot", one).status == 2


def test_no_plan_depends_on_it(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """[boxes] is no part of the inputs' digest."""
    folder = tmp_path / "job"
    shutil.copytree(SAMPLE, folder)
    before = fitmatch.read_job(folder).digest
    with (folder / "job.toml").open("a", encoding="utf-8") as file:
        file.write("\n[boxes]\nbudget = 3\n")
    assert fitmatch.read_job(folder).digest == before
