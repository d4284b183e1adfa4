"""The lots that the benchmark of peers is run on: journals, housing bores and shells with the scatter of the trade.

Assumed (common practice, no source): bore less journal scatters by 4 um, the walls of one box by 1.6 um, the boxes by
1 um; a box holds eight pairs, and its shells are of the right step on the whole.
"""

import random
from pathlib import Path
from typing import NamedTuple

from oracles.rulebook import Rules, records

from fitmatch.records.job import Job
from fitmatch.records.parts import Fit, Position, Shell, Size

TARGET_NM, MIN_NM, MAX_NM = 50_000, 35_000, 65_000
WALL_DIFFERENCE_NM = 15_240
JOURNAL_NM, WALL_NM = 50_000_000, 1_975_000
PAIRS_IN_A_BOX = 8
PLENTY = 10  # pairs for each position
ON_GRID_NM, OFF_GRID_NM = 500, 1
SIZES = (7, 13, 24, 100, 5_000)

Plan = list[tuple[int, int] | None]  # for each position which upper and which lower, by their places in the lot


class Lot(NamedTuple):
    """Positions of one kind with their housing bores (all journals are alike), and the walls of shells by half."""

    bores: tuple[int, ...]
    uppers: tuple[int, ...]
    lowers: tuple[int, ...]

    @property
    def ideals(self) -> list[int]:
        """The wall sum with which each position hits its target."""
        return [bore - JOURNAL_NM - TARGET_NM for bore in self.bores]


def lot(positions: int, *, plenty: bool, grid_nm: int) -> Lot:
    """Scarce: one pair to spare for every eight positions; plenty: ten for each. Readings lie on the grid."""
    rng = random.Random(f"{positions} {plenty} {grid_nm}")
    pairs = PLENTY * positions if plenty else positions + -(-positions // 8)
    boxes = [rng.gauss(0, 1_000) for _ in range(-(-pairs // PAIRS_IN_A_BOX))]

    def reading(mean: float, scatter: float) -> int:
        return round(rng.gauss(mean, scatter) / grid_nm) * grid_nm

    def walls() -> tuple[int, ...]:
        return tuple(reading(WALL_NM + boxes[i // PAIRS_IN_A_BOX], 1_600) for i in range(pairs))

    bore = JOURNAL_NM + TARGET_NM + 2 * WALL_NM
    return Lot(tuple(reading(bore, 4_000) for _ in range(positions)), walls(), walls())


def job_of(some: Lot) -> Job:
    """The lot as a job of fitmatch."""

    def size(nm: int) -> Size:
        return Size(nm, nm, nm)

    positions = tuple(
        Position(f"R{i}", "rod", size(JOURNAL_NM), size(bore), TARGET_NM, MIN_NM, MAX_NM, row=i + 1)
        for i, bore in enumerate(some.bores, 1)  # rows of a file begin with a header
    )
    shells = tuple(
        Shell(f"{half[0]}{i}", f"box-{i // PAIRS_IN_A_BOX + 1}", "rod", half, wall)
        for half, walls in (("upper", some.uppers), ("lower", some.lowers))
        for i, wall in enumerate(walls)
    )
    fits = {"rod": Fit("rod", TARGET_NM, None, MIN_NM, MAX_NM)}
    return Job(Path(), "peers", "mm", fits, positions, shells, records(Rules(wall_difference_nm=WALL_DIFFERENCE_NM)))
