"""`fitmatch shelf`: its commands, each loaded when it is used."""

from importlib import import_module
from keyword import iskeyword
from typing import Final

import click

from fitmatch.cli.lazy import LazyGroup
from fitmatch.cli.shelf.opened import db

# With the module that has each.
_COMMANDS: Final = {
    "take-in": ("stock", "Take boxes and shells onto the shelf and give them numbers."),
    "show": ("looking", "Say what lies on the shelf, where, and who has it."),
    "set-aside": ("holding", "Set the shells of a job's saved plan aside for it, all or none."),
    "put-back": ("holding", "Put back what a job has set aside, or fitted for a trial."),
    "fitted": ("holding", "Record that what is set aside is fitted: an engine is built."),
    "scrap": ("handling", "Record that a shell is scrap, and why."),
    "release": ("handling", "Record that a shell is no longer on hold, and why."),
    "move": ("handling", "Record where shells lie from now on."),
    "send-back": ("handling", "Record that a box goes back to its seller."),
    "count": ("handling", "Compare what lies there with the records."),
    "history": ("looking", "Say all that happened to a shell."),
    "engines": ("looking", "List the engines that were built from the shelf."),
    "engine": ("looking", "Say how one engine was built."),
    "sets": ("forming", "Say which complete sets can be re-formed of what lies there."),
    "teardown": ("holding", "Record that an engine was taken down, and what has worn."),
    "value": ("looking", "Say what is tied up, what was lost, and what each engine cost in shells."),
    "export": ("copying", "Write the whole shelf to a folder of plain .csv files."),
    "import": ("copying", "Read an exported folder onto a shelf that is still empty."),
    "correct": ("handling", "Undo the action that an event is of; both stay in the history."),
}


def _command(name: str) -> click.Command:
    module = import_module(f"fitmatch.cli.shelf.{_COMMANDS[name][0]}")
    command: click.Command = getattr(module, f"{name}_" if iskeyword(name) else name.replace("-", "_"))
    return command


@click.group("shelf", cls=LazyGroup, listed={name: line for name, (_, line) in _COMMANDS.items()}, load=_command)
@db
def command(db: str | None) -> None:
    """Keep opened boxes and single shells: what lies where, who has it, and what happened to it.

    \b
    Example:
      fitmatch shelf take-in my-build
      fitmatch shelf show --single
      fitmatch shelf set-aside my-build
      fitmatch shelf fitted my-build
    """
