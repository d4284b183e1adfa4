"""Correcting a mistake: events that restore what was before those of another action, which stay in the history."""

from collections.abc import Iterable

from sqlalchemy import Connection, RowMapping, func, select
from sqlalchemy.exc import IntegrityError

from fitmatch.facts import Fact
from fitmatch.names import says_nothing
from fitmatch.shelf.answers.engines import TEARDOWN
from fitmatch.shelf.answers.shells import Changed
from fitmatch.shelf.events import (
    KEEPS,
    By,
    Change,
    Hold,
    change,
    events_numbered,
    kept_readings,
    note_boxes,
    readings_told,
    told,
)
from fitmatch.shelf.finding import may_exist
from fitmatch.shelf.jobs.holders import open_job
from fitmatch.shelf.questions.describing import UNTOLD, Written, relied_upon
from fitmatch.shelf.refusals import RefusedError, refuse_if_any
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import BOXES, ENGINE_POSITIONS, ENGINES, EVENTS, JOBS, SENT_BACK, SHELLS


def correct(shelf: Shelf, number: int, *, by: str = "", note: str = "") -> Changed:
    """Restore what was before the action that an event is of, for all of its shells: half of a pair, or some shells of
    an engine, are no state that anybody has seen. Refused where a later event of any of these shells stands, and where
    it lifts a hold and no note says why."""
    with shelf.writing() as connection:
        event = _event(connection, number) if may_exist(number) else None
        if event is None:
            raise RefusedError(Fact("unknown-event", {"number": number}))
        returned = _returned(connection, event)
        if event["before"] is None and returned is None:
            raise RefusedError(Fact("nothing-before", {"number": number, "shell": event["shell"]}))
        action = _of_one_action(connection, event)
        refuse_if_any(_later(connection, action))
        refuse_if_any([] if returned is None else _later_of_box(connection, returned))
        said = By(shelf.now(), "correct", job=event["job"], engine=event["engine"], by=by, note=note)
        wanted = [_undone(one) for one in action]
        written = [Written(_row(connection, one.shell), one.values) for one in wanted]
        refuse_if_any(() if note.strip() and not says_nothing(note.strip()) else _lifted(written, number))
        holds = [one.hold for one in wanted if one.hold is not None and one.hold is not KEEPS]
        _refuse_two_jobs(connection, holds)
        try:
            back = () if returned is None else _box_back(connection, said, returned)
            events = (*back, *change(connection, said, wanted))
        except IntegrityError as error:  # another shell has taken its place
            slots = {"number": number, "position": event["position"]}
            raise RefusedError(Fact("place-taken", slots)) from error
        _write_what_was_read(connection, action)
        _write_whether_it_stands(connection, event, holds)
        changes = {one.shell: tuple(c for c in one.differences if c.what not in UNTOLD) for one in written}
        made = events_numbered(connection, events)
        made = tuple(e._replace(changes=(*e.changes, *changes.get(e.shell or 0, ()))) for e in made)
        return Changed(made, tuple(relied_upon(connection, on_hold=[one.shell for one in wanted])))


def _row(connection: Connection, shell: int) -> RowMapping:
    query = select(SHELLS, BOXES.c.name.label("in_box")).join(BOXES, BOXES.c.number == SHELLS.c.box)
    return connection.execute(query.where(SHELLS.c.number == shell)).mappings().one()


def _lifted(written: Iterable[Written], event: int) -> Iterable[Fact]:
    """The holds that end."""
    for one in written:
        if (hold := one.row["hold"]) and one.values.get("hold", hold) == "":
            name = f"{one.row['in_box']}/{one.row['name']}"
            yield Fact("lifts-hold", {"event": event, "number": one.shell, "name": name, "hold": hold})


def _event(connection: Connection, number: int) -> RowMapping | None:
    return connection.execute(select(EVENTS).where(EVENTS.c.number == number)).mappings().first()


