"""`fitmatch boxes`: how many boxes are worth opening, before any is."""

import gc
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report
from fitmatch.cli.shared.pictures import check_picture, draw, picture
from fitmatch.cli.shared.solving import read, shelf_options
from fitmatch.cli.shared.workers import saying_how_to_go_on, work, worker_options
from fitmatch.stages import now

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fitmatch.records.job import Job
    from fitmatch.study.boxes.steps import Sealed
    from fitmatch.study.boxes.studied import Studied


@click.command("boxes")
@click.argument("job", type=click.Path(path_type=Path))
@click.option(
    "--budget",
    type=click.IntRange(1, 24),
    metavar="N",
    help="The most boxes to open of one kind.  [default: the job's]",
)
@click.option("--kind", help="This kind only.")
@click.option(
    "--draws",
    type=click.IntRange(1, 1_000_000),
    default=1_000,
    show_default=True,
    metavar="N",
    help="How often it is drawn what may be in the boxes.",
)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, metavar="N", help="Of the draws.")
@click.option("--tolerance", metavar="LENGTH", help="Also the chance that all positions are so near to their targets.")
@click.option("--precision", metavar="LENGTH", help="Stop before all draws once every mean is known to within it.")
@shelf_options
@worker_options
@click.option("--full", is_flag=True, help="Show every mix.")
@options.as_json
@click.option("--csv", "as_csv", is_flag=True, help="Print one CSV row per mix.")
@picture("it")
@options.force("--plot")
@options.unit
@options.quiet
@options.debug
def command(
    job: Path,
    budget: int | None,
    kind: str | None,
    draws: int,
    seed: int,
    tolerance: str | None,
    precision: str | None,
    from_shelf: bool,
    db: str | None,
    workers: int | None,
    cluster: str | None,
    resume: Path | None,
    full: bool,
    as_json: bool,
    as_csv: bool,
    plot: Path | None,
    force: bool,
    unit: str | None,
    quiet: bool,
    debug: bool,
) -> int:
    """Say how many boxes are worth opening, before any of them is.

    JOB has bores and journals that are measured, or their drawing limits; [boxes] in job.toml says how many boxes of
    one kind may be opened, as --budget does, and what they cost. New boxes are drawn to be like those of the same step
    that are open, and each draw is solved as `fitmatch assign` would solve it.

    \b
    Example:
      fitmatch boxes my-build
      fitmatch boxes my-build --budget 4 --tolerance 0.0002
      fitmatch boxes my-build --from-shelf --draws 5000 --json
      fitmatch boxes my-build --draws 100000 --resume draws.txt
      fitmatch boxes my-build --plot boxes.svg
    """
    if as_json and as_csv:
        raise click.UsageError("--json and --csv cannot be used together; choose one")
    if full and (as_json or as_csv):
        raise click.UsageError("--full is about the text report; --json and --csv show everything as it is")
    working = work(workers, cluster, resume)
    check_picture(plot, force=force)
    gc.disable()  # as for `assign`
    click.get_current_context().call_on_close(gc.enable)
    notes = Notes(quiet=quiet)
    (task,) = read([job], notes, needs_shells=False, from_shelf=from_shelf, db=db).jobs
    shown = unit or task.unit
    tolerance_nm, precision_nm = _length(task, "--tolerance", tolerance), _length(task, "--precision", precision)
    with saying_how_to_go_on(resume), notes.progress("drawing boxes"):
        from fitmatch.problems import NotPossible
        from fitmatch.study.boxes.boxes import boxes

        try:
            found = boxes(
                task,
                kind=kind,
                draws=draws,
                seed=seed,
                budget=budget,
                tolerance_nm=tolerance_nm,
                precision_nm=precision_nm,
                sealed=_sealed(db) if from_shelf else None,
                work=working,
            )
        except NotPossible as error:
            from fitmatch.report.words.refusals import refused

            if error.why.code == "no-kind":
                raise click.BadParameter(refused(error.why, shown), param_hint="--kind") from error
            raise click.UsageError(refused(error.why, shown)) from error
        now("writing the answer")
        answer = _answer(found, shown, full=full, as_json=as_json, as_csv=as_csv)
        if plot is not None:
            from fitmatch.report.boxes.picture import studied_picture

            draw(plot, lambda ending: studied_picture(found, shown, ending), notes)
    if as_json or as_csv:
        print_data(answer)
    else:
        print_report(
            answer, in_red=("LEFT OUT", "NO BOX CAN MEND THIS", "TOO FEW SHELLS", "NO MIX OF THESE BOXES", "NO VERDICT")
        )
    return 1 if found.needs_attention else 0


def _length(job: "Job", option: str, text: str | None) -> int | None:
    if text is None:
        return None
    from fitmatch.intake.common.quantities import LIMIT, CellError, LengthReader

    try:
        nm = LengthReader(LIMIT, job.unit, inch_job=job.unit == "in").read(text)
    except CellError as error:
        raise click.BadParameter(str(error), param_hint=option) from error
    if not nm:
        raise click.BadParameter("`0` is nothing to reach; write a length", param_hint=option)
    return nm


def _sealed(db: str | None) -> "Sequence[Sealed]":
    from fitmatch.shelf.questions.looking import show
    from fitmatch.shelf.store.opening import open_shelf
    from fitmatch.study.boxes.steps import Sealed

    return [
        Sealed(box.kind, box.family, f"{box.undersize} {box.step}".strip(), box.price_thousandths)
        for box in show(open_shelf(db, make=False)).sealed
    ]


def _answer(found: "Studied", unit: str, *, full: bool, as_json: bool, as_csv: bool) -> str:
    if as_json or as_csv:
        from fitmatch.report.boxes.data import studied_document, studied_rows

        return (studied_document if as_json else studied_rows)(found, unit)
    from fitmatch.report.boxes.texts import studied_text

    with fitted():
        return studied_text(found, unit, full=full)
