"""`fitmatch sheet`: what is printed for the bench and kept with the engine."""

import gc
import re
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes
from fitmatch.cli.shared.saving import save
from fitmatch.cli.shared.solving import read_from_shelf, refusals_told, stop_after, stopped_by_ctrl_c
from fitmatch.cli.shared.workbooks import check_not_own, check_not_shelf
from fitmatch.wording import printable

if TYPE_CHECKING:
    from fitmatch.intake.planned import Planned
    from fitmatch.records.job import Job
    from fitmatch.report.sheet.source import Label

_WRITTEN_AS: Final = "sheet.html"
_ENGINE_WRITTEN_AS: Final = "engine-{}.html"
_USUAL_LABEL: Final = "60x30"
_PARTS: Final = ("assembly", "figures", "record", "leftovers", "cards")
_SIZE: Final = re.compile(r"([0-9]{1,4}(?:\.[0-9]{1,2})?) *[x×] *([0-9]{1,4}(?:\.[0-9]{1,2})?)")
# What a label needs for its letters, and what A4 and Letter both hold inside the margins of a sheet.
_SMALLEST_MM: Final = (40, 20)
_LARGEST_MM: Final = (190, 240)


@click.command("sheet")
@click.argument("folder", metavar="[JOB]", required=False, type=click.Path(path_type=Path))
@click.option(
    "--engine",
    metavar="N",
    type=options.Whole(min=1),
    help="Instead of a JOB: the record of engine N, as the shelf knows it.",
)
@click.option(
    "--output",
    metavar="FILE",
    type=click.Path(path_type=Path),
    help=f"Write it here.  [default: JOB/{_WRITTEN_AS}, or {_ENGINE_WRITTEN_AS.format('N')}]",
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
    help=f"The size of the labels to cut out, in millimetres.  [default: {_USUAL_LABEL}]",
)
@click.option(
    "--from-shelf",
    is_flag=True,
    help="Look on the shelf too, for the number and the location of each label. A plan made with --from-shelf does so "
    "by itself; where none is saved, one is made so.",
)
@click.option("--db", metavar="PATH|URL", help="With --engine or --from-shelf: the shelf, as for `fitmatch shelf`.")
@click.option("--force", is_flag=True, help="Replace the file even if `fitmatch sheet` did not write it.")
@options.quiet
@options.debug
def command(
    folder: Path | None,
    engine: int | None,
    output: Path | None,
    only: tuple[str, ...],
    label: str | None,
    from_shelf: bool,
    db: str | None,
    force: bool,
    quiet: bool,
    debug: bool,
) -> int:
    """Write the sheet to build from, to print and to keep, as one HTML file.

    It shows the plan saved by `fitmatch assign --save`. Where there is none, the job is solved and its plan saved. Of
    an engine that was built from the shelf --engine writes the record as the shelf knows it, without its job folder.

    \b
    Example:
      fitmatch sheet my-build
      fitmatch sheet my-build --only assembly --only record
      fitmatch sheet my-build --only cards --output cards.html
      fitmatch sheet my-build --label 70x37
      fitmatch sheet --engine 3
    """
    notes = Notes(quiet=quiet)
    if engine is not None:
        asked = {"JOB": folder, "--only": only, "--label": label, "--from-shelf": from_shelf}
        if given := next((name for name, value in asked.items() if value), None):
            raise click.UsageError(f"--engine writes the record of an engine of the shelf and nothing else: no {given}")
        return _of_engine(engine, db, output or Path(_ENGINE_WRITTEN_AS.format(engine)), notes, force=force)
    if folder is None:
        raise click.UsageError("nothing is named: give a JOB, or an engine of the shelf with --engine")
    if db is not None and not from_shelf:
        raise click.UsageError("--db says which shelf; add --from-shelf")
    size = _label(label or _USUAL_LABEL)
    gc.disable()  # as for `assign`
    click.get_current_context().call_on_close(gc.enable)
    parts = only or _PARTS
    file = folder / _WRITTEN_AS if output is None else output
    from fitmatch.report.sheet.page import sheet
    from fitmatch.report.sheet.source import A_PLAN, Source, shown_of

    with_plan = not A_PLAN.isdisjoint(parts)
    if folder.is_dir():  # otherwise that is told
        check_not_own(file, (folder,), "--output")
        if from_shelf:
            with refusals_told():
                check_not_shelf(file, db, "--output")
        _check_file(file, force=force)
    with notes.progress("reading the job"):
        planned = _read(folder, with_plan=with_plan, from_shelf=from_shelf, db=db)
    notes.warn(*planned.job.warnings)
    if with_plan and planned.plan is None:
        planned = _solved(folder, read_from_shelf((folder,), db).jobs[0] if from_shelf else planned.job, notes)
    shown = None if planned.plan is None else shown_of(planned)
    if shown is not None and shown.void:
        notes.warn(*(f"{why}: the sheet is VOID" for why in shown.void))
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


