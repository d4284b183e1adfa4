"""`fitmatch range`: the clearances that drawing limits allow, before anything is measured."""

from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report
from fitmatch.cli.shared.pictures import check_picture, draw, picture

if TYPE_CHECKING:
    from fitmatch.intake.stacks import Drawings, Given


class _Range(click.Command):
    """`--csv distribution` is two words of one option, and `--csv JOB` is not."""

    def parse_args(self, ctx: click.Context, args: list[str]) -> list[str]:
        pairs = pairwise(["", *args])
        words = [f"--csv-{word}" if (before, word) == ("--csv", "distribution") else word for before, word in pairs]
        return super().parse_args(ctx, words)


def _shared(_ctx: click.Context, _param: click.Parameter, value: str) -> float:
    from fitmatch.lengths import LengthError, parse_number

    try:
        number = parse_number(value)
    except LengthError as error:
        raise click.BadParameter(str(error)) from error
    if not 0 <= number <= 1:
        raise click.BadParameter(f"`{value}` is outside 0 to 1; write the part of the variance, such as 0.5")
    return float(number)


@click.command("range", cls=_Range)
@click.argument("job", required=False, type=click.Path(path_type=Path))
@click.option("--kind", help="Only this kind of the job; without a JOB the name of the row.")
@click.option(
    "--housing-bore",
    metavar="[NAME=]LIMITS",
    multiple=True,
    help='Limits of the housing bore: "MIN..MAX", "60 ±0.01", "60 +0.019/0" or a class of ISO 286, "60 H6". Several, '
    "each with a name, are rows of one table.",
)
@click.option("--journal", metavar="[NAME=]LIMITS", multiple=True, help="The same of the journal.")
@click.option("--wall", metavar="[NAME=]LIMITS", multiple=True, help="The same of each wall; no class.")
@click.option("--min", "low", metavar="LENGTH", help="The smallest clearance allowed.  [default: the job's]")
@click.option("--max", "high", metavar="LENGTH", help="The largest clearance allowed.  [default: the job's]")
@click.option(
    "--shape",
    type=click.Choice(["uniform", "triangular", "normal"]),
    default="uniform",
    show_default=True,
    help="How sizes lie between their limits. normal: the limits are three standard deviations from the middle.",
)
@click.option(
    "--shared",
    metavar="PART",
    default="0",
    show_default=True,
    callback=_shared,
    help="The part of the walls' variance that is common to both shells of a bore, 0 to 1.",
)
@click.option(
    "--coating", metavar="LENGTH", help="Thickness on the running face of each shell, or its limits: also with it."
)
@click.option("--step", metavar="LENGTH", help="A step of shells as printed, diametral: also one half and both of it.")
@options.as_json
@click.option(
    "--csv", "as_csv", is_flag=True, help="Print one CSV row per row; with --csv distribution, the curves of --plot."
)
@click.option("--csv-distribution", is_flag=True, hidden=True, help="The same as --csv distribution.")
@picture("the distributions")
@options.force("--plot")
@click.option(
    "--unit",
    type=click.Choice(["in", "mm"]),
    help="Show lengths in it; without a JOB also the unit of plain numbers.",
)
@options.quiet
@options.debug
def command(
    job: Path | None,
    kind: str | None,
    housing_bore: tuple[str, ...],
    journal: tuple[str, ...],
    wall: tuple[str, ...],
    low: str | None,
    high: str | None,
    shape: str,
    shared: float,
    coating: str | None,
    step: str | None,
    as_json: bool,
    as_csv: bool,
    csv_distribution: bool,
    plot: Path | None,
    force: bool,
    unit: str | None,
    quiet: bool,
    debug: bool,
) -> int:
    """Say which clearances drawing limits allow, before anything is measured.

    The limits are those of [drawing.KIND] in JOB's job.toml, or of the options, which go before them. Of the job
    nothing else is needed.

    \b
    Example:
      fitmatch range my-build
      fitmatch range --unit mm --housing-bore "60 H6" --journal "55.95 h5" --wall 2.000..2.008
      fitmatch range my-build --kind rod --journal "std=1.8155..1.8165" --journal "ground=1.8055..1.8065"
      fitmatch range my-build --shape normal --shared 0.5 --coating 0.0003 --step 0.001
      fitmatch range my-build --plot rods.svg
    """
    if as_json and (as_csv or csv_distribution):
        raise click.UsageError("--json and --csv cannot be used together; choose one")
    check_picture(plot, force=force)
    from fitmatch.intake.stacks import Given

    notes = Notes(quiet=quiet)
    drawings = _drawings(job, Given(kind, housing_bore, journal, wall, low, high, coating, step), unit)
    notes.warn(*drawings.warnings)
    from fitmatch.study.drawings import ranges

    found = ranges.range(drawings.stacks, shape=shape, shared=shared)
    shown = unit or drawings.unit
    if plot is not None:
        from fitmatch.report.plots.distribution import ranges_picture

        draw(plot, lambda ending: ranges_picture(found, drawings, shown, ending), notes)
    if as_json or as_csv or csv_distribution:
        from fitmatch.report.data.ranges import distribution_rows, ranges_document, ranges_rows

        if as_json:
            print_data(ranges_document(found, drawings, shown))
        else:
            print_data((distribution_rows if csv_distribution else ranges_rows)(found, shown))
    else:
        from fitmatch.report.text.ranges import NO_CLEARANCE, ranges_text

        with fitted():
            text = ranges_text(found, drawings, shown)
        print_report(text, in_red=(NO_CLEARANCE,))
    return 0


def _drawings(job: Path | None, given: "Given", unit: str | None) -> "Drawings":
    from fitmatch.intake.common.options import OptionError
    from fitmatch.intake.stacks import drawings_from_options, read_drawings

    if job is None and unit is None:
        raise click.UsageError("without a JOB --unit says what plain numbers are; add --unit mm or --unit in")
    try:
        return drawings_from_options(given, unit or "") if job is None else read_drawings(job, given)
    except OptionError as error:
        raise click.BadParameter(str(error), param_hint=error.option) from error
