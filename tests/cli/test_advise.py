"""`fitmatch advise` on files: advice written into them and solved again, jobs without shells, what is refused."""

import csv
import json
import re
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
from made.commands import Ran
from made.pump_set import written
from oracles.schemas import OF_ADVISED

Capsys = pytest.CaptureFixture[str]
TOML = (
    'unit = "in"\n[fit.rod]\ntarget = 0.0022\nmin = 0.0018\nmax = 0.0026\n'
    '[drawing.rod]\nhousing_bore = "1.9410..1.9430"\n[limits]\npolish_max = 0.0005\n'
)
HEAD = "position,kind,journal,housing_bore\n"
TIGHT = "R1,rod,1.8162,1.9421\nR2,rod,1.8162,1.9417\n"  # R2 lacks 1 tenth of clearance
LOOSE = "R1,rod,1.8162,1.9421\nR2,rod,1.8162,1.9429\n"
SHELLS = "shell,kind,half,wall\n" + "".join(
    f"{half[0]}{n},rod,{half},0.0619\n" for half in ("upper", "lower") for n in (1, 2)
)
FIGURES = ("filled", "below", "above", "worst_deviation", "spread", "mean_clearance", "boxes")


def job(folder: Path, rows: str, toml: str = TOML) -> Path:
    return written(folder, toml=toml, positions=HEAD + rows, shells=SHELLS)


def document(capsys: Capsys, *args: object) -> dict[str, Any]:
    """What `advise --json` prints, which obeys the schema."""
    ran = Ran(capsys, "advise", *args, "--json", "--quiet")
    assert ran.status in (0, 1), ran.err
    found: dict[str, Any] = json.loads(ran.out)
    OF_ADVISED.validate(found)
    return found


def advice(found: dict[str, Any], name: str) -> dict[str, dict[str, Any]]:
    """The last advice of each sort on a position."""
    (one,) = (p for p in found["positions"] if p["position"] == name)
    return {a["action"]: a for a in one["advice"]}


def assert_same(capsys: Capsys, folder: Path, told: dict[str, Any], name: str) -> None:
    """`assign` on the changed files gives what was told."""
    plan = json.loads(Ran(capsys, "assign", folder, "--json", "--quiet").out)
    (placed,) = (p for p in plan["positions"] if p["position"] == name)
    assert placed["within_limits"] and told["within_limits"]
    assert {k: placed[k] for k in ("clearance", "deviation", "wall_sum")} == {
        k: told[k] for k in ("clearance", "deviation", "wall_sum")
    }
    assert {k: plan["kinds"]["rod"][k] for k in FIGURES} == {k: told[k] for k in FIGURES}


def test_advice_for_a_tight_position_written_into_the_files_gives_its_figures(tmp_path: Path, capsys: Capsys) -> None:
    """Polished, honed, ground, and with one more half: each as told."""
    found = advice(document(capsys, job(tmp_path / "job", TIGHT)), "R2")
    assert list(found) == ["measure", "box", "one-half", "polish", "hone", "grind"]
    assert found["polish"]["amount"] == found["hone"]["amount"] == 0.0001 and found["polish"]["most"] == 0.0005
    polished = job(tmp_path / "polished", TIGHT.replace("R2,rod,1.8162", "R2,rod,1.8161"))
    assert_same(capsys, polished, found["polish"], "R2")
    honed = job(tmp_path / "honed", TIGHT.replace("1.9417", "1.9418"))
    assert_same(capsys, honed, found["hone"], "R2")
    size = found["grind"]["what"]["journal"]
    assert found["grind"]["amount"]["lowest"] <= size <= found["grind"]["amount"]["highest"] <= 1.8162
    ground = job(tmp_path / "ground", TIGHT.replace("1.8162", f"{size}"))
    assert_same(capsys, ground, found["grind"], "R2")
    half = found["one-half"]["what"]
    bought = job(tmp_path / "bought", TIGHT)
    (bought / "shells" / "more.csv").write_text(f"shell,kind,half,wall\nn1,rod,{half['half']},{half['wall']}\n")
    assert_same(capsys, bought, found["one-half"], "R2")


