"""How well mistakes in readings are found and named: a seeded study, printed as the tables of docs/doubts.md.

    python tests/doubt_study.py [--jobs N] [--clean READINGS] [--seed N] [--rewrite]

One mistake is hidden in each engine of `made/mistaken_jobs.py`, every kind of mistake equally often. Counted are errors
of eight times the scatter or more in groups of four or more; how many smaller ones are found is a table of its own.
"""

import argparse
import random
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Final, NamedTuple

from made.mistaken_jobs import MISTAKES, Engine, Kind, Planted, engine

from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.records.measuring import Doubt

PAGE: Final = Path(__file__).resolve().parent.parent / "docs" / "doubts.md"
LARGE: Final = 8  # times the scatter
CURVE: Final = (1, 2, 3, 4, 5, 6, 7, 8, 10, 15, 30)
COUNTS: Final = ((4, 5), (6, 8), (9, 13))  # positions
JOBS: Final = 200  # of each mistake
CLEAN: Final = 200_000  # readings
SEED: Final = 1
START: Final = "<!-- tables: made by tests/doubt_study.py -->"
END: Final = "<!-- end of tables -->"
# Mistakes whose size is even over a range from next to nothing: they make the curve of detection against size.
CURVED: Final = ("wall before coating", "dirt on a shell", "dirt in the bore", "journal warm", "dirt on a journal")


class Trial(NamedTuple):
    """One mistake: how many positions the engine has, the error over the scatter, and what came of it."""

    mistake: str
    positions: int
    share: float
    found: bool
    first: bool
    among: bool


def trials(seed: int, name: str, jobs: int, least: float) -> Iterator[Trial]:
    """`jobs` engines with one mistake of at least so many times the scatter; what no file can hold, and what an engine
    has no room for, is drawn again."""
    rng = random.Random(f"{seed} {name}")
    kind = MISTAKES[name]
    done = 0
    while done < jobs:
        made = engine(rng)
        planted = kind.plant(rng, made)
        if planted is None:
            continue
        share = planted.error_nm / made.scatter[planted.cells[0][0]]
        if share < least:
            continue
        done += 1
        named = [d.signatures for d in doubts_of(made.job()) if _about(d, made, planted, kind)]
        first = any(names[0] in kind.right for names in named)
        among = any(set(names) & set(kind.right) for names in named)
        yield Trial(name, len(made.cells("journal")), share, bool(named), first, among)


def _about(doubt: Doubt, made: Engine, planted: Planted, kind: Kind) -> bool:
    """Whether a doubt is about what was planted. What a whole kind shares may stand at any of its items."""
    item = tuple(doubt.item.split("/", 1)) if doubt.feature == "wall" else doubt.item
    if (doubt.feature, item) in planted.cells:
        return True
    return kind.everywhere and made.kinds[doubt.feature, item] in {made.kinds[c] for c in planted.cells}


def false_alarms(seed: int, readings: int, *, wide: bool = False) -> tuple[int, int]:
    """Doubts, and readings, of engines without a mistake."""
    rng = random.Random(f"{seed} clean{' wide' if wide else ''}")
    seen = alarms = 0
    while seen < readings:
        made = engine(rng, wide=wide)
        alarms += len(doubts_of(made.job()))
        seen += sum(map(len, made.readings.values()))
    return alarms, seen


class Study(NamedTuple):
    """Everything that the page shows."""

    trials: tuple[Trial, ...]
    curve: tuple[Trial, ...]
    alarms: int
    readings: int
    wide_alarms: int  # the same where journals and bores scatter as far as they do in any engine
    wide_readings: int


def study(seed: int, jobs: int, readings: int) -> Study:
    """The whole study; each part has random numbers of its own, so that their order does not matter."""
    every = (t for name in MISTAKES for t in trials(seed, name, jobs, LARGE))
    curve = (t for name in CURVED for t in trials(seed + 1, name, 5 * jobs, CURVE[0]))
    return Study(tuple(every), tuple(curve), *false_alarms(seed, readings), *false_alarms(seed, readings, wide=True))


def shares(some: list[Trial]) -> tuple[float, float, float]:
    """Detected; and of those detected named first, and among three."""
    found = [t for t in some if t.found]
    return (
        len(found) / max(1, len(some)),
        sum(t.first for t in found) / max(1, len(found)),
        sum(t.among for t in found) / max(1, len(found)),
    )


def page(found: Study) -> str:
    """The tables, as they are in docs/doubts.md."""
    rate, wide = (
        f"{alarms} in {readings} readings without a mistake, {1000 * alarms / readings:.2f} per 1,000"
        for alarms, readings in ((found.alarms, found.readings), (found.wide_alarms, found.wide_readings))
    )
    lines = [f"False alarms: {rate}; where journals and bores scatter by 5 um: {wide}.", ""]
    lines += ["| positions | detected | right mistake first | among three |", "| --- | --- | --- | --- |"]
    for low, high in (*COUNTS, (COUNTS[0][0], COUNTS[-1][1])):
        some = [t for t in found.trials if low <= t.positions <= high]
        lines.append(f"| {low} to {high} | " + " | ".join(f"{100 * s:.1f} %" for s in shares(some)) + " |")
    lines += ["", "| mistake | detected | named first | among three |", "| --- | --- | --- | --- |"]
    for name in MISTAKES:
        mine = [t for t in found.trials if t.mistake == name]
        _, first, among = shares(mine)
        lines.append(
            f"| {name} | {sum(t.found for t in mine)} of {len(mine)} | {100 * first:.0f} % | {100 * among:.0f} % |"
        )
    heads = [f"{low} to {high} positions" for low, high in COUNTS]
    lines += ["", f"| error / scatter | {' | '.join(heads)} |", "| --- " * (len(COUNTS) + 1) + "|"]
    for low, high in pairwise(CURVE):
        cells = []
        for fewest, most in COUNTS:
            some = [t for t in found.curve if fewest <= t.positions <= most and low <= t.share < high]
            cells.append(f"{100 * sum(t.found for t in some) / len(some):.0f} %" if some else "-")
        lines.append(f"| {low} to {high} | {' | '.join(cells)} |")
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--jobs", type=int, default=JOBS)
    parser.add_argument("--clean", type=int, default=CLEAN)
    parser.add_argument("--seed", type=int, default=SEED)
    parser.add_argument("--rewrite", action="store_true", help="write the tables into docs/doubts.md")
    given = parser.parse_args()
    tables = page(study(given.seed, given.jobs, given.clean))
    if given.rewrite:
        before, _, rest = PAGE.read_text(encoding="utf-8").partition(START)
        _, _, after = rest.partition(END)
        PAGE.write_text(f"{before}{START}\n\n{tables}\n{END}{after}", encoding="utf-8")
    else:
        print(tables, end="")


if __name__ == "__main__":
    main()
