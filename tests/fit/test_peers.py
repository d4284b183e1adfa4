"""What the benchmark of peers rests on: its judge, its bins, its sorted pairing, and that every peer plays fair."""

import math
import random
from functools import partial
from itertools import pairwise, permutations
from statistics import NormalDist

import numpy as np
import peers
import pytest
from scipy.integrate import quad
from scipy.optimize import linear_sum_assignment
from scipy.sparse import csr_array
from scipy.sparse.csgraph import maximum_bipartite_matching
from ways import own, searching
from ways.grading import Cuts, equal_probability, equal_width, graded
from ways.lots import SIZES, Lot, Plan, job_of, lot
from ways.racing import Peer, Report, race
from ways.score import leftover_sets, score

import fitmatch
from fitmatch.fit.solver.stopping import Stop
from fitmatch.study.comparison.leftover_sets import leftover_sets as most_pairs_left

STANDARD = (-1, 1)  # values of mean 0 and standard deviation 1
NORMAL = NormalDist()
# Residual variance within bins over sigma squared for N(0, 1), recomputed by quadrature. The smallest possible agree
# with J. Max, IRE Transactions on Information Theory 6, 1960, pp. 7-12 (citation from memory).
RESIDUAL = {  # bins: smallest possible, equal probability, equal width on +/- 3 sigma with the tails in the end bins
    1: (1, 1, 1),
    2: (0.363380, 0.363380, 0.363380),
    3: (0.190174, 0.206771, 0.261924),
    4: (0.117482, 0.139441, 0.162676),
    5: (0.079941, 0.103045, 0.110456),
    6: (0.057978, 0.080639, 0.079349),
    8: (0.034548, 0.054966, 0.046304),
    10: (0.022937, 0.040954, 0.030232),
    12: (0.016340, 0.032264, 0.021281),
}


def residual(cuts: list[float]) -> float:
    """The variance within bins of N(0, 1) by quadrature."""
    total = 0.0
    for low, high in zip([-12.0, *cuts], [*cuts, 12.0], strict=True):
        share, first, second = (
            quad(lambda x, power=power: x**power * NORMAL.pdf(x), low, high, epsabs=1e-12)[0] for power in (0, 1, 2)
        )
        total += second - first**2 / share
    return total


def best_cuts(bins: int) -> list[float]:
    """Lloyd's iteration: each cut halfway between the means of the bins beside it."""
    cuts = equal_probability(STANDARD, bins)
    for _ in range(3_000):
        ends = [-math.inf, *cuts, math.inf]
        means = [
            (NORMAL.pdf(low) - NORMAL.pdf(high)) / (NORMAL.cdf(high) - NORMAL.cdf(low)) for low, high in pairwise(ends)
        ]
        cuts = [(one + other) / 2 for one, other in pairwise(means)]
    return cuts


@pytest.mark.parametrize("bins", RESIDUAL)
def test_residuals_within_bins(bins: int) -> None:
    """The benchmark's bins leave the variance that the literature gives, and none less than the smallest possible."""
    smallest, probability, width = RESIDUAL[bins]
    assert residual(equal_probability(STANDARD, bins)) == pytest.approx(probability, abs=6e-7)
    assert residual(equal_width(STANDARD, bins)) == pytest.approx(width, abs=6e-7)
    assert residual(best_cuts(bins)) == pytest.approx(smallest, abs=6e-7)
    assert smallest <= min(probability, width)


@pytest.mark.parametrize(("cuts", "column"), [(equal_probability, 1), (equal_width, 2)])
def test_graded_values(cuts: Cuts, column: int) -> None:
    """Values graded into bins by their own mean and deviation scatter within them as the table says."""
    count = 20_000
    values = [NORMAL.inv_cdf((i + 0.5) / count) for i in range(count)]
    for bins in (3, 6, 12):
        places = graded(values, cuts(values, bins))
        assert sorted(at for some in places for at in some) == list(range(count))
        within = sum(len(some) * np.var([values[at] for at in some]) for some in places) / count
        assert within == pytest.approx(RESIDUAL[bins][column], rel=0.01)


