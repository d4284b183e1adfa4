"""Changes and their events: what changes a shell leaves an event behind, which is never edited, with all it takes to
undo it."""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, RowMapping, Table, and_, bindparam, func, or_, select

from fitmatch.shelf.answers.engines import Assembled
from fitmatch.shelf.answers.shells import Difference, Event
from fitmatch.shelf.store.schema import BOXES, ENGINE_SHELLS, ENGINES, EVENTS, HOLDS, JOBS, SHELLS, USED


class Hold(NamedTuple):
    """Who has a shell, and where: a job or an engine by its number."""

    job: int | None
    engine: int | None
    position: str
    half: str


_ASSEMBLED: Final = "assembled"
MATERIALS: Final = "materials"  # under which an event keeps coefficients of expansion
_READ: Final = ("assembled_nm", "calculated_nm", "verdict")  # what is told of a reading, the first of a new one
KEEPS: Final = Hold(None, None, "", "")  # stands for whoever has it


class By(NamedTuple):
    """What the events of one action have in common."""

    at: str
    action: str
    job: str = ""
    engine: int | None = None
    by: str = ""
    note: str = ""


class Change(NamedTuple):
    """What is to become of one shell: columns of `SHELLS` and their new values and, unless `hold` is KEEPS, who has it
    from now on. `remarks`: codes of what its event must say for ever; `kept`: what else it keeps."""

    shell: int
    values: Mapping[str, object]
    hold: Hold | None = KEEPS
    note: str | None = None
    corrects: int | None = None
    remarks: tuple[str, ...] = ()
    kept: Mapping[str, object] = {}


def next_number(connection: Connection, table: Table) -> int:
    """The number after the largest; only a writer may ask."""
    return int(connection.execute(select(func.coalesce(func.max(table.c.number), 0))).scalar_one()) + 1


def change(connection: Connection, by: By, changes: Iterable[Change], after: tuple[int, ...] = ()) -> tuple[int, ...]:
    """Make changes, the holds that end before those that begin, and add an event for each; returns the events' numbers,
    behind those of `after`, which the same action has made and which are corrected together with these.

    Nothing here asks whether a change is allowed: that is up to each action, and to the constraints of the tables.
    """
    wanted = list(changes)
    if not wanted:
        return after
    before = {c.shell: _state(connection, c.shell) for c in wanted}
    holds = {
        row["shell"]: Hold(row["job"], row["engine"], row["position"], row["half"])
        for c in wanted
        for row in _hold(connection, c.shell)
    }
    moved = [c for c in wanted if c.hold is not KEEPS and c.hold != holds.get(c.shell)]
    for c in moved:
        _release(connection, c.shell, holds.get(c.shell), ran=c.values.get("state") == USED)
    for c in moved:
        if c.hold is not None:
            _seize(connection, c.shell, c.hold)
    first = next_number(connection, EVENTS)
    rows = []
    for number, c in enumerate(wanted, first):
        old = before[c.shell]
        if c.values:
            connection.execute(SHELLS.update().where(SHELLS.c.number == c.shell).values(**c.values))
        undo: dict[str, Any] = {"shell": {name: old[name] for name in c.values}, "first": (*after, first)[0]}
        if c.remarks:
            undo["remarks"] = c.remarks
        undo |= c.kept
        if c.hold is not KEEPS:
            held = holds.get(c.shell)
            undo["hold"] = held and held._asdict()
        rows.append(
            _row(by, number)
            | {
                "shell": c.shell,
                "from_state": old["state"],
                "to_state": c.values.get("state", old["state"]),
                "note": by.note if c.note is None else c.note,
                "before": json.dumps(undo),
                "corrects": c.corrects,
                "position": _position(c, holds.get(c.shell)),
                "job": by.job or _job_name(connection, _held_by(c, holds.get(c.shell))),
            }
        )
    connection.execute(EVENTS.insert(), rows)
    return (*after, *range(first, first + len(rows)))


