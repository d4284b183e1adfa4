"""Published instances and instances whose best is known by construction or by a classical result."""

import random
from dataclasses import replace
from itertools import permutations

import numpy as np
import pytest
from made.jobs import STEP, TARGET, WALL, make_job, make_position, make_shells, planted_job
from oracles import oracle
from oracles.rulebook import Rules
from scipy.optimize import linear_sum_assignment

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.records.job import Job

NO_RULES = Rules(wall_difference_nm=None)


def matching_job(x: list[int], y: list[int], z: list[int], bound: int) -> Job:
    """Numerical 3-dimensional matching as shells: y and z are walls, and a position of size x hits its target with a
    pair whose walls make the bound up, 1 µm a unit."""
    unit = 1_000
    rooms = [2 * WALL + TARGET + (bound - size) * unit for size in x]
    positions = [make_position(f"R{i}", room) for i, room in enumerate(rooms, 1)]
    uppers = make_shells("upper", [WALL + size * unit for size in y])
    lowers = make_shells("lower", [WALL + size * unit for size in z])
    return make_job(positions, uppers + lowers, unit="mm")


# M. R. Garey, D. S. Johnson, "Computers and Intractability", 1979, problem [SP16] (numerical 3-dimensional matching,
# citation from memory); the instance as given in an encyclopaedia's article of that name: {3,4,4}, {1,4,6}, {1,2,5} can
# be matched to sums of 10, for example (3,6,1), (4,4,2), (4,1,5), and not to sums of 11.
X, Y, Z = [3, 4, 4], [1, 4, 6], [1, 2, 5]


def test_a_solvable_matching_is_solved() -> None:
    """The matching with bound 10 exists, and every position lands on its target."""
    figures = best_plan(matching_job(X, Y, Z, 10)).figures["rod"]
    assert (figures.filled, figures.worst_deviation_nm, figures.sum_squared_deviation_nm2) == (3, 0, 0)
    solutions = [
        (ys, zs)
        for ys in permutations(Y)
        for zs in permutations(Z)
        if all(x + y + z == 10 for x, y, z in zip(X, ys, zs, strict=True))
    ]
    assert len(solutions) == 2  # the two positions of size 4 swap


def test_an_unsolvable_matching_is_not() -> None:
    """The matching with bound 11 does not exist: some position stays off its target."""
    job = matching_job(X, Y, Z, 11)
    figures = best_plan(job).figures["rod"]
    assert figures.filled == 3
    # The sums of all sizes make 30, three positions want 33: on average each is 1 off.
    assert figures.worst_deviation_nm == oracle.best(job, "rod").worst_nm == 1_000


# Four positions and six shells of each half in units of 0.1 µm, recomputed by full enumeration of all (6·5·4·3)² =
# 129 600 plans; no table elsewhere.
ROOMS = [36415, 36452, 36398, 36433]
UPPERS = [17990, 18005, 18012, 17984, 18021, 17997]
LOWERS = [18003, 17988, 18010, 17995, 18018, 17979]


def enumerated_job() -> Job:
    positions = [
        make_position(f"R{i}", room * 100, target=45_000, min_nm=20_000, max_nm=70_000)
        for i, room in enumerate(ROOMS, 1)
    ]
    shells = make_shells("upper", [wall * 100 for wall in UPPERS]) + make_shells(
        "lower", [wall * 100 for wall in LOWERS]
    )
    return make_job(positions, shells, unit="mm")


@pytest.mark.parametrize(
    "strategy, figure, expected",
    [
        ("even", "spread_nm", 2 * 100),
        ("target", "worst_deviation_nm", 15 * 100),
        ("target", "sum_squared_deviation_nm2", 511 * 100**2),
    ],
)
def test_the_enumerated_instance(strategy: str, figure: str, expected: int) -> None:
    """The smallest spread is 0.2 µm, the smallest worst deviation 1.5 µm, with squares of 5.11 µm² beside it."""
    assert getattr(best_plan(enumerated_job(), strategy=strategy).figures["rod"], figure) == expected


