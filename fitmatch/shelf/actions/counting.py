"""Stock-taking: what lies there against the records."""

from collections.abc import Sequence
from typing import Final

from fitmatch.facts import Fact
from fitmatch.shelf.actions.handling import made_void
from fitmatch.shelf.answers.shells import Changed
from fitmatch.shelf.events import By, Change, change, events_numbered
from fitmatch.shelf.finding import named, records, shells_with
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import FREE, MISSING, SET_ASIDE, SHELLS, USED

_EXPECTED: Final = (FREE, SET_ASIDE, USED)


def count(shelf: Shelf, names: Sequence[str], *, location: str | None = None, by: str = "", note: str = "") -> Changed:
    """Shells that ought to lie on the shelf, or at a location, and are not among `names` become missing; those that
    were missing and lie there are found again."""
    with shelf.writing() as connection:
        there = {shell.number: shell for shell in named(connection, names)} if names else {}
        here = () if location is None else (SHELLS.c.location == location,)
        expected = records(connection, shells_with(SHELLS.c.state.in_(_EXPECTED), *here))
        said = By(shelf.now(), "count", by=by, note=note)
        gone = [shell for shell in expected if shell.number not in there]
        found = [shell for shell in there.values() if shell.state == MISSING]
        events = change(connection, said, [Change(shell.number, {"state": MISSING}, None) for shell in gone])
        back = [Change(s.number, {"state": FREE if s.engine is None else USED}) for s in found]
        events = change(connection, said, back, after=events)
        odd = [shell for shell in there.values() if shell.state not in (*_EXPECTED, MISSING)]
        attention = [Fact("missing", {"number": s.number, "name": s.label}) for s in gone]
        attention += [Fact("found", {"number": s.number, "name": s.label}) for s in found]
        attention += [Fact("not-expected", {"number": s.number, "name": s.label, "state": s.state}) for s in odd]
        attention += [
            Fact("lies-elsewhere", {"number": s.number, "name": s.label, "location": s.location})
            for s in there.values()
            if location is not None and s.location != location
        ]
        return Changed(events_numbered(connection, events), (*attention, *made_void(connection, gone)))
