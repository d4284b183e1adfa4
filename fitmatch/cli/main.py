"""The command line: every command in a module of its own, loaded when it is used, so that help starts at once.

Exit status: 0 nothing needs attention, 1 something does, 2 bad input or usage, 70 a fault in fitmatch, 130 Ctrl-C.
"""

import os
import sys
from collections.abc import Sequence
from importlib import import_module
from io import StringIO
from typing import Any, Final, NoReturn

import click

from fitmatch.cli.exit_codes import BAD_INPUT, FAULT, INTERRUPTED, is_interrupt
from fitmatch.cli.lazy import LazyGroup
from fitmatch.version import __version__

# With the module that has each, and the line that help shows for it, so that it need not load any.
_COMMANDS: Final = {
    "new": ("job.new", "Create a job folder ready to be filled in."),
    "measure": ("bench.measure", "Take readings at the bench, each on disk at once."),
    "check": ("job.check", "Say which readings are likely mistakes, what kind of mistake, and what to measure again."),
    "assign": ("job.assign", "Say which shell goes where: the best choice, proven."),
    "compare": ("study.compare", "Put strategies, targets, rules and boxes side by side: what a job could be."),
    "advise": (
        "study.advise",
        "Say what each position wants of its shells, and what to do next where one is not inside its limits.",
    ),
    "boxes": ("study.boxes", "Say how many boxes are worth opening, before any of them is."),
    "range": ("study.range", "Say which clearances drawing limits allow, before anything is measured."),
    "film": ("study.film", "Say how thick, warm and generous the steady oil film is at a clearance."),
    "sheet": ("job.sheet", "Write the sheet to build from, to print and to keep, as one HTML file."),
    "assembled": ("job.assembled", "Compare what was measured with the shells in with what was calculated."),
    "shelf": (
        "shelf.main",
        "Keep opened boxes and single shells: what lies where, who has it, and what happened to it.",
    ),
}


def _command(name: str) -> click.Command:
    command: click.Command = import_module(f"fitmatch.cli.{_COMMANDS[name][0]}").command
    return command


@click.group(
    "fitmatch",
    cls=LazyGroup,
    listed={name: line for name, (_, line) in _COMMANDS.items()},
    load=_command,
    context_settings={"help_option_names": ["-h", "--help"]},
)
@click.version_option(__version__, message="fitmatch %(version)s")
def group() -> None:
    """Which bearing shell goes where: measured journals, housings and shells in, a proven best assignment out.

    \b
    Example:
      fitmatch new my-build
      fitmatch measure my-build
      fitmatch assign my-build
    """


def main(args: Sequence[str] | None = None) -> NoReturn:
    """Run one command and leave with its exit status; the only place where exceptions become messages."""
    given = sys.argv[1:] if args is None else list(args)
    sys.exit(_run(given))


def _run(args: list[str]) -> int:
    _open_closed_streams()
    try:
        status: Any = group.main(args, prog_name="fitmatch", standalone_mode=False)
    except (Exception, KeyboardInterrupt) as error:
        return _told(error, args)
    return status if isinstance(status, int) else 0


def _told(error: BaseException, args: list[str]) -> int:
    """Says on standard error what ended a command; the exit status."""
    from fitmatch.cli.shared.console import output_is_lost, tell, visible

    if isinstance(error, click.ClickException):
        shown = StringIO()
        error.show(shown)
        tell(visible(shown.getvalue()), nl=False)
        return BAD_INPUT
    if isinstance(error, click.Abort) or is_interrupt(error):
        tell("stopped by Ctrl-C")
        return INTERRUPTED
    from fitmatch.problems import MOST_PROBLEMS, ExtraMissing, FaultInFitmatch, InputError

    if isinstance(error, ExtraMissing):
        tell(f"Error: {error}")
        return BAD_INPUT
    if isinstance(error, InputError):
        for warning in () if "--quiet" in args else error.warnings:
            tell(f"warning: {warning}")
        for problem in error.problems[:MOST_PROBLEMS]:
            tell(str(problem))
        if error.number > MOST_PROBLEMS:
            first = f"these are the first {MOST_PROBLEMS:,} of {error.number:,} mistakes"
            tell(f"{first}; correct them and run it again")
        return BAD_INPUT
    if isinstance(error, OSError) and output_is_lost(error):
        tell(f"Error: the answer cannot be written: {error.strerror}")
        return BAD_INPUT
    fault = f"{error}" if isinstance(error, FaultInFitmatch) else f"{type(error).__name__}: {error}"
    if "--debug" in args:
        from traceback import format_exception

        tell("".join(format_exception(error)), nl=False)
    tell(f"This is a fault in fitmatch, not in your files: {fault}")
    tell("No answer was printed." + ("" if "--debug" in args else " --debug shows where it happened."))
    return FAULT


def _open_closed_streams() -> None:
    """Nothing comes from a closed stream, and what is written to it is lost; without this the next file that is opened
    would take its place."""
    for number, name in enumerate(("stdin", "stdout", "stderr")):
        if getattr(sys, name) is None:
            handle = os.open(os.devnull, os.O_RDWR)  # the lowest free number
            setattr(sys, name, os.fdopen(handle, "w" if number else "r", encoding="utf-8"))
