"""`fitmatch shelf show`, `history`, `engines`, `engine` and `value`."""

from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli.shared.options import Whole, force
from fitmatch.cli.shared.workbooks import as_workbook, check_not_shelf, check_workbook, write_workbook
from fitmatch.cli.shelf.opened import Asked, length_option, shelf_command

if TYPE_CHECKING:
    from fitmatch.shelf.answers.engines import EngineRecord

_MOST_DAYS: Final = 36_500
_STATES: Final = ("free", "set-aside", "fitted", "used", "scrapped", "missing", "sent-back")
_GROUPS: Final = ("family", "kind", "half", "grade", "step", "wall", "box", "age", "location", "state")


@shelf_command("show", lists=True)
@click.option("--family", metavar="TEXT", help="Of this family.")
@click.option("--kind", metavar="TEXT", help="Of this kind.")
@click.option("--half", type=click.Choice(["upper", "lower", "either"]), help="Of this half.")
@click.option("--grade", metavar="TEXT", help="With this grade, your own label.")
@click.option("--step", metavar="STEP", help="With this undersize or step, as printed or as a length.")
@click.option("--box", metavar="NAME", help="In this box.")
@click.option("--location", metavar="TEXT", help="At this location.")
@click.option("--state", type=click.Choice(_STATES), help="In this state.")
@click.option("--wall", metavar="A..B", help="With a wall from A to B, both included.")
@click.option("--single", is_flag=True, help="Free, and without a free opposite half of its kind in its box.")
@click.option("--older-than", type=Whole(0, _MOST_DAYS), metavar="DAYS", help="Opened more than so many days ago.")
@click.option("--group-by", "groups", type=click.Choice(_GROUPS), multiple=True, help="Count alike ones; repeatable.")
@as_workbook
@force("--xlsx")
def show(
    asked: Asked,
    family: str | None,
    kind: str | None,
    half: str | None,
    grade: str | None,
    step: str | None,
    box: str | None,
    location: str | None,
    state: str | None,
    wall: str | None,
    single: bool,
    older_than: int | None,
    groups: tuple[str, ...],
    xlsx: Path | None,
    force: bool,
) -> int:
    """Say what lies on the shelf, where, and who has it.

    \b
    Example:
      fitmatch shelf show --kind rod --state free
      fitmatch shelf show --single
      fitmatch shelf show --wall 0.0617..0.0619 --json
      fitmatch shelf show --group-by kind --group-by half
      fitmatch shelf show --xlsx shelf.xlsx
    """
    if force and xlsx is None:
        raise click.UsageError("--force replaces a workbook; add --xlsx")
    check_workbook(xlsx, (), force=force)
    if xlsx is not None:
        check_not_shelf(xlsx, asked.db, "--xlsx")
    from fitmatch.report.shelf.data import shown_document, shown_rows
    from fitmatch.report.shelf.texts import shown_text, undated
    from fitmatch.shelf.questions.looking import Filters
    from fitmatch.shelf.questions.looking import show as action

    filters = Filters(
        family=family,
        kind=kind,
        half=half,
        grade=grade,
        step=step,
        step_nm=None if step is None else _step(step, asked.unit),
        box=box,
        location=location,
        state=state,
        wall_nm=None if wall is None else walls_option(wall, asked.unit, "--wall"),
        single=single,
        older_than_days=older_than,
    )
    found = action(asked.shelf(make=False), filters, by=groups)
    if xlsx is not None:
        from fitmatch.report.data.workbooks import shown_workbook

        write_workbook(xlsx, lambda: shown_workbook(found, asked.unit), asked.notes)
    asked.answer(found, shown_text, shown_document, shown_rows)
    if asked.as_csv:  # whose rows have no place for it
        for line in undated(found):
            asked.notes.say(line)
    return 0


def _step(text: str, unit: str) -> int | None:
    from fitmatch.intake.rows.stock_rows import STANDARD
    from fitmatch.lengths import LengthError, parse_length

    if text.strip().casefold() in STANDARD:
        return 0
    try:
        return parse_length(text, unit, inch_job=unit == "in")[0]
    except LengthError:
        return None  # a label


