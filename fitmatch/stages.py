"""What is being done just now, for whoever waits: long work tells its stages, a command may listen to them."""

from collections.abc import Callable

_listener: Callable[[str], None] | None = None


def now(stage: str) -> None:
    """Tell that this begins, in a few words and with counts; where nobody listens nothing happens."""
    if _listener is not None:
        _listener(stage)


def listen(listener: Callable[[str], None] | None) -> None:
    """From here on `listener` is called with every stage, from the thread that works; None: nobody listens."""
    global _listener
    _listener = listener
