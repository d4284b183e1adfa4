"""What the answer says of a job that tells how it was measured: uncertainty, verdict, corrections, form."""

import csv
import json
import shutil
from io import StringIO
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from made.intake_jobs import GAUGES, METRIC_ROD, write_job
from oracles.schemas import VALIDATOR

import fitmatch
from fitmatch.gauging.bench_path import bench_path
from fitmatch.gauging.doubts.check import check
from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import read_job
from fitmatch.records.answers.plans import Plan
from fitmatch.records.measuring import Form
from fitmatch.report.data.document import plan_document
from fitmatch.report.data.rows import plan_rows
from fitmatch.report.shared.layout import page
from fitmatch.report.text.report import plan_text
from fitmatch.report.words.reasons import flag_words

SAMPLE = Path(__file__).parents[2] / "samples" / "metrology-bench"
JOB = METRIC_ROD + GAUGES
POSITIONS = "position,kind,journal,housing_bore\nR1,rod,50.000,54.045\nR2,rod,50.000,54.031\nR3,rod,50.000,54.062\n"
SHELLS = "shell,kind,half,wall\n" + "".join(f"{i},rod,either,2.000\n" for i in range(1, 7))


def plan(folder: Path, job: str = JOB, positions: str = POSITIONS, shells: str = SHELLS) -> Plan:
    return fitmatch.assign(read_job(write_job(folder, job, positions, shells)))


def document(made: Plan) -> Any:
    found = json.loads(plan_document(made, made.job.unit))
    VALIDATOR.validate(found)
    return found


def test_verdicts_change_nothing_else(tmp_path: Path) -> None:
    """Well inside is inside, near a limit and beyond it are doubtful; exit status and limits go by the figures."""
    made = plan(tmp_path)
    found = document(made)
    assert [p["verdict"] for p in found["positions"]] == ["inside", "doubtful", "doubtful"]
    assert [p["within_limits"] for p in found["positions"]] == [True, True, False]
    first = found["positions"][0]["uncertainty"]
    assert first == {
        "standard": 0.003109,
        "expanded": 0.0062075,
        "degrees_of_freedom": 66,
        "chance": 1.0,
        "unknown": [],
    }
    assert 0 < found["kinds"]["rod"]["joint_chance"] < 0.5
    plain = plan(tmp_path / "plain", JOB.partition("[gauge")[0])
    assert [p.within_limits for p in made.placements] == [p.within_limits for p in plain.placements]
    assert made.needs_attention is plain.needs_attention


def test_uncertainty_stands_beside_every_clearance(tmp_path: Path) -> None:
    """Text and CSV show it, with its verdict where that is not inside, and what a verdict is; no line is wider than a
    page."""
    made = plan(tmp_path)
    text = plan_text(made, "mm")
    assert max(map(len, text.splitlines())) <= 100
    rows = {
        cells[0]: cells[5:] for line in text.splitlines() if (cells := line.split())[:1] in (["R1"], ["R2"], ["R3"])
    }
    assert rows["R1"] == ["0.0450", "0.0", "6.2", "|------o------|"]
    assert rows["R2"] == ["0.0310", "-14.0", "6.2", "|o-----:------|", "doubtful"] and "\n* " not in text
    assert rows["R3"] == ["0.0620", "+17.0", "6.2", "|------:-----|X", "NOT", "TO", "BE", "ASSEMBLED"]
    flat = " ".join(text.split())
    assert (
        "+/- is the expanded uncertainty (95 %) of a clearance; doubtful: R2. A verdict goes by the chance of it: "
        in flat
    )
    assert "lower bound" not in text
    rows = list(csv.DictReader(StringIO(plan_rows(made, "mm"))))
    assert [r["verdict"] for r in rows] == ["inside", "doubtful", "doubtful"]
    assert rows[0]["uncertainty [mm]"] == "0.0062075"


def test_a_lower_bound_is_said_and_judges_nothing(tmp_path: Path) -> None:
    """Where a scatter is unknown the figures are called a lower bound, what lacks is named, and verdicts are absent."""
    made = plan(tmp_path, JOB.replace('set_with = "mic"\nrepeatability = 0.001', "").replace('wall = "ball"\n', ""))
    text = " ".join(plan_text(made, "mm").split())
    assert "+/- is only a lower bound, and nothing is judged by it." in text
    assert "Not known: the scatter of bore, what measured the walls." in text
    found = document(made)["positions"][0]
    assert found["verdict"] is None and found["uncertainty"]["chance"] is None
    assert found["uncertainty"]["standard"] > 0
    assert found["uncertainty"]["unknown"] == ["the scatter of bore", "what measured the walls"]
    assert document(made)["kinds"]["rod"]["joint_chance"] is None


