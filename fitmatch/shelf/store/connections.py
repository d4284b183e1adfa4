"""How a shelf is read and written: a view of one moment for readers, and one writer at a time on every database."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from time import monotonic, sleep
from typing import Any, Final, NamedTuple

from sqlalchemy import Connection, Engine, event, text
from sqlalchemy.exc import OperationalError

from fitmatch.shelf.store.faults import explained, is_busy

_LOCK: Final = 5_641_207_133  # of shelves among the advisory locks of a database; any number that others do not use
_CACHE_KIB: Final = 32_768  # at most: the indexes of a million shells are written at random, and 2 MiB hold few of them
_WRITES: Final = "shelf_writes"
STEP_S: Final = 0.2  # in which whoever waits for a lock may be interrupted


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


def take_turns_in_a_file(engine: Engine, wait_s: float) -> None:
    """A writer asks for its lock at once: asked for after reading, two could wait for each other for ever. Whoever has
    to wait asks again and again, as the driver would hear no Ctrl-C while it waits."""

    def patiently(connection: Connection, *statements: str) -> None:
        until = monotonic() + wait_s
        while True:
            try:
                for statement in statements:
                    connection.exec_driver_sql(statement)
            except OperationalError as error:
                if not is_busy(error) or monotonic() >= until:
                    raise
                _end(connection)
                sleep(STEP_S / 10)
            else:
                return

    def _end(connection: Connection) -> None:
        """A reader that was refused has begun; a writer at its end keeps its transaction."""
        if not connection.get_execution_options().get(_WRITES) and _in_transaction(connection):
            connection.exec_driver_sql("ROLLBACK")

    @event.listens_for(engine, "connect")
    def _connected(connection: object, _record: object) -> None:
        connection.isolation_level = None  # type: ignore[attr-defined] # its driver begins nothing by itself
        connection.execute("PRAGMA foreign_keys = ON")  # type: ignore[attr-defined]

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        writes = connection.get_execution_options().get(_WRITES)
        patiently(connection, *(["BEGIN IMMEDIATE"] if writes else ["BEGIN", "SELECT 1 FROM sqlite_master"]))
        connection.exec_driver_sql(f"PRAGMA cache_size = -{_CACHE_KIB}")  # which reads the file

    @event.listens_for(engine, "commit")
    def _ends(connection: Connection) -> None:
        if _in_transaction(connection):
            patiently(connection, "COMMIT")


def _in_transaction(connection: Connection) -> bool:
    driver: Any = connection.connection.dbapi_connection
    return bool(driver.in_transaction)


def take_turns_on_a_server(engine: Engine, wait_s: float) -> None:
    """A lock of the whole transaction, which needs no second attempt, as serialisable transactions do."""

    @event.listens_for(engine, "begin")
    def _begun(connection: Connection) -> None:
        if connection.get_execution_options().get(_WRITES):
            connection.execute(text(f"SET LOCAL lock_timeout = {int(1000 * wait_s)}"))
            connection.execute(text("SELECT pg_advisory_xact_lock(:key)"), {"key": _LOCK})
        else:
            connection.execute(text("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY"))