GAUGED = f"""{TOML}[gauge.mic]
standard = 1.8000
standard_reads = 1.8003
[gauge.bore]
set_with = "mic"
[measured.rod]
journal = "mic"
housing_bore = "bore"
[temperature]
room = 29
[material.rod]
journal = "steel 4140"
housing_bore = "aluminium 2024"
"""


def test_what_the_gauge_shows_of_a_size_to_machine_to_is_told(tmp_path: Path, capsys: Capsys) -> None:
    """Sizes are corrected and say so; what the gauge is told to show, typed into positions.csv, gives the size and the
    figures stated, for each end of a run of sizes too."""
    rows = TIGHT
    folder = job(tmp_path / "job", rows, GAUGED)
    found = advice(document(capsys, folder), "R2")
    text = " ".join(Ran(capsys, "advise", folder, "--full").out.split())
    for action, gauge, column, read in (
        ("polish", "mic", "journal", "1.8162"),
        ("hone", "bore", "housing_bore", "1.9417"),
    ):
        what, told = found[action]["what"], found[action]
        least = what["reads"]["highest" if action == "polish" else "lowest"]
        assert what["gauge"] == gauge and abs(least - what[column]) > 0.0003
        assert f"at 20 C (gauge {gauge} reads from " in text
        done = job(tmp_path / action, rows.replace(f"R2,rod,{read}", f"R2,rod,{least}") if action == "polish"
                   else rows.replace(read, str(least)), GAUGED)  # fmt: skip
        plan = json.loads(Ran(capsys, "assign", done, "--json", "--quiet").out)
        (placed,) = (p for p in plan["positions"] if p["position"] == "R2")
        assert placed["within_limits"] and abs(placed["clearance"] - told["clearance"]) < 1e-7
        assert abs(placed[column] - what[column]) < 1e-7
    reads = found["grind"]["what"]["reads"]
    for end in ("lowest", "highest"):
        done = job(tmp_path / end, rows.replace("1.8162", str(reads[end])), GAUGED)
        plan = json.loads(Ran(capsys, "assign", done, "--json", "--quiet").out)
        assert all(p["within_limits"] for p in plan["positions"]), end
    assert "are corrected, at 20 C: with another gauge, at another temperature" in text
    plain = " ".join(Ran(capsys, "advise", job(tmp_path / "plain", TIGHT), "--full").out.split())
    assert "reads 1." not in plain and "as your gauges read: check with the same gauge, at the same temp" in plain


COARSE = GAUGED.replace("[gauge.mic]", "[gauge.mic]\nresolution = 0.00005\nlimit = 0.00005\nrepeatability = 0.00002")
COARSE = COARSE.replace("[gauge.bore]", "[gauge.bore]\nresolution = 0.0001\nrepeatability = 0.00002")
COARSE += "[gauge.ball]\nresolution = 0.00005\nrepeatability = 0.00002\n"
COARSE = COARSE.replace("[measured.rod]", '[measured.rod]\nwall = "ball"')
SIZES = r"from ([\d.]+) in to ([\d.]+) in, nearest to the target ([\d.]+) in"


