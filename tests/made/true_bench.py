"""A bench of which the truth is known: gauges with errors of their own read parts of known sizes, and what would be
written down becomes a job folder. Nothing here comes from the model that is tested with it; lengths are nanometres as
floats, coefficients per kelvin.
"""

import random
from collections.abc import Sequence
from pathlib import Path
from typing import NamedTuple

from made.intake_jobs import write_job

UM = 1_000.0
STEEL, ALUMINIUM = 11.5e-6, 23.1e-6
SIZES = ("journal", "housing_bore", "wall")
KNOWN_TO = 0.1  # a true coefficient is within this part of the one written


class Conditions(NamedTuple):
    """What a bench is like; ranges are drawn from anew in each job."""

    gauges: int = 3  # one for everything, or one for journals, bores and walls each
    step: float = 0.0  # 0: digits to the nanometre, and no resolution stated
    scatter: tuple[float, float] = (0.5 * UM, 2.0 * UM)
    limit: tuple[float, float] = (0.0, 0.0)
    on_standard: int = 0  # readings on the standard that are written; 0: zeroed on it, none is
    standard_limit: tuple[float, float] = (0.0, 0.0)
    set_with: bool = False
    one_error: bool = False  # what remains after zeroing is the same at every size
    stated_from: int = 0  # readings that the stated scatter came from; 0: none is stated
    stated_as: str = "found"  # "true": known exactly; "rounded": found from readings as shown
    understated: float = 1.0  # the stated scatter is this part of what it should be
    places: tuple[int, int] = (1, 1)  # of journal and bore
    repeats: int = 1  # in every place
    further: int = 0  # further journals, bores and walls, from which scatter is learned
    further_repeats: int = 2
    form: float = 0.0  # how far the places of a part differ
    diameter: float = 50_000 * UM
    clearance: tuple[float, float] = (30 * UM, 60 * UM)
    room: float | None = None
    room_limit: float = 0.0
    expansion_limit: float | None = None  # written as the limit, part of the coefficient
    housing: float = ALUMINIUM
    seating_u: float = 0.0
    seating_from: int = 0
    guard: float = 1.0


class Outcome(NamedTuple):
    """The true clearances of the first position, in the mean of its places and at the tightest of them."""

    mean: float
    tightest: float


class Instrument:
    """A gauge: what it truly does, and what is written about it."""

    def __init__(self, rng: random.Random, name: str, how: Conditions, setter: "Instrument | None" = None) -> None:
        self.name, self._rng, self._step = name, rng, how.step
        self.scatter = rng.uniform(*how.scatter)
        self.limit = rng.uniform(*how.limit)
        left = rng.uniform(-self.limit, self.limit)
        self.left_over = dict.fromkeys(SIZES, left)  # what remains after zeroing, at each size
        if self.limit and not how.one_error:
            self.left_over |= {size: rng.uniform(-self.limit, self.limit) for size in SIZES[1:]}
        self.standard_limit = 0.0 if setter else rng.uniform(*how.standard_limit)
        self.of_standard = rng.uniform(-self.standard_limit, self.standard_limit)
        known_to = KNOWN_TO if how.expansion_limit is None else how.expansion_limit
        self.expansion = setter.expansion if setter else STEEL * (1 + known_to * rng.uniform(-1, 1))
        self.lines = [f"[gauge.{name}]"]
        if how.step:
            self.lines.append(length("resolution", how.step))
        if self.limit:
            self.lines.append(length("limit", self.limit))
        if self.standard_limit:
            self.lines.append(length("standard_limit", self.standard_limit))
        if how.stated_from:
            self._state(how)
        if setter is None and how.room is not None:
            self.lines.append(f"expansion = {STEEL}")
            if how.expansion_limit is not None:
                self.lines.append(f"expansion_limit = {STEEL * how.expansion_limit:.3e}")
        self.zero = 0.0
        standard = 25_000 * UM
        inherited = 0.0
        if setter is not None:
            self.lines.append(f'set_with = "{setter.name}"')
            inherited = setter.zero + setter.left_over["housing_bore"]
        if how.on_standard:
            self.zero = rng.uniform(-9 * UM, 9 * UM)
            reads = [self.shown(standard + self.of_standard + self.zero) for _ in range(how.on_standard)]
            listed = ", ".join(f'"{r / UM:.3f} um"' for r in reads)
            self.lines += [length("standard", standard), f"standard_reads = [{listed}]"]
        else:
            there = standard + rng.uniform(0, how.step) + self.of_standard
            self.zero = there - self.shown(there) - self.of_standard
        self.zero += inherited

    def _state(self, how: Conditions) -> None:
        """Write a scatter as its maker, or the shop, would have found it."""
        many = how.stated_from
        if how.stated_as == "true":
            stated = self.scatter
        else:
            there = self._rng.uniform(0, 1_000 * UM)
            reads = [there + self._rng.gauss(0, self.scatter) for _ in range(many)]
            if how.stated_as == "rounded":
                reads = [round(r / self._step) * self._step for r in reads]
                self.lines.append("repeatability_rounded = true")
            mean = sum(reads) / many
            stated = (sum((r - mean) ** 2 for r in reads) / (many - 1)) ** 0.5
        self.lines += [length("repeatability", stated * how.understated), f"repeatability_from = {many}"]

    def shown(self, there: float) -> float:
        """What the gauge shows where this is, its zero and its left-over error apart."""
        step = self._step or 1.0
        return round((there + self._rng.gauss(0, self.scatter)) / step) * step

    def reads(self, size: float, feature: str) -> float:
        return self.shown(size + self.zero + self.left_over[feature])


def length(key: str, nm: float) -> str:
    return f'{key} = "{nm / UM:.3f} um"'


