"""`fitmatch shelf set-aside`, `put-back` and `fitted`."""

from pathlib import Path

import click

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
    from fitmatch.shelf.planned import read_planned

    return asked.changed(action(asked.shelf(), read_planned(job), by=who, note=note))


@shelf_command("put-back")
@_job
@click.argument("positions", metavar="[POSITION]...", nargs=-1)
@by
@note
def put_back(asked: Asked, job: Path, positions: tuple[str, ...], who: str, note: str) -> int:
    """Put back what a job has set aside, or fitted for a trial.

    Without POSITION it is all that is set aside; at POSITION also what was fitted there, which counts as a trial fit.
    JOB is known by the name of its folder, which may be gone by now.

    \b
    Example:
      fitmatch shelf put-back my-build
      fitmatch shelf put-back my-build R3
    """
    from fitmatch.shelf.actions.setting_aside import put_back as action

    return asked.changed(action(asked.shelf(), job_of(job), positions, by=who, note=note))


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
    ASSEMBLED and refused, unless the engine maker's written permission is quoted.

    \b
    Example:
      fitmatch shelf fitted my-build --by "night shift"
      fitmatch shelf fitted my-build --permission "R3=letter of 2 March: 0.0030 in allowed"
    """
    from fitmatch.shelf.actions.fitting import fitted as action
    from fitmatch.shelf.planned import read_planned

    permitted = dict(_permission(text) for text in permissions)
    planned = read_planned(job)
    return asked.changed(action(asked.shelf(), planned, positions, permissions=permitted, by=who, note=note))


def _permission(text: str) -> tuple[str, str]:
    position, sign, words = text.partition("=")
    if not sign:
        raise click.BadParameter(f"`{text}` is not POSITION=TEXT", param_hint="--permission")
    return position.strip(), words
