"""`fitmatch film`: the steady oil film at the assigned clearances, or swept over clearances."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report
from fitmatch.cli.shared.pictures import check_picture, draw, picture

if TYPE_CHECKING:
    from fitmatch.intake.bearings import Given, Runs


@click.command("film")
@click.argument("job", required=False, type=click.Path(path_type=Path))
@click.option("--kind", help="Only this kind of the job.")
@click.option("--journal", metavar="LENGTH", help="Diameter of the journal; without a JOB.")
@click.option(
    "--clearance",
    metavar="LENGTH[..LENGTH/STEP]",
    help="Diametral clearance, a list of them or a sweep; without a JOB.",
)
@click.option("--width", metavar="LENGTH", help="Width of one land.")
@click.option("--lands", metavar="N", help="How many lands share the load.  [default: 1]")
@click.option("--load", metavar="N", help="Load in newton on all lands together.")
@click.option("--speed", metavar="RPM[..RPM/STEP]", help="Revolutions per minute, a list or a sweep.")
@click.option("--viscosity", metavar="MPAS[..MPAS/STEP]", help="Constant viscosity in mPa s, a list or a sweep.")
@click.option("--oil-40", metavar="MM2/S", help="In place of --viscosity: kinematic viscosity at 40 degrees Celsius.")
@click.option("--oil-100", metavar="MM2/S", help="The same at 100 degrees Celsius.")
@click.option(
    "--oil-table",
    metavar="C:MPAS,...",
    help='Or viscosities by temperature, as the bearing shears it: "40: 90, 100: 9.4".',
)
@click.option("--high-shear", metavar="MPAS", help="Of a multigrade: viscosity at 150 degrees Celsius and high shear.")
@click.option("--density", metavar="KG/M3", help="Density of the oil at 15 degrees Celsius.")
@click.option("--density-slope", metavar="KG/M3K", help="By how much its density falls per kelvin.")
@click.option("--heat-capacity", metavar="J/KGK", help="Heat capacity of the oil.")
@click.option("--inlet", metavar="C", help="Temperature at which the oil comes in, in degrees Celsius.")
@click.option(
    "--oil-margin",
    metavar="K",
    help="How far outside 40 to 100 degrees Celsius the oil is taken as known.  [default: 20]",
)
@click.option(
    "--housing-temperature", metavar="C", help="Of a JOB: temperature of the running housing, for its hot clearances."
)
@click.option("--journal-temperature", metavar="C", help="The same of the journal.")
@click.option("--feed-pressure", metavar="MPA", help="Pressure in a full groove between the lands.")
@click.option(
    "--slope",
    metavar="LENGTH",
    help="How much the gap, half of the clearance, differs from one end of a land to the other.",
)
@options.as_json
@click.option("--csv", "as_csv", is_flag=True, help="Print one CSV row per film.")
@picture("film and temperature against clearance")
@options.force("--plot")
@click.option(
    "--unit", type=click.Choice(["in", "mm"]), help="Show lengths in it; without a JOB also the unit of plain lengths."
)
@options.quiet
@options.debug
def command(
    job: Path | None,
    kind: str | None,
    journal: str | None,
    clearance: str | None,
    as_json: bool,
    as_csv: bool,
    plot: Path | None,
    force: bool,
    unit: str | None,
    quiet: bool,
    debug: bool,
    **figures: str | None,
) -> int:
    """Say how thick, warm and generous the steady oil film is at a clearance.

    Of JOB it takes the plan saved by `fitmatch assign --save` and [film.KIND] in job.toml; options go before them.
    Engine bearings are loaded dynamically: this compares clearances and certifies none.

    \b
    Example:
      fitmatch film my-build
      fitmatch film --unit mm --journal 50 --width 20 --clearance 0.03..0.08/0.01 --load 8000 --speed 3000 --viscosity 9
      fitmatch film my-build --kind rod --speed 1000..4000/500 --csv
      fitmatch film my-build --plot films.svg
    """
    if as_json and as_csv:
        raise click.UsageError("--json and --csv cannot be used together; choose one")
    check_picture(plot, force=force)
    from fitmatch.intake.bearings import Given
    from fitmatch.study.film.films import check_extra, film

    check_extra()

    notes = Notes(quiet=quiet)
    typed = {key: text for key, text in figures.items() if text is not None}
    runs = _runs(job, Given(kind, journal, clearance, typed), unit)
    notes.warn(*runs.warnings)
    if plot is not None:
        _check_curves(runs)
    found = film(runs.bearings)
    shown = unit or runs.unit
    if plot is not None:
        from fitmatch.report.plots.films import films_picture

        draw(plot, lambda ending: films_picture(found, runs, shown, ending), notes)
    if as_json or as_csv:
        from fitmatch.report.data.films import films_document, films_rows

        print_data(films_document(found, runs, shown) if as_json else films_rows(found, shown))
    else:
        from fitmatch.report.shared.states import DANGER
        from fitmatch.report.text.films import films_text

        with fitted():
            text = films_text(found, runs, shown)
        print_report(text, in_red=("NEEDS ATTENTION", DANGER))
    return 1 if found.needs_attention or runs.empty or runs.outside else 0


def _check_curves(runs: "Runs") -> None:
    from fitmatch.report.plots.films import curves, most_curves

    if curves(runs) > most_curves(runs):
        why = f"{curves(runs)} curves in one diagram; more than {most_curves(runs)} cannot be told apart: ask for fewer"
        raise click.BadParameter(f"{why} speeds or viscosities", param_hint="--plot")


def _runs(job: Path | None, given: "Given", unit: str | None) -> "Runs":
    from fitmatch.intake.bearings import bearings_from_options, read_bearings
    from fitmatch.intake.common.options import OptionError

    if job is None and unit is None:
        raise click.UsageError("without a JOB --unit says what plain lengths are; add --unit mm or --unit in")
    try:
        return bearings_from_options(given, unit or "") if job is None else read_bearings(job, given)
    except OptionError as error:
        raise click.BadParameter(str(error), param_hint=error.option) from error
