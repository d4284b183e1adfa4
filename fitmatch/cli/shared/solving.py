"""What the commands that solve have in common: one job or several, a time limit, and Ctrl-C for the best found so
far."""

import signal
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli.exit_codes import BAD_INPUT
from fitmatch.cli.shared.console import Notes, tell
from fitmatch.cli.shared.options import Decorated

if TYPE_CHECKING:
    from fitmatch.fit.solver.stopping import Stop
    from fitmatch.records.job import Job
    from fitmatch.records.pools import Pool

STARTED: Final = time.monotonic()
_LONGEST_SECONDS: Final = 1_000_000


def _seconds(_ctx: click.Context, _param: click.Parameter, value: str | None) -> float | None:
    if value is None:
        return None
    try:
        seconds = float(value)
    except ValueError:
        seconds = 0.0
    if not 0 < seconds <= _LONGEST_SECONDS:
        raise click.BadParameter(f"`{value}` is not a number of seconds above 0, such as 30")
    return seconds


time_limit = click.option(
    "--time-limit",
    "seconds",
    metavar="SECONDS",
    callback=_seconds,
    help="For the whole command; when it is reached, the best answer found is printed.",
)


def shelf_options(command: Decorated) -> Decorated:
    """The options for shells from the shelf."""
    flag = click.option(
        "--from-shelf",
        is_flag=True,
        help="Also with the shelf's free shells of the job's families, and those set aside for it; no shell file is "
        "needed then.",
    )
    where = click.option("--db", metavar="PATH|URL", help="With --from-shelf: the shelf, as for `fitmatch shelf`.")
    return flag(where(command))


def read(
    folders: Sequence[Path], notes: Notes, *, needs_shells: bool = True, from_shelf: bool = False, db: str | None = None
) -> "Job | Pool":
    """One job, or several that share their shells; warnings are told. `needs_shells`: a job without a shell file is
    refused. `from_shelf`: with the shells of the shelf too."""
    if db is not None and not from_shelf:
        raise click.UsageError("--db says which shelf; add --from-shelf")
    alone = len(folders) == 1
    task: Job | Pool
    with notes.progress(f"reading the job{'' if alone else 's'}{' and the shelf' if from_shelf else ''}"):
        if from_shelf:
            task = read_from_shelf(folders, db)
        elif alone:
            from fitmatch.intake.reading import read_job

            task = read_job(folders[0], needs_shells=needs_shells)
        else:
            from fitmatch.intake.pooling import read_jobs

            task = read_jobs(folders, needs_shells=needs_shells)
    for job in task.jobs:
        notes.warn(*job.warnings)
    return task


def read_from_shelf(folders: Sequence[Path], db: str | None) -> "Job | Pool":
    """The same with the shells of the shelf; what that refuses is told, and the command left."""
    from fitmatch.shelf.jobs.supplying import read_supplied, read_supplied_jobs
    from fitmatch.shelf.store.opening import open_shelf

    with refusals_told():
        shelf = open_shelf(db, make=False)
        return read_supplied(shelf, folders[0]) if len(folders) == 1 else read_supplied_jobs(shelf, folders)


@contextmanager
def refusals_told(db: str | None = None) -> Iterator[None]:
    """What the shelf refuses inside is told, and the command left. `db`: the shelf, if it was named."""
    from fitmatch.shelf.refusals import RefusedError

    try:
        yield
    except RefusedError as error:
        from fitmatch.report.shelf.words import words

        for reason in error.reasons:
            told = reason if db is None else reason._replace(slots={**reason.slots, "db": db})
            tell(f"Error: {words(told, 'in')}")
        raise click.exceptions.Exit(BAD_INPUT) from error


def stop_after(seconds: float | None, kept_back: float = 0.0) -> "Stop":
    """A stop for what is left of these seconds, which began with the command; some are kept back for what follows."""
    from fitmatch.fit.solver.stopping import Stop

    return Stop(None if seconds is None else max(0.0, seconds - (time.monotonic() - STARTED) - kept_back))


@contextmanager
def stopped_by_ctrl_c(stop: "Stop") -> Iterator[None]:
    """The first Ctrl-C asks for the best answer found so far; where there is none yet, and at another one, the command
    ends at once."""

    def on_signal(*_: object) -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        if not stop.has_answer:
            raise KeyboardInterrupt
        stop.request()

    before = signal.signal(signal.SIGINT, on_signal)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
