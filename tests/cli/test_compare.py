"""`fitmatch compare` on files: every row against `fitmatch assign` on the same files with the change applied, what is
printed, and what is refused."""

import csv
import json
import re
import shutil
from collections.abc import Callable
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from made.commands import Ran
from made.pump_set import written
from oracles.schemas import OF_COMPARED

from fitmatch.fit.solver.stopping import Stop

SAMPLES = Path(__file__).parents[2] / "samples"
FIGURES = (
    *("filled", "below", "shortfall", "above", "excess", "counted", "worst_deviation", "sum_squared_deviation"),
    *("spread", "mean_clearance", "boxes"),
)
Capsys = pytest.CaptureFixture[str]


@pytest.fixture
def job(tmp_path: Path) -> Path:
    """A copy of a sample, to be changed."""
    return shutil.copytree(SAMPLES / "generator-five", tmp_path / "job")


def document(capsys: Capsys, *args: object) -> dict[str, Any]:
    """What `compare --json` prints, which obeys the schema."""
    ran = Ran(capsys, "compare", *args, "--json", "--quiet")
    assert ran.status in (0, 1), ran.err
    found: dict[str, Any] = json.loads(ran.out)
    OF_COMPARED.validate(found)
    return found


def assigned(capsys: Capsys, *args: object) -> dict[str, Any]:
    found: dict[str, Any] = json.loads(Ran(capsys, "assign", *args, "--json", "--quiet").out)
    return found


def figures(values: dict[str, Any]) -> dict[str, Any]:
    return {name: values[name] for name in FIGURES}


def change(path: Path, pattern: str, new: str, count: int = 1) -> None:
    text, changed = re.subn(pattern, new, path.read_text(encoding="utf-8"), count=count, flags=re.MULTILINE)
    assert changed == count, pattern
    path.write_text(text, encoding="utf-8")


@pytest.mark.parametrize("name", [p.name for p in sorted(SAMPLES.iterdir()) if (p / "job.toml").exists()])
def test_plans_are_what_assign_prints(capsys: Capsys, name: str) -> None:
    """Of every sample: each strategy, both baselines, and the chance that all are inside."""
    plans = document(capsys, SAMPLES / name)["plans"]
    strategies = {row["plan"] for row in plans} - {"as-boxed", "by-hand"}
    answers = {one: assigned(capsys, SAMPLES / name, "--strategy", one) for one in strategies}
    for row in plans:
        if row["plan"] not in answers:
            wanted = answers["target"]["baselines"][row["plan"]][row["kind"]]
            assert row["rules_broken"] == wanted["rules_broken"] and row["proven"] is None
        else:
            wanted = answers[row["plan"]]["kinds"][row["kind"]]
            assert row["proven"] is wanted["proven"] is True
            assert row["joint_chance"] == wanted.get("joint_chance")
        assert figures(row) == figures(wanted)


def test_targets_are_what_assign_prints(capsys: Capsys, job: Path) -> None:
    """With the target written into job.toml instead."""
    rows = document(capsys, job, "--kind", "rod", "--targets", "0.0018..0.0026/0.0002")["targets"]
    assert [row["target"] for row in rows] == [0.0018, 0.0020, 0.0022, 0.0024, 0.0026]
    for row in rows:
        change(job / "job.toml", r"^target = 0\.00[\d.]+", f"target = {row['target']:.4f}")
        assert figures(row) == figures(assigned(capsys, job)["kinds"]["rod"]) and row["kind"] == "rod"


def test_rules_are_what_assign_prints(capsys: Capsys, job: Path) -> None:
    """With each rule taken out of job.toml instead."""
    shutil.copytree(job, job.parent / "as it was")
    rows = document(capsys, job, "--rules")["rules"]
    assert {(row["rule"], row["kind"]) for row in rows} == {
        (rule, kind) for rule in ("wall_difference", "thick_half") for kind in ("rod", "main")
    }
    for rule, without in (("wall_difference", 'wall_difference = "off" #'), ("thick_half", "#")):
        shutil.copy(job.parent / "as it was" / "job.toml", job / "job.toml")
        change(job / "job.toml", rf"^{rule}\b", without)
        kinds = assigned(capsys, job)["kinds"]
        for row in rows:
            if row["rule"] == rule:
                assert figures(row) == figures(kinds[row["kind"]])


def test_boxes_are_what_assign_prints(capsys: Capsys, job: Path) -> None:
    """With the files of the other boxes taken away instead."""
    rows = document(capsys, job, "--boxes")["boxes"]
    assert sorted(row["opened"] for row in rows if row["kind"] == "rod") == [
        ["rods-A"], ["rods-A", "rods-B"], ["rods-B"],
    ]  # fmt: skip
    for row in rows:
        left = shutil.copytree(job, job.parent / "-".join(row["opened"]))
        for path in (left / "shells").iterdir():
            if path.stem not in row["opened"] and path.stem.startswith(row["kind"]):
                path.unlink()
        assert figures(row) == figures(assigned(capsys, left)["kinds"][row["kind"]])


