"""Job folders of any size, as a shop's lot might look: plain readings of gauges with stated errors, drawing limitss
that inspection has held the parts to, limits, a room that is too warm. Seeded: the same size gives the same files.

Boxes differ from one another, but not more so where there are more of them.
"""

import random
from collections.abc import Callable
from pathlib import Path
from typing import NamedTuple

BOXFUL = 100  # of each half, in a big lot

_JOURNAL_UM, _BORE_UM, _WALL_UM = 50_000, 54_000, 1_975
_DIAMETERS_WITHIN_UM, _WALLS_WITHIN_UM = 16, 8  # what the drawing allows, either side
_DIAMETER_UM, _BOX_UM, _WALL_IN_BOX_UM = 4.0, 1.5, 1.6  # scatter


class Size(NamedTuple):
    """How big a job is, and in which readings: `unit` as in job.toml, `step` the gauges' resolution in it, `repeats`
    how often everything was measured."""

    positions: int
    halves: int  # shells of each half
    boxes: int
    unit: str = "mm"
    step: str = "0.0005"
    repeats: int = 1

    def __str__(self) -> str:
        readings = "" if self.repeats == 1 else f", means of {self.repeats}"
        return (
            f"{self.positions:,} positions, {2 * self.halves:,} shells in {self.boxes:,} boxes, "
            f"read to {self.step} {self.unit}{readings}"
        )


def write_job(folder: Path, size: Size) -> None:
    """Write job.toml, positions.csv and a file for each box."""
    rng = random.Random(20)
    inch = size.unit == "in"
    unit_um = 25_400.0 if inch else 1_000.0
    places = len(size.step.partition(".")[2])
    step = float(size.step)

    def part(nominal_um: float, scatter_um: float, within_um: float) -> list[str]:
        """A part that passed inspection, as often as it was read."""
        true_um = nominal_um
        while True:
            true_um = rng.gauss(nominal_um, scatter_um)
            if abs(true_um - nominal_um) < within_um - 2:
                break
        noise = 0.0 if size.repeats == 1 else 0.3
        return [
            f"{round((true_um + rng.gauss(0, noise)) / unit_um / step) * step:.{places}f}" for _ in range(size.repeats)
        ]

    (folder / "shells").mkdir(parents=True)
    (folder / "job.toml").write_text(
        _settings(size, lambda um: f"{um / unit_um:.{5 if inch else 4}f}"), encoding="utf-8"
    )
    rows = [["position", "kind", *_headers("journal", size), *_headers("housing_bore", size)]]
    for i in range(size.positions):
        journal = part(_JOURNAL_UM, _DIAMETER_UM, _DIAMETERS_WITHIN_UM)
        rows.append([f"P{i + 1}", "main", *journal, *part(_BORE_UM, _DIAMETER_UM, _DIAMETERS_WITHIN_UM)])
    _write(folder / "positions.csv", rows)
    for box in range(size.boxes):
        mean = rng.gauss(_WALL_UM, _BOX_UM)
        while abs(mean - _WALL_UM) > 3 * _BOX_UM:
            mean = rng.gauss(_WALL_UM, _BOX_UM)
        rows = [["shell", "kind", "half", *_headers("wall", size)]]
        for half in ("upper", "lower"):
            first, last = box * size.halves // size.boxes, (box + 1) * size.halves // size.boxes
            for i in range(last - first):
                wall = part(mean, _WALL_IN_BOX_UM, _WALLS_WITHIN_UM - abs(mean - _WALL_UM) + 2)
                rows.append([f"{half[0].upper()}{i + 1}", "main", half, *wall])
        _write(folder / "shells" / f"box-{box + 1}.csv", rows)


def _headers(what: str, size: Size) -> list[str]:
    return [what] if size.repeats == 1 else [f"{what}_{i + 1}" for i in range(size.repeats)]


def _write(path: Path, rows: list[list[str]]) -> None:
    path.write_text("".join(",".join(row) + "\n" for row in rows), encoding="utf-8")


def _settings(size: Size, of: Callable[[float], str]) -> str:
    def band(um: float, within: float) -> str:
        return f"{of(um - within)}..{of(um + within)}"

    return f"""\
title = "A lot of {size.positions} bearings"
unit = "{size.unit}"

[fit.main]
target = {of(50)}
min = {of(28)}
max = {of(72)}

[drawing.main]
journal = "{band(_JOURNAL_UM, _DIAMETERS_WITHIN_UM)}"
housing_bore = "{band(_BORE_UM, _DIAMETERS_WITHIN_UM)}"
wall = "{band(_WALL_UM, _WALLS_WITHIN_UM)}"

[gauge.micrometer]
resolution = {size.step}
limit = {of(1)}
repeatability = {of(0.5)}

[gauge.bore-gauge]
resolution = {size.step}
repeatability = {of(0.5)}
set_with = "micrometer"

[gauge.ball-micrometer]
resolution = {size.step}
limit = {of(1)}
repeatability = {of(0.4)}

[measured.main]
journal = "micrometer"
housing_bore = "bore-gauge"
wall = "ball-micrometer"

[temperature]
room = 23.0
limit = 1.0

[material.main]
journal = "steel"
housing_bore = "grey iron"
"""
