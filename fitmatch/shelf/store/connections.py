"""How a shelf is read and written: a view of one moment for readers, and one writer at a time on every database."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from typing import Final, NamedTuple

from sqlalchemy import Connection, Engine, event, text

from fitmatch.shelf.store.faults import explained

_LOCK: Final = 5_641_207_133  # of shelves among the advisory locks of a database; any number that others do not use
_CACHE_KIB: Final = 32_768  # at most: the indexes of a million shells are written at random, and 2 MiB hold few of them
_WRITES: Final = "shelf_writes"


class Shelf(NamedTuple):
    """An open shelf. `clock` gives the time of every event."""

    engine: Engine
    clock: Callable[[], datetime]
    wait_s: float

    def now(self) -> str:
        """The time in UTC, to the second."""
        return self.clock().astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")

    @contextmanager
    def reading(self) -> Iterator[Connection]:
        """A view of one moment."""
        with explained(self.engine.url, self.wait_s), self.engine.connect() as connection, connection.begin():
            yield connection

    @contextmanager
    def writing(self) -> Iterator[Connection]:
        """One writer at a time: all of its changes or none. Another one waits `wait_s` at most."""
        with explained(self.engine.url, self.wait_s), self.engine.connect() as connection:
            connection = connection.execution_options(**{_WRITES: True})
            with connection.begin():
                yield connection


def take_turns_in_a_file(engine: Engine) -> None:
    """A writer asks for its lock at once: asked for after reading, two could wait for each other for ever."""

    @event.listens_for(engine, "connect")
    def _connected(connection: object, _record: object) -> None:
        connection.isolation_level = None  # type: ignore[attr-defined] # its driver begins nothing by itself
        connection.execute("PRAGMA foreign_keys = ON")  # type: ignore[attr-defined]
        connection.execute(f"PRAGMA cache_size = -{_CACHE_KIB}")  # type: ignore[attr-defined]

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES)
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


def take_turns_on_a_server(engine: Engine, wait_s: float) -> None:
    """A lock of the whole transaction, which needs no second attempt, as serialisable transactions do."""

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        if connection.get_execution_options().get(_WRITES):
            connection.execute(text(f"SET LOCAL lock_timeout = {int(1000 * wait_s)}"))
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
        else:
            connection.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"))