def test_a_trade_off_has_two_figures_and_says_that_it_is_proven(capsys: Capsys, job: Path) -> None:
    """Its ends are the best by `keep-sets` or `even`, and by `target`."""
    best = assigned(capsys, job)["kinds"]
    for other, strategy in (("boxes", "keep-sets"), ("spread", "even")):
        rows = document(capsys, job, "--trade-off", f"worst/{other}")["trade_off"]
        named = {"kind", "positions", "filled", "below", "above", "worst_deviation", other, "proven"}
        assert all(set(row) == named and row["proven"] for row in rows)
        assert all(row["filled"] == row["positions"] for row in rows)
        few = assigned(capsys, job, "--strategy", strategy)["kinds"]
        for kind in ("rod", "main"):
            mine = [row for row in rows if row["kind"] == kind]
            assert min(row["worst_deviation"] for row in mine) == best[kind]["worst_deviation"]
            assert min(row[other] for row in mine) == few[kind][other]


@pytest.mark.deep
def test_both_trade_offs_may_be_asked_for(capsys: Capsys, tmp_path: Path) -> None:
    """Each has its own table, in every form."""
    both = ("--trade-off", "worst/boxes", "--trade-off", "worst/spread")
    args = (SAMPLES / "generator-five", "--kind", "rod", *both)
    ran = Ran(capsys, "compare", *args, "--plot", tmp_path / "both.svg")
    picture = (tmp_path / "both.svg").read_text(encoding="utf-8")
    rows = document(capsys, *args)["trade_off"]
    table = list(csv.DictReader(StringIO(Ran(capsys, "compare", *args, "--csv").out)))
    for other in ("boxes", "spread"):
        alone = document(capsys, SAMPLES / "generator-five", "--kind", "rod", "--trade-off", f"worst/{other}")
        assert [row for row in rows if other in row] == alone["trade_off"]
        assert sum(row["against"] == other for row in table) == len(alone["trade_off"])
        assert f"ROD, WORST DEVIATION AGAINST {other.upper()}" in ran.out
        assert f"rod: worst deviation against {other}" in picture


@pytest.mark.deep
def test_each_job_separately(capsys: Capsys, tmp_path: Path, job: Path) -> None:
    """The rows of each are those of the job alone; without the option the jobs are a pool, as `assign` has it."""
    other = shutil.copytree(job, tmp_path / "other")
    change(other / "job.toml", r"^target = 0\.0022", "target = 0.0020")
    apart = document(capsys, job, other, "--separately", "--kind", "rod")
    for name, folder in (("job", job), ("other", other)):
        alone = document(capsys, folder, "--kind", "rod")["plans"]
        assert [{k: v for k, v in row.items() if k != "job"} for row in apart["plans"] if row["job"] == name] == alone
    assert [basis["job"] for basis in apart["basis"]] == ["job", "other"] and apart["digest"] is None
    for folder in (job, other):
        for kind in ("rod", "main"):
            change(folder / "job.toml", rf"^\[fit\.{kind}\]", f'[fit.{kind}]\nfamily = ["{kind}"]')
        for path in (folder / "shells").iterdir():
            lines = path.read_text(encoding="utf-8").splitlines()
            kind = "rod" if path.stem.startswith("rod") else "main"
            path.write_text("\n".join([f"{lines[0]},family", *(f"{line},{kind}" for line in lines[1:])]) + "\n")
    pool = document(capsys, job, other)
    wanted = assigned(capsys, job, other)
    for row in pool["plans"]:
        if row["plan"] == "target":
            assert figures(row) == figures(wanted["kinds"][row["kind"]])


def test_a_trade_off_among_plans_that_are_not_whole_says_so(capsys: Capsys) -> None:
    """How many are filled and how many outside stands in its rows, where not all are inside."""
    for sample, told in (("short-of-shells", True), ("generator-five", False)):
        out = Ran(capsys, "compare", SAMPLES / sample, "--kind", "rod", "--trade-off", "worst/boxes").out
        head = out.partition("AGAINST BOXES")[2].splitlines()[1]
        assert ("filled" in head and "below" in head) is told


def test_one_kind_alone_is_answered_for_itself(capsys: Capsys, job: Path) -> None:
    """With --kind the rows are those of the whole comparison, and nothing of another kind needs attention."""
    whole = document(capsys, job, "--boxes")
    change(job / "shells" / "mains-C.csv", r"^C1,main,upper,.*", "C1,main,upper,")
    change(job / "positions.csv", r"^(M1,main),[\d.]+,[\d.]+", r"\1,,")
    part = document(capsys, job, "--boxes", "--kind", "rod")
    for table in ("plans", "boxes"):
        assert part[table] == [row for row in whole[table] if row["kind"] == "rod"]
    assert Ran(capsys, "compare", job, "--kind", "rod").status == 0
    assert Ran(capsys, "compare", job).status == 1


