"""Correcting a mistake: an event that restores what was before another, which stays in the history."""

import json

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError

from fitmatch.facts import Fact
from fitmatch.shelf.events import KEEPS, By, Change, Hold, change, events_numbered
from fitmatch.shelf.jobs import open_job
from fitmatch.shelf.records import Changed
from fitmatch.shelf.refusals import RefusedError
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import ENGINES, EVENTS, JOBS


def correct(shelf: Shelf, number: int, *, by: str = "", note: str = "") -> Changed:
    """Restore the state of a shell before an event; refused where a later event of that shell stands."""
    with shelf.writing() as connection:
        event = connection.execute(select(EVENTS).where(EVENTS.c.number == number)).mappings().first()
        if event is None:
            raise RefusedError(Fact("unknown-event", {"number": number}))
        if event["before"] is None:
            raise RefusedError(Fact("nothing-before", {"number": number, "shell": event["shell"]}))
        later = select(EVENTS.c.number).where(EVENTS.c.shell == event["shell"], EVENTS.c.number > number)
        last = connection.execute(later.order_by(EVENTS.c.number.desc())).scalar()
        if last is not None:
            raise RefusedError(Fact("later-event", {"number": number, "later": last}))
        before = json.loads(event["before"])
        held = before.get("hold")
        hold = KEEPS if "hold" not in before else held and Hold(**held)
        if hold is not None and hold.job is not None:
            job = connection.execute(select(JOBS).where(JOBS.c.number == hold.job)).mappings().one()
            other = open_job(connection, job["name"])
            if other is not None and other["number"] != job["number"]:
                raise RefusedError(Fact("two-jobs", {"job": job["name"], "folder": other["folder"]}))
        said = By(shelf.now(), "correct", job=event["job"], engine=event["engine"], by=by, note=note)
        wanted = Change(event["shell"], before["shell"], hold, corrects=number)
        try:
            events = change(connection, said, [wanted])
        except IntegrityError as error:  # another shell has taken its place
            slots = {"number": number, "position": held["position"] if held else ""}
            raise RefusedError(Fact("place-taken", slots)) from error
        if hold is not None and hold.engine is not None:
            standing = ENGINES.update().where(ENGINES.c.number == hold.engine).values(torn_down="")
            connection.execute(standing)
        return Changed(events_numbered(connection, events))