def test_a_scatter_from_one_pair_of_readings_is_said(tmp_path: Path) -> None:
    """Nobody knows how typical two readings are; a second pair, or a stated repeatability, and nothing is said."""
    once = JOB.replace('set_with = "mic"\nrepeatability = 0.001', "standard = 50\nstandard_reads = [50, 50.001]")
    text = " ".join(plan_text(plan(tmp_path, once), "mm").split())
    assert (
        "How far bore scatters is known from one pair of readings alone: if the two happened to agree, +/- covers less "
        "than 95 %; read more places twice, or write its repeatability." in text
    )
    for more in ("standard_reads = [50, 50.001, 50]", "standard_reads = [50, 50.001]\nrepeatability = 0.001"):
        text = plan_text(plan(tmp_path / "more", once.replace("standard_reads = [50, 50.001]", more)), "mm")
        assert "one pair" not in " ".join(text.split())


def test_an_assumed_limit_of_expansion_is_said_to_be_our_own(tmp_path: Path) -> None:
    """Below the corrections, unless every limit is stated."""
    materials = '[temperature]\nroom = 25\n[material.rod]\njournal = "steel"\nhousing_bore = "steel"\n'
    limits = "journal_limit = 1e-6\nhousing_bore_limit = 1e-6\n"
    of_gauges = JOB
    for name in ("mic", "ball"):
        head = f"[gauge.{name}]\n"
        of_gauges = of_gauges.replace(head, f"{head}expansion = 1e-5\nexpansion_limit = 1e-6\n")
    jobs = [(some + materials + more, some is JOB or not more) for some in (JOB, of_gauges) for more in ("", limits)]
    for number, (job, assumed) in enumerate(jobs):
        text = " ".join(plan_text(plan(tmp_path / str(number), job), "mm", full=True).split())
        assert ("without a limit are taken as known to 10 %: our own assumption." in text) is assumed


@pytest.mark.parametrize("tables", ["", "[readings]\nnumbered = 'repeats'\n"])
def test_a_job_that_tells_nothing_of_gauges_is_answered_as_ever(tmp_path: Path, tables: str) -> None:
    """No key, column or line is added to its answer."""
    plain = plan(tmp_path / "plain", JOB.partition("[gauge")[0])
    told = plan(tmp_path / "told", JOB.partition("[gauge")[0] + tables)
    first, second = (
        plan_text(one, "mm", full=True).replace(one.job.digest, "").partition("\n")[2] for one in (told, plain)
    )
    assert first == second
    assert plan_rows(told, "mm") == plan_rows(plain, "mm")
    found = document(told)
    assert found["positions"] == document(plain)["positions"] and found["kinds"] == document(plain)["kinds"]
    first = found["positions"][0]
    assert first["uncertainty"] == dict.fromkeys(("standard", "expanded", "degrees_of_freedom", "chance"))
    assert not {"corrections", "form"} & set(first) and "joint_chance" not in found["kinds"]["rod"]
    assert "verdict" not in second and "CORRECTIONS" not in second
    assert second.count("How sure the clearances are is not known: job.toml tells nothing of the gauges.\n") == 1


def test_corrections_stand_apart(tmp_path: Path) -> None:
    """Raw mean - zero error - ball + temperature is the size, in the text and in the document."""
    heat = "[temperature]\nroom = 25\n[material.rod]\njournal = 'steel'\nhousing_bore = 'aluminium'\n"
    job = JOB.replace("[gauge.mic]", "[gauge.mic]\nstandard = 50\nstandard_reads = 50.002") + heat
    job = job.replace("[gauge.ball]", "[gauge.ball]\nball = 3.000\nstandard = 2\nstandard_reads = 1.999")
    made = plan(tmp_path, job, shells=SHELLS.replace("2.000", "4.999"))
    found = document(made)["positions"][0]
    bore = found["corrections"]["housing_bore"]
    assert bore["readings"] == [54.045] and (bore["zero_error"], bore["ball"]) == (0.002, 0)
    assert bore["mean"] - bore["zero_error"] + bore["temperature"] == pytest.approx(found["housing_bore"], abs=1e-9)
    wall = {"readings": [4.999], "mean": 4.999, "zero_error": -0.001, "ball": 3.0, "temperature": 0, "size": 2.0}
    assert found["corrections"]["upper"] == found["corrections"]["lower"] == wall
    assert found["upper"]["wall"] == 2.0
    text = plan_text(made, "mm", full=True)
    assert "CORRECTIONS TO THE READINGS" in text
    lines = [line.split() for line in text.splitlines()]
    assert ["R1", "journal", "mic", "50.00000", "0.00200", "0.00000", "49.99800"] in lines
    assert ["box-1/1", "ball", "4.99900", "-0.00100", "3.00000", "2.00000"] in lines
    assert "No formula corrects a part that has not soaked" in text