def test_readings_in_a_long_file_are_of_their_kind(capsys: Capsys, tmp_path: Path) -> None:
    """Where kinds are answered apart, with --kind or as only one of them has limits, readings go with their own."""
    job = shutil.copytree(SAMPLES / "metrology-bench", tmp_path / "job")
    change(job / "positions.csv", r"^M3,main", "M3,thrust")
    tables = re.findall(
        r"^\[(fit|measured|material)\.main\]\n((?:[^\[\n].*\n|\n)*)", (job / "job.toml").read_text(), re.M
    )
    text = (job / "job.toml").read_text(encoding="utf-8")
    for name, body in tables:
        text += f"\n[{name}.thrust]\n{body if name != 'fit' else 'target = 0.045'}\n"
    (job / "job.toml").write_text(text, encoding="utf-8")
    whole = document(capsys, job)
    assert [row["plan"] for row in whole["plans"] if row["kind"] == "thrust"] == [
        "target", "keep-sets", "as-boxed", "by-hand",
    ]  # fmt: skip
    for kind in ("main", "thrust"):
        alone = document(capsys, job, "--kind", kind)["plans"]
        assert alone == [row for row in whole["plans"] if row["kind"] == kind]
    assert "even needs min and max at every position: left out for thrust." in Ran(capsys, "compare", job).out


def test_a_job_without_the_kind_has_no_rows(capsys: Capsys, tmp_path: Path, job: Path) -> None:
    """Where each job is answered separately, one may lack the kind."""
    apart = document(capsys, job, SAMPLES / "metrology-bench", "--separately", "--kind", "rod")
    assert {row["job"] for row in apart["plans"]} == {"job"}


def film_job(job: Path, more: str = "") -> Path:
    """The sample with what is needed for films of its rods."""
    with (job / "job.toml").open("a", encoding="utf-8") as file:
        file.write(
            "\n[film.rod]\nwidth = 0.75\nload = 9000\nspeed = 1800\noil_40 = 100\noil_100 = 11.2\ndensity = 875\n"
            f"density_slope = 0.65\nheat_capacity = 2100\ninlet = 90\n{more}"
        )
    return job


FILM = (
    *("min_film_thickness_um", "edge_film_thickness_um", "friction_power_w", "side_flow_mm3_s", "feed_flow_mm3_s"),
    *("temperature_rise_k", "effective_temperature_c"),
)


def test_films_are_what_film_prints(capsys: Capsys, job: Path) -> None:
    """Of each strategy: the films of the plan that `assign --save` writes, their least, sums and largest; kinds
    without a table have none and are named."""
    found = document(capsys, film_job(job, "lands = 2\nfeed_pressure = 0.3\nslope = 0.0001\n"), "--film")
    for strategy in ("target", "even", "keep-sets"):
        Ran(capsys, "assign", job, "--strategy", strategy, "--save", "--force")
        wanted = json.loads(Ran(capsys, "film", job, "--json").out)["rows"]
        films = [row for row in found["films"] if row["plan"] == strategy]
        for film, same in zip(films, wanted, strict=True):
            for name, value in same.items():
                close = pytest.approx(value, rel=1e-5) if isinstance(value, float) else value
                assert film[name] == close, name  # the last digit depends on what was solved before
        (plan,) = (row for row in found["plans"] if (row["plan"], row["kind"]) == (strategy, "rod"))
        least = min(wanted, key=lambda row: row["edge_film_thickness_um"])
        assert plan["thinnest_at"] == least["position"] and plan["film_cautions"] == []
        for name, of in zip(FILM, (min, min, sum, sum, sum, max, max), strict=True):
            assert plan[name] == pytest.approx(of(row[name] for row in wanted), rel=1e-5)
    assert {row["kind"] for row in found["films"]} == {"rod"} and "certifies none" in found["caution"]
    assert all(row[name] is None for row in found["plans"] if row["kind"] == "main" for name in FILM)
    ran = Ran(capsys, "compare", job, "--film")
    told = " ".join(ran.out.split())
    assert ran.status == 0 and "ROD, OIL FILMS AT THE CALCULATED CLEARANCES:" in told and "at the" in told
    for words in ("there is no [film] table for it: main.", "9000 N in all", "2100 J/kgK", "certifies none"):
        assert words in told
    assert max(map(len, ran.out.splitlines())) <= 100


