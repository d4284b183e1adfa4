"""`--xlsx`: what is refused before the work begins, and writing the workbook."""

from collections.abc import Callable, Sequence
from pathlib import Path

import click

from fitmatch.cli.shared.console import Notes
from fitmatch.wording import printable

as_workbook = click.option(
    "--xlsx",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help="Also write a workbook: a name that ends in .xlsx.",
)


def check_workbook(file: Path | None, jobs: Sequence[Path], *, force: bool) -> None:
    """Before the work begins."""
    if file is None:
        return
    if file.suffix.lower() != ".xlsx":
        why = f"`{printable(file.name)}` is not the name of a workbook; write a name that ends in .xlsx"
        raise click.BadParameter(why, param_hint="--xlsx")
    if not file.parent.is_dir():
        why = f"there is no folder {printable(file.parent)}; make it first"
        raise click.BadParameter(why, param_hint="--xlsx")
    check_not_own(file, jobs, "--xlsx")
    if file.exists() and not force:
        why = f"{printable(file)} is there already; add --force to replace it"
        raise click.BadParameter(why, param_hint="--xlsx")


def check_not_own(file: Path, jobs: Sequence[Path], option: str) -> None:
    """No answer is written over what it was made from, not even with --force."""
    from fitmatch.intake.own_files import is_own_file

    if any(is_own_file(file, folder) for folder in jobs if folder.is_dir()):
        why = f"{printable(file)} is a file of the job itself and is never replaced; write another name"
        raise click.BadParameter(why, param_hint=option)


def check_not_shelf(file: Path, db: str | None, option: str) -> None:
    """The same of the shelf's own file; where that is as for `open_shelf`."""
    from fitmatch.shelf.store.addresses import is_own_file

    if is_own_file(db, file):
        why = f"{printable(file)} is the shelf itself and is never replaced; write another name"
        raise click.BadParameter(why, param_hint=option)


def write_workbook(file: Path, data: Callable[[], bytes], notes: Notes) -> None:
    """Make the workbook and write it, whole or not at all."""
    from fitmatch.intake.writing.whole_files import write_whole

    try:
        write_whole(file, data(), file.parent)
    except OSError as error:
        raise click.ClickException(f"{printable(file)} cannot be written: {error.strerror}") from error
    notes.say(f"written to {printable(file)}")
