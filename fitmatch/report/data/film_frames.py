"""`fitmatch.film`: films of bearings that a program gives, as a table of pandas that explains itself."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING

from fitmatch.intake.film_limits import check_bearings
from fitmatch.records.study.bearings import Bearing
from fitmatch.report.data.films import COLUMNS, LENGTHS, film_records
from fitmatch.report.shared.emit import Number, Value
from fitmatch.study.film import films

if TYPE_CHECKING:
    import pandas


@dataclass(frozen=True, slots=True)
class FilmTable(films.FilmTable):
    """A row for each bearing, in the order given."""

    def to_frame(self, unit: str = "mm") -> "pandas.DataFrame":
        """One row per bearing with the columns of `fitmatch film --csv`, lengths in `unit`. Pandas is imported
        here."""
        import pandas

        names = {name: f"{name} [{unit}]" if name in LENGTHS else name for name in COLUMNS}
        return pandas.DataFrame(
            [{told: _cell(record[name]) for name, told in names.items()} for record in film_records(self, unit)],
            columns=list(names.values()),
        )


def film(bearings: Iterable[Bearing]) -> FilmTable:
    """The steady film of each bearing. Raises InputError, which names the arguments, for what the command refuses."""
    bearings = list(bearings)
    check_bearings(bearings)
    return FilmTable(films.film(bearings).rows)


def _cell(value: Value) -> "Value | float":
    return float(value) if isinstance(value, Number) else value
