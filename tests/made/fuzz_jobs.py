"""The sound jobs that are damaged: the samples, and three small ones that use what the samples do not."""

from pathlib import Path

from made.intake_jobs import workbook

Files = dict[str, bytes]

SAMPLES = Path(__file__).resolve().parents[2] / "samples"

INCHES = {
    "job.toml": """\
title = 'Of every kind'
unit = "in"
[fit.rod]
target_ratio = 0.00124
min = 0.0012
max = "3.4 thou"
seating = -0.00005
seating_u = 2e-5
seating_readings = 5
family = ["Narrow-2", "wide"]
[fit."main 2"]
target = 2.4e-3
[drawing.rod]
journal = "1.8155..46.2 mm"
wall = "61 thou .. 0.0622"
[rules]
wall_difference = "off"
thick_half_from = "3 tenths"
match = ["finish", "width"]
same_in_bore = ["series"]
limits_at = "mean"
[coating]
measured = "bare"
""",
    "positions.csv": """\
position;kind;Journal_1 [mm];journal_2;housing_bore;min;max;seating;target;finish_upper;finish;width;upper;lower;accept
R1;rod;46,1315;1,8163;1,9421 in;;;;;a;any;w;01;boxes/02;
R2;rod;46,129;1.8161;49327,7 um;0,0011;3 thou;-,00002;0,0021;;any;W;;;"worn
; two lines"
M1;main 2;53,975;2.125;2,2514;;;;24 tenths;any;any;w;;;
""",
    "shells/boxes.csv": """\
shell,kind,half,wall_1,wall_2,coating,measured,finish,series,family,hold,width,box
01,rod,upper,0.06185,61.9 thou,0.0004,coated,a,s,Narrow-2,,w,
02,rod,lower,0.0618,,,,any,s,B,,w,
03,rod,either,0.0619,.06191,0.5 thou,bare,,,b,no,w,box 2
"04",main 2,either,0.0620,1.575 mm,,,b,t,,,w,box 2
05,main 2,either,62E-3,,,,b,t,,,any,box 2
""",
}

METRIC = {
    "job.toml": """\
unit = "mm"
sources = { positions = "positions.csv", readings = "long.csv", shells = ["shells/*.csv"] }
[fit.rod]
target = 0.050
[gauge.mic]
unit = "in"
resolution = 0.0001
standard = 2
standard_reads = [2.0001, "50.8025 mm", 2.00015]
standard_limit = 0.00002
expansion = 12.0e-6
expansion_limit = 1e-6
[gauge.bore]
set_with = "mic"
limit = "2 um"
[gauge.ball]
ball = 6.35
repeatability = 0.0004
repeatability_from = 12
repeatability_rounded = true
[measured.rod]
wall = "ball"
housing_bore = "bore"
[temperature]
gauges = 22.5
parts = +26
limit = 1
[material.rod]
journal = "steel"
housing_bore = 23.1e-6
housing_bore_limit = 2e-6
[form.rod]
wall_taper = 0.01
journal_out_of_round = "4 um"
[readings]
numbered = "repeats"
[rules]
guard = 0.5
""",
    "positions.csv": """\
position,kind,journal_1,journal_2,housing_bore,journal_gauge,note
R1,rod,50.802,50.803,,,
R2,rod,2.0001,2.00005 in,54.851,mic,
R3,rod,,,54.85,,
""",
    "long.csv": """\
item\tfeature\tstation\tangle\treading\tgauge\tby\ttime\tconfirmed
R3\tjournal\t1\t0\t50,805\t\tme\t8:15\t
R3\tjournal\t1\t0\t2,0002\tmic\t\t\t
R3\tjournal\t2\t-90\t50,8 mm\t\t\t\tlooked again
R1\tHousing_bore\t1\t183,5\t54,853\t\t\t\t
R1\thousing_bore\t1\t90\t54,9\t\t\t\t
R1\thousing_bore\t\t\t54,852\tbore\t\t\t
1\twall\t1\t0\t8,35\t\t\t\t
1\twall\t2\t0\t8,3505\t\t\t\t
box/3\twall\t\t360\t8349 um\t\t\t\t
""",
    "shells/box.csv": (
        "shell,kind,half,wall,gauge\r\n1,rod,upper,,\r\n2,rod,lower,8.351,\r\n"
        "3,rod,lower,,\r\n4,rod,either,8.352,ball\r\n"
    ),
}

SHEETS = {
    "positions.xlsx": [
        ["position", "kind", "journal", "housing_bore [mm]", "note", "pin"],
        ["R1", "rod", 1.8162, 49.32934, "a", 1],
        [2, "rod", "1.8161 in", 49.3268, None, 2.0],
        [],
        ["R3", "rod", 1.81625, None, True, None],
    ],
    "shells/box.xlsx": [
        ["shell", "kind", "half", "wall", "grade", "coating"],
        [1.0, "rod", "upper", 0.06185, "thin", None],
        ["02", "rod", "lower", "61.8 thou", 7, 0.0004],
        [3, "rod", "either", 6.19e-2, None, "0.01 mm"],
    ],
}
SHEETS_TOML = b"""\
unit = "in"
[sources]
positions = "positions.xlsx"
shells = ["shells/*.xlsx"]
[fit.rod]
target = 0.0022
"""


def sample(folder: Path) -> Files:
    """The files of a sample job."""
    return {
        path.relative_to(folder).as_posix(): path.read_bytes() for path in sorted(folder.rglob("*")) if path.is_file()
    }


JOBS: list[Files] = [
    *(sample(folder) for folder in sorted(SAMPLES.iterdir()) if (folder / "job.toml").exists()),
    *({name: text.encode() for name, text in job.items()} for job in (INCHES, METRIC)),
    {"job.toml": SHEETS_TOML, **{name: workbook(rows) for name, rows in SHEETS.items()}},
]
