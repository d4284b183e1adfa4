"""Draws kept in a file by two workers, as a process of its own that can be ended: FILE MOST FOLDER. From the fourth on
each takes minutes, and leaves a mark in the folder when it begins."""

import sys
from pathlib import Path

from made.toy_draws import Toy, slow

from fitmatch.study.workers.crews import processes
from fitmatch.study.workers.resuming import work_on


def main(file: str, most: str, folder: str) -> None:
    """Say each draw as it comes."""
    task = Toy(at=3, marks=(folder,))
    for number, _ in work_on(Path(file), processes(2), slow, task, range(int(most))):
        print(number, flush=True)


if __name__ == "__main__":
    main(*sys.argv[1:])
