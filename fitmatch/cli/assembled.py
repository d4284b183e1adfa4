"""`fitmatch assembled`: hold readings with the shells in against the calculation, and learn the seating if asked to."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitmatch.cli.console import Notes, print_data, print_report

if TYPE_CHECKING:
    from fitmatch.gauging.assembled import Comparison
    from fitmatch.records.job import Job


@click.command("assembled")
@click.argument("job", type=click.Path(path_type=Path))
@click.option(
    "--learn",
    is_flag=True,
    help="Write the seating of each kind that three positions or more teach, its uncertainty and their number into "
    "job.toml; every other byte of the file stays.",
)
@click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
@click.option("--csv", "as_csv", is_flag=True, help="Print one CSV row per reading.")
@click.option("--unit", type=click.Choice(["in", "mm"]), help="Show lengths in this unit instead of the job's.")
@click.option("--quiet", is_flag=True, help="Say nothing on standard error but errors.")
@click.option("--debug", is_flag=True, help="Show the traceback of a fault.")
def command(job: Path, learn: bool, as_json: bool, as_csv: bool, unit: str | None, quiet: bool, debug: bool) -> int:
    """Compare what was measured with the shells in with what was calculated.

    JOB is a job folder with readings in assembled.csv: position, upper, lower, clearance or bore, method. Where upper
    and lower are blank, the shells are those of the plan that `fitmatch assign --save` wrote.

    \b
    Example:
      fitmatch assembled my-build
      fitmatch assembled my-build --learn
    """
    if as_json and as_csv:
        raise click.UsageError("--json and --csv exclude each other; choose one")
    notes = Notes(quiet=quiet)
    from fitmatch.gauging.assembled import assembled
    from fitmatch.intake.reading import read_job

    comparison = assembled(read_job(job, assembled=True))
    if learn and _learn(comparison, notes):
        comparison = assembled(read_job(job, assembled=True))
    notes.warn(*comparison.job.warnings)
    _warn_of_changes(comparison.job, notes)
    shown = unit or comparison.job.unit
    if as_json or as_csv:
        from fitmatch.report.data.assembled import assembled_document, assembled_rows

        print_data((assembled_document if as_json else assembled_rows)(comparison, shown))
    else:
        from fitmatch.report.text.assembled import NOT_TO_BE_RUN, assembled_text

        print_report(assembled_text(comparison, shown), in_red=(NOT_TO_BE_RUN, "A MISTAKE"))
    left_out = comparison.refused or not comparison.learned
    return 1 if comparison.needs_attention or (learn and left_out) else 0


def _learn(comparison: "Comparison", notes: Notes) -> bool:
    """Write what the readings teach; whether anything was written.

    The plan goes first: if the second file cannot be written, learning again makes both agree.
    """
    from fitmatch.intake.job_toml.key_rows import JOB_FILE
    from fitmatch.intake.rows.saved_plan import FILE
    from fitmatch.intake.writing.learning import lesson
    from fitmatch.intake.writing.whole_files import write_whole

    for kind, why in comparison.refused.items():
        from fitmatch.report.words.likely_causes import refusal

        notes.warn(f"nothing was learned of {kind}: {refusal(why)}")
    if not comparison.learned:
        if not comparison.refused:
            notes.warn("nothing was learned: no kind has three positions that teach")
        return False
    found = lesson(comparison)
    if found is None:
        notes.say("job.toml holds what these readings teach; nothing was written")
        return False
    folder = comparison.job.folder
    for name, text in ((FILE, found.plan), (JOB_FILE.name, found.job_toml)):
        if text is not None:
            try:
                write_whole(folder / name, text.encode())
            except OSError as error:
                raise click.ClickException(f"{folder / name} cannot be written: {error.strerror}") from error
    told = f"seating of {' and '.join(found.kinds)} written to {folder / JOB_FILE.name}"
    notes.say(told if found.plan is None else f"{told}; {FILE} stands for the new figures too")
    return True


def _warn_of_changes(job: "Job", notes: Notes) -> None:
    from fitmatch.intake.common.findings import Findings
    from fitmatch.intake.rows.saved_plan import CHANGED, read_saved_plan

    plan = read_saved_plan(job.folder, Findings())
    if plan is not None and plan.digest != job.digest:
        notes.warn(CHANGED)
