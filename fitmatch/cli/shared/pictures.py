"""`--plot`: what is refused before the work begins, and writing the picture."""

from collections.abc import Callable
from pathlib import Path

import click

from fitmatch.cli.shared.console import Notes
from fitmatch.cli.shared.options import Decorated


def picture(drawn: str) -> Callable[[Decorated], Decorated]:
    """`--plot`; `drawn` says what is on the picture."""
    return click.option(
        "--plot",
        metavar="FILE",
        type=click.Path(path_type=Path),
        help=f"Also draw {drawn}: a name that ends in .svg or .png. Needs the extra `plots`.",
    )


def check_picture(file: Path | None, *, force: bool) -> None:
    """Before the work begins."""
    from fitmatch.report.plots.paper import ENDINGS, check_extra

    if file is None:
        if force:
            raise click.UsageError("--force replaces a picture; add --plot FILE")
        return
    if file.suffix.lower() not in ENDINGS:
        why = f"`{file.name}` is not a kind of picture that can be drawn; write a name that ends in .svg or .png"
        raise click.BadParameter(why, param_hint="--plot")
    if file.exists() and not force:
        raise click.BadParameter(f"{file} is there already; add --force to replace it", param_hint="--plot")
    check_extra()


def draw(file: Path, picture: Callable[[str], bytes], notes: Notes) -> None:
    """Write the picture, which is made for the ending of the file's name."""
    from fitmatch.intake.writing.whole_files import write_whole

    drawn = picture(file.suffix.lower())
    try:
        write_whole(file, drawn, file.parent)
    except OSError as error:
        raise click.ClickException(f"{file} cannot be written: {error.strerror}") from error
    notes.say(f"drawn in {file}")
