"""A time limit and a request to stop, shared by everything that works on one answer."""

import time
from collections.abc import Callable, Iterable, Iterator
from typing import TypeVar

from fitmatch.stages import AT_A_TIME, asking

T = TypeVar("T")


class Stopped(Exception):
    """Time ran out, or the user asked to stop, before the current work was proven."""

    def __init__(self, bound: int | None = None) -> None:
        super().__init__("stopped before the proof was complete")
        self.bound = bound  # what the level being proven cannot be better than


class Stop:
    """The time runs from its creation; `request()` may be called from a signal handler."""

    def __init__(self, seconds: float | None = None) -> None:
        self._end = None if seconds is None else time.monotonic() + seconds
        self._interrupt: Callable[[], object] | None = None
        self.requested = False
        self.has_answer = False  # whether there is anything to answer with; before that a request need not wait for it

    def request(self) -> None:
        self.requested = True
        if self._interrupt is not None:
            self._interrupt()

    def watch(self, interrupt: Callable[[], object] | None) -> None:
        """Set what `request()` must interrupt at the moment; None for nothing."""
        self._interrupt = interrupt

    @property
    def is_due(self) -> bool:
        """Whether there is no time left, or a stop was requested."""
        try:
            self.seconds_left()
        except Stopped:
            return True
        return False

    def seconds_left(self) -> float | None:
        """The seconds left; None without a limit; raises Stopped when there is no time left or a stop was requested."""
        if self.requested:
            raise Stopped
        if self._end is None:
            return None
        left = self._end - time.monotonic()
        if left <= 0:
            raise Stopped
        return left

    def asking(self, items: Iterable[T], at_a_time: int = AT_A_TIME) -> Iterator[T]:
        """The same items; before so many of them raises Stopped where it is time to stop."""
        return asking(items, self.seconds_left, at_a_time)
