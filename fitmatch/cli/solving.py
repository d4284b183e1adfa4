"""What the commands that solve have in common: one job or several, a time limit, and Ctrl-C for the best found so
far."""

import signal
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli.console import Notes

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


def read(folders: Sequence[Path], notes: Notes, *, needs_shells: bool = True) -> "Job | Pool":
    """One job, or several that share their shells; warnings are told. `needs_shells`: a job without a shell file is
    refused."""
    from fitmatch.intake.pooling import read_jobs
    from fitmatch.intake.reading import read_job

    with notes.progress("reading the job" if len(folders) == 1 else "reading the jobs"):
        task = (
            read_job(folders[0], needs_shells=needs_shells)
            if len(folders) == 1
            else read_jobs(folders, needs_shells=needs_shells)
        )
    for job in task.jobs:
        notes.warn(*job.warnings)
    return task


def stop_after(seconds: float | None, kept_back: float = 0.0) -> "Stop":
    """A stop for what is left of these seconds, which began with the command; some are kept back for what follows."""
    from fitmatch.fit.solver.stopping import Stop

    return Stop(None if seconds is None else max(0.0, seconds - (time.monotonic() - STARTED) - kept_back))


@contextmanager
def stopped_by_ctrl_c(stop: "Stop") -> Iterator[None]:
    """The first Ctrl-C asks for the best answer found so far; another one does not wait for it."""

    def on_signal(*_: object) -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        stop.request()

    before = signal.signal(signal.SIGINT, on_signal)
    try:
        yield
    finally:
        signal.signal(signal.SIGINT, before)
