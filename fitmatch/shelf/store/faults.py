"""What a database complains about, as reasons that say what to do and hold no password."""

from collections.abc import Iterator
from contextlib import contextmanager

from sqlalchemy import URL
from sqlalchemy.exc import DBAPIError

from fitmatch.facts import Fact
from fitmatch.shelf.refusals import UnusableError
from fitmatch.shelf.store.addresses import shown

_SQLITE = {
    "SQLITE_BUSY": "busy",
    "SQLITE_LOCKED": "busy",
    "SQLITE_READONLY": "read-only",
    "SQLITE_PERM": "read-only",
    "SQLITE_FULL": "full",
    "SQLITE_IOERR": "broken-disk",
    "SQLITE_NOTADB": "not-a-shelf",
    "SQLITE_CORRUPT": "damaged",
    "SQLITE_CANTOPEN": "cannot-open",
}
# The states of the SQL standard that PostgreSQL gives, by their beginnings.
_STATES = {
    "55P03": "busy",
    "25006": "read-only",
    "42501": "read-only",
    "53100": "full",
    "28": "not-let-in",
    "3D": "no-database",
}


@contextmanager
def explained(url: URL, wait_s: float) -> Iterator[None]:
    """Errors of the driver become UnusableError; faults of this program stay what they are."""
    try:
        yield
    except DBAPIError as error:
        code = _code(error)
        if code is None:
            raise
        raise UnusableError(Fact(code, {"where": shown(url), "seconds": wait_s})) from None


def is_busy(error: DBAPIError) -> bool:
    """Whether another command has the lock."""
    return _code(error) == "busy"


def _code(error: DBAPIError) -> str | None:
    name = getattr(error.orig, "sqlite_errorname", None)
    if name is not None:
        return next((code for start, code in _SQLITE.items() if name.startswith(start)), None)
    state = getattr(error.orig, "sqlstate", None)
    if state is not None:
        return next((code for start, code in _STATES.items() if state.startswith(start)), None)
    return "no-connection" if type(error).__name__ == "OperationalError" else None
