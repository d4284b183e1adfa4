"""A small engine for the tests of the shelf: a job of two rods, its box, and its plan saved."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from made.intake_jobs import POSITIONS, write_job

from fitmatch import assign, read_job
from fitmatch.report.data.document import plan_document

BOX = """\
shell,kind,half,wall,family,step,location
01,rod,upper,0.0618,narrow-2,0.001,drawer 1
02,rod,lower,0.0618,narrow-2,0.001,drawer 1
03,rod,upper,0.0619,narrow-2,0.001,drawer 1
04,rod,lower,0.0619,narrow-2,0.001,drawer 1
05,rod,upper,0.0617,narrow-2,0.001,drawer 1
06,rod,lower,0.0617,narrow-2,0.001,drawer 1
"""
ONE_ROD = "\n".join(POSITIONS.splitlines()[:2]) + "\n"


class Clock:
    """A clock that goes on by a minute whenever it is asked."""

    def __init__(self) -> None:
        self.at = datetime(2026, 3, 1, 9, 0, tzinfo=UTC)

    def __call__(self) -> datetime:
        self.at += timedelta(minutes=1)
        return self.at


def planned_job(folder: Path, positions: str = POSITIONS, shells: str = BOX) -> Path:
    """A job folder with its plan saved."""
    save_plan(write_job(folder, positions=positions, shells=shells))
    return folder


def save_plan(folder: Path) -> None:
    """Solve a job and keep its plan, as `fitmatch assign --save` does."""
    job = read_job(folder)
    (folder / "assignment.json").write_text(plan_document(assign(job), job.unit), encoding="utf-8")
