"""How well mistakes in readings are found and named: a seeded study, printed as the tables of docs/doubts.md.

    python tests/doubt_study.py [--jobs N] [--clean READINGS] [--seed N] [--rewrite]

Every job has two kinds of n positions and two boxes of n uppers and n lowers for each, so all groups have n readings:
scatter 3 um in journals and housing bores, 1.6 um in walls, boxes 1 um apart, readings rounded to 0.0001 in or 1 um.
A quarter of the jobs has walls of two steps, a quarter journals of two undersizes. One mistake is planted in each job;
every mistake that a file can hold is planted equally often, its size even over the range that the trade gives.
"""

import argparse
import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from pathlib import Path
from typing import Final, NamedTuple

from fitmatch.gauging.doubts.check import doubts_of
from fitmatch.records.job import Job
from fitmatch.records.measuring import Measuring, Reading
from fitmatch.records.parts import Fit, Position, Shell, Size

PAGE: Final = Path(__file__).resolve().parent.parent / "docs" / "doubts.md"
SIZES: Final = (5, 8, 20, 40)
SCATTER: Final = {"journal": 3_000.0, "housing_bore": 3_000.0, "wall": 1_600.0}
LARGE: Final = 6  # times the scatter
CURVE: Final = (1, 2, 3, 4, 5, 6, 7, 8, 10, 15, 30)
JOBS: Final = 100  # of each mistake and size
CLEAN: Final = 200_000  # readings
SEED: Final = 1
START: Final = "<!-- tables: made by tests/doubt_study.py -->"
END: Final = "<!-- end of tables -->"
TENTH: Final = 2_540
INCH: Final = 25_400_000
MM: Final = 1_000_000
GRID: Final = {"in": TENTH, "mm": 1_000}
NOMINAL: Final = {"rod": (46_131_000, 49_327_000), "main": (47_982_000, 51_611_000)}
TARGET: Final = 55_000
STEP_OF_WALL: Final = 12_700
UNDERSIZE: Final = 250_000
PLAUSIBLE: Final = {"journal": (5 * MM, 2_000 * MM), "housing_bore": (5 * MM, 2_000 * MM), "wall": (200_000, 25 * MM)}

Cell = tuple[str, object]  # feature, and position's name or shell's box and name


@dataclass
class Bench:
    """The readings of one job, in nm, before they become records."""

    unit: str
    readings: dict[Cell, int] = field(default_factory=dict)
    groups: dict[Cell, tuple[str, ...]] = field(default_factory=dict)
    labels: dict[str, str] = field(default_factory=dict)  # undersize by position
    oblique: dict[str, tuple[int, int]] = field(default_factory=dict)  # bores at 45 and 135 degrees, by position

    def rounded(self, nm: float) -> int:
        return round(nm / GRID[self.unit]) * GRID[self.unit]

    def cells(self, feature: str) -> list[Cell]:
        return [cell for cell in self.readings if cell[0] == feature]

    def job(self) -> Job:
        positions = []
        for kind, (journal, bore) in NOMINAL.items():
            for cell in self.cells("journal"):
                if self.groups[cell][1] == kind:
                    name = str(cell[1])
                    read = Reading(self.readings["journal", name])
                    size = Size(journal, journal, journal, (read,))
                    bores = (Reading(self.readings["housing_bore", name], angle=0.0),)
                    turned = zip(self.oblique.get(name, ()), (45.0, 135.0), strict=False)
                    aside = tuple(Reading(nm, angle=a) for nm, a in turned)
                    housing = Size(bore, bore, bore, bores, aside=aside)
                    undersize = self.labels.get(name, "")
                    positions.append(
                        Position(name, kind, size, housing, TARGET, row=len(positions) + 2, undersize=undersize)
                    )
        shells = []
        for row, cell in enumerate(self.cells("wall"), 2):
            box, name = cell[1]  # type: ignore[misc]
            _, kind, half, *_ = self.groups[cell]
            nm = self.readings[cell]
            measured = Size(nm, nm, nm, (Reading(nm),))
            shells.append(Shell(name, box, kind, half, nm, file=box, row=row, measured=measured))
        fits = {kind: Fit(kind, TARGET) for kind in NOMINAL}
        measuring = Measuring(positions_file="positions.csv")
        return Job(Path("study"), "", self.unit, fits, tuple(positions), tuple(shells), measuring=measuring)


