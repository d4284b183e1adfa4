"""`fitmatch measure`: readings typed at the bench, or sent by a gauge that types, each on disk at once."""

from pathlib import Path

import click

from fitmatch.cli.shared import options


@click.command("measure")
@click.argument("job", metavar="JOB", type=click.Path(path_type=Path))
@click.option("--by", metavar="NAME", default="", help="Who is measuring; written into the column `by`.")
@options.debug
def command(job: Path, by: str, debug: bool) -> int:
    """Take readings at the bench, each on disk at once.

    Type a reading and Enter or Tab, or let a gauge type it. Words: undo, skip, back, keep REASON,
    box NAME KIND UPPERS LOWERS, help, quit. Start again at any time: readings already taken are not asked for.

    \b
    Example:
      fitmatch measure my-build
      fitmatch measure my-build --by "second person"
    """
    from fitmatch.cli.bench.sitting import sit  # most of the package, which `--help` need not load

    return sit(job, by)
