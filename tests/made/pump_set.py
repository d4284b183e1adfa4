"""A small job as files: two rods that can both be filled, one box of shells."""

from pathlib import Path

JOB_TOML = """
title = "Pump set"
unit = "in"
[fit.rod]
min = 0.0018
max = 0.0028
target = 0.0022
"""
POSITIONS = "position,kind,journal,housing_bore\nR1,rod,1.8162,1.9421\nR2,rod,1.8161,1.9420\n"
SHELLS = "shell,kind,half,wall\n1,rod,upper,0.0619\n2,rod,upper,0.06185\n3,rod,lower,0.0619\n4,rod,lower,0.0618\n"


def written(folder: Path, *, toml: str = JOB_TOML, positions: str = POSITIONS, shells: str = SHELLS) -> Path:
    """The job folder, written out."""
    (folder / "shells").mkdir(parents=True)
    (folder / "job.toml").write_text(toml, encoding="utf-8")
    (folder / "positions.csv").write_text(positions, encoding="utf-8")
    (folder / "shells" / "box-1.csv").write_text(shells, encoding="utf-8")
    return folder
