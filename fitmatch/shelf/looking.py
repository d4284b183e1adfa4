"""Looking at the shelf: what lies there, what happened to a shell, which engines were built."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any, Final, NamedTuple

from sqlalchemy import ColumnElement, Connection, Integer, RowMapping, Table, and_, case, cast, func, or_, select

from fitmatch.facts import Fact
from fitmatch.shelf.events import events_where, told
from fitmatch.shelf.finding import named, records, shells_with, single
from fitmatch.shelf.records import (
    IN_DOUBT,
    EnginePosition,
    EngineRecord,
    Engines,
    EngineShell,
    History,
    ShelfBox,
    Shown,
    Tally,
)
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
    SHELLS,
)

GROUPS: Final = ("family", "kind", "half", "grade", "step", "wall", "box", "age", "location", "state")
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
    still sealed, where nothing is asked that only opened ones can tell."""
    conditions = _conditions(shelf, filters)
    with shelf.reading() as connection:
        sealed = _sealed(connection, filters)
        if by:
            return Shown((), sealed, _tallies(connection, conditions, by))
        return Shown(records(connection, shells_with(*conditions)), sealed)


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
    of_shells = (filters.half, filters.grade, filters.state, filters.wall_nm, filters.older_than_days)
    if filters.single or any(value is not None for value in of_shells):
        return ()
    query = select(BOXES).where(BOXES.c.state == SEALED).order_by(BOXES.c.number)
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
        return History(shell, events_where(connection, EVENTS.c.shell == shell.number))


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
    found = _engines(connection, ENGINES.c.number == number)
    if not found:
        raise RefusedError(Fact("unknown-engine", {"number": number}))
    return found[0]


def _engines(connection: Connection, *conditions: ColumnElement[bool]) -> list[EngineRecord]:
    numbers = select(ENGINES.c.number).where(*conditions)
    seats, passages = _seats(connection, numbers), _Passages(connection, numbers)
    query = select(ENGINE_POSITIONS).where(ENGINE_POSITIONS.c.engine.in_(numbers)).order_by(ENGINE_POSITIONS.c.place)
    positions = defaultdict[int, list[EnginePosition]](list)
    for row in connection.execute(query).mappings():
        where = row["engine"], row["position"]
        left, left_at = passages.left(where)
        shells = seats.get(where, [])
        own = {name: row[name] for name in EnginePosition._fields if name in row}
        own |= {"in_doubt": where in passages.in_doubt, "left": left, "left_at": left_at}
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
        self.in_doubt = set[tuple[int, str]]()
        query = (
            select(EVENTS)
            .join(
                ENGINE_SHELLS, and_(ENGINE_SHELLS.c.shell == EVENTS.c.shell, ENGINE_SHELLS.c.engine == EVENTS.c.engine)
            )
            .where(
                ENGINE_SHELLS.c.engine.in_(numbers), (EVENTS.c.from_state == FITTED) != (EVENTS.c.to_state == FITTED)
            )
            .order_by(EVENTS.c.number)
        )
        for row in connection.execute(query).mappings():
            where = row["engine"], row["position"]
            if row["from_state"] == FITTED:
                self._last[where] = row
            elif row["action"] == "fitted":
                self.in_doubt.discard(where)
                if IN_DOUBT in told(row).get("remarks", ()):
                    self.in_doubt.add(where)

    def left(self, where: tuple[int, str]) -> tuple[str, str]:
        """How the shells of a position have left it, and when; empty while they are in it."""
        last = self._last.get(where)
        if where in self._standing or last is None:
            return "", ""
        if "ran_in" in told(last)["shell"]:
            return "teardown", last["at"]
        return "never-run" if last["action"] == "teardown" else last["action"], last["at"]


def _seats(connection: Connection, numbers: Any) -> Mapping[tuple[int, str], list[EngineShell]]:
    query = (
        select(ENGINE_SHELLS, BOXES.c.name.label("box"), SHELLS.c.name, SHELLS.c.state)
        .join(SHELLS, SHELLS.c.number == ENGINE_SHELLS.c.shell)
        .join(BOXES, BOXES.c.number == SHELLS.c.box)
        .where(ENGINE_SHELLS.c.engine.in_(numbers))
        .order_by(ENGINE_SHELLS.c.engine, ENGINE_SHELLS.c.position, ENGINE_SHELLS.c.half.desc())
    )
    found = defaultdict[tuple[int, str], list[EngineShell]](list)
    for row in connection.execute(query).mappings():
        label = f"{row['box']}/{row['name']}"
        walls = row["wall_nm"], row["wall_after_nm"], row["wall_wear_u_nm"]
        shell = EngineShell(row["half"], row["shell"], label, *walls, row["state"])
        found[row["engine"], row["position"]].append(shell)
    return found
