"""How an engine was built, for the record that is kept with it: also what its shells were read with, and who fitted
what outside its limits."""

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from sqlalchemy import Connection, RowMapping, select

from fitmatch.records.measuring import Gauge, Reading
from fitmatch.shelf.events import told
from fitmatch.shelf.finding import parts
from fitmatch.shelf.gauges import gauge_from
from fitmatch.shelf.looking import engine_on
from fitmatch.shelf.records import OUTSIDE, EngineRecord
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import EVENTS, GAUGES, JOBS, READINGS, SHELLS


class Permitted(NamedTuple):
    """When a position was fitted outside its limits, by whom, and what was noted then."""

    at: str
    by: str
    note: str


class Built(NamedTuple):
    """An engine with all that the shelf knows of how it was built. `unit` is that of its job, `permitted` by position.
    By the number of a shell: its `part`, and the `readings` that its wall came from when it was fitted, each with the
    name of one of the `gauges`."""

    engine: EngineRecord
    unit: str
    permitted: Mapping[str, Permitted]
    part: Mapping[int, str]
    readings: Mapping[int, tuple[Reading, ...]]
    gauges: Mapping[str, Gauge]


def built(shelf: Shelf, number: int) -> Built:
    """How one engine was built; raises RefusedError if there is none of this number."""
    with shelf.reading() as connection:
        engine = engine_on(connection, number)
        unit = connection.execute(select(JOBS.c.unit).where(JOBS.c.engine == number)).scalar()
        shells = [shell.number for position in engine.positions for shell in position.shells]
        gauges: dict[str, Gauge] = {}
        readings = _readings(connection, _turns(connection, number, shells), gauges)
        permitted = _permitted(connection, engine, shells)
        return Built(engine, unit or "in", permitted, _parts(connection, shells), readings, gauges)


def _parts(connection: Connection, shells: Sequence[int]) -> dict[int, str]:
    found: dict[int, str] = {}
    for some in parts(shells):
        query = select(SHELLS.c.number, SHELLS.c.part).where(SHELLS.c.number.in_(some))
        found |= {row.number: row.part for row in connection.execute(query)}
    return found


def _permitted(connection: Connection, engine: EngineRecord, shells: Sequence[int]) -> dict[str, Permitted]:
    """By position. The event of a permission has its text for a note; what was noted stands with the others of that
    action, and with an engine that it began."""
    found: dict[str, Permitted] = {}
    # By shells there is an index; of a position that has had others since, only all events tell.
    for some in ([EVENTS.c.shell.in_(shells)], []):
        if all(p.position in found for p in engine.outside):
            break
        query = select(EVENTS).where(EVENTS.c.engine == engine.number, EVENTS.c.action == "fitted", *some)
        rows = connection.execute(query.order_by(EVENTS.c.number)).mappings().all()
        outside = [row for row in rows if OUTSIDE in told(row).get("remarks", ())]
        notes = {_action(row): row["note"] for row in rows if row not in outside}
        for row in outside:
            note = notes.get(_action(row), engine.note if row["at"] == engine.at else "")
            found[row["position"]] = Permitted(row["at"], row["done_by"], note)
    return found


def _action(event: RowMapping) -> int:
    """The first event of the action that an event belongs to."""
    return int(told(event).get("first", event["number"]))


def _turns(connection: Connection, engine: int, shells: Sequence[int]) -> dict[int, int]:
    """By shell, which of its measurings counted when it was fitted last: what the first event since then that changed
    it has kept, otherwise the one that counts now."""
    turns: dict[int, int] = {}
    for some in parts(shells):
        now = select(SHELLS.c.number, SHELLS.c.turn).where(SHELLS.c.number.in_(some))
        turns |= {row.number: row.turn for row in connection.execute(now)}
        since = set(some)
        events = select(EVENTS).where(EVENTS.c.shell.in_(some)).order_by(EVENTS.c.number.desc())
        for row in connection.execute(events).mappings():
            if row["shell"] in since:
                turns[row["shell"]] = told(row).get("shell", {}).get("turn", turns[row["shell"]])
            if row["engine"] == engine and row["action"] == "fitted":
                since.discard(row["shell"])
    return turns


def _readings(
    connection: Connection, turns: Mapping[int, int], gauges: dict[str, Gauge]
) -> dict[int, tuple[Reading, ...]]:
    """By shell; with the gauges that took them."""
    names: dict[int, str] = {}
    found: dict[int, list[Reading]] = {}
    for some in parts(turns):
        query = select(READINGS).where(READINGS.c.shell.in_(some)).order_by(READINGS.c.shell, READINGS.c.place)
        for row in connection.execute(query).mappings():
            if row["turn"] == turns[row["shell"]]:
                name = None if row["gauge"] is None else _name(connection, row["gauge"], names, gauges)
                reading = Reading(row["nm"], row["station"], row["angle"], name, row["confirmed"])
                found.setdefault(row["shell"], []).append(reading)
    return {shell: tuple(some) for shell, some in found.items()}


def _name(connection: Connection, number: int, names: dict[int, str], gauges: dict[str, Gauge]) -> str:
    """What a gauge is called; two of one name and of different figures by their numbers on the shelf."""
    if number not in names:
        row = connection.execute(select(GAUGES).where(GAUGES.c.number == number)).mappings().one()
        name = row["name"] if row["name"] not in gauges else f"{row['name']} ({number})"
        names[number] = name
        gauges[name] = gauge_from(row["figures"])
    return names[number]