def _held_by(c: Change, held: Hold | None) -> Hold | None:
    """Who has the shell from now on, otherwise who had it."""
    return held if c.hold is None or c.hold is KEEPS else c.hold


def _position(c: Change, held: Hold | None) -> str:
    hold = _held_by(c, held)
    return "" if hold is None else hold.position


def _job_name(connection: Connection, hold: Hold | None) -> str:
    if hold is None:
        return ""
    of_job = select(JOBS.c.name).where(JOBS.c.number == hold.job)
    query = of_job if hold.engine is None else select(ENGINES.c.job).where(ENGINES.c.number == hold.engine)
    return str(connection.execute(query).scalar_one())


def _row(by: By, number: int) -> dict[str, Any]:
    return {
        "number": number,
        "at": by.at,
        "action": by.action,
        "job": by.job,
        "engine": by.engine,
        "done_by": by.by,
        "note": by.note,
    }


def note_new(connection: Connection, by: By, shells: Iterable[int], state: str) -> None:
    """An event for each shell that was not there before."""
    first = next_number(connection, EVENTS)
    same = _row(by, first)
    own = tuple(value for name, value in same.items() if name != "number")
    columns = (*(name for name in same if name != "number"), "number", "shell", "from_state", "to_state")
    insert_rows(connection, EVENTS, columns, [(*own, n, shell, "", state) for n, shell in enumerate(shells, first)])


def insert_rows(
    connection: Connection, table: Table, columns: Sequence[str], rows: Sequence[tuple[object, ...]]
) -> None:
    """Insert rows with values in the order of the columns: of a million, the library that builds the statement would
    otherwise look at every value by its name."""
    if not rows:
        return
    known = connection.dialect
    style = "format" if known.paramstyle == "pyformat" else known.paramstyle
    dialect = type(known)(paramstyle=style)  # type: ignore[call-arg]  # every dialect takes it
    compiled = table.insert().compile(dialect=dialect, column_keys=[*columns])
    place = [columns.index(name) for name in compiled.positiontup or ()]
    assert len(place) == len(columns)
    ordered = [*rows] if place == [*range(len(columns))] else [tuple([row[at] for at in place]) for row in rows]
    connection.exec_driver_sql(str(compiled), ordered)


def note_boxes(
    connection: Connection, by: By, boxes: Iterable[tuple[int, str, str]], corrects: int | None = None
) -> tuple[int, ...]:
    """An event for each box that changed: its number, its state before and after."""
    first = next_number(connection, EVENTS)
    rows = [
        _row(by, number) | {"box": box, "from_state": old, "to_state": new, "corrects": corrects}
        for number, (box, old, new) in enumerate(boxes, first)
    ]
    if rows:
        connection.execute(EVENTS.insert(), rows)
    return tuple(range(first, first + len(rows)))


def _state(connection: Connection, shell: int) -> RowMapping:
    return (
        connection.execute(select(SHELLS).where(SHELLS.c.number == bindparam("shell")), {"shell": shell})
        .mappings()
        .one()
    )


def _hold(connection: Connection, shell: int) -> Iterable[RowMapping]:
    return connection.execute(select(HOLDS).where(HOLDS.c.shell == bindparam("one")), {"one": shell}).mappings()


def _release(connection: Connection, shell: int, held: Hold | None, *, ran: bool) -> None:
    """`ran`: the engine ran on it; otherwise its record keeps the wall as one that was tried."""
    if held is None:
        return
    connection.execute(HOLDS.delete().where(HOLDS.c.shell == shell))
    if held.engine is not None and not ran:
        seat = ENGINE_SHELLS.c
        mine = ENGINE_SHELLS.update().where(seat.engine == held.engine, seat.shell == shell)
        connection.execute(mine.values(wall_tried_nm=seat.wall_nm, wall_nm=None))


