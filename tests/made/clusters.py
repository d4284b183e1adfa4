"""A cluster of processes of this machine, as a plant would have one of many machines."""

import json
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent.parent
# What a process of its own needs to find fitmatch as it is here, and the toys.
PATHS = {"PYTHONPATH": os.pathsep.join([str(ROOT), str(ROOT / "tests")])}


class Cluster:
    """A scheduler of Dask and its workers; a worker that is killed stays away."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._told = folder / "scheduler.json"
        self.scheduler = self._start("scheduler", "--port", "0")
        self.workers: list[subprocess.Popen[bytes]] = []
        while not self._told.exists() or not self._told.read_text().rstrip().endswith("}"):
            assert self.scheduler.poll() is None
            time.sleep(0.05)
        self.address: str = json.loads(self._told.read_text())["address"]

    def more(self, workers: int) -> None:
        """Start so many more."""
        self.workers += [self._start("worker", "--nthreads", "1", "--no-nanny") for _ in range(workers)]

    def alive(self) -> int:
        """How many workers have not been killed."""
        return sum(worker.poll() is None for worker in self.workers)

    def _start(self, what: str, *options: str) -> subprocess.Popen[bytes]:
        line = [sys.executable, "-m", f"distributed.cli.dask_{what}", "--host", "127.0.0.1", "--no-dashboard"]
        with (self._folder / "log").open("ab") as log:
            return subprocess.Popen(
                [*line, "--scheduler-file", str(self._told), *options],
                env={**os.environ, **PATHS},
                cwd=self._folder,
                stdout=log,
                stderr=log,
            )

    def stop(self) -> None:
        """End all of them."""
        for process in (*self.workers, self.scheduler):
            process.kill()
            process.wait()


@contextmanager
def a_cluster(folder: Path, workers: int) -> Iterator[Cluster]:
    """A cluster with so many workers, for as long as it is needed."""
    cluster = Cluster(folder)
    try:
        cluster.more(workers)
        yield cluster
    finally:
        cluster.stop()
