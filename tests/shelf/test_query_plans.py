"""What an action asks the database is found by an index: it takes no longer on a shelf with a million shells."""

import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from made.shelves import BOX, lived_on
from sqlalchemy import event

from fitmatch.shelf import (
    Filters,
    Shelf,
    correct,
    engine,
    fitted,
    history,
    move,
    open_shelf,
    put_back,
    read_planned,
    read_stock,
    release,
    scrap,
    send_back,
    set_aside,
    show,
    take_in,
    teardown,
)
from fitmatch.shelf.questions.built import built

LARGE = ("shells", "events", "readings", "boxes", "holds", "engine_shells", "engine_positions", "job_positions")
Asked = list[tuple[str, Any]]


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> tuple[Shelf, Path]:
    """A shelf with statistics as if it were large, and its job."""
    folder = tmp_path_factory.mktemp("plans")
    shelf = open_shelf(folder / "shelf.db")
    job = lived_on(shelf, folder)
    header, *rows = BOX.splitlines()
    (folder / "box-3.csv").write_text(
        "\n".join([f"{header},hold", *(f"{row}," for row in rows[:5]), f"{rows[5]},rust"])
    )
    take_in(shelf, read_stock([folder / "box-3.csv"], "in"))
    return shelf, job


ACTIONS: dict[str, Callable[[Shelf, Path], object]] = {
    "take-in": lambda shelf, job: take_in(shelf, read_stock([job])),
    "set-aside": lambda shelf, job: set_aside(shelf, read_planned(job)),
    "fitted": lambda shelf, job: fitted(shelf, read_planned(job)),
    "put-back": lambda shelf, _: put_back(shelf, "first", ["R2"]),
    "move": lambda shelf, _: move(shelf, ["box-3/01", "5"], "drawer 5"),
    "release": lambda shelf, _: release(shelf, "box-3/06", "looked at again"),
    "scrap": lambda shelf, _: scrap(shelf, "5", "dropped"),
    "history": lambda shelf, _: history(shelf, "5"),
    "correct": lambda shelf, _: correct(shelf, history(shelf, "5").events[-1].number),
    "teardown": lambda shelf, _: teardown(shelf, 1),
    "engine": lambda shelf, _: engine(shelf, 1),
    "record": lambda shelf, _: built(shelf, 1),
    "send-back": lambda shelf, _: send_back(shelf, "box-3"),
    "show a family": lambda shelf, _: show(shelf, Filters(family="narrow-2", kind="rod")),
    "show a place": lambda shelf, _: show(shelf, Filters(location="drawer 1", half="upper")),
    "show walls": lambda shelf, _: show(shelf, Filters(state="free", kind="rod", half="upper", wall_nm=(1, 2))),
    "show a box": lambda shelf, _: show(shelf, Filters(box="box-1", single=True)),
}


@pytest.mark.parametrize("name", ACTIONS)
def test_no_large_table_is_gone_through(lived: tuple[Shelf, Path], name: str) -> None:
    """No statement of an action goes through a whole table that grows with the shelf."""
    shelf, job = lived
    asked: Asked = []

    def note(_c: object, _k: object, statement: str, parameters: Any, _x: object, many: bool) -> None:
        if not statement.startswith(("BEGIN", "PRAGMA")):
            asked.append((statement, parameters[0] if many else parameters))

    event.listen(shelf.engine, "before_cursor_execute", note)
    try:
        ACTIONS[name](shelf, job)
    finally:
        event.remove(shelf.engine, "before_cursor_execute", note)
    assert asked
    assert [one for one in asked if gone_through(shelf, *one)] == []


def gone_through(shelf: Shelf, statement: str, parameters: Any) -> list[str]:
    """The large tables that a statement goes through row by row."""
    connection: sqlite3.Connection
    with shelf.engine.connect() as checked:
        connection = checked.connection.driver_connection  # type: ignore[assignment]
        rows = connection.execute(f"EXPLAIN QUERY PLAN {statement}", parameters).fetchall()
    steps = [str(row[3]) for row in rows]
    return [s for s in steps if s.startswith("SCAN ") and s.split()[1] in LARGE and "USING" not in s]
