"""Looking at the shelf: what lies there, what happened to a shell, which engines were built."""

import json
from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any, Final, NamedTuple

from sqlalchemy import (
    ColumnElement,
    Connection,
    Integer,
    RowMapping,
    Table,
    and_,
    case,
    cast,
    exists,
    func,
    or_,
    select,
)

from fitmatch.facts import Fact
from fitmatch.shelf.answers.engines import TEARDOWN, Assembled, EnginePosition, EngineRecord, Engines, EngineShell
from fitmatch.shelf.answers.shells import IN_DOUBT, Difference, History, ShelfBox, Shown, Tally
from fitmatch.shelf.describing import UNTOLD, differences
from fitmatch.shelf.events import events_where, readings_told, told
from fitmatch.shelf.finding import may_exist, named, records, shells_with, single
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
    SEALED,
    SENT_BACK,
    SHELLS,
)

GROUPS: Final = ("family", "kind", "half", "grade", "step", "wall", "box", "age", "location", "state")
_WRITES: Final = ("described", "remeasured", "release", "correct")
_BAND_NM: Final = 2_540  # walls that are grouped together: 0.0001 in


class Filters(NamedTuple):
    """What shells must be, all of it; None asks for nothing. `step`: as printed, whether as
    undersize or as step; `step_nm`: the same as a length."""

    family: str | None = None
    kind: str | None = None
    half: str | None = None
    grade: str | None = None
    step: str | None = None
    step_nm: int | None = None
    box: str | None = None
    location: str | None = None
    state: str | None = None
    wall_nm: tuple[int, int] | None = None  # both ends included
    single: bool = False
    older_than_days: int | None = None


EVERYTHING: Final = Filters()


def show(shelf: Shelf, filters: Filters = EVERYTHING, *, by: Sequence[str] = ()) -> Shown:
    """The shells that agree with the filters or, with `by`, how many are alike in some of `GROUPS`; and boxes that are
    still sealed, or went back so, where nothing is asked that only opened ones can tell."""
    conditions = _conditions(shelf, filters)
    with shelf.reading() as connection:
        sealed = _sealed(connection, filters)
        undated = None if filters.older_than_days is None else _undated(connection, shelf, filters)
        if by:
            return Shown((), sealed, _tallies(connection, conditions, by), undated)
        found = records(connection, shells_with(*conditions))
        in_all = 0 if found else connection.execute(select(func.count()).select_from(SHELLS)).scalar_one()
        return Shown(found, sealed, undated=undated, in_all=in_all)


def _undated(connection: Connection, shelf: Shelf, filters: Filters) -> tuple[int, int]:
    """The shells that agree but for their age, and their boxes: nobody wrote down when these were opened."""
    conditions = _conditions(shelf, filters._replace(older_than_days=None))
    query = (
        select(func.count(), func.count(SHELLS.c.box.distinct()))
        .join(BOXES, BOXES.c.number == SHELLS.c.box)
        .where(BOXES.c.opened == "", *conditions)
    )
    shells, boxes = connection.execute(query).one()
    return shells, boxes


def _conditions(shelf: Shelf, filters: Filters) -> list[ColumnElement[bool]]:
    found: list[ColumnElement[bool]] = [
        SHELLS.c[name] == value
        for name in ("family", "kind", "half", "grade", "location", "state")
        if (value := getattr(filters, name)) is not None
    ]
    found += _of_size(SHELLS, filters)
    if filters.box is not None:
        found.append(BOXES.c.name == filters.box)
    if filters.wall_nm is not None:
        found.append(SHELLS.c.wall_nm.between(*filters.wall_nm))
    if filters.single:
        found.append(single())
    if filters.older_than_days is not None:
        last = shelf.clock().date() - timedelta(days=filters.older_than_days)
        found += [BOXES.c.opened != "", BOXES.c.opened < last.isoformat()]
    return found


def _of_size(table: Table, filters: Filters) -> list[ColumnElement[bool]]:
    """The same size is printed as undersize or as step, and what is standard in one may not be so in the other."""
    if filters.step is None:
        return []
    texts, lengths = (table.c.step, table.c.undersize), (table.c.step_nm, table.c.undersize_nm)
    if filters.step_nm == 0:
        return [or_(*(nm == 0 for nm in lengths)), *(func.coalesce(nm, 0) == 0 for nm in lengths)]
    same = [text == filters.step for text in texts]
    same += [nm == filters.step_nm for nm in lengths if filters.step_nm is not None]
    return [or_(*same)]


