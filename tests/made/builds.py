"""An engine of eight rods and five mains in the files of `fitmatch new`, filled in: its boxes bear the job's name."""

from pathlib import Path
from random import Random

from fitmatch.cli.job.blank import blank_job

GAUGES = """
[gauge.mic]
resolution = 0.00005
limit = 0.0001
repeatability = 0.00005
[gauge.ball]
resolution = 0.00005
limit = {limit}
repeatability = 0.00003
[measured.rod]
journal = "mic"
housing_bore = "mic"
wall = "ball"
[measured.main]
journal = "mic"
housing_bore = "mic"
wall = "ball"
"""
RULES = '\n[rules]\nmovable = ["rod"]\n'
LIMITS = {'min      = "..."': "min = 0.0014", 'max      = "..."': "max = 0.0034"}
_SIZES = {"rod": (181_620, 194_220, 6_180), "main": (224_800, 244_100, 9_530)}  # journal, bore, wall in 0.00001 in


def build(folder: Path, *, more: str = "", marked: bool = False, name: str = "my-build", off: int = 0) -> Path:
    """Two boxes of each kind, `more` at the end of job.toml. `marked`: with a flange, chamfers and notes. `off`: how
    many tenths every housing bore is too large."""
    blank = blank_job("in", rods=8, mains=5, name=name)
    text = blank.job_toml
    for before, after in LIMITS.items():
        text = text.replace(before, after)
    for i, line in enumerate(text.split("[fit.")[1:]):
        kind = line[: line.index("]")]
        text = text.replace(f"[fit.{kind}]", f'[fit.{kind}]\nlimits_from = "engine manual, p. {12 + i}"')
    (folder / "shells").mkdir(parents=True)
    (folder / "job.toml").write_text(text + more, encoding="utf-8")
    positions = ["position,kind,journal,housing_bore,note" + (",flange,chamfer" if marked else "")]
    draw = Random(3)  # with this seed some rods move where they may
    for at, (position, kind, *_) in enumerate(blank.tables["positions"][1:]):
        journal, bore, _ = (size + 5 * draw.randint(-4, 4) for size in _SIZES[kind])
        cells = [position, kind, _inch(journal), _inch(bore + 10 * off)]
        marks = ["yes" if position == "M3" else "", "wide" if kind == "rod" and at % 2 else ""] if marked else []
        positions.append(",".join([*cells, "pin polished" if marked and at == 2 else "", *marks]))
    (folder / "positions.csv").write_text("\n".join(positions) + "\n", encoding="utf-8")
    for path, (_, *rows) in ((path, rows) for path, rows in blank.tables.items() if path != "positions"):
        for box in (path, path[:-1] + chr(ord(path[-1]) + 2)):
            shells = ["shell,kind,half,wall" + (",flange,chamfer" if marked else "")]
            for at, (shell, kind, half, *_) in enumerate(rows):
                wall = _SIZES[kind][2] + 5 * draw.randint(-6, 6)
                place = at % (len(rows) // 2)
                marks = ["yes" if kind == "main" and place == 2 else "", "wide" if kind == "rod" and at % 2 else ""]
                shells.append(",".join([box[-1] + shell[1:], kind, half, _inch(wall), *(marks if marked else [])]))
            (folder / f"{box}.csv").write_text("\n".join(shells) + "\n", encoding="utf-8")
    return folder


def _inch(hundredths: int) -> str:
    return f"{hundredths / 100_000:.5f}"
