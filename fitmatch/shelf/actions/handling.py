"""What happens to single shells and boxes: one is dropped, one is no longer on hold, some are moved, a box goes back to
its seller."""

from collections.abc import Sequence
from typing import Final

from sqlalchemy import Connection

from fitmatch.facts import Fact
from fitmatch.names import fault_in_text, says_nothing
from fitmatch.shelf.answers.shells import Changed, ShelfShell
from fitmatch.shelf.events import By, Change, change, events_numbered, note_boxes
from fitmatch.shelf.finding import box_named, named, records, sealed_named, shells_with
from fitmatch.shelf.jobs.holders import job_of
from fitmatch.shelf.refusals import RefusedError, refuse_if_any
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    BOXES,
    FITTED,
    FREE,
    SCRAPPED,
    SEALED,
    SENT_BACK,
    SET_ASIDE,
    SHELLS,
)

_GONE: Final = (FITTED, SENT_BACK)


def scrap(shelf: Shelf, name: str, reason: str, *, by: str = "") -> Changed:
    """Scrap a shell. One that is set aside leaves its position void until another plan is set aside."""
    reason = _reason(reason, "scrapped")
    with shelf.writing() as connection:
        (shell,) = named(connection, [name])
        if shell.state in (*_GONE, SCRAPPED):
            raise RefusedError(_as_it_is(shell))
        said = By(shelf.now(), "scrap", job=shell.job or "", by=by, note=reason)
        changes = [Change(shell.number, {"state": SCRAPPED, "reason": reason}, None)]
        return Changed(events_numbered(connection, change(connection, said, changes)), made_void(connection, [shell]))


def release(shelf: Shelf, name: str, reason: str, *, by: str = "") -> Changed:
    """Lift the hold of a shell, wherever it is: no file does that, as an older one would too."""
    reason = _reason("" if says_nothing(reason.strip()) else reason, "no longer on hold")
    with shelf.writing() as connection:
        (shell,) = named(connection, [name])
        if not shell.hold:
            raise RefusedError(Fact("not-on-hold", {"number": shell.number, "name": shell.label}))
        said = By(shelf.now(), "release", job=shell.job or "", by=by, note=reason)
        return Changed(events_numbered(connection, change(connection, said, [Change(shell.number, {"hold": ""})])))


def _reason(text: str, what: str) -> str:
    text = text.strip()
    if not text:
        raise RefusedError(Fact("no-reason", {"what": what}))
    _refuse_bad_text("reason", text)
    return text


def _refuse_bad_text(what: str, text: str) -> None:
    """What is typed is held to what files are held to: it ends up in tables as well."""
    if fault_in_text(text, what) is not None:
        raise RefusedError(Fact("bad-text", {"what": what, "text": text}))


def made_void(connection: Connection, shells: Sequence[ShelfShell]) -> tuple[Fact, ...]:
    """The positions that lack a shell if these, set aside until now, are gone."""
    return tuple(
        Fact("position-void", {"position": s.position, "half": s.side, "name": s.label} | job_of(connection, s))
        for s in shells
        if s.state == SET_ASIDE
    )


def move(shelf: Shelf, names: Sequence[str], location: str, *, by: str = "", note: str = "") -> Changed:
    """Record where shells, and boxes that are sealed, lie from now on."""
    location = location.strip()
    _refuse_bad_text("location", location)
    with shelf.writing() as connection:
        boxes = {name: box for name in names if (box := sealed_named(connection, name)) is not None}
        shells = named(connection, [name for name in names if name not in boxes])
        refuse_if_any(_as_it_is(shell) for shell in shells if shell.state in _GONE)
        said = By(shelf.now(), "move", by=by, note=note)
        changes = [
            Change(shell.number, {"location": location}, note=note or f"{shell.location} > {location}".strip())
            for shell in shells
            if shell.location != location
        ]
        events = change(connection, said, changes)
        for box in boxes.values():
            if box["location"] != location:
                connection.execute(BOXES.update().where(BOXES.c.number == box["number"]).values(location=location))
                told = said._replace(note=note or f"{box['location']} > {location}".strip())
                events += note_boxes(connection, told, [(box["number"], SEALED, SEALED)])
        return Changed(events_numbered(connection, events))


def send_back(shelf: Shelf, box: str, *, by: str = "", note: str = "") -> Changed:
    """Send a box back to its seller: sealed as it is, or what is free of an opened one."""
    with shelf.writing() as connection:
        row = box_named(connection, box)
        said = By(shelf.now(), "send-back", by=by, note=note)
        if row["state"] == SENT_BACK:
            raise RefusedError(Fact("box-gone", {"name": box}))
        shells = records(connection, shells_with(SHELLS.c.box == row["number"]))
        refuse_if_any(_as_it_is(shell) for shell in shells if shell.state in (FITTED, SET_ASIDE))
        free = [shell for shell in shells if shell.state == FREE]
        if not free and row["state"] != SEALED:
            raise RefusedError(Fact("nothing-free", {"name": box}))
        mine = BOXES.c.number == row["number"]
        connection.execute(BOXES.update().where(mine).values(state=SENT_BACK))
        events = note_boxes(connection, said, [(row["number"], row["state"], SENT_BACK)])
        events += change(connection, said, [Change(shell.number, {"state": SENT_BACK}, None) for shell in free])
        return Changed(events_numbered(connection, events))


def _as_it_is(shell: ShelfShell) -> Fact:
    slots = {"number": shell.number, "name": shell.label, "state": shell.state, "reason": shell.reason}
    return Fact("as-it-is", slots | {"job": shell.job, "engine": shell.engine, "position": shell.position})
