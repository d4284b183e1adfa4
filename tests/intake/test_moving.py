"""The rules about housings that may move, as a job folder sets them, and what the reports say of them."""

import csv
import json
from io import StringIO
from pathlib import Path

from made.intake_jobs import JOB, SHELLS, mistakes, write_job
from oracles.rulebook import rules_of

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.intake.reading import read_job
from fitmatch.report.data.document import plan_document
from fitmatch.report.data.rows import plan_rows
from fitmatch.report.text.report import plan_text

POSITIONS = """\
position,kind,journal,housing_bore,bank
R1,rod,1.8165,1.9421,A
R2,rod,1.8162,1.9424,a
"""
MORE = "04,rod,lower,0.0618\n05,rod,upper,0.06185\n"


def test_rules_are_read(tmp_path: Path) -> None:
    """Kinds and columns; the cells are compared without regard to case; the column counts as used."""
    job = read_job(write_job(tmp_path, f'{JOB}[rules]\nmovable = ["rod"]\nmovable_within = ["Bank"]\n', POSITIONS))
    assert (rules_of(job).movable, rules_of(job).movable_within) == (("rod",), ("bank",))
    assert [p.within for p in job.positions] == [("a",), ("a",)]
    assert not job.warnings
    assert rules_of(read_job(write_job(tmp_path, JOB))).movable == ()


def test_columns_without_housings_that_move_are_warned_of(tmp_path: Path) -> None:
    """movable_within does nothing where no kind is movable, and that is said."""
    job = read_job(write_job(tmp_path, f'{JOB}[rules]\nmovable_within = ["bank"]\n', POSITIONS))
    assert any("rules.movable_within has no effect without rules.movable" in text for text in job.warnings)


def test_rules_that_will_not_do(tmp_path: Path) -> None:
    """Mains, unknown kinds, columns that no positions file has and columns that may not be named are bad input."""
    rules = '[rules]\nmovable = ["rot", "main", "thrust-main"]\nmovable_within = ["bank", "journal", "seating"]\n'
    main = "are bored in line in one block and never move; delete it"
    assert mistakes(write_job(tmp_path, f"{JOB}{rules}")) == [
        "job.toml:9: rules.movable: there is no [fit.rot]; add it, or write the nearest kind `rod`",
        f"job.toml:9: rules.movable: the housings of `main` {main}",
        f"job.toml:9: rules.movable: the housings of `thrust-main` {main}",
        "job.toml:10: rules.movable_within: `journal` cannot be named here; name another column or leave it out",
        "job.toml:10: rules.movable_within: `seating` cannot be named here; name another column or leave it out",
        (
            "job.toml:10: rules.movable_within: the positions file lacks a column `bank`; add the column "
            "or correct the name"
        ),
    ]
    assert mistakes(write_job(tmp_path, f'{JOB}[rules]\nmovable = "rod"\n')) == [
        'job.toml:9: rules.movable: is the text `rod`, not a list; write a list of kinds, such as ["rod"]'
    ]


def test_moves_are_told(tmp_path: Path) -> None:
    """Text, JSON and CSV name the housing of every position, and what the moves gain."""
    folder = write_job(tmp_path, f'{JOB}[rules]\nmovable = ["rod"]\n', POSITIONS, SHELLS + MORE)
    plan = best_plan(read_job(folder))
    text = plan_text(plan, "in")
    assert "the housing of R2 to journal R1; the housing of R1 to journal R2" in text
    rows = {cells[0]: cells for line in text.splitlines() if (cells := line.split())[:1] in (["R1"], ["R2"])}
    assert (rows["R1"][1], rows["R2"][1]) == ("R2", "R1") and "housing" in text[: text.index("R1 ")]
    assert "Against staying: worst off " in text and "must never be separated" in " ".join(text.split())
    document = json.loads(plan_document(plan, "in"))
    assert [(p["housing"], p["housing_bore"]) for p in document["positions"]] == [("R2", 1.9424), ("R1", 1.9421)]
    kind = document["kinds"]["rod"]
    assert kind["moves"] == [{"housing": "R2", "to": "R1"}, {"housing": "R1", "to": "R2"}]
    assert kind["staying"]["worst_deviation"] > kind["worst_deviation"]
    rows = list(csv.DictReader(StringIO(plan_rows(plan, "in"))))
    assert [row["housing"] for row in rows] == ["R2", "R1"]
    alone = read_job(write_job(tmp_path, JOB, POSITIONS, SHELLS + MORE))
    assert "HOUSINGS" not in plan_text(best_plan(alone), "in", full=True)
    assert "housing," not in plan_rows(best_plan(alone), "in")
    positions = "position,kind,journal,housing_bore\nR1,rod,1.8162,1.9421\nR2,rod,1.8161,1.9420\n"
    shells = "shell,kind,half,wall\n" + "".join(f"{i},rod,either,0.0618\n" for i in range(4))
    folder = write_job(tmp_path / "staying", f'{JOB}[rules]\nmovable = ["rod"]\n', positions, shells)
    stays = best_plan(read_job(folder))
    assert "ROD: every housing stays where it is; no other arrangement" in plan_text(stays, "in", full=True)
    assert "HOUSINGS" not in plan_text(stays, "in")


def test_assembled_readings_know_what_moved(tmp_path: Path) -> None:
    """A clearance read with the shells in is compared with the journal in the housing that the saved plan put there."""
    from fitmatch.gauging.assembled import compare
    from fitmatch.gauging.doubts.check import doubts_of

    folder = write_job(tmp_path, f'{JOB}[rules]\nmovable = ["rod"]\n', POSITIONS, SHELLS + MORE)
    job = read_job(folder)
    plan = best_plan(job)
    (folder / "assignment.json").write_text(plan_document(plan, "in"))
    (folder / "assembled.csv").write_text("position,clearance,method\nR1,0.0022,gauge\nR2,0.0022,gauge\n")
    again = read_job(folder, assembled=True)
    found = compare(again, doubts_of(again))
    assert [c.placement.clearance_nm for c in found.checks] == [p.clearance_nm for p in plan.placements]
