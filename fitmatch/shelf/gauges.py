"""Gauges on the shelf: their figures as a job wrote them, kept as JSON."""

import json
from collections.abc import Collection, Mapping
from fractions import Fraction
from typing import Final, NamedTuple

from sqlalchemy import Connection, func, select

from fitmatch.records.measuring import Gauge, Reading
from fitmatch.shelf.events import next_number
from fitmatch.shelf.finding import parts
from fitmatch.shelf.store.schema import GAUGES, READINGS, SHELLS


def gauge_numbers(connection: Connection, gauges: Mapping[str, Gauge]) -> dict[str, int]:
    """The numbers of gauges with exactly these figures."""
    found: dict[str, int] = {}
    number = next_number(connection, GAUGES)
    for name, gauge in gauges.items():
        figures = json.dumps(gauge._asdict(), default=str, sort_keys=True)
        query = select(GAUGES.c.number).where(GAUGES.c.name == name, GAUGES.c.figures == figures)
        known = connection.execute(query).scalar()
        if known is None:
            connection.execute(GAUGES.insert().values(number=number, name=name, figures=figures))
            known, number = number, number + 1
        found[name] = known
    return found


def gauge_from(figures: str) -> Gauge:
    """The gauge that has these figures."""
    values = json.loads(figures)
    for name in ("expansion", "expansion_limit"):
        if values.get(name) is not None:
            values[name] = Fraction(values[name])
    values["standard_reads_nm"] = tuple(values.get("standard_reads_nm", ()))
    return Gauge(**values)


class Then(NamedTuple):
    """The readings of a shell that count. `day`: of the last one, on which each gauge had one zero error; `day_known`:
    otherwise it is the one on which they were taken in. `off_nm` was taken off each."""

    readings: list[Reading]
    day: str = ""
    day_known: bool = False
    off_nm: int = 0


NOTHING_READ: Final = Then([])


class ReadingsThen:
    """Readings of shells as they were taken, and `gauges`, those that took them, one for each day."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self.gauges: dict[str, Gauge] = {}
        self._of_day: dict[tuple[int, str], str] = {}

    def of_shells(self, numbers: Collection[int]) -> Mapping[int, Then]:
        """By shell."""
        found: dict[int, Then] = {}
        rows = self._connection.execute(select(GAUGES.c.number, GAUGES.c.name))
        names: dict[int, str] = {number: name for number, name in rows}  # noqa: C416 (rows are no tuples)
        for some in parts(numbers):
            query = (
                select(READINGS)
                .join(SHELLS, (SHELLS.c.number == READINGS.c.shell) & (SHELLS.c.turn == READINGS.c.turn))
                .where(SHELLS.c.number.in_(some))
                .order_by(READINGS.c.shell, READINGS.c.place)
            )
            for row in self._connection.execute(query).mappings():
                day = row["at"][:10]
                gauge = None if row["gauge"] is None else self._gauge(row["gauge"], names, day)
                reading = Reading(row["nm"], row["station"], row["angle"], gauge, row["confirmed"])
                before = found.get(row["shell"], Then([]))
                before.readings.append(reading)
                known = not row["at"].endswith("Z")  # as the clock of the shelf writes times
                found[row["shell"]] = Then(before.readings, max(before.day, day), known, row["off_nm"])
        return found

    def _gauge(self, number: int, names: Mapping[int, str], day: str) -> str:
        """A gauge as it was on a day, by a name of its own: its zero error was another one on every day."""
        if (number, day) not in self._of_day:
            name = f"{names[number]} of {day}" if day else names[number]
            while name in self.gauges:
                name += "'"
            self._of_day[number, day] = name
            text = self._connection.execute(select(GAUGES.c.figures).where(GAUGES.c.number == number)).scalar_one()
            gauge = gauge_from(text)
            setter = None
            if gauge.set_with is not None:
                same = select(func.max(GAUGES.c.number)).where(GAUGES.c.name == gauge.set_with)
                of_name = self._connection.execute(same).scalar()
                setter = None if of_name is None else self._gauge(of_name, names, day)
            self.gauges[name] = gauge._replace(name=name, set_with=setter)
        return self._of_day[number, day]
