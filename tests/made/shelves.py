"""A small engine for the tests of the shelf: a job of two rods, its box, and its plan saved."""

from datetime import UTC, datetime, timedelta
from pathlib import Path

from made.intake_jobs import POSITIONS, write_job

from fitmatch import read_job
from fitmatch.shelf import (
    Shelf,
    correct,
    count,
    fitted,
    move,
    read_planned,
    read_stock,
    scrap,
    send_back,
    set_aside,
    take_in,
)

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
    from fitmatch import assign  # loads the solver, which makes processes slow to fork
    from fitmatch.report.data.document import plan_document

    job = read_job(folder)
    (folder / "assignment.json").write_text(plan_document(assign(job), job.unit), encoding="utf-8")


SEALED = """\
part,box,family,kind,step,lot,seller,price,location
XR-2,box-8,narrow-2,rod,0.001,7,"a shop, by the river",80.50,cellar
XR-2,box-9,narrow-2,rod,STD,7,,,cellar
"""
HOSTILE = ("=1+1", "x'); DROP TABLE shells;--", "\x1b[31mred", "'quoted\"", "a\r\nb,c", "Zoë; Ωmega")


def lived_on(shelf: Shelf, folder: Path) -> Path:
    """A shelf after some months, on which everything has happened once; the job of which one position is fitted."""
    job = planned_job(folder / "first")
    take_in(shelf, read_stock([job]), by=HOSTILE[5], note=HOSTILE[0])
    (folder / "sealed.csv").write_text(SEALED, encoding="utf-8")
    take_in(shelf, read_stock([folder / "sealed.csv"], "in"))
    (folder / "box-2.csv").write_text("shell,kind,half,wall,gauge,price\n1,rod,upper,0.0618,mic,9\n2,rod,lower,,,\n")
    take_in(shelf, read_stock([folder / "box-2.csv"], "in"))
    set_aside(shelf, read_planned(job), by=HOSTILE[1])
    fitted(shelf, read_planned(job), ["R1"], note=HOSTILE[4])
    moved = move(shelf, ["7"], HOSTILE[3], note=HOSTILE[2])
    correct(shelf, moved.events[0].number)
    move(shelf, ["7", "8"], HOSTILE[5])
    scrap(shelf, "8", HOSTILE[1])
    count(shelf, [], location=HOSTILE[5])
    send_back(shelf, "box-9")
    return job
