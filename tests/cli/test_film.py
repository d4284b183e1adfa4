"""`fitmatch film`: from a saved plan or options to text, JSON, CSV and pictures, and what is refused."""

import csv
import io
import json
import re
import shutil
import tomllib
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import jsonschema
import pytest
from made.commands import Ran

import fitmatch
from fitmatch import Bearing, Oil
from fitmatch.intake.bearings import Given, read_bearings
from fitmatch.report.shared.layout import page
from fitmatch.report.text.films import films_text
from fitmatch.study.film.films import Row

SAMPLE = Path(__file__).parents[2] / "samples" / "generator-five"
SCHEMA: dict[str, Any] = json.loads(
    (Path(fitmatch.__file__).parent / "report" / "data" / "films.schema.json").read_text(encoding="utf-8")
)
PLAIN = ("--unit", "mm", "--journal", "50", "--width", "20", "--load", "8000", "--speed", "3000")
THIN = (*PLAIN, "--viscosity", "10")
HEATED = (*PLAIN, "--oil-40", "100", "--oil-100", "11.2", "--density", "875", "--density-slope", "0.65",
          "--heat-capacity", "2100", "--inlet", "90")  # fmt: skip
ROD = """
[film.rod]
width = 0.75
load = 9000
speed = 1800
oil_40 = 100
oil_100 = 11.2
density = 875
density_slope = 0.65
heat_capacity = 2100
inlet = 90
"""


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample with its plan saved, before anything is written about films."""
    folder = tmp_path_factory.mktemp("saved") / "job"
    shutil.copytree(SAMPLE, folder)
    from fitmatch.cli.main import main

    with pytest.raises(SystemExit):
        main(["assign", str(folder), "--save", "--quiet"])
    return folder


def job(saved: Path, folder: Path, text: str = ROD) -> Path:
    copy = folder / "job"
    shutil.copytree(saved, copy)
    with (copy / "job.toml").open("a", encoding="utf-8") as file:
        file.write(text)
    return copy


def document(capsys: pytest.CaptureFixture[str], *args: object, status: int = 0) -> Any:
    ran = Ran(capsys, "film", *args, "--json")
    assert (ran.status, ran.err) == (status, "")
    found = json.loads(ran.out)
    jsonschema.Draft202012Validator(SCHEMA).validate(found)
    return found


def test_one_film_from_options(capsys: pytest.CaptureFixture[str]) -> None:
    """Without a job the options say it all; the figures are those of the library."""
    found = document(capsys, *THIN, "--clearance", "0.05")
    (row,) = found["rows"]
    assert "certifies none" in found["caution"] and "multigrade" not in found["caution"]
    (same,) = fitmatch.film([Bearing(50_000, 50_000_000, 20_000_000, 8_000.0, 3_000.0, Oil(viscosity_mpa_s=10.0))]).rows
    assert (row["position"], row["clearance"], row["width"], row["load_n"]) == (None, 0.05, 20, 8000)
    for key in ("sommerfeld", "eccentricity_ratio", "min_film_thickness_um", "friction_power_w", "peak_pressure_mpa"):
        assert row[key] == pytest.approx(getattr(same, key), rel=1e-6)
    assert row["temperature_rise_k"] is None and row["viscosity_pa_s"] == 0.01


def test_whether_the_flow_is_laminar_takes_a_density(capsys: pytest.CaptureFixture[str]) -> None:
    """At constant viscosity it is only known with a density; without one the report says that it is not."""
    told = "Without a density it is not known whether the flow is laminar."
    args = (*PLAIN[:-1], "60000", "--viscosity", "1", "--clearance", "0.2")
    assert told in " ".join(Ran(capsys, "film", *args).out.split())
    ran = Ran(capsys, "film", *args, "--density", "850")
    out = " ".join(ran.out.split())
    assert ran.status == 1 and told not in out and "the flow is not laminar" in out
    for density, caution, flow in ((), True, "unchecked"), (("--density", "850"), False, "turbulent"):
        found = document(capsys, *args, *density, status=0 if caution else 1)
        assert (told in found["caution"]) is caution and [row["flow"] for row in found["rows"]] == [flow]
        (row,) = csv.DictReader(io.StringIO(Ran(capsys, "film", *args, *density, "--csv").out))
        assert row["flow"] == flow
    hot, fine = document(capsys, *HEATED, "--clearance", "0.012,0.05", status=1)["rows"]
    assert (hot["flow"], fine["flow"]) == (None, "laminar")


def test_a_sweep_has_both_ends(capsys: pytest.CaptureFixture[str]) -> None:
    """A sweep of clearances takes both ends in, and inch and metric mix."""
    found = document(capsys, *HEATED, "--clearance", "0.04..0.06/0.005")
    assert "if this is a multigrade its film is thinner than shown" in found["caution"]
    rows = found["rows"]
    assert [row["clearance"] for row in rows] == [0.04, 0.045, 0.05, 0.055, 0.06]
    assert all(row["effective_temperature_c"] > row["inlet_temperature_c"] for row in rows)
    films = [row["temperature_rise_k"] for row in rows]
    assert films == sorted(films, reverse=True)
    inches = ("--unit", "in", "--journal", "50 mm", "--width", "20 mm", *HEATED[6:], "--clearance", "50 um")
    (inch,) = document(capsys, *inches)["rows"]
    assert inch["sommerfeld"] == pytest.approx(rows[2]["sommerfeld"], rel=1e-5)


def test_a_table_of_viscosities(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """A table that follows an oil's law gives that oil's film, from an option and from job.toml alike."""
    oil = Oil(None, 100.0, 11.2, 875.0, 0.65, 2_100.0, 90.0)
    points = [f"{at}: {oil.viscosity_pa_s(at) * 1e3:.6f}" for at in (60, 80, 95, 105, 120)]
    rest = (
        "--density",
        "875",
        "--density-slope",
        "0.65",
        "--heat-capacity",
        "2100",
        "--inlet",
        "90",
        "--clearance",
        "0.05",
    )
    found = document(capsys, *PLAIN, "--oil-table", ", ".join(points), *rest)
    (same,) = document(capsys, *HEATED, "--clearance", "0.05")["rows"]
    assert found["rows"][0]["min_film_thickness_um"] == pytest.approx(same["min_film_thickness_um"], rel=1e-3)
    assert "multigrade" not in found["caution"]
    table = "oil_table = [" + ", ".join(f'"{point}"' for point in points) + "]\n"
    by_law, by_table = job(saved, tmp_path), tmp_path / "table"
    by_table.mkdir()
    written = job(saved, by_table, ROD.replace("oil_40 = 100\noil_100 = 11.2\n", table))
    films = [document(capsys, folder)["rows"][0]["min_film_thickness_um"] for folder in (by_law, written)]
    assert films[0] == pytest.approx(films[1], rel=1e-3)
    text = " ".join(Ran(capsys, "film", written).out.split())
    assert "mPa s at 95 °C" in text and "ASTM" not in text


def test_a_map_of_clearance_by_speed_or_viscosity(capsys: pytest.CaptureFixture[str]) -> None:
    """Lists and sweeps of speed and viscosity combine with those of clearance."""
    args = (*PLAIN[:-1], "1000..3000/1000", "--viscosity", "8,12", "--clearance", "0.04,0.05")
    rows = document(capsys, *args)["rows"]
    assert len(rows) == 3 * 2 * 2
    assert {row["speed_rpm"] for row in rows} == {1000, 2000, 3000}
    assert {round(row["viscosity_pa_s"], 6) for row in rows} == {0.008, 0.012}


def test_films_of_the_saved_plan(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """Each rod of the plan has its film at its own clearance and journal; mains have no table and are left out."""
    found = document(capsys, job(saved, tmp_path))
    assert found["left_out"] == ["main"] and found["empty"] == [] and len(found["digest"]) == 64
    plan = {p["position"]: p for p in json.loads((saved / "assignment.json").read_text())["positions"]}
    assert [row["position"] for row in found["rows"]] == [p for p, row in plan.items() if row["kind"] == "rod"]
    for row in found["rows"]:
        assert row["clearance"] == plan[row["position"]]["clearance"]
        assert row["journal"] == plan[row["position"]]["journal"]


def test_writing_about_films_changes_no_plan(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """[film] is not part of the inputs' digest: a plan saved before it was written is not said to be old."""
    folder = job(saved, tmp_path)
    assert Ran(capsys, "film", folder).err == ""
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(text.replace("max    = 0.0030   # the largest", "max    = 0.0031   # the largest"))
    assert "inputs have changed" in Ran(capsys, "film", folder).err


