"""`fitmatch assign` with several job folders: what is read, refused, printed and saved."""

import csv
import json
from io import StringIO
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import put
from oracles.schemas import VALIDATOR

import fitmatch
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.saved.saved_plan import read_saved_plan
from fitmatch.records.parts import SIDES

FIRST = """\
title = "Saw engine"
unit = "in"
[sources]
shared = ["../boxes/*.csv"]
[fit.rod]
target = 0.0022
min = 0.0018
max = 0.0026
family = ["Narrow-2"]
"""
OTHER = """\
title = "Spare engine"
unit = "mm"
[sources]
shared = ["../boxes/*.csv"]
[fit.rod]
target = 0.056
min = 0.046
max = 0.066
family = ["Narrow-2"]
[fit.main]
target = 0.056
family = ["main-5"]
[rules]
match = ["finish"]
"""
BOX = """\
shell,kind,half,wall [in],family,finish
01,rod,upper,0.06185,Narrow-2,g
02,rod,upper,0.0618,Narrow-2,
03,rod,lower,0.0619,Narrow-2,
04,rod,lower,0.0618,Narrow-2,g
05,rod,upper,0.0617,Narrow-2,
06,rod,lower,0.0617,Narrow-2,
"""
OWN = """\
shell,kind,half,wall,family
11,rod,upper,1.571,Narrow-2
12,rod,lower,1.570,Narrow-2
21,main,upper,1.571,main-5
22,main,lower,1.570,main-5
"""


@pytest.fixture
def yard(tmp_path: Path) -> Path:
    """Two engines, in inches and millimetres, that share a box; the second has a box of its own as well."""
    put(tmp_path / "saw" / "job.toml", FIRST)
    put(
        tmp_path / "saw" / "positions.csv",
        "position,kind,journal,housing_bore\nR1,rod,1.8162,1.9421\nR2,rod,1.8161,1.9421\n",
    )
    put(tmp_path / "spare" / "job.toml", OTHER)
    put(
        tmp_path / "spare" / "positions.csv",
        "position,kind,journal,housing_bore,finish\nR1,rod,46.131,49.329,g\nR2,rod,46.133,49.329,\nM1,main,50,53.2,\n",
    )
    put(tmp_path / "spare" / "shells" / "own.csv", OWN)
    put(tmp_path / "boxes" / "b1.csv", BOX)
    return tmp_path


