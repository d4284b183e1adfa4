"""Empty shelves on every database: SQLite always, PostgreSQL where tests that need another program run."""

from collections.abc import Iterator
from pathlib import Path
from uuid import uuid4

import pytest
from made.postgres import server
from made.shelves import Clock

from fitmatch.shelf import Shelf, open_shelf

DATABASES = ["sqlite", pytest.param("postgresql", marks=pytest.mark.outside)]


@pytest.fixture(scope="session")
def a_server() -> Iterator[str]:
    """A server that is started once."""
    with server() as url:
        yield url


@pytest.fixture(params=DATABASES)
def address(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a shelf is to be: a file that does not exist yet, or a schema of its own on a server."""
    if request.param == "sqlite":
        return str(tmp_path / "shelf.db")
    import psycopg

    url, name = str(request.getfixturevalue("a_server")), f"shelf_{uuid4().hex}"
    with psycopg.connect(url, autocommit=True) as connection:
        connection.execute(f"CREATE SCHEMA {name}")  # type: ignore[arg-type]
    return f"{url}&options=-csearch_path%3D{name}"


@pytest.fixture
def shelf(address: str) -> Shelf:
    """An empty shelf whose clock goes on by a minute whenever it is asked."""
    return open_shelf(address, clock=Clock(), wait_s=1.0)
