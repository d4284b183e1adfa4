"""Groups of commands each of which is loaded when it is used, so that help starts at once."""

from collections.abc import Callable, Mapping
from typing import Any, Final

import click

_NEAR: Final = 0.4  # a word is near a command if no more than this share of its letters differs


class LazyGroup(click.Group):
    """Knows of each command the line that help shows, and loads it by its name."""

    def __init__(
        self, *args: Any, listed: Mapping[str, str], load: Callable[[str], click.Command], **settings: Any
    ) -> None:
        super().__init__(*args, **settings)
        self._listed = listed
        self._load = load

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(self._listed)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        return self._load(cmd_name) if cmd_name in self._listed else None

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(self._listed.items()))

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in self._listed and not name.startswith("-"):
            from fitmatch.names import nearest, slips

            near = nearest(name, self._listed)
            if near and (slips(name.casefold(), near) <= _NEAR * len(near) or near.startswith(name.casefold())):
                ctx.fail(f"No such command '{name}'. Did you mean '{near}'?")
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except KeyboardInterrupt as interrupt:
            raise click.Abort from interrupt  # the library would write a blank line first