def walls_option(text: str, unit: str, param: str) -> tuple[int, int]:
    """Two lengths that were typed as A..B, in nanometres."""
    low, dots, high = text.partition("..")
    if not dots:
        raise click.BadParameter(f"`{text}` is not A..B, such as 0.0617..0.0619", param_hint=param)
    ends = length_option(low, unit, param), length_option(high, unit, param)
    if ends[0] > ends[1]:
        raise click.BadParameter(f"`{text}` runs backwards", param_hint=param)
    return ends


@shelf_command("history", lists=True)
@click.argument("shell")
def history(asked: Asked, shell: str) -> int:
    """Say all that happened to a shell.

    The oldest comes first. SHELL is a shelf number or BOX/NAME.

    \b
    Example:
      fitmatch shelf history 17
    """
    from fitmatch.report.shelf.data import event_rows, history_document
    from fitmatch.report.shelf.texts import history_text
    from fitmatch.shelf.questions.looking import history as action

    found = action(asked.shelf(make=False), shell)
    asked.answer(found, history_text, history_document, lambda h, unit: event_rows(h.events, unit))
    return 0


@shelf_command("engines", lists=True)
def engines(asked: Asked) -> int:
    """List the engines that were built from the shelf.

    With --csv there is a row for each position. The exit status is 1 while a shell in one of them is on hold, or a
    position that stands is outside its limits, be that permitted or not.

    \b
    Example:
      fitmatch shelf engines
    """
    from fitmatch.report.shared.states import NOT_TO_BE_RUN
    from fitmatch.report.shelf.data import engine_rows, engines_document
    from fitmatch.report.shelf.texts import ON_HOLD, OUT_OF_LIMITS, engines_text
    from fitmatch.shelf.built_engines import engines as action

    found = action(asked.shelf(make=False))
    asked.answer(found, engines_text, engines_document, engine_rows, in_red=(OUT_OF_LIMITS, NOT_TO_BE_RUN, ON_HOLD))
    return 1 if any(one.is_out for one in found.engines) else 0


@shelf_command("engine", lists=True)
@click.argument("number", type=Whole(min=1))
def engine(asked: Asked, number: int) -> int:
    """Say how one engine was built.

    It has each position with its shells and its clearance, and what was read with them in. One that was fitted outside
    its limits says OUT OF LIMITS for ever, with the permission that was quoted; one that was read outside them without
    a permission is NOT TO BE RUN. The exit status is 1 while a shell in it is on hold, a position that stands is
    outside its limits, permitted or not, or anything else in it needs attention.

    \b
    Example:
      fitmatch shelf engine 3
    """
    from fitmatch.report.shared.states import NOT_TO_BE_RUN
    from fitmatch.report.shelf.data import engine_document, engine_rows
    from fitmatch.report.shelf.texts import ON_HOLD, OUT_OF_LIMITS, engine_text
    from fitmatch.shelf.answers.engines import Engines
    from fitmatch.shelf.built_engines import engine as action

    def rows(found: "EngineRecord", unit: str) -> str:
        return engine_rows(Engines((found,)), unit)

    found = action(asked.shelf(make=False), number)
    asked.answer(found, engine_text, engine_document, rows, in_red=(OUT_OF_LIMITS, NOT_TO_BE_RUN, ON_HOLD))
    return 1 if found.needs_attention or found.is_out else 0


@shelf_command("value", lists=True)
def value(asked: Asked) -> int:
    """Say what is tied up, what was lost, and what each engine cost in shells.

    What is free, set aside or sealed is tied up, by family and by how long ago its box was opened. A shell is an equal
    share of the price of its box, among the shells of that box that the shelf knows.

    \b
    Example:
      fitmatch shelf value
      fitmatch shelf value --json
    """
    from fitmatch.report.shelf.worth import worth_document, worth_rows, worth_text
    from fitmatch.shelf.questions.worth import value as action

    asked.answer(action(asked.shelf(make=False)), worth_text, worth_document, worth_rows)
    return 0
