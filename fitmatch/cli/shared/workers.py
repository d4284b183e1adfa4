"""Options of commands that work many draws: by whom, and kept where."""

from collections.abc import Iterator
from contextlib import contextmanager
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitmatch.cli.exit_codes import INTERRUPTED
from fitmatch.cli.shared.console import tell, visible
from fitmatch.cli.shared.options import Decorated

if TYPE_CHECKING:
    from fitmatch.study.boxes.boxes import Work


def worker_options(command: Decorated) -> Decorated:
    """Adds `--workers`, `--cluster` and `--resume`."""
    for option in (
        click.option(
            "--resume",
            metavar="FILE",
            type=click.Path(path_type=Path),
            help="Keep the draws in a file, and go on from those that it has.",
        ),
        click.option("--cluster", metavar="ADDRESS", help="Let a scheduler of Dask work the draws, as HOST:PORT."),
        click.option(
            "--workers",
            type=click.IntRange(1, 1_000),
            metavar="N",
            help="Processes that work the draws.  [default: one for each core]",
        ),
    ):
        command = option(command)
    return command


def work(workers: int | None, cluster: str | None, resume: Path | None) -> "Work":
    """What works the draws as these options say; the answer is the same for all of them."""
    if cluster is not None and workers is not None:
        raise click.UsageError("--workers are processes of this machine, and --cluster has its own; choose one")
    from fitmatch.study.workers import crews
    from fitmatch.study.workers.resuming import work_on
    from fitmatch.study.workers.working import work_through

    number = workers or crews.cores()
    if cluster is not None:
        hire = crews.cluster(cluster)
    else:
        hire = crews.in_this_process if number == 1 else crews.processes(number)
    return partial(work_through, hire) if resume is None else partial(work_on, resume, hire)


@contextmanager
def saying_how_to_go_on(resume: Path | None) -> Iterator[None]:
    """Ctrl-C leaves the command, and says what becomes of the draws that were worked."""
    try:
        yield
    except KeyboardInterrupt as error:
        if resume is None:
            tell("stopped by Ctrl-C; with --resume FILE draws are kept, so that the same command goes on from them")
        else:
            tell(visible(f"stopped by Ctrl-C; the draws so far are in {resume}: the same command goes on from them"))
        raise click.exceptions.Exit(INTERRUPTED) from error