@pytest.mark.parametrize(
    ("rows", "words", "column"),
    [
        (TIGHT, "Polish the journal", "journal"),
        (TIGHT, "Hone the bore", "housing_bore"),
        (LOOSE, "Make the bore smaller", "housing_bore"),
    ],
)
@pytest.mark.parametrize("toml", [TOML, COARSE])
def test_every_size_that_is_printed_lands_inside(
    tmp_path: Path, capsys: Capsys, rows: str, words: str, column: str, toml: str
) -> None:
    """Both ends and the one nearest to the target, as what the gauge reads too: written into positions.csv. Readings
    are such as the gauge can show, and where it is known the chance stands beside."""
    text = " ".join(Ran(capsys, "advise", job(tmp_path / "job", rows, toml), "--full").out.split())
    (told,) = re.findall(rf"{words} by .*?The least gives", text)
    ends = re.findall(SIZES, told)
    assert len(ends) == (1 if toml == TOML else 2) and ("by a chance of about" in told) is (toml == COARSE)
    lowest, highest, best = ends[-1]
    assert lowest < highest and lowest <= best <= highest and (best in (lowest, highest)) is (words[0] == "P")
    if toml == COARSE and column == "housing_bore":
        assert all(re.fullmatch(r"\d\.\d{4}", size) for size in ends[-1])
    for size in {*ends[-1]}:
        old = rows.splitlines()[1]
        cells = old.split(",")
        cells[2 if column == "journal" else 3] = size
        done = job(tmp_path / size, rows.replace(old, ",".join(cells)), toml)
        plan = json.loads(Ran(capsys, "assign", done, "--json", "--quiet").out)
        assert all(p["within_limits"] for p in plan["positions"]), size


BARE = "target = 0.0022\nmin = 0.0018\nmax = 0.0026\n"


def test_without_limits_nothing_is_judged(tmp_path: Path, capsys: Capsys) -> None:
    """With none at all it is refused with what to write; a kind that has none is told and ends with 1, and no position
    of it is said to be inside."""
    ran = Ran(capsys, "advise", job(tmp_path / "none", TIGHT, TOML.replace(BARE, "target = 0.0022\n")))
    assert (ran.status, ran.out) == (2, "")
    assert "write the engine maker's min and max in [fit.rod] of job.toml" in " ".join(ran.err.split())
    toml = f"{TOML}[fit.main]\ntarget = 0.0022\n"
    folder = job(tmp_path / "some", TIGHT.splitlines()[0] + "\nM1,main,1.8162,1.9461\n", toml)
    (folder / "shells" / "more.csv").write_text("shell,kind,half,wall\nu,main,upper,0.0639\nl,main,lower,0.0639\n")
    ran = Ran(capsys, "advise", folder)
    assert ran.status == 1 and "nothing is needed" not in ran.out
    told = (
        "1 of 2 positions can be inside their limits. NO LIMITS, so nothing is judged at M1: write the maker's min and"
    )
    assert f"{told} max in [fit.main]." in " ".join(ran.out.split())
    assert re.search(r"^M1 .* no limits$", ran.out, re.MULTILINE)
    assert [p["inside"] for p in document(capsys, folder)["positions"]] == [True, None]
    one_sided = job(tmp_path / "one", "R1,rod,1.8162,1.9421\n", TOML.replace("max = 0.0026\n", ""))
    assert re.search(r"^R1 .* inside, no max$", Ran(capsys, "advise", one_sided).out, re.MULTILINE)


def test_a_row_is_about_the_housing_that_is_there(tmp_path: Path, capsys: Capsys) -> None:
    """Where housings move, what is wanted is of the same housing as the clearance, and it is named; what is bad comes
    first, and the moves take one line."""
    toml = f'{TOML}[fit.main]\nmin = 0.0018\nmax = 0.0026\n[rules]\nmovable = ["rod"]\n'
    rows = "R1,rod,1.8168,1.9421\nR2,rod,1.8162,1.9427\nM1,main,1.8162,1.9480\n"
    folder = job(tmp_path / "job", rows, toml)
    (folder / "shells" / "more.csv").write_text("shell,kind,half,wall\nu,main,upper,0.0639\nl,main,lower,0.0639\n")
    found = document(capsys, folder)
    assert [p["housing"] for p in found["positions"]] == ["R2", "R1", "M1"]
    for one in found["positions"][:2]:
        assert one["wall_sum_wanted"] + 0.0022 == pytest.approx(one["clearance"] + 4 * 0.0619 / 2)
    out = Ran(capsys, "advise", folder).out
    assert re.search(r"^R1 .* inside, housing of R2$", out, re.MULTILINE)
    assert "HOUSINGS MOVED: that of R2 is at R1 and that of R1 is at R2; only so are R1 and R2 inside." in out
    assert out.index("M1 (main), cheapest first") < out.index("HOUSINGS MOVED") and "Another pin" not in out
    assert re.search(r"^BOXES.*\n  main: .* for M1", out, re.MULTILINE)
    assert "Another pin: the housing of R2 comes here" in Ran(capsys, "advise", folder, "--full").out


