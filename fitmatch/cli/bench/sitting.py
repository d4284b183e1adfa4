"""A session at the bench: one job, one person, one process; from reading the job to the exit status."""

import os
import sys
from collections.abc import Callable, Iterator
from functools import partial
from pathlib import Path
from typing import Final

import click

from fitmatch.cli.bench.answers import Bench, Doors, Quit, RefusedError, help_for
from fitmatch.cli.bench.entries import Entry, entries_of
from fitmatch.cli.exit_codes import BAD_INPUT
from fitmatch.cli.shared.console import Notes, show, visible
from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.intake.common.files import OtherNameError
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.job_toml.key_rows import JOB_FILE
from fitmatch.intake.job_toml.settings import Settings, read_settings
from fitmatch.intake.job_toml.sources import read_bytes
from fitmatch.intake.reading import read_job
from fitmatch.intake.writing.appending import ChangedError, LogFile
from fitmatch.intake.writing.locking import HeldError, locked
from fitmatch.intake.writing.log_rows import HEADER
from fitmatch.names import holds_unseen
from fitmatch.wording import printable

_BELL: Final = "\a"


def sit(folder: Path, by: str) -> int:
    """Take readings until there are no more; raises ClickException if that is impossible."""
    if holds_unseen(by):
        raise click.BadParameter("holds an invisible character", param_hint="--by")
    settings = _settings(folder)
    try:
        with locked(folder):
            return _take_all(folder, settings, by)
    except HeldError as error:
        raise click.ClickException(
            f"another fitmatch measure is already running on {printable(folder)}; close that one first"
        ) from error
    except OSError as error:
        raise click.ClickException(
            f"{printable(folder)} cannot be locked ({error.strerror}); copy it to a disk here"
        ) from error


def _take_all(folder: Path, settings: Settings, by: str) -> int:
    assert settings.readings is not None  # an invalid value was refused
    notes = Notes(quiet=False)
    terminal = sys.stdin.isatty()

    def warn(text: str) -> None:
        if terminal:
            show(_BELL)
        notes.say(text)

    log = _log_file(folder, settings.readings)
    job = read_job(folder, log=log.data)
    notes.warn(*job.warnings)
    doors = Doors(
        read=lambda data: read_job(folder, log=data),
        settings=partial(_settings, folder),
        doubts_of=doubts_of,
        say=lambda text: show(f"{visible(text)}\n"),
        warn=warn,
        by=by.strip(),
    )
    try:
        aside = log.settle()
        if aside is not None:
            notes.warn(
                f"the last row of {printable(log.path.name)} was cut short; it was moved to {printable(aside.name)}"
            )
        bench = Bench(log, job, doors)
        if terminal:
            doors.say(help_for(job))
        with entries_of(sys.stdin.fileno(), terminal=terminal) as entries:
            return _take(bench, entries, warn, terminal=terminal)
    except ChangedError as error:
        text = f"another program has changed {printable(log.path.name)}; close it there, then start again"
        raise click.ClickException(text) from error
    except OSError as error:
        where = printable(error.filename or log.path)
        raise click.ClickException(f"{where} cannot be written: {error.strerror}") from error
    finally:
        log.close()


def _log_file(folder: Path, name: str) -> LogFile:
    """The file of readings; raises InputError, with every mistake in the job, or ClickException."""
    try:
        return LogFile(folder / name, folder)
    except OSError as error:
        if not isinstance(error, OtherNameError):
            read_job(folder, log=None if os.path.lexists(folder / name) else HEADER)
        raise click.ClickException(f"{printable(folder / name)} cannot be written: {error.strerror}") from error


def _take(bench: Bench, entries: Iterator[Entry], warn: Callable[[str], None], *, terminal: bool) -> int:
    """Take every entry; the exit status."""
    while True:
        prompt = visible(bench.prompt())
        show(prompt if terminal else f"{prompt.rstrip()}\n")
        entry = next(entries, None)
        if entry is None:
            break
        try:
            if not entry.ended:
                raise RefusedError(
                    f"`{entry.text}` has no Enter or Tab after it and may be incomplete; nothing was saved"
                )
            bench.enter(entry.text)
        except RefusedError as refused:
            warn(
                str(refused)
                if terminal
                else (f"line {entry.line} of the input: {refused}; what came before it is kept")
            )
            if not terminal:
                return BAD_INPUT
        except Quit:
            break
    return 0 if bench.complete else 1


def _settings(folder: Path) -> Settings:
    """What job.toml says; raises InputError, with every mistake in the job, if it has one."""
    findings = Findings()
    data = read_bytes(folder, JOB_FILE, findings)
    settings = None if data is None else read_settings(data, findings)
    if settings is None or findings.problems:
        there = settings is None or settings.readings is None or os.path.lexists(folder / settings.readings)
        read_job(folder, log=None if there else HEADER)
    assert settings is not None and settings.readings is not None  # otherwise that has raised
    if not settings.readings.lower().endswith(".csv"):
        todo = f"save {printable(settings.readings)} as one and name it in [sources]"
        raise click.ClickException(f"readings can only be added to a .csv file; {todo}")
    return settings
