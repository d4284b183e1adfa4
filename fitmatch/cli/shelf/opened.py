"""What the commands of the shelf have in common: which shelf, in which form the answer comes, and what is refused."""

from collections.abc import Callable, Sequence
from functools import wraps
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeVar

import click

from fitmatch.cli.exit_codes import BAD_INPUT, HELD
from fitmatch.cli.shared import options
from fitmatch.cli.shared.console import Notes, fitted, print_data, print_report, tell

if TYPE_CHECKING:
    from fitmatch.facts import Fact
    from fitmatch.shelf.answers.engines import TornDown
    from fitmatch.shelf.answers.shells import Changed, TakenIn
    from fitmatch.shelf.store.connections import Shelf

AnswerT = TypeVar("AnswerT")
ToldT = TypeVar("ToldT", "Changed", "TakenIn", "TornDown")
Action = Callable[..., int]
_UNIT: Final = "in"

db = click.option(
    "--db",
    metavar="PATH|URL",
    help="The shelf: a file, or a URL of PostgreSQL.  [default: FITMATCH_DB, or a file in your data folder]",
)
by = click.option("--by", "who", default="", metavar="NAME", help="Who does this, for the history.")
note = click.option("--note", default="", metavar="TEXT", help="Anything worth knowing later, for the history.")


class Asked(NamedTuple):
    """Which shelf was asked for, and the form of the answer."""

    db: str | None
    as_json: bool
    as_csv: bool
    given_unit: str | None
    notes: Notes

    @property
    def unit(self) -> str:
        return self.given_unit or _UNIT

    def shelf(self, *, make: bool = True) -> "Shelf":
        """The open shelf; `make`: a new one if there is none."""
        from fitmatch.shelf.store.opening import open_shelf

        return open_shelf(self.db, make=make)

    def known_shelf(self) -> "Shelf":
        """The open shelf, which must be there."""
        from fitmatch.shelf.store.opening import known_shelf

        return known_shelf(self.db)

    def answer(
        self,
        found: AnswerT,
        text: Callable[[AnswerT, str], str],
        as_json: Callable[[AnswerT, str], str],
        as_csv: Callable[[AnswerT, str], str] | None = None,
        in_red: Sequence[str] = (),
    ) -> None:
        """Print what was found in the form that was asked for."""
        if self.as_json:
            print_data(as_json(found, self.unit))
        elif self.as_csv and as_csv is not None:
            print_data(as_csv(found, self.unit))
        else:
            with fitted():
                shown = text(found, self.unit)
            print_report(shown, in_red=tuple(in_red))

    def with_db(self, facts: "Sequence[Fact]") -> "tuple[Fact, ...]":
        """The facts with the shelf that was named, for the commands that they say come next."""
        return tuple(fact._replace(slots={**fact.slots, "db": self.db}) for fact in facts)

    def told(self, found: ToldT) -> ToldT:
        """The same of what an action found."""
        return found._replace(attention=self.with_db(found.attention))

    def changed(self, changed: "Changed") -> int:
        """Print what an action changed; the exit status."""
        from fitmatch.report.shelf.data import changed_document, event_rows
        from fitmatch.report.shelf.texts import changed_text

        told = self.told(changed)._replace(notices=self.with_db(changed.notices))
        self.answer(told, changed_text, changed_document, lambda c, unit: event_rows(c.events, unit))
        return 1 if changed.attention else 0


def shelf_command(name: str, *, lists: bool = False) -> Callable[[Action], click.Command]:
    """A command of the shelf: its function gets an `Asked` first. `lists`: it also answers in rows of CSV."""

    def made(action: Action) -> click.Command:
        @wraps(action)
        def run(
            db: str | None,
            as_json: bool,
            unit: str | None,
            quiet: bool,
            debug: bool,
            as_csv: bool = False,
            **given: Any,
        ) -> int:
            if as_json and as_csv:
                raise click.UsageError("--json and --csv cannot be used together; choose one")
            group = click.get_current_context().parent
            where = db or (group.params.get("db") if group else None)
            asked = Asked(where, as_json, as_csv, unit, Notes(quiet=quiet))
            from fitmatch.shelf.refusals import HeldError, RefusedError

            try:
                return action(asked, **given)
            except RefusedError as error:
                _tell_refused(asked.with_db(error.reasons), asked.unit)
                return HELD if isinstance(error, HeldError) else BAD_INPUT

        decorated = options.debug(options.quiet(_unit(run)))
        if lists:
            decorated = click.option("--csv", "as_csv", is_flag=True, help="Print CSV, a row for each.")(decorated)
        return click.command(name)(db(options.as_json(decorated)))

    return made


_unit = click.option("--unit", type=click.Choice(["in", "mm"]), help="Show lengths in this unit.  [default: in]")


def _tell_refused(reasons: "Sequence[Fact]", unit: str) -> None:
    from fitmatch.report.shelf.words import words

    for reason in reasons:
        tell(f"Error: {words(reason, unit)}")


def length_option(text: str, unit: str, param: str) -> int:
    """A length that was typed behind an option, in nanometres."""
    from fitmatch.lengths import LengthError, parse_length

    try:
        return parse_length(text, unit, inch_job=unit == "in")[0]
    except LengthError as error:
        raise click.BadParameter(str(error), param_hint=param) from error


def job_of(path: Path) -> str:
    """The name of a job."""
    return path.resolve().name
