"""Kill every action on a shelf at many points, and see that each has done all or nothing.

    python tests/kill_shelf.py --points 200

A fifth of the points of each action are while it commits; actions that differ little from another have a fifth of the
points. Prints how many kills there were and what broke; exits 1 if
anything did.
"""

import argparse
import sys
import tempfile
from pathlib import Path

from made.kills import ACTIONS, FURTHER, Stages, broken_by_kills, broken_exports, broken_openings


def main() -> int:
    """Kill and look."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--points", type=int, default=200)
    points = parser.parse_args().points
    with tempfile.TemporaryDirectory() as folder:
        stages = Stages(Path(folder))
        kills = {name: points // 5 if name in FURTHER else points for name in ACTIONS}
        found = {name: broken_by_kills(stages, name, n - n // 5, n // 5) for name, n in kills.items()}
        found["export"] = broken_exports(stages, points)
        kills["making a shelf"] = points // 5
        found["making a shelf"] = broken_openings(Path(folder), kills["making a shelf"])
    for name, broken in found.items():
        print(f"{name}: {kills.get(name, points)} kills, {len(broken)} broken")
        for text in broken:
            print(f"    {text}")
    return 1 if any(found.values()) else 0


if __name__ == "__main__":
    sys.exit(main())
