"""Kill every action on a shelf at many points, and see that each has done all or nothing.

    python tests/kill_shelf.py --points 200            on SQLite and on PostgreSQL
    python tests/kill_shelf.py --only sqlite           on one of them
    python tests/kill_shelf.py --rewrite               and puts how many there were into docs/speed.md

A fifth of the points of each action are while it commits; actions that differ little from another have a fifth of the
points. Prints how many kills there were and what broke; exits 1 if anything did. PostgreSQL needs its programs, as the
tests do.
"""

import argparse
import sys
import tempfile
from collections.abc import Iterator
from contextlib import ExitStack
from pathlib import Path

from benchmark import rewrite
from made.kills import ACTIONS, FURTHER, Kills, Stages, broken_by_kills, broken_exports, broken_openings
from made.postgres import server

DATABASES = {"sqlite": "SQLite", "postgresql": "PostgreSQL"}


def kills(database: str, points: int) -> Iterator[tuple[str, Kills]]:
    """By action."""
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory()))
        stages = Stages(folder, None if database == "sqlite" else stack.enter_context(server()))
        for name in ACTIONS:
            number = points // 5 if name in FURTHER else points
            yield name, broken_by_kills(stages, name, number - number // 5, number // 5)
        yield "export", broken_exports(stages, points)
        yield "making a shelf", broken_openings(stages.place, points // 5)


def main() -> int:
    """Kill and look."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--points", type=int, default=200)
    parser.add_argument("--only", choices=DATABASES)
    parser.add_argument("--rewrite", action="store_true")
    asked = parser.parse_args()
    found: dict[str, dict[str, Kills]] = {}
    names = [asked.only] if asked.only else [*DATABASES]
    for database in names:
        for action, done in kills(database, asked.points):
            found.setdefault(action, {})[database] = done
            print(f"{DATABASES[database]}: {action}: {done.kills} kills, {len(done.broken)} broken", flush=True)
            for text in done.broken:
                print(f"    {text}")
    if asked.rewrite:
        head = ["action", *(f"{DATABASES[name]}: kills, neither all nor nothing" for name in names)]
        rows = []
        for action, of in found.items():
            name = action if action.startswith("making") else f"`{action}`"
            rows.append([name, *(f"{of[database].kills}, {len(of[database].broken)}" for database in names)])
        rewrite("kills", [f"| {' | '.join(cells)} |" for cells in (head, ["---"] * len(head), *rows)])
    return 1 if any(done.broken for of in found.values() for done in of.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
