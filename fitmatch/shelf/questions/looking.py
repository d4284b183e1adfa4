"""Looking at the shelf: what lies there, what happened to a shell."""

from collections.abc import Mapping, Sequence
from datetime import timedelta
from typing import Any, Final, NamedTuple

from sqlalchemy import (
    ColumnElement,
    Connection,
    Integer,
    Table,
    case,
    cast,
    exists,
    func,
    or_,
    select,
)

from fitmatch.shelf.answers.shells import Difference, History, ShelfBox, Shown, Tally
from fitmatch.shelf.events import events_where, told
from fitmatch.shelf.finding import named, records, shells_with, single
from fitmatch.shelf.questions.describing import UNTOLD, differences
from fitmatch.shelf.store.connections import Shelf
from fitmatch.shelf.store.schema import (
    BOXES,
    EVENTS,
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
