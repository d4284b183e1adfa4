"""Raw readings are kept beside the sizes that they give, with their gauge and the reason why they were confirmed."""

from pathlib import Path

from made.intake_jobs import JOB, write_job

from fitmatch import read_job
from fitmatch.records.measuring import Reading

GAUGES = "\n[gauge.mic]\nstandard = 1.0\nstandard_reads = 1.0001\n[gauge.ball]\nball = 0.25\n"


def test_wide_readings_are_kept_raw_with_gauge_and_reason(tmp_path: Path) -> None:
    """Readings of wide columns are as typed, before any correction, each with the reason written in its row."""
    positions = (
        "position,kind,journal_1,journal_2,housing_bore,journal_gauge,journal_confirmed\n"
        "R1,rod,1.8162,1.8163,1.9421,mic,read twice\n"
    )
    shells = (
        "shell,kind,half,wall,wall_gauge,gauge,wall_confirmed\n"
        "1,rod,upper,0.3118,ball,mic,\n2,rod,lower,0.0618,,,seen\n"
    )
    job = read_job(write_job(tmp_path, job=JOB + GAUGES, positions=positions, shells=shells))
    (rod,) = job.positions
    assert rod.journal is not None and rod.housing_bore is not None
    read = ((46_131_480, "journal_1"), (46_134_020, "journal_2"))
    twice = tuple(Reading(nm, gauge="mic", confirmed="read twice", column=column) for nm, column in read)
    assert (rod.journal.readings, rod.journal.aside) == (twice, ())
    assert (rod.housing_bore.readings, rod.housing_bore.aside) == ((Reading(49_329_340, column="housing_bore"),), ())
    assert [s.measured and s.measured.readings for s in job.shells] == [
        (Reading(7_919_720, gauge="ball", column="wall"),),
        (Reading(1_569_720, confirmed="seen", column="wall"),),
    ]
    assert [s.wall_nm for s in job.shells] == [1_569_720, 1_569_720]