@pytest.mark.parametrize(("mean", "sigma", "surplus"), [(0, 1.5, 0.18767), (0.5, 1, 0.19146)])
def test_surplus(mean: float, sigma: float, surplus: float) -> None:
    """Two populations graded by the same six bins of equal width leave over half the difference of their shares
    (recomputed; standard normal against another deviation, and against another mean)."""
    cuts, count = equal_width(STANDARD, 6), 100_000
    sizes = [
        [len(some) / count for some in graded([d.inv_cdf((i + 0.5) / count) for i in range(count)], cuts)]
        for d in (NORMAL, NormalDist(mean, sigma))
    ]
    assert sum(abs(p - q) for p, q in zip(*sizes, strict=True)) / 2 == pytest.approx(surplus, abs=3e-5)


@pytest.mark.parametrize("seed", range(5))
def test_sorted_pairing(seed: int) -> None:
    """With one half all alike and no shell to spare, the greater wall to the greater gap is best in the sum of squares
    and in the worst deviation (rearrangement inequality); SciPy's matchings and fitmatch find no better."""
    rng, n = random.Random(seed), 12
    gaps = [rng.randint(-3_000, 3_000) for _ in range(n)]
    some = Lot(
        tuple(54_000_000 + gap for gap in gaps),
        tuple(1_975_000 + rng.randint(-3_000, 3_000) for _ in range(n)),
        (1_975_000,) * n,
    )
    figures = score(some, searching.sorted_pairing(some))
    off = np.abs(np.subtract.outer(some.ideals, some.uppers) - 1_975_000)
    assert figures.squares_nm2 == (off**2)[linear_sum_assignment(off**2)].sum()
    narrower = csr_array(off < figures.worst_nm)
    assert (maximum_bipartite_matching(narrower) >= 0).sum() < n
    found = fitmatch.assign(job_of(some)).groups[0].figures
    assert (found.worst_deviation_nm, found.sum_squared_deviation_nm2) == (figures.worst_nm, figures.squares_nm2)


@pytest.mark.parametrize("seed", [*range(2), *(pytest.param(seed, marks=pytest.mark.deep) for seed in range(2, 12))])
def test_judge(seed: int) -> None:
    """The judge gives a plan the figures and the leftover sets that fitmatch gives it, each by its own means."""
    rng = random.Random(seed)
    some = lot(rng.randint(3, 9), plenty=rng.random() < 0.5, grid_nm=rng.choice((1, 500)))
    shift = rng.randint(-18_000, 18_000)  # so that some are outside, and not every pair that is left would fit
    some = some._replace(bores=tuple(bore + shift + rng.randint(-8_000, 8_000) for bore in some.bores))
    plan = fitmatch.assign(job_of(some))
    found, placed = plan.groups[0].figures, own.plan_of(some, plan.placements)
    assert score(some, placed) == (
        0,
        len(some.bores) - found.filled + found.below + found.above,
        len(some.bores) - found.filled,
        found.below,
        found.shortfall_nm,
        found.excess_nm,
        found.worst_deviation_nm or 0,
        found.sum_squared_deviation_nm2,
        found.spread_nm or 0,
    )
    assert leftover_sets(some, placed) == most_pairs_left([job_of(some)], "rod", plan.placements, Stop())


def test_no_plan() -> None:
    """What names a shell twice, or too few positions, is no plan."""
    some = lot(3, plenty=False, grid_nm=500)
    for wrong in ([(0, 0), (0, 1), (1, 2)], [(0, 0), (1, 0), (2, 1)], [(0, 0), (1, 1)]):
        with pytest.raises(ValueError, match=r"a plan names every position|a shell is in two positions"):
            score(some, wrong)


# --- the peers -------------------------------------------------------------------------------------------------------

ENDING: dict[str, Peer] = {
    **peers.PEERS,
    "genetic search": partial(searching.genetic, generations=3),
    "SciPy's annealing": partial(searching.annealing, rounds=2, steps=20),
    "annealing by swaps": partial(searching.by_swaps, rounds=1),
}


