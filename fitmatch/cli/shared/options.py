"""Options that several commands have."""

from collections.abc import Callable
from typing import Any, TypeVar

import click

from fitmatch.lengths import JOB_UNITS
from fitmatch.wording import shorten

Decorated = TypeVar("Decorated", bound=Callable[..., Any])


class Whole(click.IntRange):
    """A whole number, refused in plain words where it is none."""

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> int:
        try:
            int(value)
        except ValueError:
            self.fail(f"`{shorten(str(value))}` is not a whole number", param, ctx)
        return int(super().convert(value, param, ctx))


as_json = click.option("--json", "as_json", is_flag=True, help="Print one JSON document.")
unit = click.option("--unit", type=click.Choice(JOB_UNITS), help="Show lengths in this unit instead of the job's.")
quiet = click.option("--quiet", is_flag=True, help="Print nothing on standard error except errors.")
debug = click.option("--debug", is_flag=True, help="Show the traceback if fitmatch itself fails.")


def force(of: str) -> Callable[[Decorated], Decorated]:
    """`--force`, for the files that the options named in `of` write."""
    return click.option("--force", is_flag=True, help=f"With {of}: replace the file if it is there.")
