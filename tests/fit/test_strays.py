"""Marked shells that no position of their kind asks for."""

import json
from pathlib import Path

import pytest
from made.commands import Ran
from made.intake_jobs import write_job

import fitmatch
from fitmatch.intake.pooling import read_jobs
from fitmatch.intake.reading import read_job
from fitmatch.report.words.reasons import words_of

JOB = """\
unit = "mm"
[fit.main]
min = 0.02
max = 0.08
"""


def thrust(folder: Path, wants: str, *marks: str, column: str = "flange") -> Path:
    """Three mains, the third of which asks for this, and shells of either half: six plain ones, then these."""
    positions = f"position,kind,journal,housing_bore,{column}\n" + "".join(
        f"M{n},main,63.980,68.030,{wants if n == 3 else ''}\n" for n in (1, 2, 3)
    )
    rows = [f"{n},main,either,2.00{n},{mark}\n" for n, mark in enumerate((*[""] * 6, *marks), 1)]
    return write_job(folder, JOB, positions, f"shell,kind,half,wall,{column}\n" + "".join(rows))


def test_a_forgotten_mark(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    """A flanged pair and no main that asks for it: exit 1, both told in report and JSON, their mark beside them among
    the leftovers."""
    folder = thrust(tmp_path, "", "Both", "both")
    ran = Ran(capsys, "assign", folder, "--quiet")
    words = " ".join(ran.out.split())
    assert ran.status == 1
    assert (
        "box-1/7 and box-1/8: no main position takes the flange `both`: theirs is blank; if one of them is meant for "
        "it, write the same word there" in words
    )
    document = json.loads(Ran(capsys, "assign", folder, "--quiet", "--json").out)
    assert [(f["position"], f["box"], f["shell"], f["code"]) for f in document["flags"]] == [
        (None, "box-1", "7", "mark-fits-no-position"),
        (None, "box-1", "8", "mark-fits-no-position"),
    ]
    left = {s["shell"]: s.get("marks") for s in document["leftover"]}
    assert left == {"7": {"flange": "both"}, "8": {"flange": "both"}}
    words = " ".join(Ran(capsys, "assign", folder, "--quiet", "--full").out.split())
    assert "box-1/7 2.0070 flange both, box-1/8 2.0080 flange both" in words


def test_the_same_thing_in_other_words(tmp_path: Path) -> None:
    """Where a position asks for `yes` and the shells say `ja`, both words are told."""
    plan = fitmatch.assign(read_job(thrust(tmp_path, "yes", "ja", "ja")))
    (stray,) = plan.plans[0].strays
    assert (stray.mark, stray.wanted, [s.name for s in stray.shells]) == ("ja", ("", "yes"), ["7", "8"])
    assert plan.needs_attention
    (unfilled,) = plan.unfilled
    assert words_of(unfilled.why, "mm") == (
        "none of the 8 upper halves of kind main matches flange = yes; their flange is blank or `ja`"
    )


@pytest.mark.parametrize(("wants", "mark"), [("both", "BOTH"), ("any", "both"), ("", "any"), ("", "")])
def test_marks_that_fit(tmp_path: Path, wants: str, mark: str) -> None:
    """Case does not matter, `any` fits on both sides, and a blank is no mark."""
    assert fitmatch.assign(read_job(thrust(tmp_path, wants, mark, mark))).plans[0].strays == ()


def test_each_half_is_held_against_its_own_side(tmp_path: Path) -> None:
    """What only the lower halves ask for is no home for a marked upper half."""
    folder = thrust(tmp_path, "left", "left", column="flange_lower")
    text = (folder / "shells/box-1.csv").read_text(encoding="utf-8").replace("flange_lower", "flange")
    for half, astray in (("either", 0), ("lower", 0), ("upper", 1)):
        text = text.replace("7,main,either", f"7,main,{half}").replace("7,main,lower", f"7,main,{half}")
        (folder / "shells/box-1.csv").write_text(text, encoding="utf-8")
        assert len(fitmatch.assign(read_job(folder)).plans[0].strays) == astray


def test_what_is_not_looked_for_a_place(tmp_path: Path) -> None:
    """A held shell, a locked one, and a kind without any position are left aside."""
    folder = thrust(tmp_path, "", "x", "y", "z", "z")
    path = folder / "shells/box-1.csv"
    lines = path.read_text(encoding="utf-8").splitlines()
    held = [lines[0] + ",hold", *(f"{line}," for line in lines[1:])]
    held[7] += "bent"
    held[9:] = [line.replace("main", "rod") for line in held[9:]]
    path.write_text("\n".join(held) + "\n", encoding="utf-8")
    positions = (folder / "positions.csv").read_text(encoding="utf-8").splitlines()
    positions = [positions[0] + ",upper", positions[1] + ",8", *(f"{line}," for line in positions[2:])]
    (folder / "positions.csv").write_text("\n".join(positions) + "\n", encoding="utf-8")
    (folder / "job.toml").write_text(JOB + "[fit.rod]\ntarget = 0.05\n", encoding="utf-8")
    assert fitmatch.assign(read_job(folder)).plans[0].strays == ()


def test_a_mark_that_another_job_asks_for(tmp_path: Path) -> None:
    """In a pool a shell may go to any engine; one that fits none is told with the job whose file it is in."""

    def job(name: str, wants: str, *marks: str) -> Path:
        folder = thrust(tmp_path / name, wants, *marks)
        (folder / "job.toml").write_text(JOB + 'family = ["a"]\n', encoding="utf-8")
        text = (folder / "shells/box-1.csv").read_text(encoding="utf-8").splitlines()
        rows = [text[0] + ",family", *(f"{line},a" for line in text[1:])]
        (folder / "shells/box-1.csv").unlink()
        (folder / f"shells/{name}.csv").write_text("\n".join(rows).replace("2.00", f"2.0{len(name)}"), encoding="utf-8")
        return folder

    pool = read_jobs([job("one", "", "left", "odd"), job("other", "left", "right")])
    found = [[(s.mark, s.wanted) for s in one.strays] for one in fitmatch.assign(pool).plans]
    assert found == [[("odd", ("", "left"))], [("right", ("", "left"))]]