class Heard:
    """What a peer told: the best plan and what it proved."""

    def __init__(self, peer: Peer, some: Lot) -> None:
        self.proven: list[str] = []
        self._told: list[tuple[tuple[int, ...], Plan]] = []
        self._lot = some
        peer(some, self)
        self.figures = min(figures for figures, _ in self._told)

    def __call__(self, plan: Plan, proven: str = "") -> None:
        self._told.append((score(self._lot, plan), plan))  # raises where it is no plan
        self.proven += [proven] if proven else []


@pytest.fixture(scope="module")
def tiny() -> list[tuple[Lot, tuple[int, ...]]]:
    """Tiny lots of every sort, with the figures that fitmatch proves."""
    lots = [lot(n, plenty=plenty, grid_nm=grid) for n in (2, 4) for plenty in (False, True) for grid in (500, 1)]
    return [(some, Heard(ENDING["fitmatch"], some).figures) for some in lots]


@pytest.mark.parametrize("name", ENDING)
def test_plans_and_proofs_of_peers(name: str, tiny: list[tuple[Lot, tuple[int, ...]]]) -> None:
    """Every plan that a peer tells of is one, and none is better than what fitmatch proves; those that prove their
    figures prove the same ones, all three of them."""
    for some, best in tiny:
        heard = Heard(ENDING[name], some)
        assert heard.figures >= best
        if name in peers.PROVERS:
            assert (heard.figures, heard.proven) == (best, ["worst", "squares", "spread"])


def test_all_plans(tiny: list[tuple[Lot, tuple[int, ...]]]) -> None:
    """What is proven for two positions is the best of all plans, tried out one by one."""
    for some, best in tiny:
        if len(some.bores) == 2 and len(some.uppers) == 3:
            orders = list(permutations(range(3), 2))
            every = (list(zip(uppers, lowers, strict=True)) for uppers in orders for lowers in orders)
            assert min(score(some, plan) for plan in every) == best


@pytest.mark.filterwarnings("ignore:.*fork:DeprecationWarning")  # the benchmark itself has a single thread
def test_equal_time() -> None:
    """A peer that never ends is ended after its time, and the best that it had told of by then counts."""

    def endless(some: Lot, report: Report) -> None:
        report([(0, 0), (1, 1)])
        report([(1, 1), (0, 0)], "worst")
        report([None, None])
        while True:
            pass

    some = lot(2, plenty=False, grid_nm=500)
    result = race(endless, some, 1)
    assert result.figures == min(score(some, [(0, 0), (1, 1)]), score(some, [(1, 1), (0, 0)]))
    assert result.proven.keys() == {"worst"} and 0 <= result.reached_s < 1
    assert result.leftover_sets == leftover_sets(some, [(0, 0), (1, 1)])


# --- the page --------------------------------------------------------------------------------------------------------


def test_page() -> None:
    """The page shows what was measured last: every peer on every lot, nobody better than a proof of fitmatch."""
    rows = peers.kept()
    page = (peers.ROOT / "docs" / "peers.md").read_text(encoding="utf-8")
    for lines in (peers.summary(rows), peers.tables(rows)):
        assert "\n".join(lines) in page
    assert len(rows) == len({(row.lot, row.peer) for row in rows}) == 4 * len(SIZES) * len(peers.PEERS)
    proven = {row.lot: row.quality for row in rows if row.peer == "fitmatch" and row.spread_ms is not None}
    assert proven and all(row.quality >= proven[row.lot] for row in rows if row.lot in proven)


def test_merged() -> None:
    """Lots that are measured anew take the place of the old ones, in order of size; the others stay."""
    old = [peers.Row(7, 8, 500, "a", 1), peers.Row(7, 8, 1, "a", 2), peers.Row(13, 15, 500, "a", 3)]
    new = [peers.Row(13, 15, 500, "a", 4), peers.Row(5, 6, 500, "a", 5)]
    assert [row.broken for row in peers.merged(old, new)] == [5, 1, 2, 4]


@pytest.mark.deep
def test_picture() -> None:
    """The same figures give the same picture, byte for byte, without a date."""
    rows = peers.kept()
    one = peers.picture(rows)
    assert one == peers.picture(rows) and b"<dc:date>" not in one