LONG = """\
item,feature,station,angle,reading,gauge
R1,journal,1,0,49.999,mic
R1,journal,1,0,50.000,mic
R1,journal,1,90,50.004001,mic
R1,housing_bore,1,0,54.045,bore
R1,housing_bore,1,90,54.050,bore
1,wall,1,0,5.000,ball
1,wall,1,0,5.001,ball
1,wall,2,0,5.004001,ball
1,wall,2,45,4.900,ball
2,wall,,,5.000,ball
3,wall,,,5.002,ball
"""
HEAT = "[temperature]\nroom = 27.3\n[material.rod]\njournal = 'steel 4140'\nhousing_bore = 'aluminium'\n"


@pytest.mark.parametrize("heat", ["", HEAT])
@pytest.mark.parametrize("zero", ["2.0007", "1.999999", "2.000001"])
@pytest.mark.parametrize("counts", ["true", "false"])
def test_the_figures_of_every_correction_add_up(tmp_path: Path, heat: str, zero: str, counts: str) -> None:
    """Of journals, bores, placed and left-over walls: mean - zero error - ball + temperature = size to the nanometre,
    also where a mean lies halfway between two; without [temperature] nothing is added, and the readings are those that
    make the size. A coated wall is the size as it was measured."""
    job = JOB.replace("[gauge.ball]", f"[gauge.ball]\nball = 3.000\nstandard = 2\nstandard_reads = {zero}")
    job = job.replace("[gauge.mic]", "[gauge.mic]\nstandard = 50\nstandard_reads = 50.000001") + heat
    job += f"[rules]\nsame_in_bore = 'off'\n[coating]\ncounts = {counts}\nmeasured = 'bare'\n"
    shells = "shell,kind,half,coating\n1,rod,upper,0.005\n2,rod,lower,\n3,rod,lower,\n"
    folder = write_job(tmp_path, job, "position,kind\nR1,rod\n", shells, readings_DOT_csv=LONG)
    (folder / "job.toml").write_text("sources.readings = 'readings.csv'\n" + job, encoding="utf-8")
    found = document(fitmatch.assign(read_job(folder)))
    (placed,), (left,) = found["positions"], found["leftover"]
    corrected = placed["corrections"] | {"left": left["corrections"]}
    for c in corrected.values():
        nm = {name: round(1e6 * c[name]) for name in ("mean", "zero_error", "ball", "temperature", "size")}
        assert nm["mean"] - nm["zero_error"] - nm["ball"] + nm["temperature"] == nm["size"]
        assert heat or nm["temperature"] == 0
    journal, bore, upper = (corrected[name] for name in ("journal", "housing_bore", "upper"))
    assert (journal["readings"], bore["readings"]) == ([49.999, 50.0, 50.004001], [54.045])
    assert journal["mean"] == pytest.approx(50.0017505, abs=0.51e-6)
    assert (journal["size"], bore["size"]) == (placed["journal"], placed["housing_bore"])
    assert upper["readings"] == [5.0, 5.001, 5.004001] and upper["mean"] == pytest.approx(5.0022505, abs=0.51e-6)
    assert upper["temperature"] == 0
    assert placed["upper"]["wall"] == pytest.approx(upper["size"] + (0.005 if counts == "true" else 0), abs=1e-9)
    assert left["corrections"]["size"] == left["wall"]


