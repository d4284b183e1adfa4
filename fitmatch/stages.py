"""What is being done at the moment, for whoever is waiting: long work reports its stages, and a command may listen."""

from collections.abc import Callable

_listener: Callable[[str], None] | None = None


def now(stage: str) -> None:
    """Report that this is starting, in a few words and with counts; if nobody is listening nothing happens."""
    if _listener is not None:
        _listener(stage)


def listen(listener: Callable[[str], None] | None) -> None:
    """From now on `listener` is called with every stage, from the working thread; None: nobody listens."""
    global _listener
    _listener = listener
