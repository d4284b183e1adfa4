"""Who works the draws: this process, processes of this machine, or a cluster, each as an executor of the same kind."""

import logging
import os
import signal
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager, suppress
from multiprocessing import parent_process
from multiprocessing.context import SpawnContext, SpawnProcess
from typing import TYPE_CHECKING, Any, Final, ParamSpec, TypeVar
from uuid import uuid4

from fitmatch.facts import Fact
from fitmatch.problems import ExtraMissing, NotPossible
from fitmatch.study.workers.working import KEPT, Crew, Draw, Held, Hiring
from fitmatch.version import __version__

if TYPE_CHECKING:
    from distributed import Client

P = ParamSpec("P")
T = TypeVar("T")
WAIT_S: Final = 30.0  # for a scheduler to answer, and for it to have workers
_CHUNK_S: Final = 0.1  # of a process of this machine, which has its next chunk within a thousandth of a second
_FAR_CHUNK_S: Final = 0.5  # of a worker elsewhere: a scheduler hands out some hundred chunks a second
_CLOSING_S: Final = 0.5
_MINE: Final = "mine"  # what a process of this machine keeps it by, as it works for one run alone


def cores() -> int:
    """How many cores this process may use."""
    return len(os.sched_getaffinity(0)) if hasattr(os, "sched_getaffinity") else os.cpu_count() or 1


@contextmanager
def in_this_process(draw: Draw[Any], task: Any) -> Iterator[Crew]:
    """Nobody is hired: each draw is worked here, at once."""
    yield Crew(_AtOnce(), Held(draw, task), lambda: 1, 0.0, alone=True)


class _AtOnce(Executor):
    """Works each call as it is made."""

    def submit(self, fn: Callable[P, T], /, *args: P.args, **kwargs: P.kwargs) -> Future[T]:
        call: Future[T] = Future()
        try:
            call.set_result(fn(*args, **kwargs))
        except Exception as error:
            call.set_exception(error)
        return call


def processes(number: int) -> Hiring:
    """So many processes of this machine. They begin empty, as what libraries with threads leave in a forked process may
    hang it; Ctrl-C is for the process that hires, and without that one they end."""

    @contextmanager
    def hire(draw: Draw[Any], task: Any) -> Iterator[Crew]:
        from concurrent.futures import ProcessPoolExecutor

        context = _Context()
        pool = ProcessPoolExecutor(number, context, _begin, (Held(draw, task),))
        try:
            yield Crew(pool, _MINE, lambda: number, _CHUNK_S)
        finally:
            for process in context.made:
                if process.pid is not None:
                    process.kill()
            pool.shutdown(cancel_futures=True)

    return hire


class _Process(SpawnProcess):
    """A process that Ctrl-C does not reach, not even while it starts."""

    def start(self) -> None:
        if not hasattr(signal, "pthread_sigmask"):
            super().start()
            return
        before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
        try:
            super().start()
        finally:
            signal.pthread_sigmask(signal.SIG_SETMASK, before)


class _Context(SpawnContext):
    """Knows the processes that it made."""

    def __init__(self) -> None:
        super().__init__()
        self.made: list[_Process] = []

    def Process(self, *args: Any, **kwargs: Any) -> _Process:  # type: ignore[override]  # noqa: N802 (its name there)
        self.made.append(_Process(*args, **kwargs))
        return self.made[-1]


