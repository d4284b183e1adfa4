"""Mistakes that no check of readings can see, as docs/doubts.md lists them, planted in engines that have no other."""

import random
from collections.abc import Callable, Mapping
from typing import Final

from made.mistaken_jobs import Cell, Engine, engine

UM: Final = 1_000

Hidden = Callable[[random.Random, Engine], None]


def once_read(rng: random.Random, boxes: int = 1) -> Engine:
    """An engine of one kind and so many boxes at least, without labels and drawing, in which each part was read
    once."""
    while True:
        made = engine(rng, "plain", rng.choice((5, 8)))
        if len(_kinds(made)) == 1 and len(_boxes(made)) >= boxes:
            for cell, taken in made.readings.items():
                made.readings[cell] = taken[:1]
            return made


def _kinds(made: Engine) -> set[str]:
    return set(made.kinds.values())


def _boxes(made: Engine) -> list[str]:
    return sorted({cell[1][0] for cell in made.cells("wall")})  # type: ignore[index]


def _write(made: Engine, values: Mapping[Cell, int]) -> None:
    for cell, nm in values.items():
        made.readings[cell][0].nm = nm


def _read(made: Engine, cells: list[Cell]) -> list[int]:
    return [made.readings[cell][0].nm for cell in cells]


def exchanged(feature: str) -> Hidden:
    """The smallest and the largest part of a feature, each read as the other."""

    def plant(_rng: random.Random, made: Engine) -> None:
        cells = sorted(made.cells(feature), key=lambda cell: made.readings[cell][0].nm)
        low, high = _read(made, [cells[0], cells[-1]])
        _write(made, {cells[0]: high, cells[-1]: low})

    return plant


def one_row_down(*features: str) -> Hidden:
    """From the second row on each the reading of the row above."""

    def plant(_rng: random.Random, made: Engine) -> None:
        for feature in features:
            cells = made.cells(feature)
            _write(made, dict(zip(cells[1:], _read(made, cells), strict=False)))

    return plant


def copied_from_above(rng: random.Random, made: Engine) -> None:
    """One journal, as if it were the one above it."""
    cells = made.cells("journal")
    at = rng.randrange(1, len(cells))
    _write(made, {cells[at]: made.readings[cells[at - 1]][0].nm})


def halves_exchanged(_rng: random.Random, made: Engine) -> None:
    """The uppers of a box, each read as the lower in the same place."""
    mine = [cell for cell in made.cells("wall") if cell[1][0] == _boxes(made)[0]]  # type: ignore[index]
    half = len(mine) // 2
    _write(made, dict(zip(mine, _read(made, mine[half:] + mine[:half]), strict=True)))


def all_off(feature: str, by_um: float) -> Hidden:
    """All readings of a feature off by as much."""

    def plant(_rng: random.Random, made: Engine) -> None:
        cells = made.cells(feature)
        _write(made, {cell: made.rounded(nm + by_um * UM) for cell, nm in zip(cells, _read(made, cells), strict=True)})

    return plant


def box_off(by_um: float) -> Hidden:
    """All walls of one box of two off by as much."""

    def plant(_rng: random.Random, made: Engine) -> None:
        cells = [cell for cell in made.cells("wall") if cell[1][0] == _boxes(made)[0]]  # type: ignore[index]
        _write(made, {cell: made.rounded(nm + by_um * UM) for cell, nm in zip(cells, _read(made, cells), strict=True)})

    return plant


# --- what is planted, and in how many boxes at least ---

UNSEEN: Final[Mapping[str, tuple[Hidden, int]]] = {
    "two journals exchanged": (exchanged("journal"), 1),
    "two housing bores exchanged": (exchanged("housing_bore"), 1),
    "two walls exchanged": (exchanged("wall"), 1),
    "uppers and lowers of a box exchanged": (halves_exchanged, 1),
    "journals one row down": (one_row_down("journal"), 1),
    "journals and housing bores one row down": (one_row_down("journal", "housing_bore"), 1),
    "a journal copied from the row above": (copied_from_above, 1),
    "all journals 0.05 mm high": (all_off("journal", 50), 1),
    "all journals 0.05 mm low": (all_off("journal", -50), 1),
    "all housing bores 0.05 mm high": (all_off("housing_bore", 50), 1),
    "all walls 0.025 mm high": (all_off("wall", 25), 1),
    "all walls 0.025 mm low": (all_off("wall", -25), 1),
    "all walls 0.012 mm low": (all_off("wall", -12), 1),
    "one box of two 0.025 mm high": (box_off(25), 2),
    "one box of two 0.025 mm low": (box_off(-25), 2),
}
