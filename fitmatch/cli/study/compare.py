"""`fitmatch compare`: what a job could be, in tables and pictures."""

import gc
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

import click

from fitmatch.cli.exit_codes import INTERRUPTED
from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report
from fitmatch.cli.shared.pictures import check_picture, draw, picture
from fitmatch.cli.shared.solving import read, shelf_options, stop_after, stopped_by_ctrl_c, time_limit
from fitmatch.cli.shared.workbooks import as_workbook, check_workbook, write_workbook
from fitmatch.stages import now
from fitmatch.wording import printable

if TYPE_CHECKING:
    from fitmatch.records.job import Job
    from fitmatch.study.comparison.compared import Compared

_MOST_BOXES: Final = 100  # of a kind; each is left out once, and a shelf may have thousands


@click.command("compare")
@click.argument("jobs", metavar="JOB...", nargs=-1, required=True, type=click.Path(path_type=Path))
@click.option("--kind", help="This kind only.")
@click.option(
    "--strategy",
    type=click.Choice(["target", "even", "keep-sets"]),
    default="target",
    show_default=True,
    help="Of the clearances in --csv and --plot and, with --separately, of the jobs side by side. All strategies stand "
    "in the tables.",
)
@click.option(
    "--targets",
    metavar="LENGTHS",
    help="Also aim at each of these clearances in turn, and say which one the shells serve best: a list, or a sweep "
    "FROM..TO/STEP. Needs --kind where kinds have other targets or limits.",
)
@click.option("--rules", is_flag=True, help="Also let each of the shop's own rules go in turn: what it costs.")
@click.option(
    "--boxes",
    is_flag=True,
    help="Also say what if only some of the boxes had been opened: every choice of up to eight; of more, each left "
    "out, and the two whose lack costs least.",
)
@click.option(
    "--trade-off",
    type=click.Choice(["worst/boxes", "worst/spread"]),
    multiple=True,
    help="Also show exactly the plans of which none is beaten in both. May be given twice.",
)
@click.option(
    "--film",
    "films",
    is_flag=True,
    help="Also put the oil film beside each plan: thickness, power, flow, temperature. Needs [film.KIND] in job.toml "
    "and the extra `film`.",
)
@click.option(
    "--separately",
    is_flag=True,
    help="With several JOBs: each as if it had its shells alone; otherwise they share the shells of all.",
)
@shelf_options
@options.as_json
@click.option("--csv", "as_csv", is_flag=True, help="Print all tables as CSV, with the clearances of one plan.")
@picture("it")
@as_workbook
@options.force("--plot or --xlsx")
@options.unit
@time_limit
@options.quiet
@options.debug
def command(
    jobs: tuple[Path, ...],
    kind: str | None,
    strategy: str,
    targets: str | None,
    rules: bool,
    boxes: bool,
    trade_off: tuple[str, ...],
    films: bool,
    separately: bool,
    from_shelf: bool,
    db: str | None,
    as_json: bool,
    as_csv: bool,
    plot: Path | None,
    xlsx: Path | None,
    force: bool,
    unit: str | None,
    seconds: float | None,
    quiet: bool,
    debug: bool,
) -> int:
    """Put strategies, targets, rules and boxes side by side: what a job could be.

    JOB is a job folder. Every figure is what `fitmatch assign` prints for the same question.

    \b
    Example:
      fitmatch compare my-build
      fitmatch compare my-build --kind rod --targets 0.0018..0.0028/0.0001
      fitmatch compare my-build --rules --boxes
      fitmatch compare my-build --trade-off worst/boxes --plot boxes.svg
      fitmatch compare my-build --film
      fitmatch compare first-crank second-crank --separately
    """
    if as_json and as_csv:
        raise click.UsageError("--json and --csv cannot be used together; choose one")
    if separately and len(jobs) == 1:
        raise click.UsageError("--separately is about several jobs, but only one was given; leave it out")
    if separately and from_shelf:
        raise click.UsageError("--from-shelf takes one job at a time; leave out --separately")
    check_picture(plot, force=force and (plot is not None or xlsx is None))
    check_workbook(xlsx, jobs, force=force)
    gc.disable()  # as for `assign`
    click.get_current_context().call_on_close(gc.enable)
    notes = Notes(quiet=quiet)
    task = _each(jobs, notes) if separately else read(jobs, notes, from_shelf=from_shelf, db=db)
    first = task[0] if isinstance(task, list) else task.jobs[0]
    if boxes and from_shelf and seconds is None:
        _check_boxes(first, kind)
    targets_nm = () if targets is None else _lengths(targets, first, notes)
    shown = unit or first.unit

    with notes.progress("comparing", "; Ctrl-C prints what was found so far"):
        from fitmatch.problems import NotPossible
        from fitmatch.study.comparison.compare import compare

        stop = stop_after(seconds)
        with stopped_by_ctrl_c(stop):
            try:
                compared = compare(
                    task,
                    kind=kind,
                    strategy=strategy,
                    targets_nm=targets_nm,
                    rules=rules,
                    boxes=boxes,
                    against=[figures.partition("/")[2] for figures in trade_off],
                    films=films,
                    stop=stop,
                )
            except NotPossible as error:
                from fitmatch.report.words.refusals import refused

                hint = {"no-kind": "--kind", "even-needs-limits": "--strategy"}.get(error.why.code, "--targets")
                raise click.BadParameter(refused(error.why, shown), param_hint=hint) from error
            now("writing the answer")
            answer = _answer(compared, shown, as_json=as_json, as_csv=as_csv)
            if plot is not None:
                from fitmatch.report.plots.compared import compared_picture

                draw(plot, lambda ending: compared_picture(compared, shown, ending), notes)
            if xlsx is not None:
                from fitmatch.report.data.workbooks import compared_workbook

                write_workbook(xlsx, lambda: compared_workbook(compared, shown), notes)
    if as_json or as_csv:
        print_data(answer)
    else:
        from fitmatch.report.screen.attention import NOT_LOOKED_THROUGH
        from fitmatch.report.screen.proven import NOT_PROVEN

        print_report(answer, in_red=("NEEDS ATTENTION", NOT_LOOKED_THROUGH, NOT_PROVEN))
    if stop.requested and not compared.proven:
        return INTERRUPTED
    return 1 if compared.needs_attention else 0


