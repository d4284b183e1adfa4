"""How an engine was built, for the record that is kept with it: also what its shells were read with, and who fitted
what outside its limits."""

from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import NamedTuple

from sqlalchemy import Connection, RowMapping, select

from fitmatch.records.measuring import Gauge, Reading
from fitmatch.shelf.answers.engines import EngineRecord
from fitmatch.shelf.answers.shells import OUTSIDE
from fitmatch.shelf.built_engines import engine_on
from fitmatch.shelf.events import MATERIALS, told
from fitmatch.shelf.finding import parts
from fitmatch.shelf.gauges import gauge_from
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import BARE, ENGINE_READINGS, EVENTS, GAUGES, JOBS, READINGS, SHELLS


class Permitted(NamedTuple):
    """When a position was fitted outside its limits, by whom, and what was noted then."""

    at: str
    by: str
    note: str


class Built(NamedTuple):
    """An engine with all that the shelf knows of how it was built, as it was asked `today`. `unit` is that of its job,
    `permitted` by position. By the number of a shell: its `part`, and the `readings` that its wall came from when
    it was fitted, each with the name of one of the `gauges`; `bare` are the shells that were read without their
    coating. `sizes`: those of journals and housing bores, by position and feature. `materials`: by position and
    feature, the coefficients of expansion that they were corrected with, where that was kept."""

    engine: EngineRecord
    today: str
    unit: str
    permitted: Mapping[str, Permitted]
    part: Mapping[int, str]
    readings: Mapping[int, tuple[Reading, ...]]
    bare: frozenset[int]
    gauges: Mapping[str, Gauge]
    sizes: Mapping[tuple[str, str], tuple[Reading, ...]]
    materials: Mapping[str, Mapping[str, Fraction]]


def built(shelf: Shelf, number: int) -> Built:
    """How one engine was built; raises RefusedError if there is none of this number."""
    with shelf.reading() as connection:
        engine = engine_on(connection, number)
        unit = engine.unit or connection.execute(select(JOBS.c.unit).where(JOBS.c.engine == number)).scalar()
        shells = [shell.number for position in engine.positions for shell in position.shells]
        gauges = _Gauges(connection)
        then = _then(connection, number, shells)
        readings = _readings(connection, {shell: one.turn for shell, one in then.items()}, gauges)
        return Built(
            engine,
            shelf.now()[:10],
            unit or "in",
            _permitted(connection, engine, shells),
            _parts(connection, shells),
            readings,
            frozenset(shell for shell, one in then.items() if one.measured == BARE),
            gauges.named,
            _sizes(connection, number, gauges),
            _materials(connection, number, shells),
        )


def _materials(connection: Connection, number: int, shells: Sequence[int]) -> dict[str, dict[str, Fraction]]:
    """By position, as when it was fitted last."""
    rows: list[RowMapping] = []
    for some in parts(shells):
        fitted = EVENTS.c.engine == number, EVENTS.c.action == "fitted", EVENTS.c.shell.in_(some)
        rows += connection.execute(select(EVENTS).where(*fitted)).mappings()
    rows.sort(key=lambda row: int(row["number"]))
    return {
        row["position"]: {what: Fraction(one) for what, one in told(row).get(MATERIALS, {}).items()} for row in rows
    }


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
        query = select(EVENTS).where(
            EVENTS.c.engine == engine.number, EVENTS.c.action.in_(("fitted", "assembled")), *some
        )
        rows = connection.execute(query.order_by(EVENTS.c.number)).mappings().all()
        outside = [row for row in rows if OUTSIDE in told(row).get("remarks", ())]
        notes = {_action(row): row["note"] for row in rows if row not in outside}
        for row in outside:
            note = told(row).get("noted") or notes.get(_action(row), engine.note if row["at"] == engine.at else "")
            found[row["position"]] = Permitted(row["at"], row["done_by"], note)
    return found


def _action(event: RowMapping) -> int:
    """The first event of the action that an event belongs to."""
    return int(told(event).get("first", event["number"]))


class _Then(NamedTuple):
    """Which of a shell's measurings counted, and how that was taken."""

    turn: int
    measured: str


def _then(connection: Connection, engine: int, shells: Sequence[int]) -> dict[int, _Then]:
    """By shell, as when it was fitted last: what the first event since then that changed it has kept, otherwise what
    counts now."""
    found: dict[int, _Then] = {}
    for some in parts(shells):
        now = select(SHELLS.c.number, SHELLS.c.turn, SHELLS.c.measured).where(SHELLS.c.number.in_(some))
        found |= {row.number: _Then(row.turn, row.measured) for row in connection.execute(now)}
        since = set(some)
        events = select(EVENTS).where(EVENTS.c.shell.in_(some)).order_by(EVENTS.c.number.desc())
        for row in connection.execute(events).mappings():
            if row["shell"] in since:
                kept = told(row).get("shell", {})
                found[row["shell"]] = _Then(
                    *(kept.get(name, was) for name, was in found[row["shell"]]._asdict().items())
                )
            if row["engine"] == engine and row["action"] == "fitted":
                since.discard(row["shell"])
    return found


def _readings(connection: Connection, turns: Mapping[int, int], gauges: "_Gauges") -> dict[int, tuple[Reading, ...]]:
    """By shell."""
    found: dict[int, list[Reading]] = {}
    for some in parts(turns):
        query = select(READINGS).where(READINGS.c.shell.in_(some)).order_by(READINGS.c.shell, READINGS.c.place)
        for row in connection.execute(query).mappings():
            if row["turn"] == turns[row["shell"]]:
                found.setdefault(row["shell"], []).append(_reading(row, gauges))
    return {shell: tuple(some) for shell, some in found.items()}


def _sizes(connection: Connection, engine: int, gauges: "_Gauges") -> dict[tuple[str, str], tuple[Reading, ...]]:
    found: dict[tuple[str, str], list[Reading]] = {}
    query = select(ENGINE_READINGS).where(ENGINE_READINGS.c.engine == engine).order_by(ENGINE_READINGS.c.place)
    for row in connection.execute(query).mappings():
        found.setdefault((row["position"], row["feature"]), []).append(_reading(row, gauges))
    return {where: tuple(some) for where, some in found.items()}


def _reading(row: RowMapping, gauges: "_Gauges") -> Reading:
    name = None if row["gauge"] is None else gauges.name(row["gauge"])
    return Reading(row["nm"], row["station"], row["angle"], name, row["confirmed"])


class _Gauges:
    """The gauges that readings were taken with, `named` as they are called; two of one name and of different figures by
    their numbers on the shelf."""

    def __init__(self, connection: Connection) -> None:
        self._connection = connection
        self._names: dict[int, str] = {}
        self.named: dict[str, Gauge] = {}

    def name(self, number: int) -> str:
        if number not in self._names:
            row = self._connection.execute(select(GAUGES).where(GAUGES.c.number == number)).mappings().one()
            name = row["name"] if row["name"] not in self.named else f"{row['name']} ({number})"
            self._names[number] = name
            self.named[name] = gauge_from(row["figures"])
        return self._names[number]