def clean(rng: random.Random, n: int) -> Bench:
    """A job without a mistake."""
    bench = Bench(rng.choice(["in", "mm"]))
    layout = rng.choice(["plain", "plain", "steps", "undersizes"])
    for kind, (journal, bore) in NOMINAL.items():
        unders = ["std", "under"] if layout == "undersizes" and kind == "rod" else ["std"]
        for label in unders:
            ground = UNDERSIZE if label == "under" else 0
            for i in range(n):
                name = f"{kind}-{label}-{i}"
                bench.labels[name] = label if len(unders) > 1 else ""
                for feature, nominal in (("journal", journal - ground), ("housing_bore", bore)):
                    bench.readings[feature, name] = bench.rounded(rng.gauss(nominal, SCATTER[feature]))
                    bench.groups[feature, name] = (feature, kind, label if feature == "journal" else "")
            wall = (bore - journal - TARGET + ground) / 2
            for b in range(2):
                middle = wall + b * 1_000 + (b * STEP_OF_WALL if layout == "steps" else 0)
                for half in ("upper", "lower"):
                    for i in range(n):
                        cell = ("wall", (f"{kind}-{label}-{b}", f"{half[0]}{i}"))
                        bench.readings[cell] = bench.rounded(rng.gauss(middle, SCATTER["wall"]))
                        bench.groups[cell] = ("wall", kind, half, f"{kind}-{label}-{b}")
    return bench


class Planted(NamedTuple):
    """What was changed: the cells, and the largest error."""

    cells: tuple[Cell, ...]
    error_nm: float


Plant = Callable[[random.Random, Bench], Planted | None]


def _put(bench: Bench, changes: dict[Cell, float]) -> Planted | None:
    """Write wrong readings, unless no file could hold them."""
    errors = []
    for cell, nm in changes.items():
        low, high = PLAUSIBLE[cell[0]]
        if not low <= nm <= high:
            return None
        errors.append(abs(nm - bench.readings[cell]))
        bench.readings[cell] = round(nm)
    if any(bench.readings["housing_bore", c[1]] <= nm for c, nm in bench.readings.items() if c[0] == "journal"):
        return None
    return Planted(tuple(changes), max(errors))


def one(feature: str, error: Callable[[random.Random, Bench, int], float]) -> Plant:
    """One reading of a feature changed by an error, rounded as every reading is."""

    def plant(rng: random.Random, bench: Bench) -> Planted | None:
        cell = rng.choice(bench.cells(feature))
        nm = bench.readings[cell]
        return _put(bench, {cell: bench.rounded(nm + error(rng, bench, nm))})

    return plant


def typed(feature: str, slip: Callable[[random.Random, str], str | None]) -> Plant:
    """One reading of a feature with a mistake in its typed digits."""

    def plant(rng: random.Random, bench: Bench) -> Planted | None:
        cell = rng.choice(bench.cells(feature))
        per, places = (INCH, 4) if bench.unit == "in" else (MM, 3)
        text = slip(rng, f"{bench.readings[cell] / per:.{places}f}")
        return None if text is None else _put(bench, {cell: round(float(text) * per)})

    return plant


def _transposed(rng: random.Random, text: str) -> str | None:
    places = [i for i, c in enumerate(text) if c != "."]
    pairs = [(a, b) for a, b in pairwise(places) if text[a] != text[b]]
    a, b = rng.choice(pairs)
    some = list(text)
    some[a], some[b] = some[b], some[a]
    return "".join(some)


def _dropped(rng: random.Random, text: str) -> str | None:
    k = rng.choice([i for i, c in enumerate(text) if c != "."])
    left = text[:k] + text[k + 1 :]
    return left if left.strip(".") else None


def _doubled(rng: random.Random, text: str) -> str | None:
    k = rng.choice([i for i, c in enumerate(text) if c != "."])
    return text[: k + 1] + text[k:]


def _slipped(rng: random.Random, text: str) -> str | None:
    return f"{float(text) * rng.choice([10, 0.1]):.6f}"


def _other_unit(rng: random.Random, text: str) -> str | None:
    return f"{float(text) * rng.choice([25.4, 1 / 25.4]):.5f}"