def _of_engine(number: int, db: str | None, file: Path, notes: Notes, *, force: bool) -> int:
    """Write the record of an engine of the shelf."""
    with refusals_told():
        check_not_shelf(file, db, "--output")
        _check_file(file, force=force)
        from fitmatch.shelf.questions.built import built
        from fitmatch.shelf.store.opening import known_shelf

        found = built(known_shelf(db), number)
    from fitmatch.report.sheet.engine import engine_sheet

    _write(file, engine_sheet(found))
    notes.say(f"written to {printable(file)}")
    return 1 if found.engine.needs_attention or found.engine.is_out else 0


def _check_file(file: Path, *, force: bool) -> None:
    """Before the work begins: nothing is replaced that somebody else may have written."""
    from fitmatch.intake.common.files import read_file
    from fitmatch.report.sheet.page import FAR, MARK

    if str(file) == "-":
        why = "a sheet is a file, and is not written to standard output; name one"
        raise click.BadParameter(why, param_hint="--output")
    if not file.parent.is_dir():
        why = f"there is no folder {printable(file.parent)}; make it first"
        raise click.BadParameter(why, param_hint="--output")
    if not file.exists():
        return
    try:
        is_sheet = MARK in read_file(file)[:FAR]
    except OSError as error:
        raise click.ClickException(f"{printable(file)} cannot be written: {error.strerror}") from error
    if not is_sheet and not force:
        why = f"{printable(file)} is there already and is not a sheet; add --force to replace it"
        raise click.BadParameter(why, param_hint="--output")


def _read(folder: Path, *, with_plan: bool, from_shelf: bool, db: str | None) -> "Planned":
    """The job with its saved plan; without one, which then needs no shells and no limits either."""
    from fitmatch.intake.planned import Planned, kept_plan, read_planned

    if not with_plan:
        from fitmatch.intake.reading import read_job

        return Planned(read_job(folder, needs_shells=False, needs_aims=False, locks_elsewhere=True))
    kept = kept_plan(folder, db)
    if not (from_shelf or kept.has_the_shelf_s_shells):
        return read_planned(kept)
    from fitmatch.shelf.jobs.supplying import read_planned_supplied
    from fitmatch.shelf.store.opening import open_shelf

    with refusals_told(db):
        return read_planned_supplied(open_shelf(db, make=False), kept)


def _solved(folder: Path, job: "Job", notes: Notes) -> "Planned":
    """The job with a plan that was made and saved just now."""
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
    from fitmatch.intake.planned import kept_plan, planned_for

    return planned_for(job, kept_plan(folder))


def _write(file: Path, data: bytes) -> None:
    from fitmatch.intake.writing.whole_files import write_whole

    try:
        write_whole(file, data, file.parent)
    except OSError as error:
        raise click.ClickException(f"{printable(file)} cannot be written: {error.strerror}") from error