def test_form_of_walls_is_shown(tmp_path: Path) -> None:
    """Taper of a placed wall stands in text and document; what was not measured is `-` or null beside it, and is there
    as well where only a limit asks for it."""
    limits = "[form.rod]\nwall_taper = 0.002\n"
    shells = "shell,kind,half\n1,rod,upper\n2,rod,lower\n3,rod,lower\n"
    long = LONG.replace(",5.", ",2.").replace(",4.9", ",1.9")
    folder = write_job(tmp_path, JOB, "position,kind\nR1,rod\n", shells, readings_DOT_csv=long)
    (folder / "job.toml").write_text("sources.readings = 'readings.csv'\n" + JOB + limits, encoding="utf-8")
    made = fitmatch.assign(read_job(folder))
    form = document(made)["positions"][0]["form"]
    nothing = {"taper": None, "barrel": None, "out_of_round": None, "larger": None}
    assert form["upper"] == nothing | {"taper": -0.003501} and form["lower"] == nothing
    assert form["housing_bore"] == nothing | {"out_of_round": 0.005, "larger": "across the joint"}
    lines = [line.split() for line in plan_text(made, "mm", full=True).splitlines()]
    assert ["R1", "upper", "wall", "-3.5", "-", "-"] in lines and ["R1", "lower", "wall", "-", "-", "-"] in lines
    assert "the wall of box-1/1 has taper 0.0035 mm, more than the 0.0020 allowed" in plan_text(made, "mm")
    plain = plan(tmp_path / "plain", JOB + limits)
    assert document(plain)["positions"][0]["form"] == dict.fromkeys(form, nothing)
    assert "ROD: the form was not measured." in plan_text(plain, "mm", full=True)
    assert "FORM" not in plan_text(plain, "mm")


def beside_the_crown(folder: Path, more: str = "", walls: str = "") -> Path:
    """R1's housing bore was read away from the crown axis alone and so has no size; R2 is whole, and both journals."""
    rows = (
        "item,feature,station,angle,reading\nR1,journal,1,0,46.000\nR1,journal,1,90,46.010\n"
        "R1,housing_bore,1,45,50.000\nR1,housing_bore,1,90,50.010\nR2,journal,1,0,46.000\nR2,journal,1,90,46.005\n"
        "R2,housing_bore,1,0,49.985\nR2,housing_bore,1,90,49.986\n"
    )
    job = "sources.readings = 'readings.csv'\n" + METRIC_ROD + more
    shells = "shell,kind,half,wall\nu,rod,upper,1.970\nl,rod,lower,1.970\nx,rod,lower,\n"
    return write_job(folder, job, "position,kind\nR1,rod\nR2,rod\n", shells, readings_DOT_csv=rows + walls)


def test_a_bore_without_a_size_keeps_its_form(tmp_path: Path) -> None:
    """Readings away from the crown axis alone make no size, and the position waits for one; their form is shown, held
    against its limit and compared with that of other bores, and the bench asks for what is lacking."""
    job = read_job(beside_the_crown(tmp_path, "[form.rod]\nhousing_bore_out_of_round = 0.005\n"))
    waiting = job.positions[0]
    assert waiting.housing_bore is None and waiting.missing == ("housing_bore",)
    assert waiting.form("housing_bore") == Form(None, None, 10_000, "across the joint")
    made = fitmatch.assign(job)
    assert [p.position.name for p in made.placements] == ["R2"]
    assert [(f.position, f.code) for f in made.flags] == [("R1", "housing-bore-out-of-round")]
    text = plan_text(made, "mm", full=True)
    assert "R1: the most out-of-round journal runs in the most out-of-round housing bore of its kind." in text
    assert ["R1", "housing", "bore", "-", "-", "10.0", "across", "the", "joint"] in [
        s.split() for s in text.splitlines()
    ]
    assert [(a.item, a.feature) for a in bench_path(job) if not a.taken] == [
        ("R1", "housing_bore"),
        ("box-1/x", "wall"),
    ]
    checked = check(job)
    assert not checked.doubts and checked.readings == 10


def test_walls_read_only_beside_the_crown_have_their_form_told(tmp_path: Path) -> None:
    """Two stations tell of the form of a wall that has no size yet: the answer says so of all that it places."""
    walls = "x,wall,1,45,1.960\nx,wall,2,45,1.950\n"
    for more, told in ((walls, {"journal", "housing_bore", "wall"}), ("", {"journal", "housing_bore"})):
        job = read_job(beside_the_crown(tmp_path / f"{bool(more)}", walls=more))
        assert job.measuring.form_told == told and job.shells[2].measured is None
    rows = "item,feature,station,angle,reading\n" + walls
    shells = "shell,kind,half,wall\nu,rod,upper,1.970\nl,rod,lower,1.970\nx,rod,lower,\n"
    for name, log in (("told", rows), ("not told", rows.replace("2,45", "1,50"))):
        folder = write_job(tmp_path / name, METRIC_ROD, "position,kind\nR1,rod\n", shells, readings_DOT_csv=log)
        (folder / "positions.csv").write_text("position,kind,journal,housing_bore\nR1,rod,46,49.985\n")
        (position,) = document(fitmatch.assign(read_job(folder)))["positions"]
        assert ("form" in position) == (name == "told")


