"""Opening a shelf: its file made for the user alone, its version read by a plain SELECT, a newer one refused."""

import os
from collections.abc import Callable
from datetime import UTC, datetime
from typing import Final

from sqlalchemy import create_engine, inspect
from sqlalchemy.pool import NullPool, StaticPool

from fitmatch.facts import Fact
from fitmatch.problems import ExtraMissing
from fitmatch.shelf.refusals import UnusableError
from fitmatch.shelf.store.addresses import address_of, file_of, shown
from fitmatch.shelf.store.connections import STEP_S, Shelf, take_turns_in_a_file, take_turns_on_a_server
from fitmatch.shelf.store.schema import METADATA, VERSION, VERSIONS

WAIT_S: Final = 30.0  # for a lock


def _clock() -> datetime:
    return datetime.now(UTC)


def open_shelf(
    where: str | os.PathLike[str] | None = None,
    *,
    clock: Callable[[], datetime] = _clock,
    wait_s: float = WAIT_S,
    make: bool = True,
) -> Shelf:
    """The shelf at a path or URL, otherwise that of FITMATCH_DB or of the user. `make`: if there is none yet it is
    made; without that an empty one stands in for it, which is kept nowhere. Raises UnusableError."""
    url = address_of(where)
    path = file_of(url)
    if path is not None and not path.exists() and not make:
        return _stand_in(clock, wait_s)
    if path is not None:
        _make_file(path, shown(url))
    if path is None:
        try:
            import psycopg  # noqa: F401
        except ImportError as error:
            raise ExtraMissing("shelves in PostgreSQL", "psycopg", "postgres") from error
        options = {"connect_timeout": str(max(2, int(wait_s))), "client_encoding": "utf8"}
        engine = create_engine(url, poolclass=NullPool, connect_args=options)
        take_turns_on_a_server(engine, wait_s)
    else:
        engine = create_engine(url, poolclass=NullPool, connect_args={"timeout": min(STEP_S, wait_s)})
        take_turns_in_a_file(engine, wait_s)
    shelf = Shelf(engine, clock, wait_s)
    version = _version(shelf)
    if version is None and not make:
        return _stand_in(clock, wait_s)
    if version is None:
        version = _make_tables(shelf)
    if version not in VERSIONS:
        raise UnusableError(Fact("newer", {"where": shown(url), "version": version, "known": VERSIONS[-1]}))
    if version != VERSIONS[-1]:
        from fitmatch.shelf.store.migrating import migrate

        migrate(shelf)
    return shelf


def known_shelf(where: str | os.PathLike[str] | None = None) -> Shelf:
    """The shelf at a path or URL as for `open_shelf`, which must be there; raises UnusableError."""
    url = address_of(where)
    path = file_of(url)
    if path is not None and not path.exists():
        raise UnusableError(Fact("no-shelf", {"where": shown(url)}))
    return open_shelf(where, make=False)


def _make_file(path: os.PathLike[str], where: str) -> None:
    """An empty file that only the user may read, as SQLite would let others read it."""
    try:
        os.makedirs(os.path.dirname(path), mode=0o700, exist_ok=True)  # noqa: PTH103, PTH120 (takes a mode)
        os.close(os.open(path, os.O_CREAT | os.O_EXCL, 0o600))
    except FileExistsError:
        if os.path.isdir(path):  # noqa: PTH112
            raise UnusableError(Fact("cannot-open", {"where": where})) from None
    except OSError as error:
        raise UnusableError(Fact("cannot-make", {"where": where, "why": error.strerror or ""})) from error


def _stand_in(clock: Callable[[], datetime], wait_s: float) -> Shelf:
    engine = create_engine("sqlite://", poolclass=StaticPool)
    METADATA.create_all(engine)
    with engine.begin() as connection:
        connection.execute(VERSION.insert().values(version_num=VERSIONS[-1]))
    return Shelf(engine, clock, wait_s)


def _version(shelf: Shelf) -> str | None:
    """The version of the tables; None if there are none at all."""
    with shelf.reading() as connection:
        tables = inspect(connection).get_table_names()
        if VERSION.name in tables:
            found: str | None = connection.scalar(VERSION.select())
            if found is not None:
                return found
        if tables:
            raise UnusableError(Fact("not-a-shelf", {"where": shown(shelf.engine.url)}))
    return None


def _make_tables(shelf: Shelf) -> str:
    """Make the tables, unless somebody else has just done so; the version that is there then."""
    with shelf.writing() as connection:
        if not inspect(connection).has_table(VERSION.name):
            METADATA.create_all(connection)
            connection.execute(VERSION.insert().values(version_num=VERSIONS[-1]))
        found: str = connection.execute(VERSION.select()).scalar_one()
    return found
