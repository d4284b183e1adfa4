"""The wanted band of a kind as a job folder sets it."""

from pathlib import Path

from made.intake_jobs import JOB, mistakes, write_job

from fitmatch.intake.reading import read_job

TENTH = 2_540


def test_the_band_is_clipped_to_a_positions_own_limits(tmp_path: Path) -> None:
    """Each position has the band, no further out than its own min and max; either end may be left out."""
    positions = (
        "position,kind,journal,housing_bore,min,max\nR1,rod,1.8162,1.9421,,\nR2,rod,1.8161,1.942,0.0021,0.0022\n"
    )
    folder = write_job(tmp_path, f'{JOB}want_min = 0.0020\nwant_max = "2.5 thou"\n', positions)
    bands = [(p.want_min_nm, p.want_max_nm) for p in read_job(folder).positions]
    assert bands == [(20 * TENTH, 25 * TENTH), (21 * TENTH, 22 * TENTH)]
    folder = write_job(tmp_path, f"{JOB}want_max = 0.0030\n", positions)
    assert [(p.want_min_nm, p.want_max_nm) for p in read_job(folder).positions] == [
        (None, 28 * TENTH),
        (None, 22 * TENTH),
    ]


def test_a_target_outside_the_band_is_warned_of(tmp_path: Path) -> None:
    """The target may be outside the wanted band, and is then reported once for the kind."""
    job = read_job(write_job(tmp_path, f"{JOB}want_min = 0.0023\n"))
    assert job.warnings == (
        "fit.rod: at position R1 the target 0.0022 in is below the wanted band, which starts at 0.0023 in; "
        "the band comes before the target",
    )
    assert read_job(write_job(tmp_path, f"{JOB}want_max = 0.0022\n")).warnings == ()
    (warning,) = read_job(write_job(tmp_path, f"{JOB}want_max = 0.0021\n")).warnings
    assert "is above the wanted band, which ends at 0.0021 in" in warning


def test_bands_that_will_not_do(tmp_path: Path) -> None:
    """Crossed ends and implausible lengths are bad input."""
    assert mistakes(write_job(tmp_path, f"{JOB}want_min = 0.0024\nwant_max = 0.0023\n")) == [
        "job.toml:8: fit.rod.want_min: want_min 0.0024 in is above want_max 0.0023 in; swap or correct them"
    ]
    assert mistakes(write_job(tmp_path, f"{JOB}want_min = -0.1\nwant_max = true\n")) == [
        "job.toml:8: fit.rod.want_min: `-0.1` is below zero; a limit is 0 to 2 mm",
        "job.toml:9: fit.rod.want_max: is `true`, not a length; write a number, or a number and its unit in quotes, "
        'such as "0.6 thou"',
    ]
