"""What the shelf says of a shell beside its readings: how that changed, and whether a plan still holds."""

import json
from collections.abc import Iterable, Mapping
from typing import Any

from sqlalchemy import Connection, RowMapping, select

from fitmatch.facts import Fact
from fitmatch.records.shelf.shelved import DESCRIBING, digest_of_description
from fitmatch.shelf.answers.shells import Difference
from fitmatch.shelf.events import told
from fitmatch.shelf.jobs.holders import where_it_is
from fitmatch.shelf.jobs.planned import Planned, PlannedPosition
from fitmatch.shelf.store.schema import BOXES, EVENTS, SHELLS


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


def faults_of_plan(connection: Connection, planned: Planned, numbers: Mapping[tuple[str, str], int]) -> Iterable[Fact]:
    """What the shelf says against a plan: shells on hold, and shells of which it says otherwise than the plan was made
    for. `numbers`: the shells by position and half."""
    of_name = {one.position: one for one in planned.positions}
    again: dict[str, object] = {"job": planned.name, **where_it_is(planned.folder)}
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