def _seize(connection: Connection, shell: int, hold: Hold) -> None:
    connection.execute(HOLDS.insert().values(shell=shell, **hold._asdict()))
    if hold.engine is None:
        return
    seat = ENGINE_SHELLS.c
    same_place = and_(seat.position == hold.position, seat.half == hold.half, seat.shell != shell)
    was_tried = and_(seat.shell == shell, seat.wall_nm.is_(None))
    connection.execute(ENGINE_SHELLS.delete().where(seat.engine == hold.engine, or_(same_place, was_tried)))
    there = select(seat.shell).where(seat.engine == hold.engine, seat.shell == shell)
    if connection.execute(there).first() is None:
        wall = select(SHELLS.c.wall_nm).where(SHELLS.c.number == shell).scalar_subquery()
        where = {"engine": hold.engine, "position": hold.position, "half": hold.half}
        connection.execute(ENGINE_SHELLS.insert().values(shell=shell, wall_nm=wall, **where))


def shared(row: RowMapping, record: type[NamedTuple]) -> dict[str, Any]:
    """What a record has of a row under the same names."""
    return {name: row[name] for name in record._fields if name in row}


def told(event: RowMapping) -> dict[str, Any]:
    """What an event keeps: columns of the shell and who had it before, the first event of its action, and remarks."""
    return {} if event["before"] is None else dict(json.loads(event["before"]))


def events_where(connection: Connection, *conditions: Any) -> tuple[Event, ...]:
    """Events as records, oldest first."""
    of_shell = BOXES.alias("of_shell")
    query = (
        select(EVENTS, SHELLS.c.name.label("name"), of_shell.c.name.label("in_box"), BOXES.c.name.label("box_name"))
        .outerjoin(SHELLS, SHELLS.c.number == EVENTS.c.shell)
        .outerjoin(of_shell, of_shell.c.number == SHELLS.c.box)
        .outerjoin(BOXES, BOXES.c.number == EVENTS.c.box)
        .where(*conditions)
        .order_by(EVENTS.c.number)
    )
    return tuple(
        Event(
            **shared(row, Event),
            label=row["box_name"] if row["shell"] is None else f"{row['in_box']}/{row['name']}",
            by=row["done_by"],
            remarks=tuple(told(row).get("remarks", ())),
            changes=_read_with_shells_in(row),
        )
        for row in connection.execute(query).mappings()
    )


def kept_readings(was: Iterable[Assembled], now: Iterable[Assembled]) -> dict[str, object]:
    """What an event keeps of readings with the shells in: those on record before it and after it."""
    return {_ASSEMBLED: {"was": [one._asdict() for one in was], "now": [one._asdict() for one in now]}}


def readings_told(event: RowMapping, when: str) -> tuple[Assembled, ...] | None:
    """Those that an event keeps, `was` or `now`; None: it is not about any."""
    kept = told(event).get(_ASSEMBLED)
    return None if kept is None else tuple(map(_assembled, kept[when]))


def _assembled(kept: Mapping[str, Any]) -> Assembled:
    lists = {name: tuple(value) for name, value in kept.items() if isinstance(value, list)}
    return Assembled(**{**kept, **lists})


def _read_with_shells_in(event: RowMapping) -> tuple[Difference, ...]:
    was, now = readings_told(event, "was"), readings_told(event, "now")
    if was is None or now is None:
        return ()
    old, new = ({one.method: one._asdict() for one in some} for some in (was, now))
    return tuple(
        Difference(what, old.get(method, {}).get(what), new.get(method, {}).get(what))
        for method in {**old, **new}
        for what in _READ[: 3 if method in old and method in new else 1]
        if old.get(method, {}).get(what) != new.get(method, {}).get(what)
    )


def events_numbered(connection: Connection, numbers: Iterable[int]) -> tuple[Event, ...]:
    """The events of consecutive numbers."""
    wanted = list(numbers)
    return events_where(connection, EVENTS.c.number.between(wanted[0], wanted[-1])) if wanted else ()