def test_options_go_before_the_job(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """What the options say replaces what the kind's table says, and may stand for all of it."""
    slow = document(capsys, job(saved, tmp_path), "--speed", "900")["rows"]
    assert {row["speed_rpm"] for row in slow} == {900}
    (tmp_path / "other").mkdir()
    args = ("--kind", "main", "--width", "25 mm", "--load", "5000", "--speed", "1800", "--viscosity", "10")
    mains = document(capsys, job(saved, tmp_path / "other", ""), *args)["rows"]
    assert mains[0]["position"] == "M1" and len(mains) == 6


def test_a_position_without_shells_needs_attention(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """A position that the plan does not fill is named, and the exit status is 1."""
    folder = job(saved, tmp_path)
    plan = json.loads((folder / "assignment.json").read_text())
    plan["positions"] = [p for p in plan["positions"] if p["position"] != "R2"]
    (folder / "assignment.json").write_text(json.dumps(plan))
    ran = Ran(capsys, "film", folder)
    assert ran.status == 1 and "Without two measured shells in the saved plan: R2." in ran.out


def test_what_is_outside_its_limits_is_not_to_be_assembled(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """A position that was outside when the plan was saved, or is by the files as they are now, is marked: 1."""
    folder = job(saved, tmp_path)
    plan = json.loads((folder / "assignment.json").read_text())
    next(p for p in plan["positions"] if p["position"] == "R2")["within_limits"] = False
    (folder / "assignment.json").write_text(json.dumps(plan))
    told = "NOT TO BE ASSEMBLED, outside the limits of clearance:"
    ran = Ran(capsys, "film", folder, "--plot", tmp_path / "rods.svg")
    assert ran.status == 1 and f"{told} R2." in ran.out and f"{told} R2." in (tmp_path / "rods.svg").read_text()
    assert ">NOT TO BE<" in (tmp_path / "rods.svg").read_text()
    lines = [line.split("  ") for line in ran.out.splitlines() if re.match("R[1-5] ", line)]
    assert len(lines) % 5 == 0 and all(("NOT TO BE ASSEMBLED" in line) is (line[0] == "R2") for line in lines)
    rows = {row["position"]: row for row in document(capsys, folder, status=1)["rows"]}
    table = {row["position"]: row for row in csv.DictReader(io.StringIO(Ran(capsys, "film", folder, "--csv").out))}
    for name, row in rows.items():
        good = name != "R2"
        assert row["within_limits"] is good and table[name]["within_limits"] == ("true" if good else "false")
        assert row["remark"] == (None if good else "NOT TO BE ASSEMBLED")
        assert table[name]["remark"] == (row["remark"] or "")
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(
        text.replace("min    = 0.0016", "min    = 0.0022").replace("= 0.0022 ", "= 0.0025 ")
    )
    ran = Ran(capsys, "film", folder, "--json")
    assert ran.status == 1 and json.loads(ran.out)["outside"] == ["R1", "R2", "R3", "R4", "R5"]


def test_the_report_says_what_it_cannot_tell(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """The text gives load, oil and heat as they were given, and says that it certifies nothing."""
    ran = Ran(capsys, "film", job(saved, tmp_path))
    text = " ".join(ran.out.split())
    for words in ("certifies none", "loaded dynamically", "9000 N in all", "875 kg/m3 at 15 °C", "2100 J/kgK",
                  "by ASTM D341", "if this is a multigrade its film is thinner than shown",
                  "Inputs' digest: "):  # fmt: skip
        assert words in text
    assert all(len(line) <= 100 for line in ran.out.splitlines())


def test_the_report_says_which_kind_an_oil_is_for(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """Two kinds with different oils are told apart; slope and feed are among what was given."""
    main = ROD.replace("rod", "main").replace("inlet = 90", "inlet = 95")
    fed = "lands = 2\nfeed_pressure = 0.3\nslope = 0.0001\n"
    text = " ".join(Ran(capsys, "film", job(saved, tmp_path, ROD + main + fed)).out.split())
    rods, mains = text.partition(" rod: 100 mm2/s at 40 °C")[2].split(" main: 100 mm2/s at 40 °C")
    assert "comes in at 90 °C" in rods and "comes in at 95 °C" in mains
    assert "the gap sloping by 0.00010 in over each land, as by a taper of the diameter of 0.00020, fed by" in text
    assert "fed by a full groove under 0.3 MPa, other feeds not counted" in text


def test_cautions_give_exit_status_one(capsys: pytest.CaptureFixture[str]) -> None:
    """A clearance at which the oil would be too hot has no figures, is named, and the others stand."""
    ran = Ran(capsys, "film", *HEATED, "--clearance", "0.012,0.05")
    assert ran.status == 1 and "NEEDS ATTENTION\n  clearance 0.0120 mm: " in ran.out
    hot, fine = document(capsys, *HEATED, "--clearance", "0.012,0.05", status=1)["rows"]
    assert hot["cautions"] == ["beyond-oil"] and hot["min_film_thickness_um"] is None
    assert fine["cautions"] == [] and fine["min_film_thickness_um"] > 0


def test_a_slope_takes_half_of_it_at_the_edge(capsys: pytest.CaptureFixture[str]) -> None:
    """A gap that slopes by 4 um over the width is 2 um tighter at one end; one that leaves nothing is told."""
    (row,) = document(capsys, *THIN, "--clearance", "0.05", "--slope", "0.004")["rows"]
    assert row["edge_film_thickness_um"] == pytest.approx(row["min_film_thickness_um"] - 2)
    ran = Ran(capsys, "film", *THIN, "--clearance", "0.05", "--slope", "0.02")
    assert ran.status == 1 and "no thickness left" in " ".join(ran.out.split())
    (row,) = document(capsys, *THIN, "--clearance", "0.05", "--slope", "0.02", status=1)["rows"]
    assert row["cautions"] == ["dry-edge"] and row["edge_film_thickness_um"] < 0 < row["min_film_thickness_um"]


def test_a_film_at_the_edge_that_is_as_good_as_none(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Where the slope takes all, table, map and picture show no thickness rather than a negative one; what is left
    within 0.005 of the way from the wall to the middle is not taken for a film either."""
    (flat,) = document(capsys, *THIN, "--clearance", "0.05")["rows"]
    film = flat["min_film_thickness_um"]
    args = (*THIN, "--speed", "3000,3100", "--clearance", "0.05,0.051", "--slope", "0.02", "--plot", tmp_path / "a.svg")
    ran = Ran(capsys, "film", *args)
    assert ran.status == 1 and not re.search(r" -\d", ran.out)
    assert "on the edge: no figure, or no film" in (tmp_path / "a.svg").read_text()
    for left, cautions in ((0.09, ["dry-edge"]), (0.16, [])):
        args = (*THIN, "--clearance", "0.05", "--slope", f"{2 * (film - left):.3f} um")
        (row,) = document(capsys, *args, status=1 if cautions else 0)["rows"]
        assert row["edge_film_thickness_um"] == pytest.approx(left, abs=1e-3) and row["cautions"] == cautions
        text = " ".join(Ran(capsys, "film", *args).out.split())
        assert f" {left:.2f} " in text and ("as good as touching" in text) is bool(cautions)


def test_an_oil_thinner_than_its_law(capsys: pytest.CaptureFixture[str]) -> None:
    """Below 2 mm2/s the film carries a caution and keeps its figures; above it does not; a table is not asked between
    its points."""
    heat = HEATED[14:-2]
    oils = {
        "law": ("--oil-40", "8", "--oil-100", "2.2"),
        "table": ("--oil-table", "40: 6, 100: 1.8"),
        "points": ("--oil-table", "40: 6, 130: 1.2"),
    }
    for name, oil in oils.items():
        for inlet, thin in ((70, False), (108, name != "points")):
            args = (*PLAIN[:-3], "800", "--speed", "3000", *oil, *heat, "--inlet", inlet, "--clearance", "0.05")
            (row,) = document(capsys, *args, status=1 if thin else 0)["rows"]
            assert row["cautions"] == (["outside-law"] if thin else []) and row["min_film_thickness_um"] > 0
            kinematic = row["viscosity_pa_s"] / row["density_kg_m3"] * 1e6
            assert (kinematic < 2) is (inlet == 108)
            told = "thinner than 2 mm2/s, where the law of its viscosity (ASTM D341) does not hold"
            assert (told in " ".join(Ran(capsys, "film", *args).out.split())) is thin


def test_a_load_too_light_is_told_from_one_too_heavy(capsys: pytest.CaptureFixture[str]) -> None:
    """Each has its own words, which say what to check; the heavy one sends to the engine maker."""
    for load, words, others in (("1e-5", "too light", "too heavy"), ("8e6", "too heavy", "too light")):
        ran = Ran(capsys, "film", *THIN, "--load", load, "--clearance", "0.05")
        text = " ".join(ran.out.split())
        assert ran.status == 1 and f"the load is {words}: " in text and others not in text
        assert "check clearance, load (N, on all lands together)" in text
        assert ("ask the engine maker" in text) is (words == "too heavy")


def test_a_film_too_warm_for_its_oil_says_what_would_show_it(capsys: pytest.CaptureFixture[str]) -> None:
    """The report names temperature, points and margin; with that margin, and with no less, the film has its figures."""
    ran = Ran(capsys, "film", *HEATED, "--clearance", "0.02")
    text = " ".join(ran.out.split())
    found = re.search(r"the film would be at (\S+) °C, and the oil's viscosity is given from 40 to 100 °C, taken as "
                      r"known 20 K further .* out to (\d+) °C with oil_margin = (\d+) \(--oil-m", text)  # fmt: skip
    assert found is not None
    warm, end, margin = map(float, found.groups())
    assert end == 100 + margin and end - 1 < warm <= end
    (row,) = document(capsys, *HEATED, "--clearance", "0.02", "--oil-margin", margin)["rows"]
    assert row["effective_temperature_c"] == pytest.approx(warm, abs=0.06)
    (row,) = document(capsys, *HEATED, "--clearance", "0.02", "--oil-margin", margin - 1, status=1)["rows"]
    assert row["min_film_thickness_um"] is None
    far = " ".join(Ran(capsys, "film", *HEATED, "--clearance", "0.003,0.02").out.split())
    assert "to more than 160 °C" in far and f"(--oil-margin {margin:g})." in far
    far = Ran(capsys, "film", *HEATED, "--speed", "3000,3001", "--clearance", "0.003,0.05").out
    lines = far.splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("FILM AT"))
    assert "x more than 160" in lines[at + 3]
    assert lines[at - 1] == "" and re.match(r"x +3000 +0\.0030 .* more than 160 +-$", lines[6])
    far = " ".join(Ran(capsys, "film", *HEATED, "--clearance", "0.003").out.split())
    assert "at more than 160 °C" in far and "as oil_margin is at most 60." in far


def test_keys_without_effect_are_refused(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """Beside a constant viscosity each key about heat is named at its row; a density has an effect."""
    heat = {"density_slope": 0.65, "heat_capacity": 2100, "inlet": 90, "oil_margin": 30, "high_shear": 3}
    head = "\n[film.rod]\nwidth = 0.75\nload = 9000\nspeed = 1800\nviscosity = 9\ndensity = 875\n"
    folder = job(saved, tmp_path, head + "".join(f"{key} = {value}\n" for key, value in heat.items()))
    ran = Ran(capsys, "film", folder)
    rows = {line.partition(" ")[0]: at for at, line in enumerate((folder / "job.toml").read_text().splitlines(), 1)}
    assert (ran.status, ran.out) == (2, "") and len(ran.err.splitlines()) == len(heat)
    for key in heat:
        assert f"job.toml:{rows[key]}: film.rod.{key}: changes nothing at a constant viscosity" in ran.err
    assert Ran(capsys, "film", folder, "--oil-40", "100", "--oil-100", "11.2").status == 0
    (tmp_path / "dense").mkdir()
    assert Ran(capsys, "film", job(saved, tmp_path / "dense", head)).status == 0


def test_a_map_follows_the_rows_of_a_sweep(capsys: pytest.CaptureFixture[str]) -> None:
    """Of clearance and speed: a line for each clearance, with the films of the rows; of one of them alone there is
    none."""
    args = (*HEATED, "--speed", "1000,3000", "--clearance", "0.02,0.05")
    ran = Ran(capsys, "film", *args)
    films = [row["min_film_thickness_um"] for row in document(capsys, *args, status=1)["rows"]]
    slow, fast = films[:2], films[2:]
    assert fast[0] is None
    text = [" ".join(line.split()) for line in ran.out.splitlines()]
    at = text.index("SMALLEST FILM IN um, by clearance in millimetres")
    assert text[at + 1] == "1000 rpm 3000 rpm"
    assert text[at + 3 : at + 5] == [f"0.0200 {slow[0]:.2f} x -", f"0.0500 {slow[1]:.2f} {fast[1]:.2f}"]
    assert "FILM AT, IN °C, by clearance in millimetres" in text
    assert "SMALLEST FILM IN" not in Ran(capsys, "film", *THIN, "--clearance", "0.04,0.05").out


MATERIAL = """
housing_temperature = 110
journal_temperature = 115
[material.rod]
journal = "steel"
housing_bore = "aluminium"
"""


def test_hot_clearances_are_estimated_between_two_ways_to_grow(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """Each position is cold, hot with its housing held by steel, and hot with it free: coefficient x size x kelvin."""
    folder = job(saved, tmp_path, ROD + MATERIAL)
    rows = [row for row in document(capsys, folder, "--quiet")["rows"] if row["position"] == "R1"]
    assert [row["state"] for row in rows] == ["cold", "held", "free"]
    placed = {p["position"]: p for p in json.loads((folder / "assignment.json").read_text())["positions"]}["R1"]
    bore, journal, walls, cold = (placed[key] for key in ("housing_bore", "journal", "wall_sum", "clearance"))
    shrunk = cold - 11.5e-6 * 95 * journal - 11.5e-6 * 90 * walls
    assert rows[1]["clearance"] == pytest.approx(shrunk + 11.5e-6 * 90 * bore, abs=1e-7)
    assert rows[2]["clearance"] == pytest.approx(shrunk + 23.1e-6 * 90 * bore, abs=1e-7)
    picture = tmp_path / "hot.svg"
    text = " ".join(Ran(capsys, "film", folder, "--plot", picture).out.split())
    drawn_words = " ".join(re.findall(r">([^<>]+)</t(?:ext|span)>", picture.read_text()))
    for words in (
        "Hot clearances are estimates",
        "rod: housing 110 °C and 23.1e-6 per kelvin, journal 115 °C and 11.5e-6",
    ):
        assert words in text and words in drawn_words


BENCH = """
title = "By hand"
unit = "mm"
[fit.rod]
min = 0.03
max = 0.06
[film.rod]
width = 20
load = 8000
speed = 3000
viscosity = 9
housing_temperature = 100
journal_temperature = 120
[material.rod]
journal = "steel"
housing_bore = "aluminium"
"""


def test_growth_recomputed_by_hand(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Housing 54.05 mm and 80 K warmer, journal 50 mm and 100 K, walls 4 mm of steel and 80 K: cold 0.05 mm; held by
    steel 0.049726 - 0.0575 - 0.00368 more, of aluminium 0.0998844 in place of 0.049726. A housing of steel has one hot
    row, as both are the same."""
    folder = tmp_path / "job"
    (folder / "shells").mkdir(parents=True)
    (folder / "job.toml").write_text(BENCH)
    (folder / "positions.csv").write_text("position,kind,journal,housing_bore\nR1,rod,50,54.05\n")
    (folder / "shells" / "a.csv").write_text("shell,kind,half,wall\n1,rod,upper,2\n2,rod,lower,2\n")
    Ran(capsys, "assign", folder, "--save", "--quiet")
    found = document(capsys, folder, "--quiet")
    assert {row["state"]: row["clearance"] for row in found["rows"]} == {
        "cold": 0.05, "held": 0.038546, "free": 0.088704,
    }  # fmt: skip
    assert "hot clearances are estimates" in found["caution"].lower()
    (folder / "job.toml").write_text(BENCH.replace("aluminium", "steel"))
    found = document(capsys, folder, "--quiet")
    assert {row["state"]: row["clearance"] for row in found["rows"]} == {"cold": 0.05, "hot": 0.038546}
    ran = Ran(capsys, "film", folder)
    assert sum(line.startswith("R1 ") for line in ran.out.splitlines()) == 2
    assert "whether caps of steel hold it or not" in " ".join(ran.out.split()) and "free, as if" not in ran.out


def test_the_document_has_everything_that_went_in(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """Each key of [film], and each coefficient of growth, is in JSON as it was written; all but the temperatures of
    housing and journal are in CSV too."""
    text = ROD + "lands = 2\nfeed_pressure = 0.3\nslope = 0.0001\nhigh_shear = 3\noil_margin = 25\n" + MATERIAL
    found = document(capsys, job(saved, tmp_path, text), "--quiet")
    names = {"width": "width", "load": "load_n", "speed": "speed_rpm", "oil_40": "oil_40_mm2_s", "slope": "slope",
             "oil_100": "oil_100_mm2_s", "density": "density_15_kg_m3", "density_slope": "density_slope_kg_m3_k",
             "heat_capacity": "heat_capacity_j_kg_k", "inlet": "inlet_temperature_c", "lands": "lands",
             "feed_pressure": "feed_pressure_mpa", "high_shear": "high_shear_mpa_s",
             "oil_margin": "oil_margin_k"}  # fmt: skip
    given = tomllib.loads(text)["film"]["rod"]
    row = found["rows"][0]
    assert {key: row[name] for key, name in names.items()} == {key: given.pop(key) for key in names}
    assert "a full groove under 0.3 MPa" in Ran(capsys, "film", tmp_path / "job", "--quiet").out
    assert found["hot"] == [
        {"kind": "rod", **{f"{key}_c": value for key, value in given.items()}, "housing_expansion_per_k": 23.1e-6,
         "journal_expansion_per_k": 11.5e-6, "shell_expansion_per_k": 11.5e-6}
    ]  # fmt: skip
    cells = next(csv.DictReader(io.StringIO(Ran(capsys, "film", tmp_path / "job", "--csv").out)))
    for name in names.values():
        assert float(cells[f"{name} [in]" if name in ("width", "slope") else name]) == row[name]
    assert "certifies none" in cells["caution"] and row["kind"] == cells["kind"] == "rod"
    args = (*PLAIN, "--oil-table", "40: 90, 100: 9.4", *HEATED[14:], "--clearance", "0.05")
    (row,) = document(capsys, *args)["rows"]
    (cells,) = csv.DictReader(io.StringIO(Ran(capsys, "film", *args, "--csv").out))
    assert row["oil_table"] == [[40, 90], [100, 9.4]] and cells["oil_table"] == "40: 90, 100: 9.4"
    (row,) = document(capsys, *THIN, "--clearance", "0.05")["rows"]
    assert row["constant_viscosity_mpa_s"] == 10 and row["oil_margin_k"] is None


def test_no_row_of_the_table_is_wrapped(saved: Path, tmp_path: Path) -> None:
    """On pages of every width each film keeps to one line, with its position and whether it is hot; where the table is
    parted both parts have them."""
    runs = read_bearings(job(saved, tmp_path, ROD + MATERIAL), Given(None, None, None, {}))
    found = fitmatch.film(runs.bearings)
    for width in range(80, 121):
        with page(width):
            lines = films_text(found, runs, "in").splitlines()
        assert max(map(len, lines)) <= width
        starts = [line[:14].rstrip() for line in lines if re.match(r"R\d +(cold|hot, held|hot, free)  ", line)]
        wanted = [f"R{at}  {state}" for at in range(1, 6) for state in ("cold", "hot, held", "hot, free")]
        assert starts in (wanted, wanted * 2)


def test_a_clearance_that_is_lost_when_hot_needs_attention(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """Where a hot journal takes up all of the clearance there is no film, exit status 1, and the report says so."""
    folder = job(saved, tmp_path, ROD + MATERIAL.replace("115", "300").replace("110", "20"))
    rows = document(capsys, folder, "--quiet", status=1)["rows"]
    assert rows[1]["cautions"] == ["no-clearance"] and rows[1]["clearance"] < 0 and rows[0]["cautions"] == []
    assert "NO CLEARANCE AT ALL" in Ran(capsys, "film", folder).out


def test_csv_has_every_figure(capsys: pytest.CaptureFixture[str]) -> None:
    """--csv has one row per film, with the figures of the document."""
    rows = list(csv.DictReader(io.StringIO(Ran(capsys, "film", *THIN, "--clearance", "0.05,0.06", "--csv").out)))
    same = document(capsys, *THIN, "--clearance", "0.05,0.06")["rows"]
    assert [float(row["clearance [mm]"]) for row in rows] == [0.05, 0.06]
    for row, other in zip(rows, same, strict=True):
        assert float(row["min_film_thickness_um"]) == other["min_film_thickness_um"]
        assert row["temperature_rise_k"] == "" and row["cautions"] == ""


def test_every_hot_row_says_that_it_is_an_estimate(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """In CSV held, free and hot rows carry the same sentence, and cold ones none."""
    main = ROD.replace("rod", "main") + MATERIAL.replace("rod", "main").replace("aluminium", "steel")
    folder = job(saved, tmp_path, ROD + MATERIAL + main)
    rows = list(csv.DictReader(io.StringIO(Ran(capsys, "film", folder, "--csv", "--quiet").out)))
    told = {}
    for row in rows:
        told.setdefault(row["state"], set()).update(re.findall(r"Hot clearances.*None is measured\.", row["caution"]))
    assert told.keys() == {"cold", "held", "free", "hot"} and told["cold"] == set()
    assert told["held"] == told["free"] == told["hot"] and len(told["hot"]) == 1


def test_a_caution_about_one_kind_names_it(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """Of two kinds, one of them a sheared oil and cold: what concerns the other alone says so, in JSON and text."""
    main = ROD.replace("rod", "main") + "high_shear = 3\n"
    folder = job(saved, tmp_path, ROD + MATERIAL + main)
    text = " ".join(Ran(capsys, "film", folder, "--quiet").out.split())
    for shown in (document(capsys, folder, "--quiet")["caution"], text):
        assert "rod: Hot clearances are estimates" in shown
        assert "rod: No viscosity at high shear is given" in shown
    assert "rod: Hot" not in document(capsys, folder, "--quiet", "--kind", "rod")["caution"]


def test_grooves_are_counted(capsys: pytest.CaptureFixture[str]) -> None:
    """Two lands have one full groove between them, four have two."""
    for lands, words in ((2, "a full groove under"), (4, "2 full grooves, each between two lands, under")):
        args = (*THIN, "--lands", lands, "--feed-pressure", "0.3", "--clearance", "0.05")
        assert f"fed by {words}" in " ".join(Ran(capsys, "film", *args).out.split())


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_pictures(capsys: pytest.CaptureFixture[str], tmp_path: Path, ending: str) -> None:
    """A sweep is drawn with film and temperature, the same each time, and carries its caution."""
    first, second = tmp_path / f"a.{ending}", tmp_path / f"b.{ending}"
    for picture in (first, second):
        ran = Ran(capsys, "film", *HEATED, "--clearance", "0.03..0.06/0.01", "--plot", picture)
        assert ran.status == 0 and ran.err == f"drawn in {picture}\n"
    assert first.read_bytes() == second.read_bytes()
    if ending == "svg":
        assert "certifies none" in first.read_text() and "temperature of the film" in first.read_text()


def drawn(capsys: pytest.CaptureFixture[str], picture: Path, *args: object) -> str:
    """The words of a picture of films of which some have a caution."""
    assert Ran(capsys, "film", *args, "--plot", picture).status == 1
    return " ".join(re.findall(r">([^<>]+)</t(?:ext|span)>", picture.read_text()))


def test_a_picture_shows_what_needs_attention(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    """Films that are not laminar, dry at the edge or without a figure are crossed and told below the picture; where
    there is a slope the tighter end is drawn."""
    fast = (*PLAIN[:-1], "60000", "--viscosity", "1", "--density", "850", "--clearance", "0.15..0.2/0.01")
    text = drawn(capsys, tmp_path / "fast.svg", *fast)
    assert "NEEDS ATTENTION (x): clearance 0.1500 mm" in text and "the flow is not laminar" in text
    sloped = (*THIN, "--clearance", "0.05,0.06", "--slope", "0.02")
    text = drawn(capsys, tmp_path / "sloped.svg", *sloped)
    assert "NEEDS ATTENTION (x)" in text and "no thickness left" in text and "at the tighter end" in text
    text = drawn(capsys, tmp_path / "hot.svg", *HEATED, "--clearance", "0.012,0.05")
    assert "NEEDS ATTENTION (x): clearance 0.0120 mm" in text
    good = tmp_path / "good.svg"
    assert Ran(capsys, "film", *THIN, "--clearance", "0.05,0.06", "--plot", good).status == 0
    assert "NEEDS ATTENTION" not in good.read_text() and "tighter end" not in good.read_text()


def test_a_film_with_a_caution_leaves_its_curve() -> None:
    """Good figures are joined in black; one with a caution only in grey, its mark under a cross."""
    from matplotlib.figure import Figure

    from fitmatch.intake.bearings import bearings_from_options
    from fitmatch.report.plots import films

    figures = {"width": "20", "load": "8000", "speed": "60000", "viscosity": "1", "density": "850"}
    runs = bearings_from_options(Given(None, "50", "0.02..0.2/0.02", figures), "mm")
    found = fitmatch.film(runs.bearings)
    wrong = [row.bearing.clearance_nm / 1e6 for row in found.rows if row.cautions]
    right = [row.bearing.clearance_nm / 1e6 for row in found.rows if not row.cautions]
    assert wrong and right
    axes = Figure().subplots()
    films._panel("film", "um", films._thinnest, found.rows, "mm", legend=False).draw(axes)
    black, grey, marks, crosses, told = axes.get_lines()
    assert [x for x, y in black.get_xydata() if y == y] == right
    assert (grey.get_color(), grey.get_marker()) == ("0.7", "None") and len(grey.get_xdata()) == len(found.rows)
    assert crosses.get_marker() == "x" and list(crosses.get_xdata()) == list(marks.get_xdata()) == wrong
    assert marks.get_marker() == black.get_marker() and "needs attention" in str(told.get_label())


def test_a_picture_of_an_old_or_incomplete_plan_says_so(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """Inputs that changed since, a position without shells and a kind without a table stand below the picture; a plan
    of which nothing has a film has a picture that says why."""
    folder = job(saved, tmp_path)
    plan = json.loads((folder / "assignment.json").read_text())
    text = (folder / "job.toml").read_text()
    (folder / "job.toml").write_text(text.replace("max    = 0.0030   # the largest", "max    = 0.0031   # the largest"))
    for name, lost in (("some", ["R2"]), ("all", ["R1", "R2", "R3", "R4", "R5"])):
        rest = [p for p in plan["positions"] if p["position"] not in lost]
        (folder / "assignment.json").write_text(json.dumps({**plan, "positions": rest}))
        words = drawn(capsys, tmp_path / f"{name}.svg", folder)
        assert "the inputs have changed since assignment.json was saved" in words
        assert "Without two measured shells in the saved plan: R" in words and lost[-1] in words
        assert "Left out, as there is no [film] table for it: main." in words


def test_a_picture_splits_no_option_from_its_value(monkeypatch: pytest.MonkeyPatch) -> None:
    """Wherever a line of a note ends, `--oil-margin` and its number, and `oil_margin` and its, stand on one."""
    from fitmatch.intake.bearings import bearings_from_options
    from fitmatch.report.plots import films, paper
    from fitmatch.report.text.films import cautions

    given = {"width": "20", "load": "8000", "speed": "3000", "oil_40": "100", "oil_100": "11.2", "density": "875",
             "density_slope": "0.65", "heat_capacity": "2100", "inlet": "90"}  # fmt: skip
    runs = bearings_from_options(Given(None, "50", "0.02", given), "mm")
    found = fitmatch.film(runs.bearings)
    (told,) = cautions(found.rows, "mm")
    note = f"NEEDS ATTENTION (x): {told}"
    for words in ("oil_margin", "oil_margin =", "(--oil-", "(--oil-margin"):
        monkeypatch.setattr(paper, "_LETTERS", " ".join(note.split()).index(words) + len(words))
        picture = films.films_picture(found, runs, "mm", ".svg").decode()
        assert re.search(r">[^<]*--oil-margin \d+\)", picture)
        assert re.search(r">(?:[^<]* )?oil_margin = \d+", picture)


def test_a_picture_of_a_plan_names_its_positions(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """The films of a job are points with the names of their positions."""
    picture = tmp_path / "rods.svg"
    assert Ran(capsys, "film", job(saved, tmp_path), "--plot", picture).status == 0
    text = picture.read_text()
    assert ">R1, R5<" in text and ">R2, R3, R4<" in text  # which lie together
    assert not re.search(r"\d mm[^²2]", text)  # in an inch job
    assert "875 kg/m3 at 15 °C" in text and "certifies none" in text


def test_names_in_a_crowded_picture_stand_clear() -> None:
    """Of many positions every second is not to be assembled: names stand together, inside the frame, and say so."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.text import Text

    from fitmatch.report.plots import films

    rod = Bearing(30_000, 50_000_000, 20_000_000, 8_000.0, 3_000.0, Oil(viscosity_mpa_s=10.0), kind="rod")
    some = (
        rod._replace(clearance_nm=30_000 + 1_000 * at, position=f"Cylinder {at}", within_limits=bool(at % 2))
        for at in range(24)
    )
    (panel,) = films._panels("", fitmatch.film(some).rows, "mm")
    figure = Figure(figsize=(5.2, 3.1), layout="constrained")
    axes = figure.subplots()
    panel.draw(axes)
    FigureCanvasAgg(figure).draw()
    boxes = [Text.get_window_extent(text) for text in axes.texts]
    assert not any(one.overlaps(other) for one, other in combinations(boxes, 2))
    assert all(axes.bbox.x0 <= box.x0 and box.x1 <= axes.bbox.x1 for box in boxes)
    told = [" ".join(text.get_text().split()) for text in axes.texts]
    assert sum(int(text.split()[0]) for text in told) == 24
    assert all(text.endswith("positions some NOT TO BE ASSEMBLED") for text in told)


Point = tuple[float, float]


def crossing(a: Point, b: Point, c: Point, d: Point) -> bool:
    """Whether the stretch from a to b and that from c to d cross; those that only touch do not."""

    def side(p: Point, q: Point, r: Point) -> float:
        return (q[0] - p[0]) * (r[1] - p[1]) - (q[1] - p[1]) * (r[0] - p[0])

    near = 1e-3  # of a square pixel
    one, other = side(a, b, c) * side(a, b, d), side(c, d, a) * side(c, d, b)
    return one < -near and other < -near


def flat(points: list[Point]) -> list[float]:
    """From the left, and upwards."""
    return [x for point in sorted(points, key=lambda at: (round(at[0], 1), at[1])) for x in point]


def test_nothing_in_the_picture_of_a_job_stands_on_anything_else(saved: Path, tmp_path: Path) -> None:
    """Kinds have diagrams of their own, in which each state has a mark of its own, crossed or not, and no name is over
    another, or over the frame: neither short ones nor long ones of which some are not to be assembled. A line leads to
    every point; none crosses another, or a name."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure
    from matplotlib.text import Text

    from fitmatch.report.plots import films

    more = MATERIAL + ROD.replace("rod", "main") + MATERIAL.replace("rod", "main")
    runs = read_bearings(job(saved, tmp_path, ROD + more), Given(None, None, None, {"speed": "900,1800"}))
    found = fitmatch.film(runs.bearings)
    assert films.curves(runs) == 6 <= films.most_curves(runs)

    def renamed(row: Row) -> Row:
        name = f"Cylinder number {row.bearing.position}"
        return row._replace(bearing=row.bearing._replace(position=name, within_limits=not name.endswith("2")))

    for kind, name in (("rod", lambda row: row), ("main", renamed)):
        for panel in films._panels("", [name(row) for row in found.rows if row.bearing.kind == kind], "in"):
            figure = Figure(figsize=(5.2, 3.1), layout="constrained")
            axes = figure.subplots()
            panel.draw(axes)
            FigureCanvasAgg(figure).draw()
            lines = axes.get_lines()
            curves = [line for line in lines if not str(line.get_label()).startswith("_") and line.get_marker() != "x"]
            marks = {(line.get_marker(), line.get_markerfacecolor()) for line in curves}
            assert len(marks) == len(curves) == 6
            seen = [
                (line.get_marker(), line.get_markerfacecolor()) for line in lines for y in line.get_ydata() if y == y
            ]
            assert {seen.count(one) for one in marks} == {5 if kind == "rod" else 6}
            crossed = [x for line in lines if line.get_marker() == "x" for x in line.get_xdata()]
            assert len(crossed) == (0 if kind == "rod" else 6)
            assert any("needs attention" in str(line.get_label()) for line in lines) is (kind == "main")
            boxes = [Text.get_window_extent(text) for text in axes.texts]  # without the lines to their points
            assert len(boxes) >= 3 and not any(one.overlaps(other) for one, other in combinations(boxes, 2))
            assert all(box.y1 <= axes.bbox.y1 and axes.bbox.x0 <= box.x0 and box.x1 <= axes.bbox.x1 for box in boxes)
            leaders = [line.get_transform().transform_path(line.get_path()) for line in lines if line.get_gid()]
            assert not any(path.intersects_bbox(box, filled=False) for path in leaders for box in boxes)
            pieces = [list(pairwise(map(tuple, path.vertices))) for path in leaders]
            assert not any(crossing(*a, *b) for one, other in combinations(pieces, 2) for a in one for b in other)
            points = [tuple(at) for line in lines if (line.get_marker(), line.get_markerfacecolor()) in marks
                      for at in line.get_transform().transform(line.get_xydata()) if at[1] == at[1]]  # fmt: skip
            ends = [tuple(path.vertices[0]) for path in leaders]
            assert flat(ends) == pytest.approx(flat(points), abs=0.01)


@pytest.mark.parametrize(
    ("args", "words"),
    [
        ((*THIN[2:], "--clearance", "0.05"), "add --unit mm or --unit in"),
        (THIN, "--clearance: nothing gives the clearance"),
        ((*THIN, "--clearance", "0"), "not more than zero"),
        ((*THIN, "--clearance", "-0.01"), "not more than zero"),
        ((*THIN, "--clearance", "0.03..0.05"), "has no step"),
        ((*THIN, "--clearance", "0.05..0.03/0.01"), "is empty"),
        ((*THIN, "--clearance", "0.01..1/0.0001"), "at most 1,000"),
        ((*PLAIN, "--clearance", "0.05"), "--viscosity: nothing gives it; a constant viscosity in mPa s"),
        ((*PLAIN[:6], "--speed", "3000", "--viscosity", "10", "--clearance", "0.05"), "--load: nothing gives it"),
        ((*PLAIN[:8], "--viscosity", "10", "--clearance", "0.05"), "--speed: nothing gives it"),
        ((*PLAIN[:4], *PLAIN[6:], "--viscosity", "10", "--clearance", "0.05"), "--width: nothing gives it"),
        ((*HEATED[:-2], "--clearance", "0.05"), "--inlet: nothing gives it"),
        ((*HEATED, "--viscosity", "10", "--clearance", "0.05"), "keep one of them"),
        ((*HEATED, "--oil-table", "40: 90, 100: 9", "--clearance", "0.05"), "--oil-table: of viscosity, oil_table"),
        ((*PLAIN, "--oil-table", "40: 90, 100: 95", "--clearance", "0.05"), "each hotter and thinner"),
        ((*PLAIN, "--oil-table", "40: 90", "--clearance", "0.05"), "two points or more"),
        ((*PLAIN, "--oil-table", "40: 9, 100: 0.2", "--clearance", "0.05"), "at least 0.5 mPa s"),
        ((*PLAIN, "--oil-table", "40 90, 100: 9", "--clearance", "0.05"), "is not C: MPAS"),
        ((*PLAIN, "--oil-table", "40: 90, 100: 9", "--clearance", "0.05"), "--density: nothing gives it"),
        ((*HEATED, "--oil-100", "101", "--clearance", "0.05"), "oil is thinner when it is hot"),
        ((*HEATED, "--inlet", "130", "--clearance", "0.05"), "`130` degrees Celsius is more than 20 K (oil_margin)"),
        ((*HEATED, "--inlet", "130.5", "--clearance", "0.05"), "with oil_margin (--oil-margin) at 31 or more"),
        ((*HEATED, "--inlet", "161", "--clearance", "0.05"), "write viscosities nearer to it in oil_table\n"),
        ((*HEATED, "--density-slope", "-0.65", "--clearance", "0.05"), "`-0.65` is negative; oil becomes lighter as"),
        ((*HEATED, "--density-slope", "6.5", "--clearance", "0.05"), "outside 0 to 2 kg/m3K"),
        ((*THIN, "--heat-capacity", "2100", "--clearance", "0.05"), "--heat-capacity: changes nothing at a constant"),
        ((*THIN, "--speed", "1000..3000/100", "--clearance", "0.05", "--plot", "a.svg"), "21 curves in one diagram"),
        ((*HEATED, "--high-shear", "9", "--clearance", "0.05"), "shearing thins an oil"),
        ((*THIN, "--load", "-1", "--clearance", "0.05"), "`-1` is not more than 0; write more than 0, up to 1e+08 N"),
        ((*THIN, "--load", "much", "--clearance", "0.05"), "is not a number"),
        ((*THIN, "--lands", "1.5", "--clearance", "0.05"), "`1.5` is not a whole number; write 1 to 8 lands"),
        ((*THIN, "--feed-pressure", "0.3", "--clearance", "0.05"), "--lands: a full groove feeds two lands: say lands"),
        ((*THIN, "--lands", "3", "--feed-pressure", "0.3", "--clearance", "0.05"), "a full groove feeds two lands"),
        (("--unit", "mm", "--clearance", "0.05"), "--width: nothing gives it; the width of one land --load: nothing"),
        (("--unit", "mm", "--clearance", "0.05"), "--journal: nothing gives the journal"),
        (("--unit", "mm", "--clearance", "0.05"), "--viscosity: nothing gives it"),
        ((*THIN, "--inlet", "90", "--clearance", "0.05"), "--inlet: changes nothing at a constant viscosity"),
        ((*THIN, "--kind", "rod", "--clearance", "0.05"), "--kind: is about the kinds of a JOB"),
        ((*THIN, "--width", "0.5 m", "--clearance", "0.05"), "unknown unit"),
        ((*THIN, "--width", "400", "--clearance", "0.05"), "times as wide as its journal is thick"),
        ((*THIN, "--speed", "3000..1000/500", "--clearance", "0.05"), "is no sweep; write FROM..TO/STEP in rpm"),
        ((*THIN, "--speed", "1..3000/1", "--clearance", "0.05"), "at most 1,000"),
        ((*THIN, "--speed", "1..900/1", "--clearance", "0.05,0.06"), "more than 1,000 films"),
        ((*THIN, "--load", "8000,9000", "--clearance", "0.05"), "--load: `8000,9000` is not one figure"),
        ((*THIN, "--load", "1..9/1", "--clearance", "0.05"), "--clearance, --speed and --viscosity alone take a list"),
        ((*THIN, "--width", "20,25", "--clearance", "0.05"), "--width: `20,25` is not one figure"),
        ((*THIN, "--speed", "0", "--clearance", "0.05"), "`0` is not more than 0; write more than 0, up to 1e+06 rpm"),
        ((*THIN, "--clearance", "0.03..0.05/1e-7"), "`1e-7` is less than half a nanometre; a step is more than 0"),
        ((*THIN, "--clearance", "1e-7"), "`1e-7` is less than half a nanometre; a clearance is more than 0"),
        ((*PLAIN, "--oil-table", "100: 9.4, 40: 90", "--clearance", "0.05"), "coolest first: 40: 90, 100: 9.4"),
        ((*THIN, "--clearance", "0.05", "--plot", "a.gif"), "not a kind of picture"),
        ((*THIN, "--clearance", "0.05", "--housing-temperature", "100"), "needs the sizes of a JOB"),
        ((*THIN, "--clearance", "0.05", "--json", "--csv"), "cannot be used together"),
    ],
)  # fmt: skip
def test_wrong_options(capsys: pytest.CaptureFixture[str], args: tuple[str, ...], words: str) -> None:
    """A wrong or missing option ends with status 2, says what to write, and prints no answer."""
    ran = Ran(capsys, "film", *args)
    assert (ran.status, ran.out) == (2, "") and " ".join(words.split()) in " ".join(ran.err.split())


@pytest.mark.parametrize(
    ("text", "args", "words"),
    [
        ("", (), "job.toml: film: no kind says how it runs; write [film.rod]"),
        (ROD.replace("load = 9000\n", "").replace("inlet = 90\n", ""), (), "film.rod.load: is missing"),
        (ROD.replace("load = 9000\n", "").replace("inlet = 90\n", ""), (), "film.rod.inlet: is missing"),
        (ROD.replace("9000", '"heavy"'), (), "film.rod.load: is the text `heavy`, not a number"),
        (ROD.replace("9000", "-9000"), (), "film.rod.load: `-9000` is not more than 0"),
        (ROD.replace("width = 0.75", "width = 0.75e3"), (), "film.rod.width: `0.75e3` is"),
        (ROD + "feed_pressure = 0.3\n", (), "film.rod.lands: a full groove feeds two lands"),
        (ROD.replace("inlet", "inlat"), (), "film.rod.inlat: no such key; did you mean `film.rod.inlet`?"),
        (ROD.replace("film.rod", "film.rdo"), (), "there is no [fit.rdo]"),
        (ROD.replace("= 11.2", "= 112"), (), "film.rod.oil_100: is not below oil_40"),
        (ROD + MATERIAL.partition("[")[0], (), "job.toml: material.rod.housing_bore: is missing, and the running"),
        (ROD + "housing_temperature = 110\n", (), "film.rod.journal_temperature: is missing"),
        (ROD + 'oil_table = ["40: 90"]\n', (), "film.rod.oil_table: two points or more"),
        (ROD + "oil_table = [40, 90]\n", (), "film.rod.oil_table: holds the number `40` where a text belongs"),
        (ROD.replace("0.65", "-0.65"), (), "film.rod.density_slope: `-0.65` is negative; oil becomes lighter"),
        (ROD, ("--inlet", "170"), "--inlet: `170` degrees Celsius is more than 20 K"),
        (ROD, ("--viscosity", "9", "--inlet", "90"), "--inlet: changes nothing at a constant viscosity"),
        (ROD, ("--clearance", "0.002"), "the clearance of a JOB is that of each position"),
        (ROD, ("--kind", "main"), "job.toml: film.main: there is no [film.main]; write it with width, load,"),
        (ROD, ("--kind", "main", "--load", "9"), "oil, or give --width, --speed and --viscosity"),
        (ROD, ("--kind", "rdo"), "no position is of kind `rdo`; the nearest is `rod`"),
        (ROD + ROD.replace("rod", "main"), ("--load", "9"), "--load: is about one kind; add --kind rod or --kind main"),
    ],
)  # fmt: skip
def test_wrong_jobs(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path, text: str, args: tuple[str, ...], words: str
) -> None:
    """What [film] lacks or contradicts is refused at its key, each mistake in a line, before any answer."""
    ran = Ran(capsys, "film", job(saved, tmp_path, text), *args)
    assert (ran.status, ran.out) == (2, "") and words in " ".join(ran.err.split())


def test_every_mistake_is_told_at_its_row(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """Mistakes in the tables of two kinds come together, each with its row of job.toml; a missing key with its
    table's."""
    rod = ROD.replace("inlet = 90", "inlet = 150").replace("= 11.2", "= 112").replace("load = 9000\n", "")
    folder = job(saved, tmp_path, rod + ROD.replace("rod", "main").replace("width = 0.75", "width = 30"))
    rows = (folder / "job.toml").read_text().splitlines()
    at = {line: row for row, line in enumerate(rows, 1)}
    ran = Ran(capsys, "film", folder)
    assert (ran.status, ran.out) == (2, "")
    for line, key in (("[film.rod]", "rod.load"), ("oil_100 = 112", "rod.oil_100"), ("inlet = 150", "rod.inlet"),
                      ("width = 30", "main.width")):  # fmt: skip
        assert f"job.toml:{at[line]}: film.{key}: " in ran.err


def test_an_oil_from_options_replaces_that_of_the_table(
    capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path
) -> None:
    """Whichever way the table gives its oil, an option that gives it in another way goes before it."""
    folder = job(saved, tmp_path, ROD + "high_shear = 2.5\n")
    thin = document(capsys, folder, "--viscosity", "5")["rows"]
    assert {row["viscosity_pa_s"] for row in thin} == {0.005} and thin[0]["high_shear_mpa_s"] is None
    by_table = document(capsys, folder, "--oil-table", "40: 90, 100: 9.4")["rows"]
    assert by_table[0]["temperature_rise_k"] > 0 and by_table[0]["high_shear_mpa_s"] is None
    (tmp_path / "thin").mkdir()
    rest = ROD.replace("oil_40 = 100\noil_100 = 11.2\n", "viscosity = 5\n")
    folder = job(saved, tmp_path / "thin", rest)
    heated = document(capsys, folder, "--oil-40", "100", "--oil-100", "11.2")["rows"]
    assert all(row["temperature_rise_k"] > 0 for row in heated)
    ran = Ran(capsys, "film", folder, "--viscosity", "5", "--oil-40", "100", "--oil-100", "11.2")
    assert ran.status == 2 and "more than one is given" in ran.err


def test_without_a_saved_plan(capsys: pytest.CaptureFixture[str], saved: Path, tmp_path: Path) -> None:
    """A job without a saved plan is told how to save one."""
    folder = job(saved, tmp_path)
    (folder / "assignment.json").unlink()
    ran = Ran(capsys, "film", folder)
    assert ran.status == 2 and "assignment.json: there is no assignment.json" in ran.err and "--save" in ran.err


def test_a_missing_extra_is_told(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> None:
    """Without SciPy the command ends with the line that installs it."""
    monkeypatch.setattr("importlib.util.find_spec", lambda name: None)
    ran = Ran(capsys, "film", *THIN, "--clearance", "0.05")
    assert ran.status == 2 and "pip install 'fitmatch[film]'" in ran.err