def test_a_moved_housing_brings_its_readings(tmp_path: Path) -> None:
    """What a housing bore was read as stands where the housing is put. Doubts stay with the rows that were read."""
    positions = (
        "position,kind,journal,housing_bore_1,housing_bore_2\n"
        "R1,rod,46.010,49.985,49.987\nR2,rod,46.000,49.995,49.997\nR3,rod,46.005,49.990,49.992\n"
    )
    shells = "shell,kind,half,wall\n" + "".join(f"{i},rod,either,1.970\n" for i in range(1, 7))
    made = plan(tmp_path, JOB + "[rules]\nmovable = ['rod']\n", positions, shells)
    assert [p.housing for p in made.plans[0].job.positions] == ["R2", "R1", None]
    corrected = [p["corrections"]["housing_bore"] for p in document(made)["positions"]]
    assert [c["readings"] for c in corrected] == [[49.995, 49.997], [49.985, 49.987], [49.990, 49.992]]
    assert [c["mean"] for c in corrected] == [49.996, 49.986, 49.991]
    slipped = positions.replace("49.995,49.997", "49.995,49.497")
    doubted = plan(tmp_path / "slipped", JOB + "[rules]\nmovable = ['rod']\n", slipped, shells)
    assert doubted.plans[0].moved_from is not None
    assert [(d.item, d.reading_nm) for d in doubted.doubts] == [("R2", 49_497_000)]


def test_a_wall_read_in_two_jobs_has_the_form_that_either_tells(tmp_path: Path) -> None:
    """Jobs that share a shell need not both have read it at two stations: its form is known to both."""
    rows = "item,feature,station,angle,reading\nu,wall,1,0,1.971\nu,wall,2,0,1.969\n"
    job = "sources.shells = ['box.csv']\n" + METRIC_ROD.replace("[fit.rod]", "[fit.rod]\nfamily = ['a']")
    positions = "position,kind,journal,housing_bore\nR1,rod,46,49.985\n"
    shells = "shell,kind,half,wall,family\nu,rod,upper,1.970,a\nl,rod,lower,1.970,a\n"
    one = write_job(tmp_path / "one", job, positions, None, box_DOT_csv=shells)
    log = {"readings_DOT_csv": rows, "box_DOT_csv": shells.replace("upper,1.970", "upper,")}
    other = write_job(tmp_path / "other", job, positions, None, **log)
    for folders in ((one, other), (other, one)):
        pool = read_jobs(folders)
        for mine in pool.jobs:
            shell = mine.shells[0]
            assert shell.measured is not None and shell.measured.form == Form(2_000)
            assert mine.measuring.form_told == {"wall"}
        assert [job.own_shells is not None and job.own_shells[0].measured is not None for job in pool.jobs] == [
            True
        ] * 2


def test_the_parts_about_measuring_fit_the_page(tmp_path: Path) -> None:
    """Long names, many readings, large diameters and a bore equally large at many angles: no line is too wide."""
    name, by = "cylinder one at the flywheel end of the left bank", '"a long name of a gauge in a drawer"'
    angles = range(0, 180, 15)
    rows = "".join(
        f'"{name}",{feature},1,{angle},{size + (angle != 30) * 0.001:.4f}\n'
        for feature, size in (("journal", 1950.0), ("housing_bore", 1969.045))
        for angle in angles
    )
    walls = "".join(f"{shell},wall,{station},0,9.500{station}\n" for shell in (1, 2) for station in (1, 2, 3))
    measured = f"journal = {by}\nhousing_bore = {by}\nwall = {by}\n"
    job = (
        f"{METRIC_ROD}[gauge.{by}]\nball = 0.0001\nstandard = 50\nstandard_reads = 49.9987\n[measured.rod]\n{measured}"
    )
    job = "sources.readings = 'readings.csv'\n" + job + HEAT.replace("aluminium", "steel 4140")
    long = "item,feature,station,angle,reading\n" + rows + walls
    shells = "shell,kind,half\n1,rod,upper\n2,rod,lower\n"
    made = fitmatch.assign(
        read_job(write_job(tmp_path, job, f'position,kind\n"{name}",rod\n', shells, readings_DOT_csv=long))
    )
    assert document(made)["positions"][0]["form"]["housing_bore"]["larger"].startswith("at 0, 15, 45, 60")
    for unit, width in (("mm", 100), ("in", 100), ("mm", 80), ("in", 120)):
        with page(width):
            text = plan_text(made, unit, full=True)
        assert max(map(len, text.splitlines())) <= width
        assert "as read" in text and "upper wall" in text


