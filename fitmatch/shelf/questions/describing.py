"""What the shelf says of a shell beside its readings: how that changed, whether a plan still holds, and who is to be
told."""

import json
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, RowMapping, select

from fitmatch.facts import Fact
from fitmatch.records.shelf.shelved import DESCRIBING, digest_of_description
from fitmatch.shelf.answers.shells import Difference
from fitmatch.shelf.events import told
from fitmatch.shelf.finding import numbered
from fitmatch.shelf.jobs.holders import HeldFor, job_of, where_it_is
from fitmatch.shelf.jobs.planned import Planned, PlannedPosition
from fitmatch.shelf.store.schema import BOXES, EVENTS, FITTED, SET_ASIDE, SHELLS

UNTOLD: Final = ("state", "reason", "turn", "trial_fits", "ran_in", "undersize_nm", "step_nm")  # or told otherwise
_NO_PLAN_RESTS_ON: Final = (*UNTOLD, "hold", "note", "location")


class Written(NamedTuple):
    """A shell as it was, and what was written of it."""

    row: RowMapping
    values: Mapping[str, object]

    @property
    def shell(self) -> int:
        return int(self.row["number"])

    @property
    def differences(self) -> tuple[Difference, ...]:
        """In which columns it is now otherwise."""
        return differences({name: self.row[name] for name in self.values}, self.values)


def differences(before: Mapping[str, Any], after: Mapping[str, Any]) -> tuple[Difference, ...]:
    """In which columns two states of a shell differ, further columns each by itself. `after` has at least the columns
    of `before`."""
    found = list[Difference]()
    for name, old in before.items():
        if name == "marks":
            marks = json.loads(old or "{}"), json.loads(after[name] or "{}")
            found += [
                Difference(c, marks[0].get(c, ""), marks[1].get(c, "")) for c in dict.fromkeys((*marks[0], *marks[1]))
            ]
        else:
            found.append(Difference(name, old, after[name]))
    return tuple(one for one in found if one.before != one.after)


def relied_upon(connection: Connection, written: Sequence[Written] = (), on_hold: Sequence[int] = ()) -> Iterable[Fact]:
    """What changed of shells that somebody relies on, those set aside for a job or fitted in an engine, and which of
    them, and of those `on_hold`, are on hold now."""
    relied = {one.shell: one for one in written if one.row["state"] in (SET_ASIDE, FITTED)}
    for shell in numbered(connection, (*relied, *on_hold)):
        if shell.state not in (SET_ASIDE, FITTED):
            continue
        one = relied.get(shell.number)
        slots: dict[str, object] = {"number": shell.number, "name": shell.label, "position": shell.position}
        aside = shell.state == SET_ASIDE
        slots |= job_of(connection, shell) if aside else {"engine": shell.engine}
        changes = tuple(c for c in (one.differences if one else ()) if c.what not in _NO_PLAN_RESTS_ON)
        if shell.hold:
            slots["hold"] = shell.hold
            yield Fact("void-on-hold", slots) if aside else Fact("fitted-on-hold", slots)
        if changes:
            slots["changes"] = changes
            yield Fact("void-described", slots) if aside else Fact("fitted-described", slots)


def faults_of_plan(connection: Connection, planned: Planned, numbers: Mapping[tuple[str, str], int]) -> Iterable[Fact]:
    """What the shelf says against a plan: shells on hold, and shells of which it says otherwise than the plan was made
    for. `numbers`: the shells by position and half."""
    of_name = {one.position: one for one in planned.positions}
    again: dict[str, object] = {"job": planned.name, **where_it_is(planned.folder, HeldFor(connection))}
    for (position, half), number in numbers.items():
        query = select(SHELLS, BOXES.c.name.label("in_box")).join(BOXES, BOXES.c.number == SHELLS.c.box)
        row = connection.execute(query.where(SHELLS.c.number == number)).mappings().one()
        label = f"{row['in_box']}/{row['name']}"
        slots = again | {"position": position, "half": half, "number": number, "name": label}
        if row["hold"]:
            yield Fact("void-on-hold", slots | {"hold": row["hold"]})
        if changes := _since_planned(connection, planned, of_name[position], half, row):
            yield Fact("void-described", slots | {"changes": changes})


def _since_planned(
    connection: Connection, planned: Planned, position: PlannedPosition, half: str, row: RowMapping
) -> tuple[Difference, ...]:
    now = {name: row[name] for name in (*DESCRIBING, "marks")}
    wanted = position.described.get(half)
    if wanted is None:
        own = planned.cells.get(position.shells[half], {})
        cells = json.loads(row["marks"]) | {name: row[name] for name in DESCRIBING}
        there = {name: str(cells.get(name, "")).strip() for name in own}
        return tuple(
            Difference(name, own[name], text) for name, text in there.items() if text and text.casefold() != own[name]
        )
    query = select(EVENTS).where(EVENTS.c.shell == row["number"]).order_by(EVENTS.c.number.desc())
    then = dict(now)
    events = iter(connection.execute(query).mappings())
    while digest_of_description(then, json.loads(then["marks"])) != wanted:
        event = next(events, None)
        if event is None:
            return (Difference("description", "", ""),)
        then |= {name: old for name, old in told(event).get("shell", {}).items() if name in now}
    return differences(then, now)