def _of_one_action(connection: Connection, event: RowMapping) -> list[RowMapping]:
    """The events of the action that this one is of; an earlier version kept nothing that tells the others."""
    first = event["number"] + 1 if event["shell"] is None else told(event).get("first")
    if first is None:
        return [event]
    query = select(EVENTS).where(EVENTS.c.number >= first, EVENTS.c.at == event["at"], EVENTS.c.before.is_not(None))
    rows = connection.execute(query.order_by(EVENTS.c.number)).mappings()
    return [row for row in rows if told(row).get("first") == first]


def _returned(connection: Connection, event: RowMapping) -> RowMapping | None:
    """The event of the box, right before those of its shells, where the action sent it back or corrected that."""
    found: RowMapping | None = event
    if event["shell"] is not None:
        found = _event(connection, told(event).get("first", 0) - 1)
        of_shell = select(SHELLS.c.box).where(SHELLS.c.number == event["shell"])
        same = found is not None and (found["at"], found["action"]) == (event["at"], event["action"])
        if found is None or not same or found["box"] != connection.execute(of_shell).scalar():
            return None
    return found if found is not None and SENT_BACK in (found["from_state"], found["to_state"]) else None


def _box_back(connection: Connection, said: By, returned: RowMapping) -> tuple[int, ...]:
    was, now = returned["from_state"], returned["to_state"]
    connection.execute(BOXES.update().where(BOXES.c.number == returned["box"]).values(state=was))
    return note_boxes(connection, said, [(returned["box"], now, was)], corrects=returned["number"])


def _later_of_box(connection: Connection, returned: RowMapping) -> Iterable[Fact]:
    later = select(func.max(EVENTS.c.number)).where(
        EVENTS.c.box == returned["box"], EVENTS.c.number > returned["number"]
    )
    if (last := connection.execute(later).scalar()) is not None:
        yield Fact("later-event", {"number": returned["number"], "later": last})


def _later(connection: Connection, action: Iterable[RowMapping]) -> Iterable[Fact]:
    for row in action:
        later = select(EVENTS.c.number).where(EVENTS.c.shell == row["shell"], EVENTS.c.number > row["number"])
        last = connection.execute(later.order_by(EVENTS.c.number.desc())).scalar()
        if last is not None:
            yield Fact("later-event", {"number": row["number"], "later": last})


def _undone(event: RowMapping) -> Change:
    before = told(event)
    held = before.get("hold")
    hold = KEEPS if "hold" not in before else held and Hold(**held)
    was, now = readings_told(event, "was"), readings_told(event, "now")
    kept = {} if was is None or now is None or hold is not KEEPS else kept_readings(now, was)
    return Change(event["shell"], before["shell"], hold, corrects=event["number"], kept=kept)


def _write_what_was_read(connection: Connection, action: Iterable[RowMapping]) -> None:
    """The clearance that was on record before, of positions whose readings alone are corrected."""
    for row in action:
        was = readings_told(row, "was")
        if was is not None and "hold" not in told(row):
            here = (ENGINE_POSITIONS.c.engine == row["engine"]) & (ENGINE_POSITIONS.c.position == row["position"])
            before = was[0].assembled_nm if was else None
            connection.execute(ENGINE_POSITIONS.update().where(here).values(assembled_nm=before))


def _refuse_two_jobs(connection: Connection, holds: Iterable[Hold]) -> None:
    for number in {hold.job for hold in holds if hold.job is not None}:
        job = connection.execute(select(JOBS).where(JOBS.c.number == number)).mappings().one()
        other = open_job(connection, job["name"])
        if other is not None and other["number"] != job["number"]:
            raise RefusedError(Fact("two-jobs", {"job": job["name"], "folder": other["folder"]}))


def _write_whether_it_stands(connection: Connection, event: RowMapping, holds: Iterable[Hold]) -> None:
    """An engine whose shells are back in it stands again; where that was a mistake it is taken down as it was."""
    mine = ENGINES.c.number == event["engine"]
    if any(hold.engine is not None for hold in holds):
        connection.execute(ENGINES.update().where(mine).values(torn_down=""))
        return
    root = event
    while root["corrects"] is not None and (before := _event(connection, root["corrects"])) is not None:
        root = before
    if root["action"] == TEARDOWN:
        connection.execute(ENGINES.update().where(mine).values(torn_down=root["at"]))