def test_the_sample_shows_it_all(tmp_path: Path) -> None:
    """metrology-bench: corrected, judged, its worst journal in its worst bore; tighter limits of form flag it."""
    made = fitmatch.assign(read_job(SAMPLE))
    assert not made.needs_attention
    text = plan_text(made, "mm", full=True)
    assert "M3: the most out-of-round journal runs in the most out-of-round housing bore of its kind." in text
    assert {p["verdict"] for p in document(made)["positions"]} == {"inside"}
    assert document(made)["positions"][0]["form"]["housing_bore"]["larger"] == "across the joint"
    folder = tmp_path / "tighter"
    shutil.copytree(SAMPLE, folder)
    toml = (folder / "job.toml").read_text(encoding="utf-8").replace('"0.5 thou"', '"5 um"')
    (folder / "job.toml").write_text(toml, encoding="utf-8")
    flagged = fitmatch.assign(read_job(folder))
    assert [(f.position, f.code) for f in flagged.flags] == [("M3", "journal-out-of-round")]
    assert flagged.needs_attention and "M3: the journal has out-of-round 0.0055 mm" in plan_text(flagged, "mm")


def test_the_schema_holds_the_new_parts_to_account(tmp_path: Path) -> None:
    """A verdict of its own making, a chance above one and a correction as text are refused."""
    good = document(fitmatch.assign(read_job(SAMPLE)))
    for spoil in (
        {"verdict": "perhaps"},
        {"uncertainty": good["positions"][0]["uncertainty"] | {"chance": 1.5}},
        {"uncertainty": good["positions"][0]["uncertainty"] | {"degrees_of_freedom": 3.5}},
        {"corrections": {"journal": {"zero_error": "0", "ball": 0}}},
        {"form": {"wall": {}}},
    ):
        bad = json.loads(json.dumps(good))
        bad["positions"][0].update(spoil)
        with pytest.raises(jsonschema.ValidationError):
            VALIDATOR.validate(bad)


def test_a_gauge_without_a_limit_is_named(tmp_path: Path) -> None:
    """What a gauge reads wrong throughout counts only if its limit is stated; the report names those that state none,
    and under a guard says that verdicts go by the limits as written."""
    folder = tmp_path / "job"
    shutil.copytree(SAMPLE, folder)
    told = plan_text(fitmatch.assign(read_job(folder)), "mm", full=True)
    assert "No error limit is stated" not in told
    assert "without the guard" not in told
    toml = folder / "job.toml"
    lines = [line for line in toml.read_text(encoding="utf-8").splitlines() if not line.startswith("limit  ")]
    toml.write_text("\n".join([*lines, "[rules]", "guard = 0.5", ""]), encoding="utf-8")
    assigned = fitmatch.assign(read_job(folder))
    assert "No error limit is stated for ball-1, bore-1, mic-1:" in " ".join(plan_text(assigned, "mm").split())
    told = " ".join(plan_text(assigned, "mm", full=True).split())
    assert "both as written, without the guard" in told


def test_flags_about_form_stay_in_another_unit(tmp_path: Path) -> None:
    """A form beyond its limit is flagged in whatever unit the answer is shown, in that unit."""
    job = METRIC_ROD + "[form.rod]\njournal_out_of_round = 0.001\n[sources]\nreadings = 'readings.csv'\n"
    rows = "item,feature,station,angle,reading\nR1,journal,1,0,46.000\nR1,journal,1,90,46.010\n"
    rows += "R1,housing_bore,1,0,50.000\n"
    shells = "shell,kind,half,wall\nu,rod,upper,1.970\nl,rod,lower,1.970\n"
    folder = write_job(tmp_path, job, "position,kind\nR1,rod\n", shells, readings_DOT_csv=rows)
    found = fitmatch.assign(read_job(folder))
    for unit in ("in", "mm"):
        texts = [flag_words(flag, unit) for flag in found.flags]
        assert any("out-of-round" in text and f" {unit}, " in text for text in texts)
