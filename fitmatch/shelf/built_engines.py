"""The engines that were built from the shelf, with what is in them and what has left them."""

import json
from collections import defaultdict
from collections.abc import Mapping
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Connection,
    RowMapping,
    and_,
    or_,
    select,
)

from fitmatch.facts import Fact
from fitmatch.shelf.answers.engines import TEARDOWN, Assembled, EnginePosition, EngineRecord, Engines, EngineShell
from fitmatch.shelf.answers.shells import IN_DOUBT
from fitmatch.shelf.events import readings_told, shared, told
from fitmatch.shelf.finding import may_exist
from fitmatch.shelf.refusals import RefusedError
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    BOXES,
    ENGINE_POSITIONS,
    ENGINE_SHELLS,
    ENGINES,
    EVENTS,
    FITTED,
    HOLDS,
    SHELLS,
)


def engines(shelf: Shelf) -> Engines:
    """All engines that were ever built, oldest first."""
    with shelf.reading() as connection:
        return Engines(tuple(_engines(connection)))


def engine(shelf: Shelf, number: int) -> EngineRecord:
    """One engine; raises RefusedError if there is none of this number."""
    with shelf.reading() as connection:
        return engine_on(connection, number)


def engine_on(connection: Connection, number: int) -> EngineRecord:
    """The same, for whoever reads more at the same moment."""
    found = _engines(connection, ENGINES.c.number == number) if may_exist(number) else ()
    if not found:
        raise RefusedError(Fact("unknown-engine", {"number": number}))
    return found[0]


def standing(shelf: Shelf, number: int) -> Mapping[str, str]:
    """The positions of an engine that have shells, with the kind of each; raises RefusedError if there are none."""
    found = {p.position: p.kind for p in engine(shelf, number).positions if not p.left}
    if not found:
        raise RefusedError(Fact("nothing-fitted", {"number": number}))
    return found


def _engines(connection: Connection, *conditions: ColumnElement[bool]) -> list[EngineRecord]:
    numbers = select(ENGINES.c.number).where(*conditions)
    seats, passages = _seats(connection, numbers), _Passages(connection, numbers)
    query = select(ENGINE_POSITIONS).where(ENGINE_POSITIONS.c.engine.in_(numbers)).order_by(ENGINE_POSITIONS.c.place)
    positions = defaultdict[int, list[EnginePosition]](list)
    for row in connection.execute(query).mappings():
        where = row["engine"], row["position"]
        left, left_at = passages.left(where)
        shells = [s if not left else s._replace(hold="") for s in seats.get(where, [])]
        own = shared(row, EnginePosition)
        own |= {"in_doubt": where in passages.in_doubt, "left": left, "left_at": left_at}
        own |= {"judged": passages.judged(where), "readings": passages.readings.get(where, ())}
        positions[row["engine"]].append(EnginePosition(shells=tuple(shells), **own))
    rows = connection.execute(select(ENGINES).where(*conditions).order_by(ENGINES.c.number)).mappings()
    found = []
    for row in rows:
        own = shared(row, EngineRecord) | {"by": row["done_by"], "positions": tuple(positions[row["number"]])}
        own |= {"names": tuple(json.loads(row["names"])), "record": json.loads(row["record"])}
        torn_down_by, torn_down_note = passages.teardown(row)
        found.append(EngineRecord(torn_down_by=torn_down_by, torn_down_note=torn_down_note, **own))
    return found


class _Passages:
    """How the shells of engines came into their positions and left them, as their events tell."""

    def __init__(self, connection: Connection, numbers: Any) -> None:
        held = select(HOLDS.c.engine, HOLDS.c.position).where(HOLDS.c.engine.in_(numbers))
        self._standing = {(engine, position) for engine, position in connection.execute(held)}
        self._last: dict[tuple[int, str], RowMapping] = {}
        self._wear = defaultdict[tuple[int, str], dict[str, Any]](dict)
        self._taken_down: dict[int, RowMapping] = {}
        self.in_doubt = set[tuple[int, str]]()
        self.readings = dict[tuple[int, str], tuple[Assembled, ...]]()
        passing = (EVENTS.c.from_state == FITTED) != (EVENTS.c.to_state == FITTED)
        query = (
            select(EVENTS)
            .join(
                ENGINE_SHELLS, and_(ENGINE_SHELLS.c.shell == EVENTS.c.shell, ENGINE_SHELLS.c.engine == EVENTS.c.engine)
            )
            .where(ENGINE_SHELLS.c.engine.in_(numbers), or_(passing, EVENTS.c.action.in_(("assembled", "correct"))))
            .order_by(EVENTS.c.number)
        )
        for row in connection.execute(query).mappings():
            where = row["engine"], row["position"]
            if row["action"] == "fitted" or readings_told(row, "now") is not None:
                self.readings[where] = readings_told(row, "now") or ()
            if row["from_state"] == row["to_state"]:
                continue
            if row["from_state"] == FITTED:
                self._last[where] = row
                self._wear[where] |= told(row).get("wear", {})
                if row["action"] == TEARDOWN:
                    self._taken_down[row["engine"]] = row
            elif row["action"] == "fitted":
                self.in_doubt.discard(where)
                if IN_DOUBT in told(row).get("remarks", ()):
                    self.in_doubt.add(where)

    def judged(self, where: tuple[int, str]) -> Mapping[str, tuple[tuple[str, ...], tuple[str, ...]]]:
        """What was wrong with the wear of each part when the position was taken down, and what was missing for it."""
        if self.left(where)[0] != TEARDOWN:
            return {}
        parts = self._wear[where].items()
        return {part: (tuple(one["codes"]), tuple(one["missing"])) for part, one in parts}

    def teardown(self, engine: RowMapping) -> tuple[str, str]:
        """Who has taken an engine down, and what was noted then; empty while it stands."""
        row = self._taken_down.get(engine["number"]) if engine["torn_down"] else None
        return ("", "") if row is None else (row["done_by"], row["note"])

    def left(self, where: tuple[int, str]) -> tuple[str, str]:
        """How the shells of a position have left it, and when; empty while they are in it."""
        last = self._last.get(where)
        if where in self._standing or last is None:
            return "", ""
        if "ran_in" in told(last)["shell"]:
            return TEARDOWN, last["at"]
        return "never-run" if last["action"] == TEARDOWN else last["action"], last["at"]


def _seats(connection: Connection, numbers: Any) -> Mapping[tuple[int, str], list[EngineShell]]:
    query = (
        select(ENGINE_SHELLS, BOXES.c.name.label("box"), SHELLS.c.name, SHELLS.c.state, SHELLS.c.hold)
        .join(SHELLS, SHELLS.c.number == ENGINE_SHELLS.c.shell)
        .join(BOXES, BOXES.c.number == SHELLS.c.box)
        .where(ENGINE_SHELLS.c.engine.in_(numbers))
        .order_by(ENGINE_SHELLS.c.engine, ENGINE_SHELLS.c.position, ENGINE_SHELLS.c.half.desc())
    )
    found = defaultdict[tuple[int, str], list[EngineShell]](list)
    for row in connection.execute(query).mappings():
        label = f"{row['box']}/{row['name']}"
        walls = row["wall_nm"] or row["wall_tried_nm"], row["wall_after_nm"], row["wall_wear_u_nm"]
        left = row["state"], row["wall_nm"] is None, row["hold"]
        shell = EngineShell(row["half"], row["shell"], label, *walls, *left)
        found[row["engine"], row["position"]].append(shell)
    return found
