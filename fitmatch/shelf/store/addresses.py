"""Where a shelf is: a path or a URL, from `--db`, FITMATCH_DB or the user's own data folder, shown without a
password."""

import os
from pathlib import Path
from typing import Final

from sqlalchemy import URL, make_url
from sqlalchemy.exc import ArgumentError

from fitmatch.facts import Fact
from fitmatch.shelf.refusals import UnusableError

VARIABLE: Final = "FITMATCH_DB"
_FILE: Final = "shelf.db"
_BESIDE: Final = ("", "-journal", "-wal", "-shm")
_SERVERS: Final = frozenset(("postgresql", "postgres", "postgresql+psycopg"))


def address_of(where: str | os.PathLike[str] | None) -> URL:
    """The URL of a shelf; raises UnusableError if it is one of a database that is not supported."""
    text = os.fspath(where) if where is not None else os.environ.get(VARIABLE, "")
    if not text:
        from platformdirs import user_data_path

        return _of_file(user_data_path("fitmatch", appauthor=False) / _FILE)
    if "://" not in text:
        return _of_file(Path(text))
    try:
        url = make_url(text)
    except (ArgumentError, ValueError) as error:
        raise UnusableError(Fact("not-an-address", {"scheme": text.partition("://")[0]})) from error
    if url.drivername in _SERVERS:
        return url.set(drivername="postgresql+psycopg")
    if url.drivername == "sqlite" and url.database:
        return _of_file(Path(url.database))
    raise UnusableError(Fact("not-an-address", {"scheme": url.drivername}))


def _of_file(path: Path) -> URL:
    return URL.create("sqlite", database=str(path.expanduser().absolute()))


def file_of(url: URL) -> Path | None:
    """The file of a shelf in SQLite."""
    return Path(url.database) if url.drivername == "sqlite" and url.database else None


def is_own_file(where: str | os.PathLike[str] | None, file: Path) -> bool:
    """Whether a path leads to the file of a shelf, or to one that SQLite keeps beside it; where it is as for
    `address_of`."""
    from fitmatch.intake.own_files import is_same

    own = file_of(address_of(where))
    return own is not None and any(is_same(file, own.with_name(own.name + end)) for end in _BESIDE)


def shown(url: URL) -> str:
    """A path, or a URL that hides the password, also one among its options."""
    path = file_of(url)
    if path is not None:
        return str(path)
    hidden = {name: "***" if "pass" in name else value for name, value in url.query.items()}
    return url.set(query=hidden).render_as_string(hide_password=True)
