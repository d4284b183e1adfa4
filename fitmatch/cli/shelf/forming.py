"""`fitmatch shelf sets`."""

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli.exit_codes import INTERRUPTED
from fitmatch.cli.shared.options import Whole
from fitmatch.cli.shared.solving import stop_after, stopped_by_ctrl_c, time_limit
from fitmatch.cli.shelf.looking import walls_option
from fitmatch.cli.shelf.opened import Asked, shelf_command

if TYPE_CHECKING:
    from fitmatch.shelf.questions.forming import Pattern

_MOST: Final = 20
_LONGEST_S: Final = 60  # unless asked otherwise: walls on no grid make nearly every shell a class of its own
_MOST_PAIRS: Final = 100


@shelf_command("sets", lists=True)
@click.argument("job", required=False, type=click.Path(path_type=Path))
@click.option("--family", metavar="TEXT", help="In place of JOB: sets of this family.")
@click.option("--pairs", type=Whole(1, _MOST_PAIRS), metavar="N", help="With --family: so many pairs a set.")
@click.option("--walls", metavar="A..B", help="With --family: what the two walls of a pair may total.")
@click.option("--most", type=Whole(1), default=_MOST, show_default=True, metavar="N", help="Look for N sets.")
@time_limit
def sets(
    asked: Asked,
    job: Path | None,
    family: str | None,
    pairs: int | None,
    walls: str | None,
    most: int,
    seconds: float | None,
) -> int:
    """Say which complete sets can be re-formed of what lies there.

    For the bores of JOB a set is a pair for each, all inside their limits; for --family it is so many pairs. First
    comes how many there can be at once, then sets one after another, each as even as what is left allows. It takes
    a minute at most unless --time-limit allows more, and says where that was not enough.

    \b
    Example:
      fitmatch shelf sets my-build
      fitmatch shelf sets --family narrow-2 --pairs 8
      fitmatch shelf sets --family narrow-2 --pairs 8 --walls 0.1234..0.1238
    """
    from fitmatch.fit.solver.stopping import Stop
    from fitmatch.report.screen.proven import NOT_PROVEN
    from fitmatch.report.shelf.data import sets_document, sets_rows
    from fitmatch.report.shelf.texts import sets_text
    from fitmatch.shelf.questions.forming import sets as action

    wanted = job if job is not None and family is None else _pattern(asked, job, family, pairs, walls)
    if job is not None and (pairs is not None or walls is not None):
        raise click.UsageError("--pairs and --walls go with --family; the bores of JOB say both")
    stop = Stop(_LONGEST_S) if seconds is None else stop_after(seconds)
    with stopped_by_ctrl_c(stop), asked.notes.progress("re-forming sets", "; Ctrl-C prints what was found so far"):
        found = action(asked.shelf(make=False), wanted, most=most, stop=stop)
    asked.answer(found, sets_text, sets_document, sets_rows, in_red=(NOT_PROVEN,))
    if stop.requested and not found.proven:
        return INTERRUPTED
    return 0 if found.proven else 1


def _pattern(asked: Asked, job: Path | None, family: str | None, pairs: int | None, walls: str | None) -> "Pattern":
    from fitmatch.shelf.questions.forming import Pattern

    if job is not None or family is None or pairs is None:
        raise click.UsageError("name a JOB, or --family and --pairs")
    return Pattern(family, pairs, None if walls is None else walls_option(walls, asked.unit, "--walls"))