def change(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


def refused(yard: Path, *names: str) -> list[str]:
    try:
        read_jobs([yard / name for name in names or ("saw", "spare")])
    except fitmatch.InputError as error:
        return [str(problem) for problem in error.problems]
    return []


def test_one_document_for_all(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Each position has its job, the unit is the first job's, each job obeys its own rules, the schema holds."""
    ran = Ran(capsys, "assign", yard / "saw", yard / "spare", "--json")
    found = json.loads(ran.out)
    VALIDATOR.validate(found)
    assert (ran.status, found["status"], found["unit"], found["priority"]) == (0, "proven", "in", "together")
    assert [(p["job"], p["position"]) for p in found["positions"]] == [
        ("saw", "R1"), ("saw", "R2"), ("spare", "R1"), ("spare", "R2"), ("spare", "M1"),
    ]  # fmt: skip
    assert found["complete"] == ["saw", "spare"]
    assert [(j["job"], j["complete_kinds"]) for j in found["jobs"]] == [("saw", ["rod"]), ("spare", ["rod", "main"])]
    assert found["kinds"]["rod"]["jobs"] == ["saw", "spare"] and found["kinds"]["rod"]["complete"] == 2
    used = [p[half]["box"] + p[half]["shell"] for p in found["positions"] for half in ("upper", "lower")]
    assert len(used) == len(set(used)) == 10 and found["leftover"] == []
    # Only these two are ground, and the second engine alone asks for it.
    assert [found["positions"][2][half]["shell"] for half in ("upper", "lower")] == ["01", "04"]
    assert max(j["kinds"]["rod"]["spread"] for j in found["jobs"]) == found["kinds"]["rod"]["spread"]


def test_in_order_serves_the_first_engine_best(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With --priority in-order the first engine has no worse figures than together, and the other takes the rest."""
    worst = {}
    for priority in ("together", "in-order"):
        ran = Ran(capsys, "assign", yard / "saw", yard / "spare", "--json", "--priority", priority)
        found = json.loads(ran.out)
        VALIDATOR.validate(found)
        assert found["priority"] == priority
        worst[priority] = found["jobs"][0]["kinds"]["rod"]["worst_deviation"]
        if priority == "in-order":
            assert ran.status == 1 and found["complete"] == ["saw"]
            assert [(u["job"], u["position"]) for u in found["unfilled"]] == [("spare", "R1")]
    assert worst["in-order"] < worst["together"]


def test_kinds_that_complete_different_engines_are_told(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """One set of shells for two engines: together each kind goes to the engine that it suits best, and the report says
    what to do; in order the first engine has both."""
    fits = "".join(
        f'[fit.{kind}]\ntarget = 0.045\nmin = 0.03\nmax = 0.06\nfamily = ["A"]\n' for kind in ("rod", "main")
    )
    for name, rod, main in (("one", "57.600", "64.205"), ("two", "57.605", "64.200")):
        (tmp_path / name).mkdir()
        (tmp_path / name / "job.toml").write_text(
            f'title = "{name}"\nunit = "mm"\n[sources]\nshells = []\nshared = ["../box.csv"]\n{fits}'
        )
        (tmp_path / name / "positions.csv").write_text(
            f"position,kind,journal,housing_bore\nR1,rod,54.000,{rod}\nM1,main,60.000,{main}\n"
        )
    (tmp_path / "box.csv").write_text(
        "shell,kind,half,wall,family\n1,rod,upper,1.7775,A\n2,rod,lower,1.7775,A\n"
        "3,main,upper,2.0775,A\n4,main,lower,2.0775,A\n"
    )
    jobs = (tmp_path / "one", tmp_path / "two")
    together = " ".join(Ran(capsys, "assign", *jobs).out.split())
    assert "Complete in every kind: 0 of 2: none. Each kind by itself could be had for more engines" in together
    in_order = " ".join(Ran(capsys, "assign", *jobs, "--priority", "in-order").out.split())
    assert "Complete in every kind: 1 of 2: one. " in in_order and "Each kind by itself" not in in_order


def test_the_next_best_and_a_position_explained(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Alternatives come by kind for all jobs that decide it, an explained position is named with its job."""
    both = (yard / "saw", yard / "spare")
    ran = Ran(capsys, "assign", *both, "--json", "--alternatives", "2", "--explain", "spare/R2")
    found = json.loads(ran.out)
    VALIDATOR.validate(found)
    assert ran.status == 0 and list(found["alternatives"]) == ["rod", "main"]
    others = found["alternatives"]["rod"]["plans"]
    assert len(others) == 2 and all(other["proven"] for other in others)
    assert all(found["kinds"]["rod"]["complete"] >= other["complete"] for other in others)
    assert {p["job"] for p in others[0]["positions"]} == {"saw", "spare"}
    assert (found["explanation"]["job"], found["explanation"]["position"]) == ("spare", "R2")
    assert found["explanation"]["runner_up"]["proven"]
    text = Ran(capsys, "assign", *both, "--alternatives", "1", "--explain", "spare/R2").out
    assert "NEXT BEST PLANS" in text and "spare/R2 (rod) EXPLAINED" in text
    assert all(len(line) <= 100 for line in text.splitlines())
    assert "needs the name of its job: `saw/R1` or `spare/R1`" in Ran(capsys, "assign", *both, "--explain", "R1").err


def test_the_next_by_boxes_of_several_engines(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """With `keep-sets` the alternatives of several engines too draw on as many boxes as they say."""
    for priority in ("together", "in-order"):
        args = ("--strategy", "keep-sets", "--priority", priority, "--alternatives", "2", "--json")
        found = json.loads(Ran(capsys, "assign", yard / "saw", yard / "spare", *args).out)
        VALIDATOR.validate(found)
        others = found["alternatives"]["rod"]["plans"]
        assert len(others) == 2 and all(other["proven"] for other in others)
        for other in others:
            assert other["boxes"] == len({p[half]["box"] for p in other["positions"] for half in ("upper", "lower")})


def test_insisting_across_engines(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A pair insisted on in one engine is taken from the other, also from one whose turn comes first."""
    for priority in ("together", "in-order"):
        arguments = ["--json", "--priority", priority, "--explain", "spare/R2", "--with", "b1/02", "b1/03"]
        ran = Ran(capsys, "assign", yard / "saw", yard / "spare", *arguments)
        told = json.loads(ran.out)["explanation"]
        assert told["insisted"]["proven"]
        (mine,) = [p for p in told["insisted"]["positions"] if (p["job"], p["position"]) == ("spare", "R2")]
        assert (mine["upper"]["shell"], mine["lower"]["shell"]) == ("02", "03")
        others = [p for p in told["insisted"]["positions"] if p is not mine]
        assert not any(p["upper"]["shell"] == "02" and p["upper"]["box"] == "b1" for p in others)


def test_an_engine_that_comes_later(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What only the turn of the engines keeps out is said to be kept out by that, and both reports name the job."""
    ran = Ran(capsys, "assign", yard / "saw", yard / "spare", "--json", "--priority", "in-order")
    found = json.loads(ran.out)
    VALIDATOR.validate(found)
    (reason,) = found["reasons"]
    assert (reason["job"], reason["position"], reason["reduced"]) == ("spare", "R1", True)
    assert reason["together"] == ["priority"] and [c["change"] for c in reason["cures"]] == ["priority"]
    text = " ".join(Ran(capsys, "assign", yard / "saw", yard / "spare", "--priority", "in-order").out.split())
    assert "Kept out by the quality of the engines before it alone" in text


def test_rows_and_text(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """The rows begin with the job; the text covers each engine, and how many are complete in every kind."""
    rows = list(csv.DictReader(StringIO(Ran(capsys, "assign", yard / "saw", yard / "spare", "--csv").out)))
    assert [(r["job"], r["position"]) for r in rows][2:] == [("spare", "R1"), ("spare", "R2"), ("spare", "M1")]
    assert rows[2]["journal [in]"] == "1.8161811"
    text = Ran(capsys, "assign", yard / "saw", yard / "spare", "--unit", "mm").out
    assert "2 engines from one pool of shells: saw, spare." in text
    assert "Complete in every kind: 2 of 2: saw, spare." in text
    assert "ENGINE saw: Saw engine\n" in text and "ENGINE spare: Spare engine\n" in text
    assert all(len(line) <= 100 for line in text.splitlines())
    full = Ran(capsys, "assign", yard / "saw", yard / "spare", "--unit", "mm", "--full").out
    saw, spare = full[full.index("Boxes read") :].split("ENGINE spare")
    assert "match finish" not in saw and "match finish" in spare
    assert all(len(line) <= 100 for line in full.splitlines())


def test_reasons_are_told_in_the_unit_shown(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A position that stays empty is explained in the unit of the output, whatever its job's files are in."""
    args = (capsys, "assign", yard / "saw", yard / "spare", "--priority", "in-order")
    assert "needs walls totalling 0.123307 to 0.124094 in;" in " ".join(Ran(*args).out.split())
    assert "needs walls totalling 3.1320 to 3.1520 mm;" in " ".join(Ran(*args, "--unit", "mm").out.split())


def test_every_folder_is_saved_or_none(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """--save writes the whole document into each folder, in its job's unit; where one cannot be written, none is."""
    assert Ran(capsys, "assign", yard / "saw", yard / "spare", "--save").status == 0
    saved = [json.loads((yard / name / "assignment.json").read_text(encoding="utf-8")) for name in ("saw", "spare")]
    for document in saved:
        VALIDATOR.validate(document)
    assert [document["unit"] for document in saved] == ["in", "mm"]
    assert [j["digest"] for j in saved[0]["jobs"]] == [j["digest"] for j in saved[1]["jobs"]]
    alone = json.loads(Ran(capsys, "assign", yard / "spare", "--json").out)
    assert alone["digest"] == saved[0]["jobs"][1]["digest"]

    before = (yard / "saw" / "assignment.json").read_bytes()
    (yard / "spare" / "assignment.json").unlink()
    (yard / "spare" / "assignment.json").mkdir()
    change(yard / "saw" / "job.toml", "Saw engine", "Saw mill")
    ran = Ran(capsys, "assign", yard / "saw", yard / "spare", "--save")
    assert (ran.status, ran.out) == (2, "") and "cannot be written" in ran.err and "nothing was saved" in ran.err
    assert (yard / "saw" / "assignment.json").read_bytes() == before


def test_rows_of_one_engine_keep_all_from_being_saved(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """If rows of one job refer to other shells than the new plan has, no folder is written, and the lines name that
    job; with --force the plan that they refer to is kept, and all is written."""
    assert Ran(capsys, "assign", yard / "saw", yard / "spare", "--save").status == 0
    spare = yard / "spare"
    before = [(yard / name / "assignment.json").read_bytes() for name in ("saw", "spare")]
    placed = {p["position"]: p["upper"] for p in json.loads(before[1])["positions"] if p["job"] == "spare"}
    put(spare / "assembled.csv", "position,clearance,method\nM1,0.056,gauge\nR1,0.056,gauge\n")
    put(spare / "shells" / "own.csv", OWN.replace("21,main", "31,main"))
    ran = Ran(capsys, "assign", yard / "saw", spare, "--save")
    box = placed["M1"]["box"]
    assert (ran.status, ran.out) == (2, "")
    assert "\nspare/assembled.csv:2: upper: this row names no " in ran.err and f" {box}/21 and " in ran.err
    assert [line.partition(":")[0] for line in ran.err.splitlines()] == ["warning", *["spare/assembled.csv"] * 2]
    assert [(yard / name / "assignment.json").read_bytes() for name in ("saw", "spare")] == before
    assert Ran(capsys, "assign", yard / "saw", spare, "--save", "--force").status == 0
    assert (spare / "assignment-1.json").read_bytes() == before[1]
    assert not (yard / "saw" / "assignment-1.json").exists()
    assert (yard / "saw" / "assignment.json").read_bytes() != before[0]


def test_a_column_of_one_job_is_read_for_all(yard: Path) -> None:
    """What one job matches is read from the other's boxes too; in the other job anything will do."""
    pool = read_jobs([yard / "saw", yard / "spare"])
    assert [job.matched_columns for job in pool.jobs] == [("finish",), ("finish",)]
    assert pool.jobs[0].shells == pool.jobs[1].shells and len(pool.jobs[0].shells) == 10
    assert [p.wants_upper for job in pool.jobs for p in job.positions] == [("any",), ("any",), ("g",), ("",), ("",)]


def test_a_flanged_shell_of_another_job_stays_out(yard: Path) -> None:
    """flange is matched in every job as soon as any job's shells have it."""
    change(yard / "spare" / "shells" / "own.csv", "family\n", "family,flange\n")
    change(yard / "spare" / "shells" / "own.csv", "11,rod,upper,1.571,Narrow-2", "11,rod,upper,1.571,Narrow-2,yes")
    for number in ("12,rod,lower,1.570,Narrow-2", "21,main,upper,1.571,main-5", "22,main,lower,1.570,main-5"):
        change(yard / "spare" / "shells" / "own.csv", number, number + ",")
    plan = fitmatch.assign(read_jobs([yard / "saw", yard / "spare"]))
    assert ("own", "11") in {s.key for s in plan.leftover}


def test_the_python_interface(yard: Path) -> None:
    """`read_jobs` and `assign` give a plan for each job and one frame with a column `job`, in the first job's unit."""
    plan = fitmatch.assign(fitmatch.read_jobs([yard / "saw", yard / "spare"]))
    frame = plan.to_frame()
    assert list(frame.columns[:3]) == ["job", "position", "kind"] and len(frame) == 5
    assert frame["clearance"].max() < 0.003
    assert [one.job.name for one in plan.plans] == ["saw", "spare"]


def test_a_position_of_one_of_several_is_explained_in_python(yard: Path) -> None:
    """Extra requests come with the answer; a position is named with its job, and knows it."""
    pool = fitmatch.read_jobs([yard / "saw", yard / "spare"])
    name = pool.jobs[1].positions[0].name
    plan = fitmatch.assign(pool, explain=f"spare/{name}", alternatives=1)
    assert plan.explanation is not None and plan.explanation.position.key == ("spare", name)
    assert list(plan.alternatives) == [g.group.label for g in plan.groups]
    for refused in ({"explain": name}, {"explain": "spare/nobody"}):
        with pytest.raises(ValueError):
            fitmatch.assign(pool, **refused)


def test_a_pool_of_one_is_a_job_alone(yard: Path) -> None:
    """One folder read as a pool is answered like the job by itself."""
    pool = fitmatch.read_jobs([yard / "saw"])
    plan = fitmatch.assign(pool)
    assert plan.alone and fitmatch.assign(pool.jobs[0]).placements == plan.placements
    assert "job" not in plan.to_frame().columns


def test_folders_of_one_name_are_told_apart(yard: Path) -> None:
    """Two folders of one name take the names of those above along."""
    (yard / "a").mkdir()
    (yard / "saw").rename(yard / "a" / "engine")
    (yard / "spare").rename(yard / "engine")
    change(yard / "a" / "engine" / "job.toml", "../boxes", "../../boxes")
    names = [job.name for job in read_jobs([yard / "a" / "engine", yard / "engine"]).jobs]
    assert names == ["a/engine", f"{yard.name}/engine"]


# --- bad input -------------------------------------------------------------------------------------------------------


def test_rows_of_one_shell_must_agree(yard: Path) -> None:
    """A shell with other figures in another job is refused, both rows named."""
    rows = "shell,kind,half,wall,family\n21,main,upper,0.0619,main-5\n11,rod,upper,0.0619,Narrow-2\n"
    put(yard / "saw" / "shells" / "own.csv", rows)
    change(yard / "saw" / "job.toml", "[fit.rod]", '[fit.main]\ntarget = 0.0022\nfamily = ["main-5"]\n[fit.rod]')
    found = refused(yard)
    todo = "; one shell needs one row; if they are two shells, rename the box of one"
    assert found == [
        f"spare/shells/own.csv:{row}: wall: shell `own/{name}` has 1.571 mm here and 1.57226 mm in {other}{todo}"
        for row, name, other in ((2, 11, "saw/shells/own.csv:3"), (4, 21, "saw/shells/own.csv:2"))
    ]


@pytest.mark.parametrize(
    ("cell", "column", "words"),
    [
        ("11,rod,lower,1.571 mm,Narrow-2,,", "half", "has `upper` here and `lower` in"),
        ("11,rod,upper,1.571 mm,Wide-3,,", "family", "has `narrow-2` here and `wide-3` in"),
        ("11,rod,upper,1.571 mm,Narrow-2,scratched,", "hold", "has nothing here and `scratched` in"),
        ("11,rod,upper,1.571 mm,Narrow-2,,x", "finish", "has nothing here and `x` in"),
        ("11,rod,upper,,Narrow-2,,", "wall", "has 1.571 mm here and nothing in"),
    ],
)
def test_any_cell_that_differs_is_named(yard: Path, cell: str, column: str, words: str) -> None:
    """Whatever the other row says of the shell, the first column in which they differ is named."""
    put(yard / "saw" / "shells" / "own.csv", f"shell,kind,half,wall,family,hold,finish\n{cell}\n")
    (problem,) = refused(yard)
    assert problem.startswith(f"spare/shells/own.csv:2: {column}: shell `own/11` {words} saw/shells/own.csv:2;")


def test_a_family_is_needed(yard: Path) -> None:
    """With several jobs each kind must name its families; alone it need not."""
    change(yard / "spare" / "job.toml", 'family = ["main-5"]\n', "")
    (problem,) = refused(yard)
    assert problem.startswith("spare/job.toml:10: fit.main.family: is missing; where jobs share their shells")
    fitmatch.read_job(yard / "spare")


def test_mistakes_of_all_jobs_at_once(yard: Path) -> None:
    """Every mistake in every job is reported, job by job, each with the job's name; a missing folder by its path."""
    change(yard / "spare" / "positions.csv", "46.131", "46.l31")
    change(yard / "saw" / "job.toml", "target = 0.0022", "taget = 0.0022")
    found = refused(yard)
    assert [line.split(": ")[0] for line in found] == ["saw/job.toml:6", "spare/positions.csv:2"]
    found = refused(yard, "saw", "nowhere", "spare")
    assert f"{yard / 'nowhere'}: there is no such job folder; correct the path" in found and len(found) == 3


def test_a_shell_is_locked_once(yard: Path) -> None:
    """Two jobs cannot lock the same shell; both rows are named."""
    put(
        yard / "saw" / "positions.csv",
        "position,kind,journal,housing_bore,upper\nR1,rod,1.8162,1.9421,b1/02\nR2,rod,1.8161,1.9421,\n",
    )
    put(
        yard / "spare" / "positions.csv",
        "position,kind,journal,housing_bore,finish,upper\nR1,rod,46.131,49.329,g,\nR2,rod,46.133,49.329,,b1/02\n",
    )
    (problem,) = refused(yard)
    assert problem == (
        "spare/positions.csv:3: upper: shell `b1/02` is locked in saw/positions.csv:2 already; "
        "lock another shell in one of the two"
    )


def test_settings_that_tell_of_shells_must_agree(yard: Path) -> None:
    """A gauge of one name has one description, and coatings count in all jobs or in none."""
    for name, limit in (("saw", "0.00005"), ("spare", "0.001")):
        path = yard / name / "job.toml"
        path.write_text(path.read_text(encoding="utf-8") + f"[gauge.ball-1]\nlimit = {limit}\n", encoding="utf-8")
    path.write_text(path.read_text(encoding="utf-8") + "[coating]\ncounts = false\n", encoding="utf-8")
    assert [line.split("; ")[0] for line in refused(yard)] == [
        "spare/job.toml: coating.counts: differs from that of saw",
        "spare/job.toml: gauge.ball-1: differs from the gauge of that name in saw",
    ]


def test_a_job_is_named_once(yard: Path) -> None:
    """The same folder twice is refused, however it is written."""
    assert refused(yard, "saw", "spare/../saw") == [
        f"{yard / 'spare' / '..' / 'saw'}: is named twice; name each job once"
    ]


def test_each_job_tells_the_doubts_about_its_own_readings(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """What looks wrong in the files of one engine is a doubt of that engine alone, in the unit shown."""
    bores = "".join(f"M{i},main,50.00{i},53.20{i},\n" for i in range(2, 8)) + "M8,main,50.3,53.203,\n"
    with (yard / "spare" / "positions.csv").open("a", encoding="utf-8") as file:
        file.write(bores)
    found = json.loads(Ran(capsys, "assign", yard / "saw", yard / "spare", "--json").out)
    VALIDATOR.validate(found)
    assert [(d["job"], d["item"], d["feature"]) for d in found["doubts"]] == [("spare", "M8", "journal")]
    assert found["doubts"][0]["reading"] == pytest.approx(50.3 / 25.4, abs=1e-7) and " in" in found["doubts"][0]["text"]
    saw, spare = Ran(capsys, "assign", yard / "saw", yard / "spare").out.split("ENGINE spare")
    assert "IN DOUBT" not in saw and "IN DOUBT" in spare


def test_each_folder_finds_its_own_job_in_the_saved_plan(yard: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """Of a plan of several jobs a folder reads its own positions and digest, though others have positions of the same
    names; in a folder renamed since it reads nothing."""
    assert Ran(capsys, "assign", yard / "saw", yard / "spare", "--save").status == 0
    saved = json.loads((yard / "saw" / "assignment.json").read_text(encoding="utf-8"))
    (yard / "spare").rename(yard / "other")
    findings = Findings()
    for at, (name, job) in enumerate([("saw", "saw"), ("other", "")]):
        plan = read_saved_plan(yard / name, findings)
        assert plan is not None
        placed = {(p["position"], half): p[half] for p in saved["positions"] if p["job"] == job for half in SIDES}
        assert plan.shells == {where: (shell["box"], shell["shell"]) for where, shell in placed.items()}
        assert plan.digest == (saved["jobs"][at]["digest"] if job else None)
    assert not findings.problems
