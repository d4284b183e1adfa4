"""Peers that search by chance, each in the strongest encoding that was found for it.

The genetic search and SciPy's annealing choose only which upper goes where; SciPy then gives each choice its best
lowers. `by_swaps` moves single shells, which costs so little that it makes hundreds of thousands of moves a second.
"""

import math
import random
from itertools import count, islice
from typing import NamedTuple

import numpy as np
from deap import base, tools
from scipy.optimize import dual_annealing, linear_sum_assignment
from ways.lots import Lot, Plan
from ways.racing import Report

SEED = 7
POPULATION, CROSSED, MUTATED, TOURNAMENT = 60, 0.6, 0.9, 3
SQUARE = 2
POWERS = (4, 8, SQUARE)  # of the deviation, in turn: high ones look at the worst, squares are made small without it
MOVES, MOVES_A_POSITION = 20_000, 200  # of the first round; every round is longer than the one before
BATCH = 1_000
UNIT = 1_000  # nm, in which deviations are raised to a power
HOT, COLD = 0.3, 1e-3  # in the typical cost of a position, at the start of the search and of a round


Has = list[list[int]]  # for each half and position its shell, counted by wall


def sorted_pairing(lot: Lot) -> Plan:
    """The greater walls to the greater gaps, evenly from all there are."""
    return _named(lot, _start(lot))


def _start(lot: Lot) -> Has:
    n, pairs = len(lot.bores), len(lot.uppers)
    rank = np.empty(n, int)
    rank[np.argsort(lot.bores, kind="stable")] = np.arange(n)
    return [((rank + 0.5) * pairs / n).astype(int).tolist()] * 2


def _named(lot: Lot, has: Has) -> Plan:
    uppers, lowers = (np.argsort(walls, kind="stable").tolist() for walls in (lot.uppers, lot.lowers))
    return [(uppers[u], lowers[w]) for u, w in zip(*has, strict=True)]


class _Uppers:
    """A choice of uppers judged by the best lowers for it; reports what is better than all before."""

    def __init__(self, lot: Lot, report: Report) -> None:
        self.ideals, self.uppers, self.lowers = map(np.array, (lot.ideals, lot.uppers, lot.lowers))
        self._lot, self._report = lot, report
        self._best: tuple[int, int, int] | None = None

    def judge(self, order: np.ndarray) -> tuple[int, int, int]:
        """Worst |deviation|, sum of squares and spread where position i has the upper order[i]."""
        uppers = order[: len(self.ideals)]
        off = (self.ideals - self.uppers[uppers])[:, None] - self.lowers
        _, lowers = linear_sum_assignment((off / 1_000) ** 4)
        found = off[np.arange(len(uppers)), lowers]
        figures = int(abs(found).max()), int((found * found).sum()), int(found.max() - found.min())
        if self._best is None or figures < self._best:
            self._best = figures
            self._report(list(zip(uppers.tolist(), lowers.tolist(), strict=True)))
        return figures

    def start(self) -> list[int]:
        """All uppers, first those of the sorted pairing."""
        first = [upper for upper, _ in sorted_pairing(self._lot)]
        return [*first, *sorted(set(range(len(self.uppers))) - set(first))]


def genetic(lot: Lot, report: Report, generations: int | None = None) -> None:
    """A genetic search with DEAP: orders of uppers, partially matched crossover, tournaments, the best few kept."""
    random.seed(SEED)
    uppers = _Uppers(lot, report)

    class Fitness(base.Fitness):
        weights = (-1.0, -1.0, -1.0)  # compared one after the other

    class Order(list):
        def __init__(self, genes: list[int]) -> None:
            super().__init__(genes)
            self.fitness = Fitness()

    def judged(order: Order) -> Order:
        order.fitness.values = uppers.judge(np.array(order))
        return order

    start, n = uppers.start(), len(lot.bores)
    crowd = [judged(Order(start))]
    crowd += [judged(Order(random.sample(start, len(start)))) for _ in range(POPULATION - 1)]
    for _ in islice(count(), generations):
        bred = [Order(order) for order in tools.selTournament(crowd, POPULATION, TOURNAMENT)]
        for one, other in zip(bred[::2], bred[1::2], strict=True):
            if random.random() < CROSSED:
                tools.cxPartialyMatched(one, other)
        for order in bred:
            if random.random() < MUTATED:
                i, j = random.randrange(n), random.randrange(len(order))
                order[i], order[j] = order[j], order[i]
        crowd = tools.selBest(crowd + [judged(order) for order in bred], POPULATION)


