"""The optimizer against a second solver: HiGHS, on a plain 0/1 model with a variable per position and single pair.

The normal run solves 100 jobs; FITMATCH_DEEP=1000 in the environment makes it that many.
"""

import os
import random
from bisect import bisect_left
from collections.abc import Callable, Iterator

import numpy as np
import oracle
import pytest
from jobs import describe, middle_job
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import csr_array

from fitmatch.fit import assign
from fitmatch.parts import Job, Position

DEEP = int(os.environ.get("FITMATCH_DEEP", "0"))
GRID = 1_000  # every length of these jobs is a whole number of micrometres


class PairModel:
    """Which pair goes where: a column per position and admissible pair, a row per position and per shell."""

    def __init__(self, job: Job) -> None:
        self.columns = [(p, pair) for p in job.positions for pair in oracle.possible_pairs(job, p)]
        users: dict[object, list[int]] = {}
        for at, (p, pair) in enumerate(self.columns):
            for user in (p.name, pair.upper.key, pair.lower.key):
                users.setdefault(user, []).append(at)
        self.rows: list[tuple[np.ndarray, float, float]] = []
        self.once = [(np.array(columns), 0.0, 1.0) for columns in users.values()]
        self.short = self._of(lambda p, pair: oracle.shortfall_nm(job, p, pair))
        self.over = self._of(lambda p, pair: oracle.excess_nm(p, pair))
        self.clearance = self._of(lambda p, pair: oracle.clearance_nm(p, pair))
        self.deviation = self.clearance - self._of(lambda p, pair: p.target_nm)
        self.wall_difference = self._of(lambda p, pair: abs(pair.upper.wall_nm - pair.lower.wall_nm))
        self.inside = (self.short == 0) & (self.over == 0)
        self.allowed = np.ones(len(self.columns), dtype=bool)

    def _of(self, figure: Callable[[Position, oracle.Pair], int]) -> np.ndarray:
        lengths = np.array([figure(p, pair) for p, pair in self.columns], dtype=np.int64)
        assert not (lengths % GRID).any()
        return lengths // GRID

    def least(self, weights: np.ndarray, allowed: np.ndarray | None = None) -> int | None:
        """The smallest sum of these whole weights over the chosen pairs; None when there is no plan at all."""
        use = np.flatnonzero(self.allowed if allowed is None else allowed)
        place = np.full(len(self.columns), -1)
        place[use] = np.arange(len(use))
        data, row_of, column_of, low, high = [], [], [], [], []
        for columns, least, most in self.once:
            columns = place[columns]
            columns = columns[columns >= 0]
            data.append(np.ones(len(columns)))
            row_of.append(np.full(len(columns), len(low)))
            column_of.append(columns)
            low.append(least)
            high.append(most)
        for coefficients, least, most in self.rows:
            data.append(coefficients[use])
            row_of.append(np.full(len(use), len(low)))
            column_of.append(np.arange(len(use)))
            low.append(least)
            high.append(most)
        matrix = csr_array(
            (np.concatenate(data), (np.concatenate(row_of), np.concatenate(column_of))), shape=(len(low), len(use))
        )
        found = milp(
            weights[use].astype(float),
            integrality=np.ones(len(use)),
            bounds=(0, 1),
            constraints=LinearConstraint(matrix, low, high),
            options={"mip_rel_gap": 0},
        )
        assert found.status in (0, 2), found.message
        return None if found.x is None else int(weights[use][found.x > 0.5].sum())

    def settle(self, weights: np.ndarray) -> int:
        """The smallest sum, kept as a row from here on."""
        value = self.least(weights)
        assert value is not None
        self.rows.append((weights.astype(float), -np.inf, value + 0.5))
        return value

    def settle_within(self, off: np.ndarray) -> int:
        """The smallest bound such that a plan exists whose pairs inside their limits are no further off."""
        bounds = np.unique(off[self.inside & self.allowed]).tolist()
        low, high = -1, len(bounds) - 1  # the last is always enough
        while high - low > 1:
            middle = (low + high) // 2
            if self.least(np.zeros_like(off), self.allowed & ~(self.inside & (off > bounds[middle]))) is None:
                low = middle
            else:
                high = middle
        self.allowed &= ~(self.inside & (off > bounds[high]))
        return bounds[high]

    def smallest_spread(self) -> tuple[int, list[np.ndarray]]:
        """The smallest spread, and the columns that each window of that width would forbid."""
        deviations = np.unique(self.deviation[self.inside & self.allowed]).tolist()
        nothing = np.zeros_like(self.deviation)

        def windows(width: int) -> Iterator[np.ndarray]:
            for low in deviations:
                strange = self.inside & ((self.deviation < low) | (self.deviation > low + width))
                if self.least(nothing, self.allowed & ~strange) is not None:
                    yield strange

        widths = sorted({high - low for low in deviations for high in deviations if high >= low})
        least = bisect_left(widths, True, key=lambda width: next(windows(width), None) is not None)
        return widths[least], list(windows(widths[least]))


def best_by_highs(job: Job, strategy: str) -> oracle.Levels:
    """Levels 0 to 3 of a job of one kind, each settled before the next."""
    model = PairModel(job)
    count = len(job.positions)
    inside = -model.settle(-model.inside.astype(np.int64))
    filled, below, shortfall, excess = count, 0, 0, 0
    if inside == count:
        model.allowed &= model.inside  # level 1 has nothing left to decide
    else:
        filled = -model.settle(-np.ones_like(model.short))
        below = model.settle((model.short > 0).astype(np.int64))
        shortfall = model.settle(model.short)
        excess = model.settle(model.over)
    off = np.abs(model.deviation)
    squares_of = np.where(model.inside, model.deviation**2, 0)
    worst = spread = squares = 0
    windows = [np.zeros_like(model.inside)]
    if inside and strategy == "target":
        worst = model.settle_within(off)
        squares = model.settle(squares_of)
        spread, windows = model.smallest_spread()
    elif inside:
        spread, windows = model.smallest_spread()
    ends = []
    for strange in windows:  # each window of the smallest spread is a problem of its own from here on
        branch = PairModel(job)
        branch.rows, branch.allowed = list(model.rows), model.allowed & ~strange
        if inside and strategy == "even":
            worst = branch.settle_within(off)
            squares = branch.settle(squares_of)
        looseness = -branch.settle(-branch.clearance)
        ends.append((worst, squares, -looseness, branch.settle(branch.wall_difference)))
    worst, squares, tightness, difference = min(ends)
    return oracle.Levels(
        count - inside,
        count - filled,
        below,
        shortfall * GRID,
        excess * GRID,
        worst * GRID,
        squares * GRID**2,
        spread * GRID,
        0,
        -tightness * GRID,
        difference * GRID,
    )


@pytest.mark.parametrize("strategy", ["target", "even"])
@pytest.mark.parametrize("block", range(10))
def test_a_second_solver_agrees(strategy: str, block: int) -> None:
    """HiGHS, level by level on its own model, arrives at the same figures, ties included."""
    each = -(-(DEEP or 100) // 20)
    for seed in range(block * each, (block + 1) * each):
        job = middle_job(random.Random(f"{strategy} {seed}"))
        plan = assign(job, strategy=strategy)
        assert plan.proofs["rod"].proven
        found = oracle.levels_of(plan, "rod")
        assert found == best_by_highs(job, strategy), f"seed {seed}, {strategy}\n{describe(job)}"