def test_films_in_csv_and_pictures(capsys: Capsys, tmp_path: Path, job: Path) -> None:
    """The figures beside the others in CSV and in the picture; nowhere without --film."""
    plain = Ran(capsys, "compare", job, "--csv").out
    assert Ran(capsys, "compare", film_job(job), "--csv").out == plain and "film" not in plain
    picture = tmp_path / "films.svg"
    ran = Ran(capsys, "compare", job, "--film", "--csv", "--plot", picture)
    plans = document(capsys, job, "--film")["plans"]
    rows = [row for row in csv.DictReader(StringIO(ran.out)) if row["table"] == "plans"]
    drawn = " ".join(re.findall(r">([^<>]+)</t(?:ext|span)>", picture.read_text(encoding="utf-8")))
    for row, plan in zip(rows, plans, strict=True):
        for name in FILM:
            assert row[name] == ("" if plan[name] is None else f"{plan[name]:.7g}")
        assert row["thinnest_at"] == (plan["thinnest_at"] or "")
        if plan["kind"] == "rod":
            warm = re.findall(rf"{plan['min_film_thickness_um']:.2f} at {plan['thinnest_at']}, (\S+) °C, \d+ W", drawn)
            assert any(float(at) == pytest.approx(plan["effective_temperature_c"], abs=0.051) for at in warm)
    assert "no [film] table for it: main." in drawn and "certifies none" in drawn and "2100 J/kgK" in drawn


def test_a_picture_tells_which_films_need_attention(capsys: Capsys, tmp_path: Path, job: Path) -> None:
    """Over a slope that leaves no film at the tighter end, no plan looks good or has a thickness, and the caution is
    told; nor has the table a negative one."""
    picture = tmp_path / "films.svg"
    args = ("--kind", "rod", "--film", "--plot", picture)
    ran = Ran(capsys, "compare", film_job(job, "slope = 0.001\n"), *args)
    text = " ".join(re.findall(r">([^<>]+)</t(?:ext|span)>", picture.read_text()))
    assert ran.status == 1 and "NEEDS ATTENTION (x): " in text and "no thickness left" in text
    assert set(re.findall(r"(\S+ \S+) at R\d, ", text)) == {"x -"}
    assert not re.search(r" -\d", ran.out)


def test_films_outside_their_limits_are_not_to_be_assembled(capsys: Capsys, tmp_path: Path, job: Path) -> None:
    """Of a plan that leaves positions outside, the films are marked in text, picture, JSON and CSV."""
    change(film_job(job) / "job.toml", r"^min    = 0.0016", "min    = 0.0022")
    change(job / "job.toml", r"^target = 0.0022", "target = 0.0024")
    picture = tmp_path / "films.svg"
    found = json.loads(Ran(capsys, "compare", job, "--film", "--kind", "rod", "--json").out)
    OF_COMPARED.validate(found)
    ran = Ran(capsys, "compare", job, "--film", "--kind", "rod", "--plot", picture)
    cells = csv.DictReader(StringIO(Ran(capsys, "compare", job, "--film", "--kind", "rod", "--csv").out))
    rows = {row["plan"]: row for row in cells if row["table"] == "plans"}
    some = False
    for plan in found["plans"]:
        films = [film for film in found["films"] if film["plan"] == plan["plan"]]
        outside = [film["position"] for film in films if film["remark"] == "NOT TO BE ASSEMBLED"]
        some |= bool(outside)
        assert plan["film_outside"] == outside == [film["position"] for film in films if not film["within_limits"]]
        assert len(outside) == plan["below"] + plan["above"]
        assert rows[plan["plan"]]["film_outside"] == ", ".join(outside)
        assert "certifies none" in rows[plan["plan"]]["caution"]
        if plan["thinnest_at"] in outside:
            assert re.search(rf"^{plan['plan']} .* {plan['thinnest_at']}, NOT TO BE ASSEMBLED ", ran.out, re.MULTILINE)
    told = "NOT TO BE ASSEMBLED, outside the limits of clearance: "
    assert some and told in " ".join(ran.out.split()) and told in " ".join(picture.read_text().split())


def test_a_plan_whose_films_are_not_all_known_has_no_figures(capsys: Capsys, job: Path) -> None:
    """The known ones alone would make it look better; which are not is told, with status 1."""
    film_job(job)
    change(job / "job.toml", r"^load = 9000", "load = 9e6")
    ran = Ran(capsys, "compare", job, "--film", "--kind", "rod", "--json")
    found = json.loads(ran.out)
    OF_COMPARED.validate(found)
    assert ran.status == 1
    for plan in found["plans"]:
        assert [plan[name] for name in FILM] == [None] * len(FILM) and plan["film_cautions"]
    out = " ".join(Ran(capsys, "compare", job, "--film", "--kind", "rod").out.split())
    assert "NEEDS ATTENTION target: R1, R2, R3, R4 and R5; even:" in out


@pytest.mark.deep
def test_films_of_several_jobs(capsys: Capsys, tmp_path: Path, job: Path) -> None:
    """Separately each has the films that it has alone; a mistake in one of them is named with its job."""
    other = shutil.copytree(film_job(job), tmp_path / "other")
    change(other / "job.toml", r"^speed = 1800", "speed = 3000")
    apart = document(capsys, job, other, "--separately", "--kind", "rod", "--film")
    for name, folder in (("job", job), ("other", other)):
        alone = document(capsys, folder, "--kind", "rod", "--film")
        for table in ("plans", "films"):
            mine = [row for row in apart[table] if row["job"] == name]
            assert [{k: v for k, v in row.items() if k != "job"} for row in mine] == alone[table]
    change(other / "job.toml", r"^load = 9000", "load = 9e6")
    out = Ran(capsys, "compare", job, other, "--separately", "--kind", "rod", "--film").out
    assert "NEEDS ATTENTION target: other/R1, other/R2, other/R3" in " ".join(out.split())
    change(other / "job.toml", r"^speed = 3000", "")
    ran = Ran(capsys, "compare", job, other, "--separately", "--film")
    assert (ran.status, ran.out) == (2, "") and re.search(
        r"other/job\.toml:\d+: film\.rod\.speed: is missing; the speed", ran.err
    )


