"""What is being done at the moment, for whoever is waiting: long work reports its stages, and a command may listen; and
it asks whether to go on."""

from collections.abc import Callable, Iterable, Iterator
from itertools import islice
from typing import TypeVar

T = TypeVar("T")
Ask = Callable[[], object]  # asked before every part of long work; raises where it is time to stop
AT_A_TIME = 1_000  # so many are done in a millisecond or a few

_listener: Callable[[str], None] | None = None


def now(stage: str) -> None:
    """Report that this is starting, in a few words and with counts; if nobody is listening nothing happens."""
    if _listener is not None:
        _listener(stage)


def listen(listener: Callable[[str], None] | None) -> None:
    """From now on `listener` is called with every stage, from the working thread; None: nobody listens."""
    global _listener
    _listener = listener


def go_on() -> None:
    """What long work asks where nobody stops it."""


def asking(items: Iterable[T], ask: Ask, at_a_time: int = AT_A_TIME) -> Iterator[T]:
    """The same items; asks before so many of them."""
    if at_a_time == 1:  # without a list for each: there may be a million
        for item in items:
            ask()
            yield item
        return
    left = iter(items)
    while some := list(islice(left, at_a_time)):
        ask()
        yield from some
