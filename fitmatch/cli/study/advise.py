"""`fitmatch advise`: what each position wants, and what to do next where one is not inside its limits."""

import gc
from pathlib import Path

import click

from fitmatch.cli.exit_codes import INTERRUPTED
from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report
from fitmatch.cli.shared.pictures import check_picture, draw, picture
from fitmatch.cli.shared.solving import read, shelf_options, stop_after, stopped_by_ctrl_c, time_limit
from fitmatch.stages import now


@click.command("advise")
@click.argument("jobs", metavar="JOB...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--full", is_flag=True, help="Show the advice on every position.")
@shelf_options
@options.as_json
@click.option("--csv", "as_csv", is_flag=True, help="Print one CSV row per advice.")
@picture("clearances now and after the cheapest change")
@options.force("--plot")
@options.unit
@time_limit
@options.quiet
@options.debug
def command(
    jobs: tuple[Path, ...],
    full: bool,
    from_shelf: bool,
    db: str | None,
    as_json: bool,
    as_csv: bool,
    plot: Path | None,
    force: bool,
    unit: str | None,
    seconds: float | None,
    quiet: bool,
    debug: bool,
) -> int:
    """Say what each position wants of its shells, and what to do next where one is not inside its limits.

    JOB is a job folder, which may have no shell file yet; several share their shells. Every change that is proposed was
    solved as `fitmatch assign` would solve it. No file is changed.

    \b
    Example:
      fitmatch advise my-build
      fitmatch advise my-build --full
      fitmatch advise my-build --plot next.svg
      fitmatch advise first-crank second-crank --csv
    """
    if as_json and as_csv:
        raise click.UsageError("--json and --csv cannot be used together; choose one")
    if full and (as_json or as_csv):
        raise click.UsageError("--full is about the text report; --json and --csv show everything as it is")
    check_picture(plot, force=force)
    gc.disable()  # as for `assign`
    click.get_current_context().call_on_close(gc.enable)
    notes = Notes(quiet=quiet)
    task = read(jobs, notes, needs_shells=False, from_shelf=from_shelf, db=db)
    shown = unit or task.jobs[0].unit
    if plot is not None and not task.jobs[0].shells:
        raise click.UsageError("--plot draws clearances, and there are none without shells; leave it out")

    with notes.progress("looking for what would help", "; Ctrl-C prints what was found so far"):
        from fitmatch.problems import NotPossible
        from fitmatch.study.advice.advise import advise

        stop = stop_after(seconds)
        with stopped_by_ctrl_c(stop):
            try:
                found = advise(task, stop=stop)
            except NotPossible as error:
                from fitmatch.report.words.refusals import refused

                raise click.UsageError(refused(error.why, shown)) from error
            now("writing the answer")
            if as_json or as_csv:
                from fitmatch.report.data.advised import advised_document, advised_rows

                answer = (advised_document if as_json else advised_rows)(found, shown)
            else:
                from fitmatch.report.text.advice import advised_text

                with fitted():
                    answer = advised_text(found, shown, full=full)
            if plot is not None:
                from fitmatch.report.plots.advised import advised_picture

                draw(plot, lambda ending: advised_picture(found, shown, ending), notes)
    if as_json or as_csv:
        print_data(answer)
    else:
        from fitmatch.report.screen.attention import NOT_LOOKED_THROUGH
        from fitmatch.report.screen.proven import NOT_PROVEN
        from fitmatch.report.text.advice import NO_LIMITS

        states = ("NEEDS ATTENTION", NO_LIMITS, "IN DOUBT", "TOO TIGHT", "TOO LOOSE", "NOT FILLED")
        print_report(answer, in_red=(*states, NOT_LOOKED_THROUGH, NOT_PROVEN))
    if stop.requested and not found.proven:
        return INTERRUPTED
    return 1 if found.needs_attention else 0