@pytest.mark.parametrize("count, spare", [(1, 0), (3, 0), (5, 3), (8, 8), (12, 12), (24, 216)])
def test_a_planted_best_is_found(count: int, spare: int) -> None:
    """Rooms made of two shells and the target each are filled with a worst deviation of 0, up to 24 × 240 × 240."""
    job = planted_job(random.Random(f"{count} {spare}"), count, spare, reach=7 if spare < 100 else 15)
    plan = best_plan(job)
    figures = plan.figures["rod"]
    assert (figures.filled, figures.counted, figures.worst_deviation_nm, figures.spread_nm) == (count, count, 0, 0)
    assert plan.proofs["rod"].proven
    assert not oracle.faults_of(plan)


def test_a_planted_best_is_found_off_the_grid() -> None:
    """The same with walls to the nanometre, where no two are alike."""
    for seed in range(5):
        job = planted_job(random.Random(seed), 8, 8, grid=1, reach=7_000)
        assert best_plan(job).figures["rod"].worst_deviation_nm == 0


# With one half constant a fit is a matching of two sets. Rearrangement inequality (G. H. Hardy, J. E. Littlewood,
# G. Polya, "Inequalities", 1934, chapter X; citation from memory): sorted against sorted gives the smallest sum of
# squared differences, and the smallest largest difference as well.


def one_sided_job(rng: random.Random, count: int, spare: int) -> tuple[Job, list[int], list[int]]:
    """A job whose lower shells are all alike; with what the uppers are off the nominal wall, and what each room asks
    of its upper."""
    uppers = [rng.randint(-9_000, 9_000) for _ in range(count + spare)]
    asked = [rng.randint(-9_000, 9_000) for _ in range(count)]
    positions = [make_position(f"R{i}", 2 * WALL + TARGET + off) for i, off in enumerate(asked, 1)]
    shells = make_shells("upper", [WALL + off for off in uppers]) + make_shells("lower", [WALL] * count)
    return make_job(positions, shells, rules=NO_RULES), uppers, asked


@pytest.mark.parametrize("seed", range(12))
def test_sorted_pairing_with_one_half_constant(seed: int) -> None:
    """As many uppers as positions: the thickest goes to the widest room, and so on down."""
    job, uppers, asked = one_sided_job(random.Random(seed), 2 + seed, 0)
    off = [room - wall for room, wall in zip(sorted(asked), sorted(uppers), strict=True)]
    figures = best_plan(job).figures["rod"]
    assert figures.worst_deviation_nm == max(map(abs, off))
    assert figures.sum_squared_deviation_nm2 == sum(d * d for d in off)


@pytest.mark.parametrize("seed", range(12))
def test_two_set_assignment_with_spare_shells(seed: int) -> None:
    """With spare uppers the worst deviation and the sum of squares are those of a two-set assignment solver."""
    job, uppers, asked = one_sided_job(random.Random(f"spare {seed}"), 3 + seed, 4)
    off = np.abs(np.subtract.outer(asked, uppers))

    def cheapest(within: int) -> int | None:
        """The smallest sum of squares with no deviation above `within`, if there is a plan."""
        too_far = 10**12
        rows, columns = linear_sum_assignment(np.where(off <= within, off**2, too_far))
        total = int(np.where(off <= within, off**2, too_far)[rows, columns].sum())
        return total if total < too_far else None

    worst = next(within for within in np.unique(off).tolist() if cheapest(within) is not None)
    figures = best_plan(job).figures["rod"]
    assert (figures.worst_deviation_nm, figures.sum_squared_deviation_nm2) == (worst, cheapest(worst))


def test_either_half_makes_no_difference_to_what_is_possible() -> None:
    """Shells that fit either half do at least as well as the same shells tied to one half."""
    for seed in range(20):
        job = planted_job(random.Random(f"either {seed}"), 4, 1)
        tied = replace(job, positions=tuple(replace(p, seating_nm=STEP // 3) for p in job.positions))
        free = replace(tied, shells=tuple(replace(s, half="either") for s in tied.shells))
        assert oracle.in_order(oracle.levels_of(best_plan(free), "rod")) <= oracle.in_order(
            oracle.levels_of(best_plan(tied), "rod")
        )