def test_an_order_says_how_likely_a_box_holds_it(tmp_path: Path, capsys: Capsys) -> None:
    """For each position; where no step has a useful chance none is named."""
    walls = {"upper": (617, 618, 619, 620), "lower": (619, 619, 619, 619)}
    shells = "shell,kind,half,step,wall\n" + "".join(
        f"{half[0]}{n},rod,{half},std,0.0{wall}\n" for half, some in walls.items() for n, wall in enumerate(some)
    )
    bare = TOML.partition("[drawing")[0]
    for bore, likely in (("1.9428", True), ("1.9433", False)):
        folder = written(tmp_path / bore, toml=bare, positions=f"{HEAD}R1,rod,1.8162,{bore}\n", shells=shells)
        (order,) = document(capsys, folder)["orders"]
        text = " ".join(Ran(capsys, "advise", folder).out.split())
        (chance,) = order["chances"]
        assert (order["step"], chance is not None) == (("std", True) if likely else (None, False))
        assert not likely or 0.1 <= chance <= 0.99
        told = f"for R1 (chance {chance:.2f})." if likely else "for R1; no known step is likely to have it."
        assert told in text


def test_a_size_that_several_gauges_measured_names_no_reading(tmp_path: Path, capsys: Capsys) -> None:
    """One of them need not read as the other."""
    folder = written(
        tmp_path / "job",
        toml=GAUGED,
        positions="position,kind,journal,journal_gauge,housing_bore\nR1,rod,1.8162,bore,1.9421\nR2,rod,1.8162,mic,1.9417\n",
        shells=SHELLS,
    )
    found = advice(document(capsys, folder), "R2")
    assert found["polish"]["what"]["gauge"] == "mic"
    assert found["grind"]["what"]["reads"] is None and found["grind"]["what"]["gauge"] is None
    text = " ".join(Ran(capsys, "advise", folder).out.split())
    assert re.search(r"to one size from [\d.]+ in to [\d.]+ in, the middle [\d.]+ in at 20 C: all lie inside", text)


def test_what_was_never_measured_is_not_measured_again(tmp_path: Path, capsys: Capsys) -> None:
    """A missing reading is to be taken; one in doubt beside it is to be taken again."""
    folder = job(tmp_path / "job", TIGHT + "R3,rod,,1.9421\n")
    found = advice(document(capsys, folder), "R3")
    assert found["measure"]["what"] == {"readings": ["journal"], "missing": ["journal"], "shells": []}
    out = Ran(capsys, "advise", folder, "--full").out
    (told,) = re.findall(r"R3 \(rod\), cheapest first:\n  1\. (.*)", out)
    assert told == "Measure: journal."


