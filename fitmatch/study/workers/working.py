"""Many draws of one task, worked in chunks by whoever is at hand and given back in draw order.

A chunk whose worker dies is handed out again, to a crew hired anew. As each draw depends on nothing but the task and
its own number, the outcomes are the same whoever worked them, and however often.
"""

import time
from collections import deque
from collections.abc import Callable, Generator, Iterator
from concurrent.futures import Executor, Future, wait
from contextlib import AbstractContextManager
from dataclasses import dataclass, field
from traceback import format_exception
from typing import Any, Final, NamedTuple, TypeVar

from fitmatch.facts import Fact
from fitmatch.problems import FaultInFitmatch, NotPossible
from fitmatch.stages import now

Task = TypeVar("Task")
Outcome = tuple[int, ...]
Outcomes = Generator[tuple[int, Outcome], None, None]  # with the number of each draw
Draw = Callable[[Task, int], Outcome]

MOST_ATTEMPTS: Final = 3  # by crews that are lost before they give anything back
_AHEAD: Final = 3  # chunks out for each worker: one in work, and what keeps it busy while others are waited for
_LOOK_S: Final = 1.0  # seconds after which it is looked again who works, and progress is shown


class Held(NamedTuple):
    """What a worker holds for as long as it works, so that it need not come with every chunk."""

    draw: Draw[Any]
    task: Any


class Crew(NamedTuple):
    """Those who work at the moment: `executor` takes their calls, `held` is draw and task or what they keep them by,
    `number` counts who is there, and a chunk is meant to take `chunk_s` seconds. `alone`: calls are worked as they are
    made, so that nothing is handed out ahead."""

    executor: Executor
    held: Held | str
    number: Callable[[], int]
    chunk_s: float
    alone: bool = False


Hiring = Callable[[Draw[Any], Any], AbstractContextManager[Crew]]


class DrawFailed(FaultInFitmatch):
    """A draw ended in a mistake of its own, which it would make again anywhere."""


class _Lost(Exception):
    """The crew is gone, or a worker of it."""


@dataclass(slots=True)
class _Chunk:
    """Some draws, and the call that works them."""

    numbers: range
    call: Future[tuple[list[Outcome], float]] = field(default_factory=Future)

    def hand_out(self, crew: Crew) -> None:
        """Let a crew work these draws, unless another one has finished them."""
        if not (self.call.done() and not self.call.cancelled() and self.call.exception() is None):
            try:
                self.call = crew.executor.submit(work, crew.held, self.numbers)
            except Exception as error:
                raise _Lost from error


class _Pace:
    """What was done since the beginning, for the size of chunks and the time that is left."""

    def __init__(self, numbers: range) -> None:
        self._numbers = self._todo = numbers
        self._began = time.monotonic()
        self.draws = 0
        self._worked_s = 0.0

    def take(self, chunk_s: float) -> range:
        """The next draws, as many as take so many seconds; no more than have been timed, as the first are few."""
        quick = int(chunk_s * self.draws / max(self._worked_s, 1e-9))
        size = max(1, min(self.draws, quick))
        taken, self._todo = self._todo[:size], self._todo[size:]
        return taken

    def done(self, draws: int, worked_s: float) -> None:
        """So many more draws were worked, in so much time of a worker."""
        self.draws, self._worked_s = self.draws + draws, self._worked_s + worked_s
        self.tell()

    def tell(self) -> None:
        """Report how far it is, with the time left."""
        left = ""
        if self.draws:
            each_s = (time.monotonic() - self._began) / self.draws
            left = f", {_in_words(each_s * (len(self._numbers) - self.draws))} left"
        now(f"draw {self._numbers.start + self.draws:,} of {self._numbers.stop:,}{left}")


def work_through(hire: Hiring, draw: Draw[Task], task: Task, numbers: range) -> Outcomes:
    """The outcome of each of these draws with its number, in their order, worked by the crews that `hire` gives.

    Draws are handed out ahead; those that are not taken when the iterator is closed are dropped. Raises DrawFailed for
    a mistake of a draw, NotPossible where no crew can be had, or one after the other is lost at the same draws.
    """
    pace = _Pace(numbers)
    chunks: deque[_Chunk] = deque()
    fruitless, before = 0, 0
    while len(numbers) > pace.draws:
        with hire(draw, task) as crew:
            try:
                yield from _work_with(crew, chunks, pace)
                return
            except _Lost as lost:
                reason = lost.__cause__
        fruitless, before = fruitless + 1 if pace.draws == before else 1, pace.draws
        if fruitless == MOST_ATTEMPTS:
            out = [chunk.numbers for chunk in chunks] or [numbers]
            said = f"{reason}".partition("\n")[0].rstrip(".") or type(reason).__name__
            slots = {"first": out[0][0], "last": out[-1][-1], "times": fruitless, "reason": said}
            raise NotPossible(Fact("workers-lost", slots)) from reason


def _work_with(crew: Crew, chunks: deque[_Chunk], pace: _Pace) -> Iterator[tuple[int, Outcome]]:
    """Work with one crew. `chunks` are those handed out and not given back yet, in draw order."""
    for chunk in chunks:
        chunk.hand_out(crew)
    there, looked = _number(crew), time.monotonic()
    while True:
        if time.monotonic() - looked >= _LOOK_S:
            there, looked = _number(crew), time.monotonic()
        most = 1 if crew.alone else _AHEAD * max(1, there)
        while len(chunks) < most and (taken := pace.take(crew.chunk_s)):
            chunks.append(_Chunk(taken))
            chunks[-1].hand_out(crew)
        if not chunks:
            return
        if not wait((chunks[0].call,), _LOOK_S).done:
            pace.tell()
            continue
        try:
            outcomes, seconds = chunks[0].call.result()
        except (DrawFailed, NotPossible):
            raise
        except Exception as error:
            raise _Lost from error
        numbers = chunks.popleft().numbers
        pace.done(len(numbers), seconds)
        yield from zip(numbers, outcomes, strict=True)


def _number(crew: Crew) -> int:
    try:
        return crew.number()
    except NotPossible:
        raise
    except Exception as error:
        raise _Lost from error


def work(held: Held | str, numbers: range) -> tuple[list[Outcome], float]:
    """What a worker does with a chunk: the outcomes of these draws, and the seconds they took. `held` may be the name
    under which this process keeps it."""
    draw, task = KEPT[held] if isinstance(held, str) else held
    began, outcomes = time.perf_counter(), []
    for number in numbers:
        try:
            outcomes.append(draw(task, number))
        except Exception as error:  # sent as text, as not every mistake survives the journey
            raise DrawFailed(f"draw {number}: {''.join(format_exception(error)).rstrip()}") from None
    return outcomes, time.perf_counter() - began


KEPT: Final[dict[str, Held]] = {}  # what this process holds for chunks that name it


def _in_words(seconds: float) -> str:
    minutes = round(seconds / 60)
    if seconds < 100:
        return f"{seconds:.0f} s"
    return f"{minutes} min" if minutes < 100 else f"{minutes // 60} h {minutes % 60} min"
