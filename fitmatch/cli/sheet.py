"""`fitmatch sheet`: what is printed for the bench and kept with the engine."""

import gc
import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli import options
from fitmatch.cli.console import Notes
from fitmatch.cli.saving import save
from fitmatch.cli.solving import stop_after, stopped_by_ctrl_c
from fitmatch.cli.workbooks import check_not_own
from fitmatch.wording import printable

if TYPE_CHECKING:
    from fitmatch.intake.planned import Planned
    from fitmatch.report.sheet.source import Label

_WRITTEN_AS: Final = "sheet.html"
_PARTS: Final = ("assembly", "figures", "record", "leftovers", "cards")
_SIZE: Final = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,2})?) *[x×] *([0-9]{1,4}(?:\.[0-9]{1,2})?)")
# What a label needs for its letters, and what A4 and Letter both hold inside the margins of a sheet.
_SMALLEST_MM: Final = (40, 20)
_LARGEST_MM: Final = (190, 240)


@click.command("sheet")
@click.argument("folder", metavar="JOB", type=click.Path(path_type=Path))
@click.option(
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help=f"Write it here.  [default: JOB/{_WRITTEN_AS}]",
)
@click.option(
    "--only",
    type=click.Choice(_PARTS),
    multiple=True,
    help="This part only; may be given several times. Cards need no plan.",
)
@click.option(
    "--label",
    metavar="WIDTHxHEIGHT",
    default="60x30",
    show_default=True,
    help="The size of the labels to cut out, in millimetres.",
)
@click.option("--force", is_flag=True, help="Replace the file even if `fitmatch sheet` did not write it.")
@options.quiet
@options.debug
def command(
    folder: Path,
    output: Path | None,
    only: tuple[str, ...],
    label: str,
    force: bool,
    quiet: bool,
    debug: bool,
) -> int:
    """Write the sheet to build from, to print and to keep, as one HTML file.

    It shows the plan saved by `fitmatch assign --save`. Where there is none, the job is solved and its plan saved.

    \b
    Example:
      fitmatch sheet my-build
      fitmatch sheet my-build --only assembly --only record
      fitmatch sheet my-build --only cards --output cards.html
      fitmatch sheet my-build --label 70x37
    """
    size = _label(label)
    gc.disable()  # as for `assign`
    click.get_current_context().call_on_close(gc.enable)
    notes = Notes(quiet=quiet)
    parts = only or _PARTS
    file = folder / _WRITTEN_AS if output is None else output
    from fitmatch.report.sheet.page import sheet
    from fitmatch.report.sheet.source import A_PLAN, Source, shown_of

    with_plan = not A_PLAN.isdisjoint(parts)
    _check_file(file, folder, force=force)
    with notes.progress("reading the job"):
        planned = _read(folder, with_plan=with_plan)
    notes.warn(*planned.job.warnings)
    if with_plan and planned.plan is None:
        planned = _solved(folder, planned, notes)
    shown = None if planned.plan is None else shown_of(planned)
    if shown is not None and shown.changed:
        notes.warn("the inputs have changed since the plan was saved: the sheet is VOID")
    data = sheet(Source(planned.job, shown, size), parts)
    _write(file, data)
    notes.say(f"written to {printable(file)}")
    return 1 if shown is not None and shown.needs_attention else 0


def _label(text: str) -> "Label":
    from fitmatch.report.sheet.source import Label

    found = _SIZE.fullmatch(text.strip().lower())
    if found is None:
        why = f"`{printable(text)}` is not a size; write width and height in millimetres, such as 60x30"
        raise click.BadParameter(why, param_hint="--label")
    label = Label(*map(float, found.groups()))
    for mm, least, most in zip(label, _SMALLEST_MM, _LARGEST_MM, strict=True):
        if not least <= mm <= most:
            span = f"{_SMALLEST_MM[0]} to {_LARGEST_MM[0]} wide and {_SMALLEST_MM[1]} to {_LARGEST_MM[1]} high"
            why = f"a label of {printable(text)} mm does not fit the paper, or its letters do not fit it; write {span}"
            raise click.BadParameter(why, param_hint="--label")
    return label


def _check_file(file: Path, folder: Path, *, force: bool) -> None:
    """Before the work begins: nothing is replaced that somebody else may have written."""
    from fitmatch.intake.common.files import read_file
    from fitmatch.report.sheet.page import FAR, MARK

    if not folder.is_dir():
        return  # which is told as such
    if not file.parent.is_dir():
        why = f"there is no folder {printable(file.parent)}; make it first"
        raise click.BadParameter(why, param_hint="--output")
    check_not_own(file, (folder,), "--output")
    if not file.exists():
        return
    try:
        is_sheet = MARK in read_file(file)[:FAR]
    except OSError as error:
        raise click.ClickException(f"{printable(file)} cannot be written: {error.strerror}") from error
    if not is_sheet and not force:
        why = f"{printable(file)} is there already and is not a sheet; add --force to replace it"
        raise click.BadParameter(why, param_hint="--output")


def _read(folder: Path, *, with_plan: bool) -> "Planned":
    """The job with its saved plan; without one, which then needs no shells and no limits either."""
    from fitmatch.intake.planned import Planned, read_planned

    if with_plan:
        return read_planned(folder)
    from fitmatch.intake.reading import read_job

    return Planned(read_job(folder, needs_shells=False, needs_aims=False))


def _solved(folder: Path, planned: "Planned", notes: Notes) -> "Planned":
    """The job with a plan that was made and saved just now."""
    from fitmatch.intake.planned import read_planned

    job = planned.job
    with notes.progress("proving which shell goes where", "; Ctrl-C stops it"):
        from fitmatch.fit.assign import assign

        stop = stop_after(None)
        with stopped_by_ctrl_c(stop):
            plan = assign(job, stop=stop)
    if stop.requested:
        raise click.Abort
    if not plan.placements:
        why = "no plan is saved, and none can be made: no position can be filled; see `fitmatch assign`"
        raise click.ClickException(f"{why}. Cards need no plan: --only cards")
    for path in save(plan).files:
        notes.say(f"saved to {printable(path)}")
    return read_planned(folder)


def _write(file: Path, data: bytes) -> None:
    from fitmatch.intake.writing.whole_files import write_whole

    try:
        write_whole(file, data, file.parent)
    except OSError as error:
        raise click.ClickException(f"{printable(file)} cannot be written: {error.strerror}") from error
