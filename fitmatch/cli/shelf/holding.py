"""`fitmatch shelf set-aside`, `put-back`, `fitted` and `teardown`."""

from pathlib import Path

import click

from fitmatch.cli.shared.options import Whole
from fitmatch.cli.shelf.opened import Asked, by, job_of, note, shelf_command

_job = click.argument("job", type=click.Path(path_type=Path))


@shelf_command("set-aside")
@_job
@by
@note
def set_aside(asked: Asked, job: Path, who: str, note: str) -> int:
    """Set the shells of a job's saved plan aside for it, all or none.

    Doing it again after `fitmatch assign --save` swaps the shells of the plan before for those of the new one. The exit
    status is 3 if another job or an engine has one of them, which is then named.

    \b
    Example:
      fitmatch shelf set-aside my-build --by "night shift"
    """
    from fitmatch.shelf.actions.setting_aside import set_aside as action
    from fitmatch.shelf.jobs.planned import read_planned

    shelf = asked.shelf()
    return asked.changed(action(shelf, read_planned(job, shelf), by=who, note=note))


@shelf_command("put-back")
@_job
@click.argument("positions", metavar="[POSITION]...", nargs=-1)
@by
@note
def put_back(asked: Asked, job: Path, positions: tuple[str, ...], who: str, note: str) -> int:
    """Put back what a job has set aside, or fitted for a trial.

    Without POSITION it is all that is set aside; at POSITION also what was fitted there, which counts as a trial fit.
    JOB is known by the name of its folder, which may be gone by now; a folder that is there must be the one that the
    shelf knows.

    \b
    Example:
      fitmatch shelf put-back my-build
      fitmatch shelf put-back my-build R3
    """
    from fitmatch.shelf.actions.setting_aside import put_back as action

    folder = job.resolve() if job.exists() else None
    return asked.changed(action(asked.shelf(), job_of(job), positions, folder=folder, by=who, note=note))


@shelf_command("fitted")
@_job
@click.argument("positions", metavar="[POSITION]...", nargs=-1)
@click.option(
    "--permission",
    "permissions",
    multiple=True,
    metavar="POSITION=TEXT",
    help="Quote the engine maker's written permission for a position outside its limits, which is recorded as OUT OF "
    "LIMITS for ever; repeatable.",
)
@by
@note
def fitted(
    asked: Asked, job: Path, positions: tuple[str, ...], permissions: tuple[str, ...], who: str, note: str
) -> int:
    """Record that what is set aside is fitted: an engine is built.

    Without POSITION it is all that is set aside and not fitted yet. A position outside its limits is NOT TO BE
    ASSEMBLED and refused, unless the engine maker's written permission is quoted. Readings of assembled.csv that were
    taken with these very shells in are kept with the engine; after more of them, run it again.

    \b
    Example:
      fitmatch shelf fitted my-build --by "night shift"
      fitmatch shelf fitted my-build --permission "R3=letter of 2 March: 0.0030 in allowed"
    """
    from fitmatch.shelf.actions.fitting import fitted as action
    from fitmatch.shelf.jobs.planned import read_planned
    from fitmatch.shelf.jobs.with_shells_in import read_assembled

    permitted = dict(_permission(text) for text in permissions)
    shelf = asked.shelf()
    planned, read = read_planned(job, shelf), read_assembled(shelf, job)
    return asked.changed(action(shelf, planned, positions, permissions=permitted, read=read, by=who, note=note))


def _permission(text: str) -> tuple[str, str]:
    position, sign, words = text.partition("=")
    if not sign:
        raise click.BadParameter(f"`{text}` is not POSITION=TEXT", param_hint="--permission")
    return position.strip(), words


@shelf_command("teardown", lists=True)
@click.argument("number", metavar="ENGINE", type=Whole(min=1))
@click.argument("file", required=False, type=click.Path(path_type=Path))
@click.option(
    "--gauges",
    "of_job",
    metavar="JOB",
    type=click.Path(path_type=Path),
    help="A job folder whose job.toml has the gauges and temperature of today.",
)
@click.option("--never-run", is_flag=True, help="It has not run: its shells are what they were.")
@by
@note
def teardown(
    asked: Asked, number: int, file: Path | None, of_job: Path | None, never_run: bool, who: str, note: str
) -> int:
    """Record that an engine was taken down, and what has worn.

    FILE has a row for each position, with `position` and what was measured again: `journal`, `upper`, `lower`, or
    several of each as in positions.csv. What has run comes back as used and only fits its own position and side again;
    one that was not measured has no known wall. Whether used shells may run again is the maker's to say.

    \b
    Example:
      fitmatch shelf teardown 3 measured.csv --unit in
      fitmatch shelf teardown 3 measured.csv --gauges my-build
      fitmatch shelf teardown 3 --never-run
    """
    from fitmatch.report.shelf.torn_down import torn_down_document, torn_down_rows, torn_down_text
    from fitmatch.shelf.actions.tearing_down import NOTHING
    from fitmatch.shelf.actions.tearing_down import teardown as action
    from fitmatch.shelf.built_engines import standing

    if never_run and file is not None:
        raise click.UsageError("--never-run takes no FILE: what has not run has not worn")
    if not never_run and file is None:
        raise click.UsageError("name a FILE with what was measured again, or say --never-run")
    shelf, again = asked.shelf(make=False), NOTHING
    if file is not None:
        if of_job is None and asked.given_unit is None:
            raise click.UsageError("the plain numbers of FILE need --unit in, --unit mm, or --gauges JOB")
        from fitmatch.intake.torn_down import read_measured_again

        again = read_measured_again(file, standing(shelf, number), asked.given_unit, of_job)
        asked.notes.warn(*again.warnings)
    found = action(shelf, number, again, never_run=never_run, by=who, note=note)
    asked.answer(asked.told(found), torn_down_text, torn_down_document, torn_down_rows)
    return 1 if found.attention else 0
