"""`fitmatch check`: are the readings believable?"""

from pathlib import Path

import click

from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report


@click.command("check")
@click.argument("folder", metavar="JOB", type=click.Path(path_type=Path))
@options.as_json
@options.unit
@options.quiet
@options.debug
def command(folder: Path, as_json: bool, unit: str | None, quiet: bool, debug: bool) -> int:
    """Say which readings are likely mistakes, what kind of mistake, and what to measure again. Nothing is changed.

    \b
    Example:
      fitmatch check my-build
      fitmatch check my-build --json --unit mm
    """
    from fitmatch.gauging.doubts.check import check
    from fitmatch.intake.reading import read_job
    from fitmatch.report.data.doubts import doubts_document
    from fitmatch.report.text.doubts import doubts_text

    notes = Notes(quiet=quiet)
    job = read_job(folder)
    notes.warn(*job.warnings)
    checked, shown = check(job), unit or job.unit
    if as_json:
        print_data(doubts_document(checked, shown))
    else:
        with fitted():
            text = doubts_text(checked, shown)
        print_report(text, in_red=("IN DOUBT",))
    return 1 if checked.needs_attention else 0