def _begin(held: Held) -> None:
    """The first thing that a process of this machine does."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    KEPT[_MINE] = held


def _end_with_parent() -> None:
    parent = parent_process()
    assert parent is not None
    parent.join()
    os._exit(1)


def cluster(address: str, wait_s: float = WAIT_S) -> Hiring:
    """The workers of a scheduler of Dask, as many as it has at any time. Raises ExtraMissing where its library is not
    installed; a crew cannot be had, NotPossible, where within so many seconds no scheduler answers, or none with a
    worker, or its workers have another fitmatch."""
    from importlib.util import find_spec

    if find_spec("distributed") is None:
        raise ExtraMissing("clusters", "distributed", "cluster")

    @contextmanager
    def hire(draw: Draw[Any], task: Any) -> Iterator[Crew]:
        client = _connected(address, wait_s)
        name = f"fitmatch-{uuid4()}"
        # A scheduler that is lost is reported once, and by fitmatch; calls that are dropped are not reported at all.
        with _silent("distributed.client"), _silent("tornado.application"), _closing(client, name):
            _give(client, address, name, Held(draw, task))
            yield Crew(client.get_executor(pure=False), name, _Counting(client, address, wait_s), _FAR_CHUNK_S)

    return hire


def _connected(address: str, wait_s: float) -> "Client":
    import asyncio

    from distributed import Client, Security
    from distributed.core import connect

    try:
        # Tried first: a client that cannot connect goes on trying while it is thrown away, and complains of it.
        asyncio.run(connect(address, timeout=wait_s, **Security().get_connection_args("client"))).abort()
        return Client(address, timeout=wait_s, set_as_default=False)
    except (OSError, ValueError, ImportError) as error:  # ImportError: for a protocol that nobody installed
        reason = f"{error}".partition("\n")[0]
        raise NotPossible(Fact("no-cluster", {"address": address, "wait_s": wait_s, "reason": reason})) from error


@contextmanager
def _silent(name: str) -> Iterator[None]:
    log = logging.getLogger(name)
    level = log.level
    log.setLevel(logging.CRITICAL + 1)
    try:
        yield
    finally:
        log.setLevel(level)


@contextmanager
def _closing(client: "Client", name: str) -> Iterator[None]:
    """Leave nothing with the workers, as far as they can still be reached."""
    try:
        yield
    finally:
        with suppress(Exception):
            if client.status == "running":
                client.unregister_worker_plugin(name)
        with suppress(Exception):
            client.close(_CLOSING_S)


def _give(client: "Client", address: str, name: str, held: Held) -> None:
    """Let every worker keep it, those that come later too. None of them depends on another for it: chunks that need
    the answer of a call can wait for ever for one that a worker took with it when it died."""
    from pickle import dumps

    from distributed import WorkerPlugin

    class Keeping(WorkerPlugin):  # type: ignore[misc]  # sent as it is, as the cluster does not know it
        def __init__(self) -> None:
            self.name, self.given = name, (dumps(held), __version__, address)

        def setup(self, worker: object) -> None:
            unpack(self.name, *self.given)

        def teardown(self, worker: object) -> None:
            forget(self.name)

    try:
        client.register_plugin(Keeping(), name)
    except NotPossible:
        raise
    except Exception as error:
        reason = f"{error}".partition("\n")[0]
        raise NotPossible(Fact("cluster-unfit", {"address": address, "reason": reason})) from error


def unpack(name: str, packed: bytes, version: str, address: str) -> None:
    """Done by a worker of a cluster: keep draw and task by a name, if this is the fitmatch that they come from."""
    if version != __version__:
        raise NotPossible(Fact("cluster-version", {"address": address, "theirs": __version__, "ours": version}))
    from pickle import loads

    KEPT[name] = loads(packed)  # noqa: S301 (from the scheduler that this worker obeys anyway)


def forget(name: str) -> None:
    """Done by a worker of a cluster when a run has ended."""
    KEPT.pop(name, None)


class _Counting:
    """Counts the calls that a cluster works at once; raises NotPossible where for too long it is none."""

    def __init__(self, client: "Client", address: str, wait_s: float) -> None:
        self._client, self._address, self._wait_s = client, address, wait_s
        self._seen = time.monotonic()

    def __call__(self) -> int:
        number: int = sum(self._client.nthreads().values())
        if number:
            self._seen = time.monotonic()
        elif time.monotonic() - self._seen >= self._wait_s:
            raise NotPossible(Fact("cluster-without-workers", {"address": self._address, "wait_s": self._wait_s}))
        return number
