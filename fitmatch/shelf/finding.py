"""Shells as a user names them, and as records."""

from collections.abc import Collection, Iterable, Iterator, Sequence
from itertools import islice
from typing import Any, Final, TypeVar

from sqlalchemy import ColumnElement, Connection, RowMapping, Select, and_, exists, func, or_, select

from fitmatch.facts import Fact
from fitmatch.shelf.answers.shells import ShelfShell
from fitmatch.shelf.refusals import RefusedError, refuse_if_any
from fitmatch.shelf.store.schema import (
    BOXES,
    ENGINE_SHELLS,
    ENGINES,
    FREE,
    HOLDS,
    JOBS,
    SEALED,
    SET_ASIDE,
    SHELLS,
    USED,
)

T = TypeVar("T")
_AT_ONCE: Final = 500  # values bound in one statement
_LARGEST: Final = 2**31 - 1  # that every database keeps as a number


def single(jobs: Collection[int] = ()) -> ColumnElement[bool]:
    """Whether a shell is free without a free opposite half of its kind in its box; what these jobs hold counts as
    free."""
    other = SHELLS.alias("other")
    held = select(HOLDS.c.shell).where(HOLDS.c.job.in_(jobs))
    free = [
        shells.c.state == FREE if not jobs else or_(shells.c.state == FREE, shells.c.number.in_(held))
        for shells in (SHELLS, other)
    ]
    partner = exists().where(
        other.c.box == SHELLS.c.box,
        other.c.kind == SHELLS.c.kind,
        free[1],
        other.c.number != SHELLS.c.number,
        or_(other.c.half != SHELLS.c.half, SHELLS.c.half == "either"),
    )
    return and_(free[0], ~partner)


def came_out_of() -> ColumnElement[bool]:
    """Where a used shell ran, which is the only place for it, as a condition on `ENGINE_SHELLS`."""
    seat = ENGINE_SHELLS.c
    ran = and_(seat.engine == SHELLS.c.ran_in, seat.shell == SHELLS.c.number, seat.wall_nm.is_not(None))
    return and_(SHELLS.c.state.in_((USED, SET_ASIDE)), ran)  # without a wall it was only tried there


def shells_with(*conditions: ColumnElement[bool]) -> Select[Any]:
    """The shells that meet some conditions, with all that their records need, by number."""
    of_shell = [c for c in SHELLS.c if c.name not in ("name", "ran_in", "turn", "marks", "measured", "box")]
    return (
        select(
            *of_shell,
            SHELLS.c.ran_in,
            SHELLS.c.name.label("shell"),
            SHELLS.c.box.label("box_number"),
            BOXES.c.name.label("box"),
            single().label("single"),
            func.coalesce(JOBS.c.name, ENGINES.c.job).label("job"),
            HOLDS.c.engine.label("engine"),
            func.coalesce(HOLDS.c.position, ENGINE_SHELLS.c.position).label("position"),
            func.coalesce(HOLDS.c.half, ENGINE_SHELLS.c.half).label("side"),
        )
        .join(BOXES, BOXES.c.number == SHELLS.c.box)
        .outerjoin(HOLDS, HOLDS.c.shell == SHELLS.c.number)
        .outerjoin(JOBS, JOBS.c.number == HOLDS.c.job)
        .outerjoin(ENGINE_SHELLS, came_out_of())
        .outerjoin(ENGINES, ENGINES.c.number == func.coalesce(HOLDS.c.engine, ENGINE_SHELLS.c.engine))
        .where(*conditions)
        .order_by(SHELLS.c.number)
    )


def records(connection: Connection, query: Select[Any]) -> tuple[ShelfShell, ...]:
    """The shells that a query of `shells_with` finds."""
    return tuple(_record(row) for row in connection.execute(query).mappings())


def _record(row: RowMapping) -> ShelfShell:
    values = {name: row[name] for name in ShelfShell._fields}
    if values["engine"] is None:
        values["engine"] = row["ran_in"]
    return ShelfShell(**values)


def numbered(connection: Connection, numbers: Iterable[int]) -> tuple[ShelfShell, ...]:
    """The shells of these numbers, by number."""
    found = (records(connection, shells_with(SHELLS.c.number.in_(some))) for some in parts(sorted(set(numbers))))
    return tuple(shell for some in found for shell in some)


def named(connection: Connection, names: Sequence[str]) -> tuple[ShelfShell, ...]:
    """The shells that a user means by shelf numbers or BOX/NAME, in that order, each once; raises RefusedError with
    every name that means none or several."""
    found: dict[int, ShelfShell] = {}
    reasons: list[Fact] = []
    for name in names:
        matches = _matches(connection, name.strip())
        if len(matches) == 1:
            found[matches[0].number] = matches[0]
        elif matches:
            reasons.append(Fact("ambiguous", {"name": name, "numbers": tuple(s.number for s in matches)}))
        else:
            reasons.append(Fact("unknown-shell", {"name": name}))
    refuse_if_any(reasons)
    return tuple(found.values())


def may_exist(number: int) -> bool:
    """Whether anything on a shelf can have this number; a database would not even look for others."""
    return 0 < number <= _LARGEST


def _matches(connection: Connection, name: str) -> tuple[ShelfShell, ...]:
    if name.isascii() and name.isdecimal():
        number = int(name) if len(name) < 12 else 0
        return records(connection, shells_with(SHELLS.c.number == number)) if may_exist(number) else ()
    box, slash, shell = name.partition("/")
    if not slash:
        return ()
    return records(connection, shells_with(BOXES.c.name == box.strip(), SHELLS.c.name == shell.strip()))


def box_named(connection: Connection, name: str) -> RowMapping:
    """The one box of a name; raises RefusedError."""
    found = connection.execute(select(BOXES).where(BOXES.c.name == name).order_by(BOXES.c.number)).mappings().all()
    if len(found) != 1:
        numbers = tuple(row["number"] for row in found)
        raise RefusedError(Fact("ambiguous-box" if found else "unknown-box", {"name": name, "numbers": numbers}))
    return found[0]


def sealed_named(connection: Connection, name: str) -> RowMapping | None:
    """The sealed box that a user means by its name, or by BOX/ where a shell has that number; raises RefusedError if
    that is not clear."""
    box, slash, shell = name.strip().partition("/")
    if shell.strip():
        return None
    query = select(BOXES).where(BOXES.c.name == box.strip(), BOXES.c.state == SEALED).order_by(BOXES.c.number)
    found = connection.execute(query).mappings().all()
    if not found:
        return None
    if len(found) > 1:
        numbers = tuple(row["number"] for row in found)
        raise RefusedError(Fact("ambiguous-box", {"name": box, "numbers": numbers}))
    if not slash and _matches(connection, box):
        raise RefusedError(Fact("shell-or-box", {"name": box}))
    return found[0]


def parts(values: Iterable[T]) -> Iterator[list[T]]:
    """As many at a time as one statement takes."""
    rest = iter(values)
    while some := list(islice(rest, _AT_ONCE)):
        yield some