def _signed(*amounts: float) -> Callable[[random.Random, Bench, int], float]:
    return lambda rng, _bench, _nm: rng.choice(amounts) * rng.choice((1, -1))


def _range(low: float, high: float) -> Callable[[random.Random, Bench, int], float]:
    return lambda rng, _bench, _nm: rng.uniform(low, high)


def _turn(rng: random.Random, bench: Bench, _nm: int) -> float:
    return (INCH / 40 if bench.unit == "in" else MM / 2) * rng.choice((1, -1, 2, -2))


def _frame(rng: random.Random, bench: Bench, _nm: int) -> float:
    return (INCH if bench.unit == "in" else 25 * MM) * rng.choice((1, -1))


def _dial(rng: random.Random, bench: Bench, _nm: int) -> float:
    some = (INCH / 100, INCH / 50) if bench.unit == "in" else (MM / 5, MM / 2, MM)
    return rng.choice(some) * rng.choice((1, -1))


def _sign(rng: random.Random, bench: Bench, nm: int) -> float:
    return -2 * rng.choice((1, -1)) * rng.uniform(TENTH, 20 * TENTH)


def _setting(rng: random.Random, bench: Bench) -> Planted | None:
    """All bores of a kind from one position on, with the gauge set 0.0002 to 0.001 in wrong."""
    kind = rng.choice(list(NOMINAL))
    cells = [c for c in bench.cells("housing_bore") if bench.groups[c][1] == kind]
    later = cells[rng.randrange(1, len(cells)) :]
    error = rng.choice((1, -1)) * rng.uniform(2 * TENTH, 10 * TENTH)
    return _put(bench, {c: bench.rounded(bench.readings[c] + error) for c in later})


def _sitting(low: float, high: float) -> Plant:
    """All walls of one box off by the same."""

    def plant(rng: random.Random, bench: Bench) -> Planted | None:
        box = rng.choice([c[1][0] for c in bench.cells("wall")])  # type: ignore[index]
        error = rng.uniform(low, high)
        cells = [c for c in bench.cells("wall") if c[1][0] == box]  # type: ignore[index]
        return _put(bench, {c: bench.rounded(bench.readings[c] + error) for c in cells})

    return plant


def _tables(rng: random.Random, bench: Bench) -> Planted | None:
    """The journals of a rod and a main swapped, or their bores."""
    feature = rng.choice(("journal", "housing_bore"))
    rod, main = (rng.choice([c for c in bench.cells(feature) if bench.groups[c][1] == k]) for k in ("rod", "main"))
    return _put(bench, {rod: bench.readings[main], main: bench.readings[rod]})


def _walls_exchanged(rng: random.Random, bench: Bench) -> Planted | None:
    """Two shells of different boxes taken for one another."""
    one_cell, other = rng.sample(bench.cells("wall"), 2)
    return _put(bench, {one_cell: bench.readings[other], other: bench.readings[one_cell]})


def _undersize(rng: random.Random, bench: Bench) -> Planted | None:
    """Every rod journal ground to an undersize, the shells for standard ones, or the other way round."""
    error = rng.choice((INCH / 100, MM / 4)) * rng.choice((1, 2, 3)) * rng.choice((1, -1))
    cells = [c for c in bench.cells("journal") if bench.groups[c][1] == "rod"]
    return _put(bench, {c: bench.rounded(bench.readings[c] + error) for c in cells})


def _cap(rng: random.Random, bench: Bench) -> Planted | None:
    """A cap swapped with another or fitted the wrong way round: bores read at 45 degrees either side too, in one these
    are 0.001 to 0.005 in apart."""
    for _, name in bench.cells("housing_bore"):
        bore = bench.readings["housing_bore", name]
        bench.oblique[str(name)] = tuple(bench.rounded(rng.gauss(bore, 2_000)) for _ in range(2))  # type: ignore[assignment]
    _, name = cell = rng.choice(bench.cells("housing_bore"))
    apart = rng.choice((1, -1)) * rng.uniform(10 * TENTH, 50 * TENTH) / 2
    one_side, other = bench.oblique[str(name)]
    bench.oblique[str(name)] = bench.rounded(one_side + apart), bench.rounded(other - apart)
    return Planted((cell,), abs(apart))


class Kind(NamedTuple):
    """One mistake to plant, and the names that say it rightly."""

    plant: Plant
    right: tuple[str, ...]