class Bench:
    """One job drawn at random: its folder, and the truth about its first position."""

    def __init__(self, seed: str, how: Conditions) -> None:
        self._rng = rng = random.Random(seed)
        self._how = how
        mic = Instrument(rng, "mic", how)
        if how.gauges == 1:
            self._by = {"journal": mic, "housing_bore": mic, "wall": mic}
        else:
            bore = Instrument(rng, "bore", how, mic if how.set_with else None)
            self._by = {"journal": mic, "housing_bore": bore, "wall": Instrument(rng, "ball", how)}
        self._draw_heat()
        self._rows: list[str] = []
        journal = how.diameter * rng.uniform(0.9, 1.1)
        walls = [2_000 * UM * rng.uniform(0.99, 1.01) for _ in "ul"]
        bore_size = journal + sum(walls) + rng.uniform(*how.clearance)
        journals = self._read("M1", "journal", journal, how.places[0], how.repeats)
        bores = self._read("M1", "housing_bore", bore_size, how.places[1], how.repeats)
        walls = [self._read(name, "wall", wall, 1, how.repeats)[0] for name, wall in zip("12", walls, strict=True)]
        for n in range(how.further):
            self._read(f"M{n + 2}", "journal", journal + n * 7 * UM, 1, how.further_repeats)
            self._read(f"M{n + 2}", "housing_bore", bore_size + n * 3 * UM, 1, how.further_repeats)
            self._read(f"{n + 3}", "wall", walls[0] + n * UM, 1, how.further_repeats)
        growth = rng.uniform(-20, 20) * UM if how.seating_u else 0.0
        self._seating = self._learned(growth) if how.seating_u else []
        here = growth - sum(walls)
        self.truth = Outcome(sum(bores) / len(bores) - sum(journals) / len(journals) + here,
                             min(bores) - max(journals) + here)  # fmt: skip

    def _draw_heat(self) -> None:
        """True temperature and coefficients; each part of the crank and each housing grows alike."""
        how, rng = self._how, self._rng
        self._warmer = 0.0 if how.room is None else how.room + rng.uniform(-1, 1) * how.room_limit - 20
        known_to = KNOWN_TO if how.expansion_limit is None else how.expansion_limit
        errors = [1 + known_to * rng.uniform(-1, 1) for _ in range(2)]
        self._grows = {"journal": STEEL * errors[0], "housing_bore": how.housing * errors[1]}

    def _read(self, item: str, feature: str, size: float, places: int, repeats: int) -> list[float]:
        """Read a part and write it down; returns its true sizes at 20 degrees."""
        gauge = self._by[feature]
        here = [size + self._rng.uniform(0, self._how.form) for _ in range(places)]
        for station, true in enumerate(here, 1):
            warm = true
            if feature in self._grows:
                warm *= (1 + self._grows[feature] * self._warmer) / (1 + gauge.expansion * self._warmer)
            for _ in range(repeats):
                self._rows.append(f"{item},{feature},{station},0,{gauge.reads(warm, feature) / UM:.3f} um,{gauge.name}")
        return here

    def _learned(self, growth: float) -> list[str]:
        """A seating learned with other settings of these gauges on these standards, from bores read with their shells
        in. It has taken in what is always off at the housing and at the walls; at the size of the journal the gauge of
        those bores is off against that of the journal, unless both are one."""
        how, rng, mic, bore = self._how, self._rng, self._by["journal"], self._by["housing_bore"]

        def always(gauge: Instrument, feature: str) -> float:
            own = gauge.left_over[feature] - gauge.of_standard
            return own + (always(mic, feature) if how.set_with and gauge is bore else 0.0)

        n = how.seating_from
        found = how.seating_u * (rng.gammavariate((n - 1) / 2, 2) / (n - 1)) ** 0.5 if n else how.seating_u
        seating = growth + always(bore, "journal") - always(bore, "housing_bore") + 2 * always(self._by["wall"], "wall")
        unknown = [bore.limit] if how.set_with else [x for g in (bore, mic) for x in (g.limit, g.standard_limit)]
        unknown = [] if bore is mic else unknown
        u = (found**2 + sum(e * e for e in unknown) / 3) ** 0.5
        lines = [length("seating", seating + rng.gauss(0, how.seating_u)), length("seating_u", u)]
        return lines + ([f"seating_readings = {n}"] if n else [])

    def write(self, folder: Path) -> Path:
        how = self._how
        lines = ['unit = "mm"', "[fit.main]", "target = 0.045", "min = 0.0", "max = 1.0", *self._seating]
        lines += ["[rules]", 'wall_difference = "off"', f"guard = {how.guard}"] if how.guard else []
        gauges: Sequence[Instrument] = list({g.name: g for g in self._by.values()}.values())
        lines += [line for gauge in gauges for line in gauge.lines]
        if how.room is not None:
            lines += ["[temperature]", f"room = {how.room}"]
            lines += [f"limit = {how.room_limit}"] if how.room_limit else []
            lines += ["[material.main]", f"journal = {STEEL}", f"housing_bore = {how.housing}"]
            if how.expansion_limit is not None:
                lines.append(f"journal_limit = {STEEL * how.expansion_limit:.3e}")
                lines.append(f"housing_bore_limit = {how.housing * how.expansion_limit:.3e}")
        positions = "position,kind\n" + "".join(f"M{n + 1},main\n" for n in range(how.further + 1))
        shells = "shell,kind,half\n1,main,upper\n2,main,lower\n"
        shells += "".join(f"{n + 3},main,upper\n" for n in range(how.further))
        readings = "item,feature,station,angle,reading,gauge\n" + "\n".join(self._rows) + "\n"
        return write_job(folder, "\n".join(lines) + "\n", positions, shells, readings_DOT_csv=readings)
