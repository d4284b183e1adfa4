"""Engines of 4 to 13 positions as a builder measures them, and mistakes hidden in them.

Every engine has its own scatter, one or two kinds of four positions or more, one or two boxes for each, one to three
readings of everything, in columns, in the long file or partly in both, and perhaps differences between its parts that
are no mistakes: grades or steps in one box, another step in the second box, journals of two undersizes, two sizes
within the drawing's limits.
"""

import random
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import Final, NamedTuple

from fitmatch.gauging.sizes.sizing import Sizes
from fitmatch.records.job import Job
from fitmatch.records.keys import full_name
from fitmatch.records.measuring import DIAMETERS, LoggedReading, Measuring, Reading
from fitmatch.records.parts import Band, Fit, Position, Shell

TENTH: Final = 2_540
INCH: Final = 25_400_000
MM: Final = 1_000_000
GRID: Final = {"in": TENTH // 2, "mm": 1_000}
NOMINAL: Final = {"rod": (46_131_000, 49_327_000), "main": (47_982_000, 51_611_000)}
TARGET: Final = 55_000
SCATTER: Final = {"journal": 3_000.0, "housing_bore": 3_000.0, "wall": 1_600.0}
PLAUSIBLE: Final = {"journal": (5 * MM, 2_000 * MM), "housing_bore": (5 * MM, 2_000 * MM), "wall": (200_000, 25 * MM)}
LAYOUTS: Final = (
    *("plain", "plain", "plain", "thicker box", "grades", "steps"),
    *("undersizes", "marked undersizes", "drawing"),
)
FEWEST: Final = 4

Cell = tuple[str, object]  # feature, and position's name or shell's box and name


@dataclass
class Taken:
    """One reading, in nm."""

    nm: int
    station: int | None = None
    angle: float | None = None
    by: str = ""


@dataclass
class Engine:
    """The readings of one job before they become records, in the order of measuring."""

    unit: str
    layout: str
    scatter: dict[str, float]
    readings: dict[Cell, list[Taken]] = field(default_factory=dict)
    kinds: dict[Cell, str] = field(default_factory=dict)
    halves: dict[Cell, str] = field(default_factory=dict)
    labels: dict[Cell, str] = field(default_factory=dict)  # grade or step of a shell, undersize of a journal
    apart: set[Cell] = field(default_factory=set)  # parts that differ from others of their group, and are no mistake
    logged: set[Cell] = field(default_factory=set)  # in the long file
    step_column: bool = False  # what stands in labels of shells is a step
    drawing: dict[str, dict[str, Band]] = field(default_factory=dict)

    def rounded(self, nm: float) -> int:
        return round(nm / GRID[self.unit]) * GRID[self.unit]

    def cells(self, feature: str) -> list[Cell]:
        return [cell for cell in self.readings if cell[0] == feature]

    def alike(self, cell: Cell) -> list[Cell]:
        """The cells of its group, itself included, in the order of measuring."""
        key = (cell[0], self._group(cell))
        found = [c for c in self.readings if (c[0], self._group(c)) == key]
        return sorted(found, key=lambda c: c in self.logged)

    def _group(self, cell: Cell) -> tuple[object, ...]:
        box = cell[1][0] if cell[0] == "wall" else ""  # type: ignore[index]
        return self.kinds[cell], self.halves.get(cell), self.labels.get(cell), box, cell in self.apart

    def large(self, feature: str) -> list[Cell]:
        """The cells of a feature in groups of four or more."""
        sizes = Counter(self._group(c) for c in self.cells(feature))
        return [c for c in self.cells(feature) if sizes[self._group(c)] >= FEWEST]

    def job(self) -> Job:
        """The records of it, as reading its files would give them."""
        measuring = Measuring(positions_file="positions.csv", log_file="readings.csv")
        sizes = Sizes(measuring, numbered_are_repeats=False)
        log: list[LoggedReading] = []
        sized = {}
        for cell, some in self.readings.items():
            column = "reading" if cell in self.logged else cell[0]
            read = [Reading(t.nm, t.station, t.angle, column=column) for t in some]
            found = sizes.sized(self.kinds[cell], cell[0], read)
            assert found is not None
            sized[cell] = found.size
            if cell in self.logged:
                shell = cell[1] if isinstance(cell[1], tuple) else None
                item = full_name(shell) if shell else str(cell[1])
                log += [
                    LoggedReading(item, cell[0], r, t.by, row=len(log) + k, shell=shell)
                    for k, (r, t) in enumerate(zip(read, some, strict=True), 2)
                ]
        positions = [
            Position(
                str(name),
                self.kinds[cell],
                sized[cell],
                sized["housing_bore", name],
                TARGET,
                row=row,
                undersize=self.labels.get(cell, ""),
            )
            for row, cell in enumerate(self.cells("journal"), 2)
            for name in [cell[1]]
        ]
        shells = []
        for row, cell in enumerate(self.cells("wall"), 2):
            box, name = cell[1]  # type: ignore[misc]
            label = self.labels.get(cell, "")
            grade, step = (None, label) if self.step_column else (label or None, "")
            wall = sized[cell]
            shells.append(
                Shell(
                    *(name, box, self.kinds[cell], self.halves[cell], wall.mean_nm),
                    grade=grade,
                    file=box,
                    row=row,
                    measured=wall,
                    step=step,
                )
            )
        fits = {kind: Fit(kind, TARGET) for kind in dict.fromkeys(p.kind for p in positions)}
        made = Job(Path("made"), "", self.unit, fits, tuple(positions), tuple(shells), drawing=self.drawing)
        return replace(made, measuring=replace(measuring, log=tuple(log)))


def engine(rng: random.Random, layout: str | None = None, count: int | None = None, *, wide: bool = False) -> Engine:
    """An engine without a mistake, of 4 to 13 positions unless `count` says how many. `wide`: journals and bores
    scatter as far as they do in any, and how far walls do has nothing to do with it."""
    layout = rng.choice(LAYOUTS) if layout is None else layout
    care = rng.uniform(0.6, 1.4)  # how well it was made and measured
    scatter = {feature: care * usual * rng.uniform(0.8, 1.25) for feature, usual in SCATTER.items()}
    if wide:
        scatter = dict.fromkeys(DIAMETERS, 5_000.0) | {"wall": rng.choice((800.0, 1_600.0, 2_500.0))}
    made = Engine(rng.choice(["in", "mm"]), layout, scatter)
    count = rng.randint(FEWEST, 13) if count is None else count
    parts = [count]
    if count >= 2 * FEWEST and rng.random() < 0.7:
        rods = rng.randint(FEWEST, count - FEWEST)
        parts = [rods, count - rods]
    entry = rng.choice(["columns", "columns", "measure", "mixed", "mixed"])
    made.step_column = layout == "steps" or (layout == "thicker box" and rng.random() < 0.5)
    for kind, n in zip(NOMINAL, parts, strict=False):
        _kind(rng, made, kind, n, layout, care)
    for feature in (*DIAMETERS, "wall"):
        _readings(rng, made, feature, entry)
    return made


def _kind(rng: random.Random, made: Engine, kind: str, n: int, layout: str, care: float) -> None:
    """The true sizes of a kind, as one reading each."""
    journal, bore = NOMINAL[kind]
    apart = 0
    if layout in ("undersizes", "marked undersizes"):
        apart = -rng.choice((INCH // 100, MM // 4, MM // 2))
    if layout == "drawing":
        apart = rng.randint(24_000, 60_000)
        band = Band(journal - 20_000, journal + apart + 20_000)
        made.drawing[kind] = {"journal": band}
    few = rng.randint(2, n - 2) if n < 8 else rng.randint(4, n - 4)
    others = set(rng.sample(range(n), few) if rng.random() < 0.5 else range(n - few, n)) if apart else set()
    for i in range(n):
        for feature, nominal in (("journal", journal + (apart if i in others else 0)), ("housing_bore", bore)):
            cell = (feature, f"{kind[0].upper()}{i + 1}")
            made.readings[cell] = [Taken(round(rng.gauss(nominal, made.scatter[feature])))]
            made.kinds[cell] = kind
            if feature == "journal" and i in others:
                made.apart.add(cell)
            if feature == "journal" and layout == "marked undersizes":
                made.labels[cell] = "ground" if i in others else "std"
    wall = (bore - journal - TARGET) // 2
    boxes = [wall]
    if apart and layout != "drawing":
        boxes.append(wall - apart // 2)
    elif layout == "thicker box":
        boxes.append(wall + rng.choice((TENTH * 5 // 2, TENTH * 5)))
    elif rng.random() < 0.5:
        boxes.append(wall)
    either = rng.random() < 0.25
    for b, middle in enumerate(boxes):
        of_box = middle + rng.gauss(0, 800 * care)
        steps = [0, TENTH * 5 // 2, TENTH * 5, TENTH * 10][: rng.randint(2, 4)]
        for half in ("either",) if either else ("upper", "lower"):
            for i in range(max(FEWEST, n) * (2 if either else 1)):
                cell = ("wall", (f"{kind}-{b}", f"{half[0]}{i + 1}"))
                step = 0
                if layout in ("grades", "steps"):
                    step = steps[i % len(steps)]
                    made.labels[cell] = f"g{i % len(steps)}" if layout == "grades" else f"{2 * step / MM:.4f} mm"
                elif made.step_column:
                    made.labels[cell] = f"{2 * (middle - wall) / MM:.4f} mm"
                made.readings[cell] = [Taken(round(rng.gauss(of_box + step, made.scatter["wall"])))]
                made.kinds[cell], made.halves[cell] = kind, half


def _readings(rng: random.Random, made: Engine, feature: str, entry: str) -> None:
    """Every true size of a feature as it is read: once or more, at places or not, in a column or with `measure`."""
    numbered = rng.choice((1, 1, 2, 3))
    at: list[tuple[int | None, float]] = rng.choice(
        [[(None, 0.0)], [(None, 0.0)], [(1, 0.0), (2, 0.0)], [(1, 0.0), (1, 0.0), (2, 0.0)]]
    )
    if feature == "journal" and rng.random() < 0.3:
        at = [(1, 0.0), (1, 90.0)]
    late = rng.randint(1, 3)
    for k, cell in enumerate(reversed(made.cells(feature))):
        (true,) = made.readings[cell]
        if entry == "measure" or (entry == "mixed" and (k < late if made.unit == "in" else rng.random() < 0.5)):
            made.logged.add(cell)
        places: Sequence[tuple[int | None, float | None]] = at if cell in made.logged else [(None, None)] * numbered
        noise = 0.25 * made.scatter[feature] if len(places) > 1 else 0.0
        made.readings[cell] = [
            Taken(made.rounded(rng.gauss(true.nm, noise)), station, angle) for station, angle in places
        ]


# --- mistakes ---------------------------------------------------------------------------------------------------------


class Planted(NamedTuple):
    """What was changed: the cells, and the largest error."""

    cells: tuple[Cell, ...]
    error_nm: float


Plant = Callable[[random.Random, Engine], Planted | None]
Error = Callable[[random.Random, Engine, int], float]


def _changed(made: Engine, changes: Iterable[tuple[Cell, Taken, float]]) -> Planted | None:
    """Write wrong readings, unless no file could hold them."""
    cells, errors = [], []
    for cell, taken, nm in list(changes):
        low, high = PLAUSIBLE[cell[0]]
        if not low <= nm <= high:
            return None
        cells.append(cell)
        errors.append(abs(nm - taken.nm))
        taken.nm = round(nm)
    for cell in made.cells("journal"):
        if made.readings["housing_bore", cell[1]][0].nm <= max(t.nm for t in made.readings[cell]):
            return None
    return Planted(tuple(dict.fromkeys(cells)), max(errors))


def one(feature: str, error: Error) -> Plant:
    """One reading of a feature changed by an error, rounded as every reading is."""

    def plant(rng: random.Random, made: Engine) -> Planted | None:
        if not made.large(feature):
            return None
        cell = rng.choice(made.large(feature))
        taken = rng.choice(made.readings[cell])
        return _changed(made, [(cell, taken, made.rounded(taken.nm + error(rng, made, taken.nm)))])

    return plant


def part(feature: str, error: Error) -> Plant:
    """All readings of one part changed by an error: it is the part that is warm, dirty or loose."""

    def plant(rng: random.Random, made: Engine) -> Planted | None:
        if not made.large(feature):
            return None
        cell = rng.choice(made.large(feature))
        by = error(rng, made, made.readings[cell][0].nm)
        return _changed(made, [(cell, t, made.rounded(t.nm + by)) for t in made.readings[cell]])

    return plant


def typed(feature: str, slip: Callable[[random.Random, str], str | None]) -> Plant:
    """One reading of a feature with a mistake in its typed digits."""

    def plant(rng: random.Random, made: Engine) -> Planted | None:
        if not made.large(feature):
            return None
        cell = rng.choice(made.large(feature))
        taken = rng.choice(made.readings[cell])
        per, places = (INCH, 5) if made.unit == "in" else (MM, 3)
        text = slip(rng, f"{taken.nm / per:.{places}f}")
        return None if text is None else _changed(made, [(cell, taken, round(Fraction(text) * per))])

    return plant


def _transposed(rng: random.Random, text: str) -> str | None:
    places = [i for i, c in enumerate(text) if c != "."]
    a, b = rng.choice([(a, b) for a, b in pairwise(places) if text[a] != text[b]])
    some = list(text)
    some[a], some[b] = some[b], some[a]
    return "".join(some)


def _dropped(rng: random.Random, text: str) -> str | None:
    k = rng.choice([i for i, c in enumerate(text) if c != "."])
    left = text[:k] + text[k + 1 :]
    return left if left.strip(".") else None


def _shortened(rng: random.Random, text: str) -> str | None:
    return text[:-1]


def _doubled(rng: random.Random, text: str) -> str | None:
    k = rng.choice([i for i, c in enumerate(text) if c != "."])
    return text[: k + 1] + text[k:]


def _slipped(rng: random.Random, text: str) -> str | None:
    return f"{float(text) * rng.choice([10, 0.1]):.6f}"


def _other_unit(rng: random.Random, text: str) -> str | None:
    return f"{float(text) * rng.choice([25.4, 1 / 25.4]):.5f}"


def _signed(*amounts: float) -> Error:
    return lambda rng, _made, _nm: rng.choice(amounts) * rng.choice((1, -1))


def _range(low: float, high: float) -> Error:
    return lambda rng, _made, _nm: rng.uniform(low, high)


def _turn(rng: random.Random, made: Engine, _nm: int) -> float:
    return (INCH / 40 if made.unit == "in" else MM / 2) * rng.choice((1, -1, 2, -2))


def _frame(rng: random.Random, made: Engine, _nm: int) -> float:
    return (INCH if made.unit == "in" else 25 * MM) * rng.choice((1, -1))


def _dial(rng: random.Random, made: Engine, _nm: int) -> float:
    some = (INCH / 100, INCH / 50) if made.unit == "in" else (MM / 5, MM / 2, MM)
    return rng.choice(some) * rng.choice((1, -1))


def _grind(rng: random.Random, made: Engine, _nm: int) -> float:
    return rng.choice((INCH / 200, MM / 8)) * rng.choice((1, 2, 3)) * rng.choice((1, 1, -1))


def _apart(rng: random.Random, made: Engine, feature: str) -> float:
    """Far more than the scatter, and no amount that means something."""
    return rng.choice((1, -1)) * rng.uniform(8, 24) * made.scatter[feature]


def moved(feature: str) -> Plant:
    """All readings of a group from one on, with the gauge moved; at least two parts are on either side."""

    def plant(rng: random.Random, made: Engine) -> Planted | None:
        if not made.large(feature):
            return None
        cells = made.alike(rng.choice(made.large(feature)))
        first = rng.randint(2, len(cells) - 2)
        error = _apart(rng, made, feature)
        later = cells[first:]
        done = _changed(made, [(c, t, made.rounded(t.nm + error)) for c in later for t in made.readings[c]])
        if len({c in made.logged for c in cells}) > 1:  # which came first is not known: either may be the wrong ones
            return done and done._replace(cells=tuple(cells))
        return done

    return plant


def two_sizes(feature: str) -> Plant:
    """Some parts of a group differ from the rest, in no order."""

    def plant(rng: random.Random, made: Engine) -> Planted | None:
        if not made.large(feature):
            return None
        cells = made.alike(rng.choice(made.large(feature)))
        while True:
            some = {c for c in cells if rng.random() < 0.5}
            changes = sum((a in some) != (b in some) for a, b in pairwise(cells))
            if min(len(some), len(cells) - len(some)) >= 2 and changes > 1:
                break
        error = _apart(rng, made, feature)
        done = _changed(made, [(c, t, made.rounded(t.nm + error)) for c in some for t in made.readings[c]])
        return done and done._replace(cells=tuple(cells))  # neither size is the right one

    return plant


def sitting(low: float, high: float) -> Plant:
    """All walls of one box off by the same."""

    def plant(rng: random.Random, made: Engine) -> Planted | None:
        if made.apart or not made.large("wall"):
            return None  # such a box may fit the journals of another undersize
        box = rng.choice([c[1][0] for c in made.large("wall")])  # type: ignore[index]
        error = rng.uniform(low, high)
        cells = [c for c in made.cells("wall") if c[1][0] == box]  # type: ignore[index]
        return _changed(made, [(c, t, made.rounded(t.nm + error)) for c in cells for t in made.readings[c]])

    return plant


def _tables(rng: random.Random, made: Engine) -> Planted | None:
    """The journals of a rod and a main swapped, or their bores."""
    feature = rng.choice(DIAMETERS)
    if len(set(made.kinds.values())) < 2:
        return None
    rod, main = (rng.choice([c for c in made.cells(feature) if made.kinds[c] == k]) for k in ("rod", "main"))
    other = {rod: made.readings[main][0].nm, main: made.readings[rod][0].nm}
    return _changed(made, [(c, t, nm) for c, nm in other.items() for t in made.readings[c]])


def _walls_exchanged(rng: random.Random, made: Engine) -> Planted | None:
    """Two shells of different kinds taken for one another."""
    a, b = rng.sample(made.cells("wall"), 2)
    other = {a: made.readings[b][0].nm, b: made.readings[a][0].nm}
    return _changed(made, [(c, t, nm) for c, nm in other.items() for t in made.readings[c]])


def _labels_exchanged(rng: random.Random, made: Engine) -> Planted | None:
    """The labels of a standard and a thicker box taken for one another."""
    if not made.step_column:
        return None
    boxes: dict[str, str] = {}
    for c in made.cells("wall"):
        if made.kinds[c] == "rod":
            boxes.setdefault(c[1][0], made.labels[c])  # type: ignore[index]
    if len(set(boxes.values())) < 2:
        return None
    other = dict(zip(boxes, reversed(boxes.values()), strict=True))
    cells = [c for c in made.cells("wall") if made.kinds[c] == "rod"]
    if len({made.labels[c] for c in cells}) > len(boxes):
        return None  # several steps in one box
    means = {b: sum(made.readings[c][0].nm for c in cells if c[1][0] == b) for b in boxes}  # type: ignore[index]
    error = abs(means["rod-0"] - means["rod-1"]) / len(cells) * 2
    for c in cells:
        made.labels[c] = other[c[1][0]]  # type: ignore[index]
    return Planted(tuple(cells), error)


def _box_at_joint(rng: random.Random, made: Engine) -> Planted | None:
    """A whole box read at the joint, beside another with the same step written."""
    boxes = {c[1][0] for c in made.cells("wall") if made.kinds[c] == "rod"}  # type: ignore[index]
    if len(boxes) < 2 or made.layout not in ("plain", "drawing"):
        return None
    made.step_column = True
    for c in made.cells("wall"):
        made.labels[c] = "0"
    error = -rng.uniform(5 * TENTH, 10 * TENTH)
    cells = [c for c in made.cells("wall") if c[1][0] == "rod-0"]  # type: ignore[index]
    return _changed(made, [(c, t, made.rounded(t.nm + error)) for c in cells for t in made.readings[c]])


def _undersize(rng: random.Random, made: Engine) -> Planted | None:
    """Every rod journal ground to an undersize, the shells for standard ones, or the other way round."""
    if any("rod-1" in c[1] for c in made.cells("wall")):  # type: ignore[operator]
        return None
    error = rng.choice((INCH / 100, MM / 4)) * rng.choice((1, 2, 3)) * rng.choice((1, -1))
    cells = [c for c in made.cells("journal") if made.kinds[c] == "rod"]
    return _changed(made, [(c, t, made.rounded(t.nm + error)) for c in cells for t in made.readings[c]])


def _cap(rng: random.Random, made: Engine) -> Planted | None:
    """A cap swapped with another or fitted the wrong way round: bores read at 45 degrees either side too, in one these
    are 0.001 to 0.005 in apart."""
    for cell in made.cells("housing_bore"):
        made.logged.add(cell)
        bore = made.readings[cell][0].nm
        made.readings[cell] = [Taken(bore, 1, 0.0)]
        made.readings[cell] += [Taken(made.rounded(rng.gauss(bore, 2_000)), 1, angle) for angle in (45.0, 135.0)]
    cell = rng.choice(made.cells("housing_bore"))
    apart = rng.choice((1, -1)) * rng.uniform(10 * TENTH, 50 * TENTH) / 2
    _, one_side, other = made.readings[cell]
    return _changed(made, [(cell, one_side, one_side.nm + apart), (cell, other, other.nm - apart)])


def _two_hands(rng: random.Random, made: Engine) -> Planted | None:
    """Two people read every part of a feature at one place, and differ at one of them by more than repeats scatter."""
    feature = rng.choice(DIAMETERS)
    for cell in made.cells(feature):
        nm = made.readings[cell][0].nm
        made.logged.add(cell)
        made.readings[cell] = [
            Taken(made.rounded(rng.gauss(nm, 1_000)), 1, 0.0, by) for by in ("first", "second") for _ in range(2)
        ]
    cell = rng.choice(made.cells(feature))
    error = rng.choice((1, -1)) * rng.uniform(8, 16) * 1_500
    made.scatter[feature] = 1_500
    return _changed(made, [(cell, t, made.rounded(t.nm + error)) for t in made.readings[cell] if t.by == "second"])


class Kind(NamedTuple):
    """One mistake to plant, and the names that say it rightly."""

    plant: Plant
    right: tuple[str, ...]
    everywhere: bool = False  # the doubt may stand at any item of its kind


MISTAKES: Final[dict[str, Kind]] = {
    "one or two thimble turns, journal": Kind(one("journal", _turn), ("thimble-turn",)),
    "one or two thimble turns, wall": Kind(one("wall", _turn), ("thimble-turn",)),
    "one turn of a dial calliper": Kind(one("journal", _signed(INCH / 10)), ("calliper-turn",)),
    "wrong frame or standard, journal": Kind(one("journal", _frame), ("wrong-frame",)),
    "wrong frame or standard, bore": Kind(one("housing_bore", _frame), ("wrong-frame",)),
    "digits transposed, journal": Kind(typed("journal", _transposed), ("digits-transposed",)),
    "digits transposed, bore": Kind(typed("housing_bore", _transposed), ("digits-transposed",)),
    "digits transposed, wall": Kind(typed("wall", _transposed), ("digits-transposed",)),
    "digit dropped": Kind(typed("journal", _dropped), ("digit-dropped", "wrong-frame")),
    "last digit lost": Kind(typed("wall", _shortened), ("digit-dropped",)),
    "digit doubled": Kind(typed("housing_bore", _doubled), ("digit-doubled",)),
    "decimal point slipped, bore": Kind(typed("housing_bore", _slipped), ("decimal-slip",)),
    "decimal point slipped, wall": Kind(typed("wall", _slipped), ("decimal-slip",)),
    "wrong unit": Kind(typed("housing_bore", _other_unit), ("wrong-unit",)),
    "ball not taken off, one box": Kind(sitting(4.5 * MM, 5.5 * MM), ("ball-left-in",)),
    "flat anvil, one shell": Kind(part("wall", _range(140_000, 240_000)), ("flat-anvil",)),
    "flat anvil, one box": Kind(sitting(140_000, 240_000), ("flat-anvil",)),
    "wall off the crown": Kind(part("wall", _range(-10 * TENTH, -3 * TENTH)), ("wall-low",)),
    "wall before coating": Kind(part("wall", _range(-5 * TENTH, -2 * TENTH)), ("wall-low",)),
    "dirt on a shell": Kind(part("wall", _range(TENTH, 10 * TENTH)), ("wall-high",)),
    "wall in a groove or hole": Kind(one("wall", _range(-INCH / 20, -INCH / 50)), ("groove-or-hole",)),
    "bore in a groove or hole": Kind(one("housing_bore", _range(INCH / 50, INCH / 20)), ("groove-or-hole",)),
    "bore at the joint": Kind(part("housing_bore", _range(5 * TENTH, 20 * TENTH)), ("bore-high",)),
    "bore gauge tilted": Kind(one("housing_bore", _range(9_000, 96_000)), ("bore-high",)),
    "fasteners loose or dry": Kind(part("housing_bore", _range(3 * TENTH, 30 * TENTH)), ("bore-high",)),
    "bore gauge off the diameter": Kind(one("housing_bore", _range(-40 * TENTH, -3 * TENTH)), ("bore-low",)),
    "dirt in the bore": Kind(part("housing_bore", _range(-10 * TENTH, -TENTH)), ("bore-low",)),
    "micrometer moved": Kind(moved("journal"), ("gauge-setting",)),
    "bore gauge moved": Kind(moved("housing_bore"), ("gauge-setting",)),
    "ball micrometer moved": Kind(moved("wall"), ("gauge-setting",)),
    "journals of two sizes": Kind(two_sizes("journal"), ("two-sizes",)),
    "housings of two sizes": Kind(two_sizes("housing_bore"), ("two-sizes",)),
    "shells of two sizes in a box": Kind(two_sizes("wall"), ("two-sizes",)),
    "a shell for another grind": Kind(part("wall", _grind), ("shells-for-another-grind",)),
    "one turn of the indicator": Kind(one("housing_bore", _dial), ("indicator-turn",)),
    "journal warm": Kind(part("journal", _range(1.3 * TENTH, 12.6 * TENTH)), ("journal-high",)),
    "dirt on a journal": Kind(part("journal", _range(TENTH, 10 * TENTH)), ("journal-high",)),
    "rod and main exchanged": Kind(_tables, ("other-group",)),
    "two shells exchanged": Kind(_walls_exchanged, ("other-group",)),
    "labels of two boxes exchanged": Kind(_labels_exchanged, ("labels-exchanged",), everywhere=True),
    "a whole box at the joint": Kind(_box_at_joint, ("wall-low",), everywhere=True),
    "all rod journals of another grind": Kind(_undersize, ("shells-for-another-grind", "undersize"), everywhere=True),
    "cap swapped with another or fitted the wrong way round": Kind(_cap, ("cap-exchanged",)),
    "two people differ": Kind(_two_hands, ("two-hands",)),
}