def _check_boxes(job: "Job", kind: str | None) -> None:
    """Refuses what would not end before anybody has lost patience."""
    for one in job.kinds if kind is None else (kind,):
        count = len({shell.box for shell in job.shells if shell.kind == one and shell.hold is None})
        if count > _MOST_BOXES:
            text = f"--boxes leaves out each box once, and {printable(one)} has {count:,} on the shelf (more than"
            raise click.UsageError(f"{text} {_MOST_BOXES}); say how long it may take with --time-limit SECONDS")


def _each(folders: Sequence[Path], notes: Notes) -> "list[Job]":
    """Each job with its own shells."""
    if len({folder.resolve() for folder in folders}) < len(folders):
        raise click.UsageError("a job is named twice; name each job once")
    found: list[Job] = []
    for folder in folders:
        task = read([folder], notes)
        found += task.jobs
    return found


def _lengths(text: str, job: "Job", notes: Notes) -> tuple[int, ...]:
    """Targets in nanometres."""
    from fitmatch.intake.common.quantities import TARGET, CellError
    from fitmatch.intake.common.sweeps import read_sweep

    try:
        sweep = read_sweep(text, TARGET, job.unit)
    except CellError as error:
        raise click.BadParameter(str(error), param_hint="--targets") from error
    if sweep.finer:
        notes.warn("--targets: numbers finer than a nanometre were rounded")
    return sweep.points_nm


def _answer(compared: "Compared", unit: str, *, as_json: bool, as_csv: bool) -> str:
    if as_json or as_csv:
        from fitmatch.report.data.compared import compared_document, compared_rows

        return (compared_document if as_json else compared_rows)(compared, unit)
    from fitmatch.report.comparison.report import compared_text

    with fitted():
        return compared_text(compared, unit)
