"""`fitmatch shelf take-in`."""

import gc
from pathlib import Path

import click

from fitmatch.cli.shelf.opened import Asked, by, note, shelf_command


@shelf_command("take-in")
@click.argument("paths", metavar="JOB|FILES...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--new-box", is_flag=True, help="A box whose name the shelf knows with other readings is another box.")
@click.option(
    "--remeasured",
    multiple=True,
    metavar="SHELL",
    help="This shell, a number or BOX/NAME, was measured again: its new readings count from now on; repeatable.",
)
@by
@note
def take_in(
    asked: Asked, paths: tuple[Path, ...], new_box: bool, remeasured: tuple[str, ...], who: str, note: str
) -> int:
    """Take boxes and shells onto the shelf and give them numbers.

    The numbers are for the labels. JOB is a job folder, FILES are tables of shells as in a job, which need --unit, or
    of sealed boxes: part, box, family, kind, undersize, step, lot, seller, price, location, opened. Doing it
    again is safe: what changed is said.

    \b
    Example:
      fitmatch shelf take-in my-build
      fitmatch shelf take-in boxes/*.csv --unit in
      fitmatch shelf take-in my-build --remeasured 17
    """
    from fitmatch.intake.stock import read_stock
    from fitmatch.report.shelf.data import taken_document
    from fitmatch.report.shelf.texts import taken_text
    from fitmatch.shelf.actions.taking_in import take_in as action

    of_job = len(paths) == 1 and not paths[0].is_file()
    if not of_job and all(path.exists() for path in paths) and asked.given_unit is None:
        raise click.UsageError("files that belong to no job need --unit in or --unit mm for their plain numbers")
    gc.disable()  # millions of records and no cycles among them
    click.get_current_context().call_on_close(gc.enable)
    with asked.notes.progress("reading the boxes"):
        stock = read_stock(paths, asked.given_unit)
    asked.notes.warn(*stock.warnings)
    taken = action(asked.shelf(), stock, new_box=new_box, remeasured=remeasured, by=who, note=note)
    asked.answer(asked.told(taken), taken_text, taken_document)
    return 1 if taken.not_measured or taken.attention else 0
