"""The optimizer against a second solver: HiGHS, on a plain 0/1 model with a variable per position and single pair."""

import random
from bisect import bisect_left
from collections.abc import Callable, Iterator
from copy import copy
from itertools import combinations

import numpy as np
import pytest
from made.jobs import describe, middle_job
from made.seeds import seeds
from oracles import oracle
from oracles.rulebook import rules_of
from scipy.optimize import LinearConstraint, milp
from scipy.sparse import csr_array

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.records.job import Job
from fitmatch.records.parts import Position

GRID = 1_000  # every length of these jobs is a whole number of micrometres


class PairModel:
    """Which pair goes where: a column per position and admissible pair, a row per position and per shell.

    `side` is where the thicker halves are, in jobs that want them all on one side.
    """

    def __init__(self, job: Job, side: str | None) -> None:
        self.columns = [
            (p, pair)
            for p in job.positions
            for pair in oracle.possible_pairs(job, p)
            if oracle.deciding_side(job, p, pair) in (None, side)
        ]
        users: dict[object, list[int]] = {}
        for at, (p, pair) in enumerate(self.columns):
            for user in (p.name, pair.upper.key, pair.lower.key):
                users.setdefault(user, []).append(at)
        self.once = [np.array(columns) for columns in users.values()]
        self.rows: list[tuple[np.ndarray, float]] = []  # whole weights and the most that they may come to
        self.short = self._of(lambda p, pair: oracle.shortfall_nm(job, p, pair))
        self.over = self._of(lambda p, pair: oracle.excess_nm(p, pair))
        self.clearance = self._of(lambda p, pair: oracle.clearance_nm(p, pair))
        self.deviation = self.clearance - self._of(lambda p, pair: p.target_nm)
        self.wall_difference = self._of(lambda p, pair: abs(pair.upper.wall_nm - pair.lower.wall_nm))
        self.inside = (self.short == 0) & (self.over == 0)
        self.counted = self.inside & ~np.array([oracle.locked_twice(p) for p, _ in self.columns], dtype=bool)
        self.allowed = np.ones(len(self.columns), dtype=bool)

    def _of(self, figure: Callable[[Position, oracle.Pair], int]) -> np.ndarray:
        lengths = np.array([figure(p, pair) for p, pair in self.columns], dtype=np.int64)
        assert not (lengths % GRID).any()
        return lengths // GRID

    def without(self, forbidden: np.ndarray) -> "PairModel":
        """The same problem with fewer columns, to go on with apart."""
        branch = copy(self)
        branch.rows, branch.allowed = list(self.rows), self.allowed & ~forbidden
        return branch

    def least(self, weights: np.ndarray) -> int | None:
        """The smallest sum of these whole weights over the chosen pairs; None when there is no plan at all."""
        use = np.flatnonzero(self.allowed)
        if not len(use):  # only the plan with nothing in it is left
            return 0 if all(most >= 0 for _, most in self.rows) else None
        place = np.full(len(self.columns), -1)
        place[use] = np.arange(len(use))
        members = [place[columns][self.allowed[columns]] for columns in self.once]
        row_of = np.repeat(np.arange(len(members)), [len(some) for some in members])
        once = csr_array(
            (np.ones(len(row_of)), (row_of, np.concatenate(members))), shape=(len(members), len(use)), dtype=float
        )
        constraints = [LinearConstraint(once, 0, 1)]
        constraints += [
            LinearConstraint(row[use][np.newaxis, :].astype(float), -np.inf, most) for row, most in self.rows
        ]
        found = milp(
            weights[use].astype(float),
            integrality=np.ones(len(use)),
            bounds=(0, 1),
            constraints=constraints,
            options={"mip_rel_gap": 0},
        )
        assert found.status in (0, 2), found.message
        return None if found.x is None else int(weights[use][found.x > 0.5].sum())

    @property
    def possible(self) -> bool:
        return self.least(np.zeros_like(self.short)) is not None

    def settle(self, weights: np.ndarray) -> int:
        """The smallest sum, kept as a row from here on."""
        value = self.least(weights)
        assert value is not None
        self.rows.append((weights, value + 0.5))
        return value

    def further_off(self, bound: int) -> np.ndarray:
        """Columns that count and deviate by more than the bound."""
        return self.counted & (np.abs(self.deviation) > bound)

    def smallest_worst(self) -> int:
        bounds = np.unique(np.abs(self.deviation[self.counted & self.allowed])).tolist() or [0]
        return bounds[bisect_left(bounds, True, key=lambda bound: self.without(self.further_off(bound)).possible)]

    def smallest_spread(self) -> tuple[int, list["PairModel"]]:
        """The smallest spread, and the problem that each window of that width leaves."""
        deviations = np.unique(self.deviation[self.counted & self.allowed]).tolist() or [0]

        def windows(width: int) -> Iterator[PairModel]:
            for low in deviations:
                strange = self.counted & ((self.deviation < low) | (self.deviation > low + width))
                if self.without(strange).possible:
                    yield self.without(strange)

        widths = sorted({high - low for low in deviations for high in deviations if high >= low})
        least = bisect_left(widths, True, key=lambda width: next(windows(width), None) is not None)
        return widths[least], list(windows(widths[least]))