@pytest.mark.parametrize(
    ("more", "args", "told"),
    [
        (None, (), "job.toml: film: no kind says how it runs; write [film.rod] with width, load, speed and oil"),
        ("", ("--kind", "main"), "no kind says how it runs; write [film.main] with"),
        ("viscosity = 9\n", (), "film.rod.viscosity: of viscosity, oil_table"),
        ("housing_temperature = 110\n", (), "film.rod.journal_temperature: is missing"),
    ],
)
def test_films_that_cannot_be(capsys: Capsys, job: Path, more: str | None, args: tuple[str, ...], told: str) -> None:
    """What [film] lacks or contradicts ends with 2 before anything is solved."""
    ran = Ran(capsys, "compare", job if more is None else film_job(job, more), "--film", *args)
    assert (ran.status, ran.out) == (2, "") and told in " ".join(ran.err.split())


def test_films_need_their_extra(capsys: Capsys, job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Without SciPy --film ends with the line that installs it."""
    monkeypatch.setattr("importlib.util.find_spec", lambda _name: None)
    ran = Ran(capsys, "compare", film_job(job), "--film")
    assert (ran.status, ran.out) == (2, "") and "pip install 'fitmatch[film]'" in ran.err


def test_csv_has_every_table(capsys: Capsys, job: Path) -> None:
    """Each row names its table; the clearances of the target plan are there for those who draw them."""
    ran = Ran(capsys, "compare", job, "--kind", "rod", "--targets", "0.0020, 0.0022", "--rules", "--boxes", "--csv")
    rows = list(csv.DictReader(StringIO(ran.out)))
    tables = [row["table"] for row in rows]
    assert {name: tables.count(name) for name in dict.fromkeys(tables)} == {
        "clearances": 5, "plans": 5, "targets": 2, "rules": 2, "boxes": 3,
    }  # fmt: skip
    positions = {p["position"]: p for p in assigned(capsys, job)["positions"]}
    drawn = ("clearance", "target", "limit_low", "limit_high")
    for row in rows[:5]:
        wanted = positions[row["position"]]
        assert [float(row[f"{name} [in]"]) for name in drawn] == [wanted[name] for name in drawn]
    assert [row["target [in]"] for row in rows if row["table"] == "targets"] == ["0.002", "0.0022"]


@pytest.mark.parametrize("columns", ["80", "100", "120"])
@pytest.mark.parametrize("name", [p.name for p in sorted(SAMPLES.iterdir()) if (p / "job.toml").exists()])
def test_the_report_is_one_screen(capsys: Capsys, monkeypatch: pytest.MonkeyPatch, name: str, columns: str) -> None:
    """At most 45 lines for a job of up to 13 positions, none wider than the terminal, with all it rests on."""
    monkeypatch.setenv("COLUMNS", columns)
    ran = Ran(capsys, "compare", SAMPLES / name, "--quiet")
    lines = ran.out.splitlines()
    assert len(lines) <= 45 and max(map(len, lines)) <= int(columns)
    text = " ".join(ran.out.split())
    for part in ("Limits from", "Temperature:", "U of a clearance", "Decision rule:", "Inputs' digest:"):
        assert part in text


def test_what_the_limits_come_from_is_told(capsys: Capsys, job: Path) -> None:
    """limits_from of each kind, in the report and in JSON."""
    change(
        job / "job.toml",
        r"^max    = 0\.0030.*\n\n\[fit\.main\]",
        'max = 0.0030\nlimits_from = "manual, p. 12"\n[fit.main]',
    )
    told = " ".join(Ran(capsys, "compare", job).out.split())
    assert "Limits from manual, p. 12 (rod); not written for main." in told
    assert document(capsys, job)["basis"][0]["limits_from"] == {"rod": "manual, p. 12", "main": None}


def test_it_says_which_rows_are_equal_and_what_a_rule_costs(capsys: Capsys, job: Path) -> None:
    """In words, below or beside the tables."""
    out = " ".join(Ran(capsys, "compare", SAMPLES / "metrology-bench").out.split())
    assert "One and the same plan: target, keep-sets and by-hand. Equal within measurement: target, even," in out
    plans = {row["plan"]: row for row in document(capsys, SAMPLES / "metrology-bench")["plans"]}
    assert plans["target"]["same"] == ["keep-sets", "by-hand"] and plans["even"]["same"] == []
    assert plans["target"]["equal"] == ["even", "keep-sets", "by-hand"]
    out = " ".join(Ran(capsys, "compare", SAMPLES / "vee-eight").out.split())
    assert "One and the same plan: target, even and keep-sets." in out
    change(job / "job.toml", r'"0\.6 thou" ', '"0.1 tenths" ')
    out = Ran(capsys, "compare", job, "--rules", "--kind", "rod").out
    assert re.search(r"^wall_difference +5 .* 1 inside$", out, re.MULTILINE)
    assert re.search(r"^thick_half +4 .* nothing$", out, re.MULTILINE)


@pytest.fixture
def other(job: Path, tmp_path: Path) -> Path:
    """The same job with another rod."""
    other = shutil.copytree(job, tmp_path / "other")
    change(other / "positions.csv", r"^(R1,rod,[\d.]+,[\d.]+),[\d.]+", r"\1,2.3757")
    return other


def test_jobs_answered_separately_stand_side_by_side(capsys: Capsys, job: Path, other: Path) -> None:
    """A table for each kind at the top, a row for each job with the figures of its own plan."""
    out = Ran(capsys, "compare", job, other, "--separately").out
    head, _, rest = out.partition("\nJOB, ROD: target")
    assert re.search(r"^ROD, JOBS SIDE BY SIDE, by strategy target:\n(.*\n){3}job +5 .*\nother +", head, re.MULTILINE)
    heads = re.findall(r"^[A-Z, ]+(?=: target)", f"JOB, ROD: target{rest}", re.MULTILINE)
    assert heads == ["JOB, ROD", "JOB AND OTHER, MAIN", "OTHER, ROD"]
    for name, folder in (("job", job), ("other", other)):
        row = document(capsys, folder, "--kind", "rod")["plans"][0]
        (line,) = re.findall(rf"^{name} +[45] .*$", head, re.MULTILINE)
        assert row["plan"] == "target" and f" {row['worst_deviation'] * 10_000:.1f} " in line
        assert line.endswith(f" {row['leftover_sets']}")


@pytest.mark.deep
def test_what_jobs_have_in_common_is_told_once(capsys: Capsys, tmp_path: Path, job: Path, other: Path) -> None:
    """A kind in which they have the same positions and the same answer, in tables and in the picture; not where a
    reading differs."""
    args = ("compare", job, other, "--separately", "--kind", "main")
    ran = Ran(capsys, *args, "--plot", tmp_path / "both.svg")
    assert re.search(
        r"^MAIN, JOBS SIDE BY SIDE, by strategy target:\n(.*\n){3}job and other +6 ", ran.out, re.MULTILINE
    )
    drawn = (tmp_path / "both.svg").read_text(encoding="utf-8")
    assert "main: jobs side by side" in drawn and drawn.count(", main: clearances") == 1
    assert len([row for row in document(capsys, *args[1:])["plans"] if row["plan"] == "target"]) == 2
    change(other / "positions.csv", r"^(M1,main,[\d.]+,[\d.]+),[\d.]+", r"\1,2.9514")
    assert "job and other" not in Ran(capsys, *args).out


def test_another_strategy_may_be_shown(capsys: Capsys, tmp_path: Path, job: Path) -> None:
    """Side by side, in the clearances and in the picture; refused where it cannot be."""
    other = shutil.copytree(job, tmp_path / "other")
    args = ("compare", job, other, "--separately", "--kind", "rod", "--strategy", "keep-sets")
    ran = Ran(capsys, *args, "--plot", tmp_path / "a.svg")
    plans = {row["plan"]: row for row in document(capsys, job, "--kind", "rod")["plans"]}
    assert plans["keep-sets"]["boxes"] == 1 < plans["target"]["boxes"]
    assert re.search(r"by strategy keep-sets:\n(.*\n){3}job and other +5 .* 1 +5\n", ran.out)
    assert "rod: clearances by strategy keep-sets" in (tmp_path / "a.svg").read_text(encoding="utf-8")
    rows = list(csv.DictReader(StringIO(Ran(capsys, *args, "--csv").out)))
    placed = {p["position"]: p for p in assigned(capsys, job, "--strategy", "keep-sets")["positions"]}
    drawn = [row for row in rows if row["table"] == "clearances"]
    assert {row["plan"] for row in drawn} == {"keep-sets"} and len(drawn) == 10
    assert all(float(row["clearance [in]"]) == placed[row["position"]]["clearance"] for row in drawn)
    change(job / "job.toml", r"^max +=", "# max =")
    ran = Ran(capsys, "compare", job, "--strategy", "even")
    assert (ran.status, ran.out) == (2, "") and "even needs min and max at every position; `rod` lacks them" in ran.err
    change(job / "job.toml", r"^min +=", "# min =", count=2)
    ran = Ran(capsys, "compare", job, "--strategy", "even")
    assert "`rod` and `main` lack them: write" in " ".join(ran.err.split())


def test_a_target_that_leaves_a_position_outside_says_so(capsys: Capsys, job: Path) -> None:
    """Where no target brings all inside, the positions are named beside what these shells serve best, in every form."""
    args = ("--kind", "rod", "--targets", "0.0020, 0.0022")
    assert "no target brings all" not in Ran(capsys, "compare", job, *args).out
    change(job / "positions.csv", r"^(R2,rod,[\d.]+,[\d.]+),[\d.]+", r"\1,2.3800")
    told = " ".join(Ran(capsys, "compare", job, *args).out.split())
    assert re.search(
        r"serve 0\.\d+ in best\. NEEDS ATTENTION: no target brings all positions inside their limits: R2 not at", told
    )
    assert [row["outside"] for row in document(capsys, job, *args)["targets"]] == [["R2"], ["R2"]]
    rows = csv.DictReader(StringIO(Ran(capsys, "compare", job, *args, "--csv").out))
    assert [row["outside"] for row in rows if row["table"] == "targets"] == ["R2", "R2"]


def test_a_target_at_a_limit_is_not_called_safe(capsys: Capsys, tmp_path: Path) -> None:
    """With the gauges known each target has its chance, as `assign` has it; where the best one puts clearances within U
    of a limit that is told beside it, in the picture too."""
    job = shutil.copytree(SAMPLES / "metrology-bench", tmp_path / "job")
    whole = assigned(capsys, job)
    high = max(p["clearance"] for p in whole["positions"])
    change(job / "job.toml", r"^max +=.*", f"max = {high}")
    args = (job, "--targets", f"0.0350, {high}")
    ran = Ran(capsys, "compare", *args, "--plot", tmp_path / "a.svg")
    rows = document(capsys, *args)["targets"]
    table = [row for row in csv.DictReader(StringIO(Ran(capsys, "compare", *args, "--csv").out)) if row["best"]]
    for row, cells in zip(rows, table, strict=True):
        change(job / "job.toml", r"^target = [\d.]+", f"target = {row['target']}")
        plan = assigned(capsys, job)
        assert row["joint_chance"] == plan["kinds"]["main"]["joint_chance"] == float(cells["joint_chance"])
        for end, by in (("max", "clearance"), ("min", "clearance_tightest")):
            near = [p for p in plan["positions"] if abs(p[by] - p[end]) < p["uncertainty"]["expanded"]]
            assert row[f"near_{end}"] == len(near) == int(cells[f"near_{end}"])
    (best,) = (row for row in rows if row["best"])
    assert best["near_max"] and best["joint_chance"] < 0.95
    told = f"{best['near_max']} of {best['positions']} lie within U of max; the chance that all are inside is "
    assert f"{told}{best['joint_chance']:.4f}" in " ".join(ran.out.split())
    head = ran.out.partition("BY TARGET")[2].partition("-----")[0]
    assert "chance" in head and "Aimed most exactly, not safest: at" in ran.out
    picture = (tmp_path / "a.svg").read_text(encoding="utf-8")
    assert told in " ".join(picture.split()) and f"chance inside {best['joint_chance']:.2f}" in picture


def test_of_many_boxes_a_row_names_those_left_out(capsys: Capsys, tmp_path: Path) -> None:
    """The list of all others would fill the page; with a few boxes those opened are named."""
    halves = [f"{half[0]}{n},rod,{half},0.06{190 + n}" for half in ("upper", "lower") for n in (1, 2)]
    folder = written(tmp_path / "job", shells="\n".join(["shell,kind,half,wall", *halves]) + "\n")
    for n in range(2, 11):
        more = [f"{row}{n}" for row in halves]  # no two boxes read alike
        (folder / "shells" / f"box-{n}.csv").write_text("\n".join(["shell,kind,half,wall", *more]) + "\n")
    out = Ran(capsys, "compare", folder, "--boxes").out
    assert "ROD, IF ALL BUT THESE BOXES HAD BEEN OPENED:" in out
    assert len(re.findall(r"^without box-\d+ +2 ", out, re.MULTILINE)) == 10
    assert len(re.findall(r"^without box-\d+ and box-\d+ +2 ", out, re.MULTILINE)) == 1
    rows = document(capsys, folder, "--boxes")["boxes"]
    assert all(sorted(row["opened"] + row["without"]) == sorted(f"box-{n}" for n in range(1, 11)) for row in rows)


def test_needing_attention_is_told_and_ends_with_1(capsys: Capsys) -> None:
    """As `assign` ends; the report says where to look."""
    ran = Ran(capsys, "compare", SAMPLES / "short-of-shells")
    assert ran.status == 1 and "NEEDS ATTENTION" in ran.out and "`fitmatch assign`" in ran.out
    assert Ran(capsys, "compare", SAMPLES / "generator-five").status == 0


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (("--targets", "0.0018..0.0028"), "`0.0018..0.0028` has no step; write `0.0018..0.0028/` and how far apart"),
        (("--targets", "0.0028..0.0018/0.0001"), "is empty, as 0.0028 is above 0.0018; write the smaller one first"),
        (("--targets", "0.0018..0.0028/0"), "`0` is not more than zero; a step is more than 0, up to 2 mm"),
        (
            ("--targets", "0.045 mm..0.070 mm/0.025 um"),
            "are 1,001 points; at most 1,000 are taken; write a larger",
        ),
        (("--targets", "0.0018..0.0028/0.0000001"), "are 10,001 points; at most"),
        (("--targets", "0.002,,0.0022"), "is empty; write a number"),
        (("--targets", "2.2"), "`2.2` is 55.88 mm, and a target clearance is more than 0, up to 2 mm"),
        (("--targets", "0.0022"), "the kinds `rod` and `main` have other targets or limits; say which is meant with"),
        (("--targets", "0.0012", "--kind", "rod"), "0.00120 in is outside the limits of R1, 0.00160 in to 0.00300 in"),
        (("--kind", "cam"), "there is no kind `cam`; choose `rod` or `main`"),
        (("--trade-off", "worst/cost"), "'worst/cost' is not one of"),
        (("--separately",), "--separately is about several jobs, but only one was given; leave it out"),
        (("--json", "--csv"), "--json and --csv cannot be used together; choose one"),
        (("--time-limit", "0"), "`0` is not a number of seconds above 0, such as 30"),
    ],
)
def test_what_is_refused(capsys: Capsys, args: tuple[str, ...], told: str) -> None:
    """Exit 2 with what to write instead, and nothing on standard output."""
    ran = Ran(capsys, "compare", SAMPLES / "generator-five", *args)
    assert (ran.status, ran.out) == (2, "") and told in " ".join(ran.err.split())


def test_a_job_twice_is_refused(capsys: Capsys) -> None:
    """Named twice, separately as in a pool."""
    sample = SAMPLES / "generator-five"
    for more in ((), ("--separately",)):
        ran = Ran(capsys, "compare", sample, sample, *more)
        assert (ran.status, ran.out) == (2, "") and "name each job once" in ran.err


def test_sweeps_take_units_of_their_own(capsys: Capsys) -> None:
    """A list and a sweep may mix units; a sweep that does not end on a step ends before; repeats count once."""

    def found(text: str) -> list[float]:
        rows = document(capsys, SAMPLES / "generator-five", "--kind", "rod", "--targets", text)["targets"]
        return [row["target"] for row in rows]

    assert found("2.0 thou .. 0.00225/1 tenths") == [0.0020, 0.0021, 0.0022]
    # This step is 63.5 nm: the end is reached all the same.
    assert found("0.002..0.00202/0.0000025")[-1] == 0.00202
    assert found("0.0020, 0.0508 mm, 22 tenths") == [0.0020, 0.0022]


def test_a_time_limit_leaves_rows_that_say_so(capsys: Capsys, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit 1; what was not proven is marked in every form."""
    monkeypatch.setattr("fitmatch.cli.shared.solving.STARTED", 0.0)  # long ago
    args = ("compare", SAMPLES / "generator-five", "--boxes", "--time-limit", "0.001", "--quiet")
    text, data = Ran(capsys, *args), Ran(capsys, *args, "--json")
    assert text.status == data.status == 1
    assert "NOT PROVEN, a better choice may exist: target" in text.out and "time ran out" in text.out
    found = json.loads(data.out)
    OF_COMPARED.validate(found)
    assert (found["status"], found["complete"], found["boxes"]) == ("unproven", False, [])


def test_ctrl_c_prints_what_was_found(capsys: Capsys, monkeypatch: pytest.MonkeyPatch) -> None:
    """Exit 130, with the plans by hand in place of what was not proven."""
    stop = Stop()
    stop.request()
    monkeypatch.setattr("fitmatch.cli.study.compare.stop_after", lambda _seconds: stop)
    ran = Ran(capsys, "compare", SAMPLES / "generator-five")
    assert ran.status == 130 and "NOT PROVEN" in ran.out


@pytest.mark.deep
def test_the_same_files_give_the_same_output(capsys: Capsys) -> None:
    """Byte for byte, in every form."""
    for form in (("--trade-off", "worst/spread"), ("--json", "--rules"), ("--csv", "--boxes")):
        args = ("compare", SAMPLES / "vee-eight", "--kind", "rod", *form)
        assert Ran(capsys, *args).out == Ran(capsys, *args).out


def test_progress_tells_what_is_left(capsys: Capsys) -> None:
    """Each further table counts its questions."""
    from fitmatch import stages
    from fitmatch.study.comparison import boxes, let_go, targets, trade_off

    told: list[str] = []
    heard: Callable[[str], None] = told.append
    for module in (boxes, let_go, targets, trade_off):
        assert module.now is stages.now
    stages.listen(heard)
    try:
        Ran(capsys, "compare", SAMPLES / "generator-five", "--kind", "rod", "--targets", "0.002,0.0022", "--boxes")
    finally:
        stages.listen(None)
    assert {"rod: target 1 of 2", "rod: target 2 of 2", "rod: boxes, choice 3 of 3"} <= set(told)
