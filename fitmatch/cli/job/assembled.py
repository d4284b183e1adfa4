"""`fitmatch assembled`: compare readings with the shells in with the calculation, and learn the seating if asked to."""

from pathlib import Path
from typing import TYPE_CHECKING

import click

from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report
from fitmatch.wording import printable

if TYPE_CHECKING:
    from fitmatch.gauging.assembled import Comparison
    from fitmatch.records.job import Job


@click.command("assembled")
@click.argument("job", type=click.Path(path_type=Path))
@click.option(
    "--learn",
    is_flag=True,
    help="Write the seating of each kind with readings at three or more positions, its uncertainty and the number of "
    "these positions into job.toml; the rest of the file stays exactly as it is.",
)
@click.option(
    "--from-shelf",
    is_flag=True,
    help="The shells of this job are on the shelf, set aside or fitted. A plan made with --from-shelf looks there by "
    "itself.",
)
@click.option("--db", metavar="PATH|URL", help="With --from-shelf: the shelf, as for `fitmatch shelf`.")
@options.as_json
@click.option("--csv", "as_csv", is_flag=True, help="Print one CSV row per reading.")
@options.unit
@options.quiet
@options.debug
def command(
    job: Path,
    learn: bool,
    from_shelf: bool,
    db: str | None,
    as_json: bool,
    as_csv: bool,
    unit: str | None,
    quiet: bool,
    debug: bool,
) -> int:
    """Compare what was measured with the shells in with what was calculated.

    JOB is a job folder with readings in assembled.csv: position, upper, lower, clearance or bore, method. If upper and
    lower are blank, the shells are those of the plan saved by `fitmatch assign --save`. Other shells than the plan's
    are told, unless a later row has the plan's own.

    \b
    Example:
      fitmatch assembled my-build
      fitmatch assembled my-build --learn
    """
    if as_json and as_csv:
        raise click.UsageError("--json and --csv cannot be used together; choose one")
    if db is not None and not from_shelf:
        raise click.UsageError("--db says which shelf; add --from-shelf")
    notes = Notes(quiet=quiet)
    from dataclasses import replace

    from fitmatch.gauging.assembled import assembled
    from fitmatch.gauging.noted import noted

    def compared() -> "Comparison":
        from fitmatch.intake.planned import by_number, kept_plan
        from fitmatch.intake.saved.saved_figures import said

        kept = kept_plan(job)
        found = assembled(read(on_the_shelf=from_shelf or kept.has_the_shelf_s_shells))
        if kept.plan is None:
            return found
        plan = by_number(kept.plan, found.job.shelved or {})
        return replace(found, noted=noted(found.job, plan.shells, plan.housings, said(plan, found.job).told_of))

    def read(*, on_the_shelf: bool) -> "Job":
        if on_the_shelf:
            from fitmatch.cli.shared.solving import refusals_told

            with refusals_told(db):
                from fitmatch.shelf.jobs.supplying import read_supplied
                from fitmatch.shelf.store.opening import open_shelf

                return read_supplied(open_shelf(db, make=False), job, assembled=True)
        from fitmatch.intake.reading import read_job

        return read_job(job, assembled=True)

    comparison = compared()
    if learn and _learn(comparison, notes):
        comparison = compared()
    notes.warn(*comparison.job.warnings)
    shown = unit or comparison.job.unit
    if as_json or as_csv:
        from fitmatch.report.data.assembled import assembled_document, assembled_rows

        print_data((assembled_document if as_json else assembled_rows)(comparison, shown))
    else:
        from fitmatch.report.shared.states import NOT_TO_BE_RUN
        from fitmatch.report.text.assembled import assembled_text

        with fitted():
            text = assembled_text(comparison, shown)
        print_report(text, in_red=(NOT_TO_BE_RUN, "NOT AS PLANNED", "A MISTAKE"))
    left_out = comparison.refused or not comparison.learned
    return 1 if comparison.needs_attention or (learn and left_out) else 0


def _learn(comparison: "Comparison", notes: Notes) -> bool:
    """Write what is learned from the readings; returns whether anything was written.

    Both files or none: a plan with the digest of a job.toml that was never written would look out of date.
    """
    from fitmatch.intake.job_toml.key_rows import JOB_FILE
    from fitmatch.intake.saved.saved_plan import FILE
    from fitmatch.intake.writing.learning import lesson
    from fitmatch.intake.writing.whole_files import write_all

    for kind, why in comparison.refused.items():
        from fitmatch.report.words.likely_causes import refusal

        notes.warn(f"nothing was learned about {kind}: {refusal(why)}")
    if not comparison.learned:
        if not comparison.refused:
            notes.warn("nothing was learned: no kind has three positions to learn from")
        return False
    found = lesson(comparison)
    if found is None:
        notes.say("job.toml already has these figures; nothing was written")
        return False
    folder = comparison.job.folder
    texts = ((FILE, found.plan), (JOB_FILE.name, found.job_toml))
    try:
        write_all({folder / name: text.encode() for name, text in texts if text is not None})
    except OSError as error:
        text = f"{printable(error.filename)} cannot be written: {error.strerror}; nothing was learned"
        raise click.ClickException(text) from error
    told = f"seating of {' and '.join(found.kinds)} written to {printable(folder / JOB_FILE.name)}"
    notes.say(told if found.plan is None else f"{told}; {FILE} was updated to match")
    return True