def settle_fit_and_rest(model: PairModel, count: int) -> tuple[int, int, int, int, int]:
    """Levels 0 and 1."""
    inside = -model.settle(-model.inside.astype(np.int64))
    if inside == count:
        model.allowed &= model.inside  # level 1 has nothing left to decide
        return 0, 0, 0, 0, 0
    filled = -model.settle(-np.ones_like(model.short))
    below = model.settle((model.short > 0).astype(np.int64))
    return count - inside, count - filled, below, model.settle(model.short), model.settle(model.over)


def squares(model: PairModel) -> np.ndarray:
    return np.where(model.counted, model.deviation**2, 0)


def settle_ties(model: PairModel) -> tuple[int, int]:
    """Minus the clearance, and the wall difference."""
    return model.settle(-model.clearance), model.settle(model.wall_difference)


# Each of these gives worst, squares, spread, boxes, minus the clearance and the wall difference, compared in its order.


def best_on_target(model: PairModel, boxes: int = 0) -> tuple[int, ...]:
    worst = model.smallest_worst()
    model.allowed &= ~model.further_off(worst)
    total = model.settle(squares(model))
    spread, branches = model.smallest_spread()
    return min((worst, total, spread, boxes, *settle_ties(branch)) for branch in branches)


def best_even(model: PairModel) -> tuple[int, ...]:
    spread, branches = model.smallest_spread()
    ends = []
    for branch in branches:
        worst = branch.smallest_worst()
        branch.allowed &= ~branch.further_off(worst)
        ends.append((worst, branch.settle(squares(branch)), spread, 0, *settle_ties(branch)))
    return min(ends)


def best_kept_in_sets(model: PairModel, slack_nm: int) -> tuple[int, ...]:
    near = model.without(model.further_off(model.smallest_worst() + slack_nm // GRID))
    all_boxes = sorted({shell.box for _, pair in model.columns for shell in pair})
    for count in range(len(all_boxes) + 1):
        ends = []
        for some in combinations(all_boxes, count):
            elsewhere = np.array([not {s.box for s in pair} <= set(some) for _, pair in model.columns])
            if near.without(elsewhere).possible:
                ends.append(best_on_target(model.without(elsewhere), count))
        if ends:
            return min(ends)
    raise AssertionError("all boxes together hold every plan")


def best_by_highs(job: Job, strategy: str, slack_nm: int) -> oracle.Levels:
    """Levels 0 to 3 of a job of one kind, each settled before the next."""
    ends = []
    for side in ("upper", "lower") if rules_of(job).thick_half.get("rod") == "same" else (None,):
        model = PairModel(job, side)
        rest = settle_fit_and_rest(model, len(job.positions))
        if strategy == "target":
            quality = best_on_target(model)
        elif strategy == "even":
            quality = best_even(model)
        else:
            quality = best_kept_in_sets(model, slack_nm)
        worst, total, spread, boxes, tightness, difference = quality
        levels = oracle.Levels(
            *rest[:3],
            *(length * GRID for length in rest[3:]),
            *(0, 0, 0, 0),  # no band is wished
            worst * GRID,
            total * GRID**2,
            spread * GRID,
            boxes,
            -tightness * GRID,
            difference * GRID,
        )
        ends.append((oracle.in_order(levels, strategy), -levels.clearance_nm, levels.wall_difference_nm, levels))
    return min(ends)[-1]


def assert_same(strategy: str, seeds: list[int]) -> None:
    """HiGHS arrives at the same figures, ties included."""
    for seed in seeds:
        rng = random.Random(f"{strategy} {seed}")
        job, slack_nm = middle_job(rng), GRID * rng.choice([0, 1, 2, 3]) if strategy == "keep-sets" else 0
        plan = best_plan(job, strategy=strategy, slack_nm=slack_nm)
        assert plan.proofs["rod"].proven
        found = oracle.levels_of(plan, "rod", with_boxes=strategy == "keep-sets")
        assert found == best_by_highs(job, strategy, slack_nm), f"seed {seed}, {strategy}, {slack_nm}\n{describe(job)}"


@pytest.mark.parametrize("strategy", ["target", "even"])
@seeds(1, 8, slow=[5])
def test_a_second_solver_agrees(seeds: list[int], strategy: str) -> None:
    """HiGHS, level by level on its own model, arrives at the same figures, ties included."""
    assert_same(strategy, seeds)


@seeds(2, 3, slow=[0])
def test_a_second_solver_agrees_on_boxes(seeds: list[int]) -> None:
    """The same for `keep-sets`, whose model looks at every set of boxes."""
    assert_same("keep-sets", seeds)