def test_a_picture_shows_now_and_after(tmp_path: Path, capsys: Capsys) -> None:
    """Limits, targets, the change by name and what it rests on, as text; every number is in --csv too."""
    folder = job(tmp_path / "job", TIGHT)
    ran = Ran(capsys, "advise", folder, "--plot", tmp_path / "next.svg", "--csv")
    assert ran.status == 1 and f"drawn in {tmp_path / 'next.svg'}" in ran.err
    picture = (tmp_path / "next.svg").read_text(encoding="utf-8")
    labels = [
        text for text in re.findall(r">([^<]*)</text>", picture) if "clearance, in" in text or "now outside" in text
    ]
    assert len(labels) == 2 and max(map(len, labels)) < 80  # more would be cut at the edge of a narrow diagram
    for part in ("R2: one-half", "R1", "now, and after the cheapest change", "Now: by strategy target",
                 "Limits from", "Temperature:", "U of a clearance", "Decision rule:", "digest"):  # fmt: skip
        assert part in picture, part
    rows = [row for row in csv.DictReader(StringIO(ran.out)) if row["position"] == "R2"]
    now = {row["clearance_now [in]"] for row in rows}
    assert now == {"0.0017"} and {row["min [in]"] for row in rows} == {"0.0018"}
    assert all(row["clearance [in]"] for row in rows if row["action"] == "one-half")
    again = Ran(capsys, "advise", folder, "--plot", tmp_path / "next.svg")
    assert again.status == 2 and "add --force to replace it" in again.err


def test_no_picture_without_shells(tmp_path: Path, capsys: Capsys) -> None:
    """There is no clearance to draw; it is said before the work begins."""
    folder = job(tmp_path / "job", TIGHT)
    (folder / "shells" / "box-1.csv").unlink()
    ran = Ran(capsys, "advise", folder, "--plot", tmp_path / "a.svg")
    assert (ran.status, ran.out) == (2, "") and "there are none without shells; leave it out" in ran.err
    assert not (tmp_path / "a.svg").exists()


def test_advice_says_what_it_rests_on(tmp_path: Path, capsys: Capsys) -> None:
    """Source of limits, temperature, U, decision rule and digest, with shells and without."""
    folder = job(tmp_path / "job", TIGHT)
    for known in ("not known, as job.toml names no gauge", "not known before there are shells"):
        text = " ".join(Ran(capsys, "advise", folder).out.split())
        for part in (
            "Limits from a source not written",
            "Temperature: no reading",
            f"95 %: {known}.",
            "Decision rule:",
        ):
            assert part in text
        assert "Inputs' digest: " in text
        for path in (folder / "shells").iterdir():
            path.unlink()


def test_a_loose_position_is_never_polished_or_honed(tmp_path: Path, capsys: Capsys) -> None:
    """Its bore may be made smaller inside its band, and the report says what that risks."""
    folder = job(tmp_path / "job", LOOSE)
    found = advice(document(capsys, folder), "R2")
    assert "polish" not in found and "hone" not in found and found["resize"]["amount"] == 0.0003
    smaller = job(tmp_path / "smaller", LOOSE.replace("1.9429", "1.9426"))
    assert_same(capsys, smaller, found["resize"], "R2")
    text = " ".join(Ran(capsys, "advise", folder).out.split())
    assert "never a fracture-split cap" in text and "qualified machinist" in text
    assert "Then this plan is void: measure the part again" in text


def test_nothing_is_polished_or_honed_unless_it_is_written(tmp_path: Path, capsys: Capsys) -> None:
    """Without [limits] and [drawing], or with less than it takes."""
    bare = TOML.partition("[drawing")[0]
    for n, toml in enumerate((bare, bare + "[limits]\npolish_max = 0.00005\n")):
        found = advice(document(capsys, job(tmp_path / str(n), TIGHT, toml)), "R2")
        assert found.keys().isdisjoint({"polish", "hone", "resize"}), toml


def test_limits_change_no_digest(tmp_path: Path, capsys: Capsys) -> None:
    """What advice may propose decides no plan; a length that is none is refused at its key."""
    bare = TOML.partition("[limits")[0]
    folder = job(tmp_path / "job", TIGHT)
    with_limits = document(capsys, folder)["digest"]
    (folder / "job.toml").write_text(bare, encoding="utf-8")
    assert document(capsys, folder)["digest"] == with_limits
    for wrong, what in (("polish_max = -1", "polish_max"), ("polish = 0.1", "polish")):
        (folder / "job.toml").write_text(f"{bare}[limits]\n{wrong}\n", encoding="utf-8")
        ran = Ran(capsys, "advise", folder)
        assert ran.status == 2 and f"limits.{what}" in ran.err and not ran.out


