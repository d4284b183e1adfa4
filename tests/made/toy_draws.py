"""Draws in pure Python, cheap and easy to follow, that can be told to go wrong."""

import os
import random
import signal
import time
from pathlib import Path


class Toy:
    """A task: what every outcome depends on, and at which draw something happens, once for each mark, the name of a
    file, that is not there yet."""

    def __init__(
        self, seed: int = 1, loops: int = 50, at: int = -1, marks: tuple[str, ...] = (), pause_s: float = 0.0
    ) -> None:
        self.seed, self.loops, self.at, self.marks, self.pause_s = seed, loops, at, marks, pause_s

    def __repr__(self) -> str:
        return f"{self.seed} {self.loops}"  # that is what the outcomes depend on


def toy(task: Toy, number: int) -> tuple[int, ...]:
    """Whole numbers that depend on task and number alone."""
    rng = random.Random(task.seed * 1_000_003 + number)
    time.sleep(task.pause_s)  # as if there were much to do
    return number, sum(rng.getrandbits(20) for _ in range(task.loops)), -rng.getrandbits(40)


def signed(task: Toy, number: int) -> tuple[int, ...]:
    """The same, and by which process."""
    return os.getpid(), *toy(task, number)


def dying(task: Toy, number: int) -> tuple[int, ...]:
    """The same; at the draw `at` its process is killed as long as a mark is missing."""
    if number == task.at and _marked(task):
        os.kill(os.getpid(), signal.SIGKILL)
    return toy(task, number)


def raising(task: Toy, number: int) -> tuple[int, ...]:
    """The same; at the draw `at` a mark is left and a mistake made which does not survive pickling."""
    if number == task.at:
        _marked(task)
        raise Odd(1, 2)
    return toy(task, number)


def interrupted(task: Toy, number: int) -> tuple[int, ...]:
    """The same; at the draw `at`, worked in the process that asked for it, Ctrl-C is pressed."""
    if number == task.at and _marked(task):
        raise KeyboardInterrupt
    return toy(task, number)


def slow(task: Toy, number: int) -> tuple[int, ...]:
    """The same; from the draw `at` on each leaves a mark of its own in the folder of the first, and takes minutes."""
    if number >= task.at:
        Path(task.marks[0], str(number)).touch()
        time.sleep(600)
    return toy(task, number)


class Odd(Exception):
    """Cannot be made anew from what it says."""

    def __init__(self, first: int, second: int) -> None:
        super().__init__(f"{first} and {second}")


def _marked(task: Toy) -> bool:
    """Whether a mark was missing, which is then there."""
    for mark in task.marks:
        if not Path(mark).exists():
            Path(mark).touch()
            return True
    return False