MISTAKES: Final[dict[str, Kind]] = {
    "one or two thimble turns, journal": Kind(one("journal", _turn), ("thimble-turn",)),
    "one or two thimble turns, wall": Kind(one("wall", _turn), ("thimble-turn",)),
    "one turn of a dial calliper": Kind(one("journal", _signed(INCH / 10)), ("calliper-turn",)),
    "wrong frame or standard, journal": Kind(one("journal", _frame), ("wrong-frame",)),
    "wrong frame or standard, bore": Kind(one("housing_bore", _frame), ("wrong-frame",)),
    "digits transposed, journal": Kind(typed("journal", _transposed), ("digits-transposed",)),
    "digits transposed, bore": Kind(typed("housing_bore", _transposed), ("digits-transposed",)),
    "digits transposed, wall": Kind(typed("wall", _transposed), ("digits-transposed",)),
    "digit dropped": Kind(typed("journal", _dropped), ("digit-dropped",)),
    "digit doubled": Kind(typed("housing_bore", _doubled), ("digit-doubled",)),
    "decimal point slipped, bore": Kind(typed("housing_bore", _slipped), ("decimal-slip",)),
    "decimal point slipped, wall": Kind(typed("wall", _slipped), ("decimal-slip",)),
    "wrong unit": Kind(typed("housing_bore", _other_unit), ("wrong-unit",)),
    "ball not taken off, one box": Kind(_sitting(4.5 * MM, 5.5 * MM), ("ball-left-in",)),
    "flat anvil, one shell": Kind(one("wall", _range(140_000, 240_000)), ("flat-anvil",)),
    "flat anvil, one box": Kind(_sitting(140_000, 240_000), ("flat-anvil",)),
    "wall off the crown": Kind(one("wall", _range(-10 * TENTH, -3 * TENTH)), ("wall-low",)),
    "wall before coating": Kind(one("wall", _range(-5 * TENTH, -2 * TENTH)), ("wall-low",)),
    "dirt on a shell": Kind(one("wall", _range(TENTH, 10 * TENTH)), ("wall-high",)),
    "wall in a groove or hole": Kind(one("wall", _range(-INCH / 20, -INCH / 50)), ("groove-or-hole",)),
    "bore in a groove or hole": Kind(one("housing_bore", _range(INCH / 50, INCH / 20)), ("groove-or-hole",)),
    "bore at the joint": Kind(one("housing_bore", _range(5 * TENTH, 20 * TENTH)), ("bore-high",)),
    "bore gauge tilted": Kind(one("housing_bore", _range(9_000, 96_000)), ("bore-high",)),
    "fasteners loose or dry": Kind(one("housing_bore", _range(3 * TENTH, 30 * TENTH)), ("bore-high",)),
    "bore gauge off the diameter": Kind(one("housing_bore", _range(-40 * TENTH, -3 * TENTH)), ("bore-low",)),
    "dirt in the bore": Kind(one("housing_bore", _range(-10 * TENTH, -TENTH)), ("bore-low",)),
    "bore gauge set wrong from a position on": Kind(_setting, ("gauge-setting",)),
    "indicator's sign reversed": Kind(one("housing_bore", _sign), ("sign-reversed",)),
    "one turn of the indicator": Kind(one("housing_bore", _dial), ("indicator-turn",)),
    "journal warm": Kind(one("journal", _range(1.3 * TENTH, 12.6 * TENTH)), ("journal-high",)),
    "dirt on a journal": Kind(one("journal", _range(TENTH, 10 * TENTH)), ("journal-high",)),
    "rod and main exchanged": Kind(_tables, ("other-group",)),
    "two shells exchanged": Kind(_walls_exchanged, ("other-group",)),
    "undersize of all rod journals": Kind(_undersize, ("undersize-shells",)),
    "cap swapped with another or fitted the wrong way round": Kind(_cap, ("cap-exchanged",)),
}


# Mistakes whose size is even over a range: they make the curve of detection against size.
CURVED: Final = tuple(
    name
    for name in MISTAKES
    if name.split()[0] in ("wall", "dirt", "bore", "fasteners", "journal") and "hole" not in name
)


class Trial(NamedTuple):
    mistake: str
    size: int
    share: float  # largest error over the scatter
    found: bool
    first: bool
    among: bool