def test_a_job_without_shells_says_what_to_look_for(tmp_path: Path, capsys: Capsys) -> None:
    """The total of both walls, each half's share; `assign` still refuses it, and so does a path that names a file."""
    folder = job(tmp_path / "job", TIGHT)
    for path in (folder / "shells").iterdir():
        path.unlink()
    found = document(capsys, folder)
    (one, other) = found["positions"]
    assert (one["wall_sum_wanted"], one["lowest"], one["highest"], one["each_half"]) == (
        0.1237,
        0.1233,
        0.1241,
        0.06185,
    )
    assert one["advice"] == other["advice"] == [] and one["steps"] is None and found["orders"] == []
    ran = Ran(capsys, "advise", folder)
    assert ran.status == 0 and "No shells yet" in ran.out and "0.12370" in ran.out
    assert Ran(capsys, "assign", folder).status == 2
    (folder / "job.toml").write_text(f'{TOML}[sources]\nshells = ["shells/lost.csv"]\n', encoding="utf-8")
    ran = Ran(capsys, "advise", folder)
    assert ran.status == 2 and "shells/lost.csv" in ran.err


def test_several_jobs_order_together(tmp_path: Path, capsys: Capsys) -> None:
    """What both need of one sort stands in one row, and each position has its job."""
    toml = TOML.replace("max = 0.0026\n", 'max = 0.0026\nfamily = ["narrow"]\n').partition("[drawing")[0]
    head, *rows = SHELLS.splitlines()

    def shells(begin: str) -> str:
        return f"{head},family\n" + "".join(f"{begin}{row},narrow\n" for row in rows)

    one = written(tmp_path / "one", toml=toml, positions=HEAD + TIGHT, shells=shells("a"))
    two = written(tmp_path / "two", toml=toml, positions=HEAD + TIGHT, shells=shells("b"))
    (two / "shells" / "box-1.csv").rename(two / "shells" / "box-2.csv")
    found = document(capsys, one, two)
    assert {p["job"] for p in found["positions"]} == {"one", "two"} and found["digest"] is None
    outside = {f"{p['job']}/{p['position']}" for p in found["positions"] if not p["inside"]}
    assert outside and {name for order in found["orders"] for name in order["positions"]} <= outside
    assert "BOXES, for all together" in Ran(capsys, "advise", one, two, "--full").out


def test_rows_have_one_for_each_advice(tmp_path: Path, capsys: Capsys) -> None:
    """And one for a position that needs none; the unit stands in the header."""
    ran = Ran(capsys, "advise", job(tmp_path / "job", TIGHT), "--csv", "--unit", "mm")
    rows = list(csv.DictReader(StringIO(ran.out)))
    assert [row["action"] for row in rows[:2]] == ["", "measure"] and "wall_sum_wanted [mm]" in rows[0]


def test_a_good_job_fits_one_screen(capsys: Capsys) -> None:
    """Thirteen good positions in 45 lines, nothing proposed, exit status 0."""
    samples = Path(__file__).parents[2] / "samples"
    ran = Ran(capsys, "advise", samples / "vee-eight")
    assert ran.status == 0 and len(ran.out.splitlines()) <= 45 and "nothing is needed" in ran.out


@pytest.mark.parametrize("options", [("--json", "--csv"), ("--full", "--json")])
def test_options_that_do_not_go_together(tmp_path: Path, capsys: Capsys, options: tuple[str, ...]) -> None:
    """Are refused with what to do instead."""
    assert Ran(capsys, "advise", job(tmp_path / "job", TIGHT), *options).status == 2
