"""Noise: whatever is in the files, the answer is a job or a list of mistakes, each in one line."""

import tempfile
from pathlib import Path

from hypothesis import given, settings
from hypothesis import strategies as st
from made.intake_jobs import write_job

from fitmatch.intake.reading import read_job
from fitmatch.problems import InputError

JOB = b"""\
unit = "in"
[fit.rod]
target = 0.0022
max = 0.0028
family = ["a"]
[drawing.rod]
wall = "0.0614..0.0622"
[rules]
match = ["finish"]
same_in_bore = ["series"]
thick_half = { rod = "upper" }
[coating]
measured = "bare"
"""
MEASURED = b"""\
unit = "mm"
[sources]
readings = "readings.csv"
[fit.rod]
target = 0.05
seating_u = 0.001
[gauge.mic]
unit = "in"
standard = 2
standard_reads = 2.0001
[gauge.bore]
set_with = "mic"
expansion = 11.5e-6
[measured.rod]
wall = "mic"
[temperature]
room = 22
limit = 1
[material.rod]
journal = "steel"
housing_bore = 23e-6
[form.rod]
wall_taper = 0.01
[readings]
numbered = "repeats"
"""
READINGS = b"""\
item,feature,station,angle,reading,gauge,by,time,confirmed
R1,journal,1,0,50 mm,mic,,,
R1,journal,,,2,mic,,,
R1,housing_bore,1,90,54.05,,,,
R1,housing_bore,1,0,54.05,bore,,,
1,wall,1,0,0.08,,,,
2,wall,1,0,2 mm,,,,
"""
POSITIONS = b"""\
position,kind,journal_1,journal_2,housing_bore,upper,lower,pin,finish_upper,finish,target,min
R1,rod,1.8162,1.8163,1.9421,01,box-1/02,1,a,b,0.0022,
R2,rod,1.8161,,1.9420,,,,,,,
"""
SHELLS = b"""\
shell,kind,half,wall,coating,measured,finish,series,family,hold
01,rod,upper,0.06185,0.0004,bare,a,s,A,
02,rod,lower,0.0618,,,any,,a,
03,rod,either,0.0619,,,,,,no
"""
SCRAPS = [
    *(b'"', b",", b";", b"\t", b"\n", b"\r", b"\r\n", b"\0", b"/", b".", b"..", b"-", b"0", b"=", b"#", b"'", b"_1"),
    *(b"[", b"]", b"{", b"}", b'"""', b"nan", b"1e999", b"true", b"1979-05-27", b"\xff", "ä".encode(), b"\xef\xbb\xbf"),
    *(
        b"[fit]\n",
        b"[[fit]]\n",
        b"[[fit.rod]]\n",
        b"\nunit = 1\n",
        b'"a\\nb" = 1\n',
        b"[mm]",
        b"any",
        b"box-1/",
        b"min",
    ),
    b'"wa\nll"',
]
EDIT = st.tuples(st.integers(0, 400), st.integers(0, 12), st.sampled_from(SCRAPS))


def edited(data: bytes, edits: list[tuple[int, int, bytes]]) -> bytes:
    """`data` with some bytes replaced by scraps."""
    for place, lost, scrap in edits:
        start = place % (len(data) + 1)
        data = data[:start] + scrap + data[start + lost :]
    return data


@settings(max_examples=100, deadline=None)
@given(st.lists(EDIT, max_size=3), st.lists(EDIT, max_size=3), st.lists(EDIT, max_size=3))
def test_noise(
    to_job: list[tuple[int, int, bytes]],
    to_positions: list[tuple[int, int, bytes]],
    to_shells: list[tuple[int, int, bytes]],
) -> None:
    """Any damage to any file gives a job or problems of one line each that say what to do, never another error."""
    with tempfile.TemporaryDirectory() as name:
        job_toml, positions, shells = edited(JOB, to_job), edited(POSITIONS, to_positions), edited(SHELLS, to_shells)
        folder = write_job(Path(name), job_toml, positions, shells)
        try:
            job = read_job(folder)
        except InputError as error:
            assert error.problems
            for problem in error.problems:
                assert str(problem).isprintable()
                assert "; " in problem.text
                assert problem.file in ("job.toml", "positions.csv", "shells/box-1.csv")
        else:
            assert job.positions
            assert len(job.digest) == 64


@settings(max_examples=100, deadline=None)
@given(st.lists(EDIT, max_size=3), st.lists(EDIT, max_size=3))
def test_noise_in_readings(to_job: list[tuple[int, int, bytes]], to_readings: list[tuple[int, int, bytes]]) -> None:
    """The same for the tables about measuring and the long file of readings."""
    with tempfile.TemporaryDirectory() as name:
        job_toml, readings = edited(MEASURED, to_job), edited(READINGS, to_readings)
        bare = "position,kind\nR1,rod\n", "shell,kind,half,coating\n1,rod,upper,0.01\n2,rod,lower,\n"
        folder = write_job(Path(name), job_toml, *bare, readings_DOT_csv=readings)
        try:
            job = read_job(folder)
        except InputError as error:
            assert error.problems
            for problem in error.problems:
                assert str(problem).isprintable() and "; " in problem.text
        else:
            assert job.positions and len(job.digest) == 64
