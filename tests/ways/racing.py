"""A peer at work in a process of its own, ended by the system after its seconds of processor time, whatever it does."""

import multiprocessing
import os
import resource
import time
from collections.abc import Callable
from contextlib import suppress
from functools import partial
from multiprocessing.connection import Connection
from typing import NamedTuple, Protocol

from ways.lots import Lot, Plan
from ways.score import Figures, leftover_sets, score

MEMORY = 6 << 30
FIGURES = ("worst", "squares", "spread")  # in the order of what is best


class Report(Protocol):
    """How a peer tells of a plan it has found, and which of its figures it has proven to be the best."""

    def __call__(self, plan: Plan, proven: str = "") -> None: ...


Peer = Callable[[Lot, Report], None]


class Result(NamedTuple):
    """What a peer reached; None: no plan in the time given. `proven`: seconds until each figure was."""

    figures: Figures | None = None
    leftover_sets: int = 0
    reached_s: float = 0.0
    proven: dict[str, float] = {}  # noqa: RUF012, never changed


def race(peer: Peer, lot: Lot, seconds: int) -> Result:
    """The best plan that a peer reports within its time. Memory is limited too, as the machine is shared."""
    ours, theirs = multiprocessing.Pipe(duplex=False)
    child = multiprocessing.get_context("fork").Process(target=_work, args=(peer, lot, seconds, theirs))
    child.start()
    theirs.close()
    best: tuple[Figures, float, Plan] | None = None
    proven: dict[str, float] = {}
    try:
        while True:
            at, plan, what = ours.recv()
            figures = score(lot, plan)
            if best is None or figures < best[0]:
                best = figures, at, plan
            if what:
                proven[what] = at
    except EOFError:  # it has finished, or was ended
        child.join()
    if best is None:
        return Result()
    return Result(best[0], leftover_sets(lot, best[2]), best[1], proven)


def _work(peer: Peer, lot: Lot, seconds: int, pipe: Connection) -> None:
    os.dup2(os.open(os.devnull, os.O_WRONLY), 1)  # HiGHS prints its name
    resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds + 1))
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    with suppress(MemoryError):  # what it had found by then counts
        peer(lot, partial(_send, pipe))


def _send(pipe: Connection, plan: Plan, proven: str = "") -> None:
    pipe.send((time.process_time(), plan, proven))
