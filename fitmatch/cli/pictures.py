"""`--plot`: what is refused before any work is done, and writing the picture."""

from collections.abc import Callable
from pathlib import Path

import click

from fitmatch.cli.console import Notes

_ENDINGS = (".svg", ".png")


def check_picture(path: Path | None, *, force: bool) -> None:
    """Refuse what could not be drawn."""
    from importlib.util import find_spec

    if path is None:
        if force:
            raise click.UsageError("--force replaces a picture; add --plot FILE")
        return
    if path.suffix.lower() not in _ENDINGS:
        raise click.BadParameter(f"`{path.name}` is no kind of picture; end it in .svg or .png", param_hint="--plot")
    if path.exists() and not force:
        raise click.BadParameter(f"{path} exists; write another name, or add --force", param_hint="--plot")
    if find_spec("matplotlib") is None:
        raise click.UsageError("--plot needs matplotlib: pip install 'fitmatch[plots]'")


def draw(path: Path, picture: Callable[[str], bytes], notes: Notes) -> None:
    """Write the picture, which is made for the ending of its name."""
    from fitmatch.intake.writing.whole_files import write_whole

    try:
        write_whole(path, picture(path.suffix.lower()[1:]))
    except OSError as error:
        raise click.ClickException(f"{path} cannot be written: {error.strerror}") from error
    notes.say(f"drawn to {path}")