def annealing(lot: Lot, report: Report, rounds: int | None = None, steps: int = 1_000) -> None:
    """SciPy's dual annealing: a number for each upper, in the order of which they go to the positions."""
    uppers = _Uppers(lot, report)

    def cost(keys: np.ndarray) -> float:
        worst, squares, _ = uppers.judge(np.argsort(keys))
        return worst + 0.1 * math.sqrt(squares / len(lot.bores))

    start = uppers.start()
    keys = np.empty(len(start))
    keys[start] = (np.arange(len(start)) + 0.5) / len(start)
    for seed in islice(count(SEED), rounds):
        dual_annealing(cost, [(0.0, 1.0)] * len(keys), x0=keys, rng=seed, no_local_search=True, maxiter=steps)


def by_swaps(lot: Lot, report: Report, rounds: int | None = None) -> None:
    """Simulated annealing (Metropolis): a position takes another shell, mostly of a wall near its own, and the position
    that had that one, if any, takes the shell given up.

    It begins with the sorted pairing. Every round cools anew from the best plan so far, later ones more slowly.
    """
    rng = np.random.default_rng(SEED)
    n = len(lot.bores)
    walls = [sorted(lot.uppers), sorted(lot.lowers)]
    best = _start(lot)
    best_figures = _figures(lot, walls, best)
    report(_named(lot, best))
    warm = math.sqrt(best_figures[1] / n) / UNIT
    for turn in islice(count(), rounds):
        has = [list(places) for places in best]
        moves = int((MOVES + MOVES_A_POSITION * n) * 1.5 ** (turn // len(POWERS)))
        power = POWERS[turn % len(POWERS)]
        most = best_figures[0] if power == SQUARE else math.inf
        _anneal(lot, walls, has, _Round(power, most, moves, warm), rng)
        figures = _figures(lot, walls, has)
        if figures < best_figures:
            best, best_figures = has, figures
            report(_named(lot, best))


def _off(lot: Lot, walls: list[list[int]], has: Has) -> list[int]:
    return [ideal - walls[0][u] - walls[1][w] for ideal, u, w in zip(lot.ideals, *has, strict=True)]


def _figures(lot: Lot, walls: list[list[int]], has: Has) -> tuple[int, int, int]:
    off = _off(lot, walls, has)
    return max(map(abs, off)), sum(d * d for d in off), max(off) - min(off)


class _Round(NamedTuple):
    """How one round of annealing goes: what the deviation is raised to, and how many moves."""

    power: int
    most: float  # the worst deviation allowed
    moves: int
    warm: float  # the typical deviation at the start of the search, in the unit


def _anneal(lot: Lot, walls: list[list[int]], has: Has, how: _Round, rng: np.random.Generator) -> None:
    """One round, which changes `has`."""
    n, m, power, most = len(lot.bores), len(walls[0]), how.power, how.most
    who = [[n] * m, [n] * m]  # n: nobody has it
    for half in (0, 1):
        for position, shell in enumerate(has[half]):
            who[half][shell] = position
    off = _off(lot, walls, has)
    costs = [abs(d / UNIT) ** power for d in off]
    heat, cold = HOT * how.warm**power, COLD * max(sum(costs) / n, 1e-9)
    batches = max(1, how.moves // BATCH)
    slower = (cold / heat) ** (1 / batches)
    for _ in range(batches):
        steps = np.rint(m ** rng.random(BATCH)).astype(int) * rng.choice((-1, 1), BATCH)
        chances = heat * rng.exponential(size=BATCH)
        for half, i, step, chance in zip(
            rng.integers(2, size=BATCH).tolist(),
            rng.integers(n, size=BATCH).tolist(),
            steps.tolist(),
            chances.tolist(),
            strict=True,
        ):
            mine, its, wall = has[half], who[half], walls[half]
            s = mine[i]
            t = s + step
            if not 0 <= t < m:
                continue
            change = wall[s] - wall[t]
            j = its[t]
            here = off[i] + change
            cost = abs(here / UNIT) ** power
            if j == n:
                if cost - costs[i] > chance or abs(here) > most:
                    continue
            else:
                there = off[j] - change
                other = abs(there / UNIT) ** power
                if cost + other - costs[i] - costs[j] > chance or abs(here) > most or abs(there) > most:
                    continue
                off[j], costs[j], mine[j] = there, other, s
            off[i], costs[i], mine[i] = here, cost, t
            its[t], its[s] = i, j
        heat *= slower
