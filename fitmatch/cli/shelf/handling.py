"""`fitmatch shelf scrap`, `release`, `move`, `send-back`, `count` and `correct`."""

from pathlib import Path

import click

from fitmatch.cli.shared.options import Whole
from fitmatch.cli.shelf.opened import Asked, by, note, shelf_command


@shelf_command("scrap")
@click.argument("shell")
@click.argument("reason")
@by
def scrap(asked: Asked, shell: str, reason: str, who: str) -> int:
    """Record that a shell is scrap, and why.

    SHELL is a shelf number or BOX/NAME. If it was set aside, that position of the job is void until another plan is set
    aside, and the exit status is 1.

    \b
    Example:
      fitmatch shelf scrap 17 "dropped, dent in the lug"
    """
    from fitmatch.shelf.actions.handling import scrap as action

    return asked.changed(action(asked.shelf(), shell, reason, by=who))


@shelf_command("release")
@click.argument("shell")
@click.argument("reason")
@by
def release(asked: Asked, shell: str, reason: str, who: str) -> int:
    """Record that a shell is no longer on hold, and why.

    SHELL is a shelf number or BOX/NAME. An empty cell in a file lifts no hold, as an older file would then lift it too.
    What was set aside or planned with the shell holds again if nothing else changed.

    \b
    Example:
      fitmatch shelf release 17 "lining looked at again under the glass: no crack"
    """
    from fitmatch.shelf.actions.handling import release as action

    return asked.changed(action(asked.shelf(), shell, reason, by=who))


@shelf_command("move")
@click.argument("shells", metavar="SHELL...", nargs=-1, required=True)
@click.argument("location")
@by
@note
def move(asked: Asked, shells: tuple[str, ...], location: str, who: str, note: str) -> int:
    """Record where shells lie from now on.

    SHELL is a shelf number or BOX/NAME, or the name of a box that is sealed still.

    \b
    Example:
      fitmatch shelf move 17 18 box-1/03 "drawer 4"
    """
    from fitmatch.shelf.actions.handling import move as action

    return asked.changed(action(asked.shelf(), shells, location, by=who, note=note))


@shelf_command("send-back")
@click.argument("box")
@by
@note
def send_back(asked: Asked, box: str, who: str, note: str) -> int:
    """Record that a box goes back to its seller.

    Sealed it goes as it is; of an opened one goes what is free, and nothing while any of it is set aside or fitted.

    \b
    Example:
      fitmatch shelf send-back box-7
    """
    from fitmatch.shelf.actions.handling import send_back as action

    return asked.changed(action(asked.shelf(), box, by=who, note=note))


@shelf_command("count")
@click.argument("file", type=click.Path(path_type=Path))
@click.option("--location", metavar="TEXT", help="Only what lies at this location was counted.")
@by
@note
def count(asked: Asked, file: Path, location: str | None, who: str, note: str) -> int:
    """Compare what lies there with the records.

    Shells that are not in FILE become missing, missing ones that are in it are found again. FILE has a column `number`,
    or `box` and `shell`. The exit status is 1 if anything is missing, found or unexpected.

    \b
    Example:
      fitmatch shelf count counted.csv --location "drawer 4"
    """
    from fitmatch.intake.stock import read_count
    from fitmatch.shelf.actions.counting import count as action

    return asked.changed(action(asked.shelf(), read_count(file), location=location, by=who, note=note))


@shelf_command("correct")
@click.argument("event", type=Whole(min=1))
@by
@note
def correct(asked: Asked, event: int, who: str, note: str) -> int:
    """Undo the action that an event is of; both stay in the history.

    EVENT is its number in the history. All shells of that action are undone with it. It is refused where a later event
    of one of them stands: correct that one first.

    \b
    Example:
      fitmatch shelf history 17
      fitmatch shelf correct 203 --note "wrong drawer"
    """
    from fitmatch.shelf.actions.correcting import correct as action

    return asked.changed(action(asked.shelf(), event, by=who, note=note))