def trials(rng: random.Random, size: int, jobs: int) -> Iterator[Trial]:
    """`jobs` of each mistake with an error larger than the scatter; what no file can hold is drawn again."""
    for name, (plant, right) in MISTAKES.items():
        done = 0
        while done < jobs:
            bench = clean(rng, size)
            planted = plant(rng, bench)
            if planted is None:
                continue
            share = planted.error_nm / SCATTER[planted.cells[0][0]]
            done += 1
            if share <= 1:
                continue
            cells = {(f, item if isinstance(item, str) else "/".join(item)) for f, item in planted.cells}  # type: ignore[arg-type]
            kinds = {bench.groups[c][1] for c in planted.cells}
            doubts = [d for d in doubts_of(bench.job()) if _about(d.feature, d.item, cells, kinds, right)]
            named = [d.signatures for d in doubts]
            yield Trial(
                name,
                size,
                share,
                bool(doubts),
                any(s[0] in right for s in named),
                any(set(s) & set(right) for s in named),
            )


def _about(feature: str, item: str, cells: set[tuple[str, str]], kinds: set[str], right: tuple[str, ...]) -> bool:
    """Whether a doubt is about what was planted. What a whole kind or a gauge's setting shares is reported at one
    item."""
    if (feature, item) in cells:
        return True
    return right[0] in ("undersize-shells", "gauge-setting") and any(kind in item for kind in kinds)


def false_alarms(rng: random.Random, readings: int) -> tuple[int, int]:
    """Doubts, and readings, of clean jobs of all sizes."""
    seen = alarms = 0
    while seen < readings:
        bench = clean(rng, rng.choice(SIZES))
        alarms += len(doubts_of(bench.job()))
        seen += len(bench.readings)
    return alarms, seen


class Study(NamedTuple):
    """Everything that the page shows."""

    trials: tuple[Trial, ...]
    alarms: int
    readings: int


def study(seed: int, jobs: int, readings: int) -> Study:
    """The whole study; each part has random numbers of its own, so that their order does not matter."""
    alarms, seen = false_alarms(random.Random(f"{seed} clean"), readings)
    every = (t for size in SIZES for t in trials(random.Random(f"{seed} {size}"), size, jobs))
    return Study(tuple(every), alarms, seen)


def shares(some: list[Trial]) -> tuple[float, float, float]:
    """Of errors larger than six times the scatter: detected; and of those detected named first, and among three."""
    big = [t for t in some if t.share > LARGE]
    found = [t for t in big if t.found]
    return (
        len(found) / max(1, len(big)),
        sum(t.first for t in found) / max(1, len(found)),
        sum(t.among for t in found) / max(1, len(found)),
    )


def far(t: Trial) -> bool:
    """Whether an error is so large that every mistake by itself must be found."""
    return t.share > (10 if t.size < 8 else 8)


def page(found: Study) -> str:
    """The tables, as they are in docs/doubts.md."""
    rate = f"{1000 * found.alarms / found.readings:.2f}"
    lines = [f"False alarms: {found.alarms} in {found.readings} readings without a mistake, {rate} per 1,000.", ""]
    lines += ["| readings in a group | detected | right mistake first | among three |", "| --- | --- | --- | --- |"]
    for size in SIZES:
        some = [t for t in found.trials if t.size == size]
        lines.append(f"| {size} | " + " | ".join(f"{100 * s:.1f} %" for s in shares(some)) + " |")
    lines += ["", "| mistake | " + " | ".join(f"group of {size}" for size in SIZES) + " | named first |"]
    lines.append("| --- " * (len(SIZES) + 2) + "|")
    for name in MISTAKES:
        cells = []
        mine = [t for t in found.trials if t.mistake == name]
        for size in SIZES:
            big = [t for t in mine if t.size == size and t.share > LARGE]
            cells.append(f"{sum(t.found for t in big)} of {len(big)}")
        lines.append(f"| {name} | {' | '.join(cells)} | {100 * shares(mine)[1]:.0f} % |")
    lines += ["", "| error / scatter | " + " | ".join(f"group of {size}" for size in SIZES) + " |"]
    lines.append("| --- " * (len(SIZES) + 1) + "|")
    for low, high in pairwise(CURVE):
        cells = []
        for size in SIZES:
            some = [t for t in found.trials if t.size == size and low <= t.share < high and t.mistake in CURVED]
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