def _sealed(connection: Connection, filters: Filters) -> tuple[ShelfBox, ...]:
    of_shells = (filters.half, filters.grade, filters.wall_nm, filters.older_than_days)
    if filters.single or filters.state not in (None, SENT_BACK) or any(value is not None for value in of_shells):
        return ()
    query = select(BOXES).where(BOXES.c.state == (filters.state or SEALED)).order_by(BOXES.c.number)
    if filters.state:  # those of which shells are known are shown by these
        query = query.where(~exists().where(SHELLS.c.box == BOXES.c.number))
    for name in ("family", "kind", "location"):
        if (value := getattr(filters, name)) is not None:
            query = query.where(BOXES.c[name] == value)
    if filters.box is not None:
        query = query.where(BOXES.c.name == filters.box)
    query = query.where(*_of_size(BOXES, filters))
    return tuple(
        ShelfBox(**{name: row[name] for name in ShelfBox._fields}) for row in connection.execute(query).mappings()
    )


def _tallies(connection: Connection, conditions: Sequence[ColumnElement[bool]], by: Sequence[str]) -> tuple[Tally, ...]:
    special: dict[str, ColumnElement[Any]] = {
        "wall": cast(SHELLS.c.wall_nm - SHELLS.c.wall_nm % _BAND_NM, Integer),
        "box": BOXES.c.name,
        "step": func.trim(SHELLS.c.undersize + " " + SHELLS.c.step),
        "age": func.substr(BOXES.c.opened, 1, 7),
    }
    keys = [special[name] if name in special else SHELLS.c[name] for name in by]
    query = (
        select(
            *(key.label(f"key_{at}") for at, key in enumerate(keys)),
            func.count().label("shells"),
            func.sum(cast(case((single(), 1), else_=0), Integer)).label("singles"),
            func.min(SHELLS.c.wall_nm).label("thinnest"),
            func.max(SHELLS.c.wall_nm).label("thickest"),
        )
        .join(BOXES, BOXES.c.number == SHELLS.c.box)
        .where(*conditions)
        .group_by(*keys)
        .order_by(*keys)
    )
    found = []
    for *alike, shells, singles, thinnest, thickest in connection.execute(query):
        words = ("" if value is None else str(value) for value in alike)
        found.append(Tally(dict(zip(by, words, strict=True)), shells, int(singles), thinnest, thickest))
    return tuple(found)


def history(shelf: Shelf, name: str) -> History:
    """All that happened to a shell, oldest first."""
    with shelf.reading() as connection:
        (shell,) = named(connection, [name])
        events = events_where(connection, EVENTS.c.shell == shell.number)
        written = _written(connection, shell.number)
        return History(
            shell, tuple(event._replace(changes=(*event.changes, *written.get(event.number, ()))) for event in events)
        )


def _written(connection: Connection, shell: int) -> Mapping[int, tuple[Difference, ...]]:
    """What events wrote of a shell: each keeps what it found, and the next one, or today, tells what it left."""
    row = connection.execute(select(SHELLS).where(SHELLS.c.number == shell)).mappings().one()
    now, found = dict(row), dict[int, tuple[Difference, ...]]()
    query = select(EVENTS).where(EVENTS.c.shell == shell).order_by(EVENTS.c.number.desc())
    for event in connection.execute(query).mappings():
        old = {name: value for name, value in told(event).get("shell", {}).items() if name in now}
        if event["action"] in _WRITES:
            found[event["number"]] = tuple(c for c in differences(old, now) if c.what not in UNTOLD)
        now |= old
    return found


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
        own = {name: row[name] for name in EnginePosition._fields if name in row}
        own |= {"in_doubt": where in passages.in_doubt, "left": left, "left_at": left_at}
        own |= {"judged": passages.judged(where), "readings": passages.readings.get(where, ())}
        positions[row["engine"]].append(EnginePosition(shells=tuple(shells), **own))
    rows = connection.execute(select(ENGINES).where(*conditions).order_by(ENGINES.c.number)).mappings()
    return [
        EngineRecord(
            number=row["number"],
            job=row["job"],
            title=row["title"],
            at=row["at"],
            by=row["done_by"],
            note=row["note"],
            torn_down=row["torn_down"],
            torn_down_by=passages.teardown(row)[0],
            torn_down_note=passages.teardown(row)[1],
            unit=row["unit"],
            names=tuple(json.loads(row["names"])),
            record=json.loads(row["record"]),
            positions=tuple(positions[row["number"]]),
        )
        for row in rows
    ]


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
