"""The rules about bores in a row, and the column `offset`, as a job folder sets them."""

from pathlib import Path

from made.intake_jobs import JOB, mistakes, write_job
from oracles.rulebook import rules_of

from fitmatch.intake.reading import read_job

TENTH = 2_540


def test_rules_and_offsets_are_read(tmp_path: Path) -> None:
    """Both rules by kind, in any unit; offsets of any sign; without them there is none."""
    rules = '[rules]\nneighbour_step = { rod = "0.3 thou" }\nline = { rod = 0.0006 }\n'
    positions = "position,kind,journal,housing_bore,offset [thou]\nR1,rod,1.8162,1.9421,-0.1\nR2,rod,1.8161,1.942,0\n"
    job = read_job(write_job(tmp_path, f"{JOB}{rules}", positions))
    assert rules_of(job).neighbour_step_nm == {"rod": 3 * TENTH}
    assert rules_of(job).line_nm == {"rod": 6 * TENTH}
    assert [p.offset_nm for p in job.positions] == [-TENTH, 0]
    job = read_job(write_job(tmp_path, JOB))
    assert (rules_of(job).neighbour_step_nm, rules_of(job).line_nm) == ({}, {})
    assert [p.offset_nm for p in job.positions] == [None, None]


def test_offsets_in_some_rows_only(tmp_path: Path) -> None:
    """A blank offset beside one of the same kind is bad input; of another kind it is none."""
    positions = (
        "position,kind,journal,housing_bore,offset\nR1,rod,1.8162,1.9421,\nR2,rod,1.8161,1.942,0.0001\nM1,main,2,2.2,\n"
    )
    job = f"{JOB}[fit.main]\ntarget = 0.002\n"
    assert mistakes(write_job(tmp_path, job, positions)) == [
        "positions.csv:2: offset: is empty, but R2 (row 3) of the same kind has one; write 0 where the axis is in line"
    ]
    assert mistakes(write_job(tmp_path, job, positions.replace("1.9421,\n", "1.9421,x\n").replace("0.0001", ""))) == [
        "positions.csv:2: offset: `x` is not a number; write digits with a decimal point, such as 1.8162",
        "positions.csv:3: offset: is empty, but R1 (row 2) of the same kind has one; write 0 where the axis is in line",
    ]


def test_rules_that_will_not_do(tmp_path: Path) -> None:
    """Kinds without a table, lengths that are none, and rules not given by kind are bad input."""
    assert mistakes(
        write_job(tmp_path, f"{JOB}[rules]\nneighbour_step = 0.0003\nline = {{ main = 1, rod = -1 }}\n")
    ) == [
        "job.toml:9: rules.neighbour_step: is the number `0.0003`, not a table; "
        "write one length per kind, such as rules.neighbour_step.rod",
        "job.toml:10: rules.line.main: there is no [fit.main]; add it, or write the nearest kind `rod`",
        "job.toml:10: rules.line.rod: `-1` is below zero; a limit is 0 to 2 mm",
    ]
    positions = "position,kind,journal,housing_bore,offset\nR1,rod,1.8162,1.9421,0.2\n"
    assert mistakes(write_job(tmp_path, JOB, positions)) == [
        "positions.csv:2: offset: `0.2` is 5.08 mm, and an offset is -2 to 2 mm; if another unit was meant, write "
        "`0.2 mm`, `0.2 um` or `0.2 thou`"
    ]
