"""The plain model at its strongest: a 0/1 for each position and single shell, proven by CP-SAT or by HiGHS.

Walls are counted from the thinnest and divided by what divides them all. The figures are minimised one after the other,
each kept as a row for those that follow; every clearance must be inside its limits. A square is bounded below by its
secants between neighbouring whole numbers, which are exact there; those that a plan needs are added until nothing is
underrated. Both solvers begin with the sorted pairing.
"""

import math
from collections.abc import Callable, Sequence

import highspy
import numpy as np
from ortools.sat.python import cp_model
from ways.lots import MAX_NM, TARGET_NM, Lot, Plan
from ways.racing import FIGURES, Report
from ways.searching import sorted_pairing

SECANTS = 24  # of each square to begin with
INFINITE = float("inf")


class _Model:
    """Whole variables 0 <= x <= most and rows low <= factors x <= high; lengths are in steps of the grid."""

    def __init__(self, lot: Lot) -> None:
        n, pairs = len(lot.bores), len(lot.uppers)
        uppers, lowers = np.array(lot.uppers), np.array(lot.lowers)
        walls = np.concatenate([uppers - uppers.min(), lowers - lowers.min()])
        ideals = np.array(lot.ideals) - uppers.min() - lowers.min()
        grid = math.gcd(*walls.tolist(), *ideals.tolist(), MAX_NM - TARGET_NM)
        self.far = (MAX_NM - TARGET_NM) // grid
        self.most = np.empty(0)
        self.rows: list[tuple[np.ndarray, np.ndarray, float, float]] = []
        self.takes = self._variables(n * 2 * pairs, 1).reshape(n, 2 * pairs)
        self.off = self._variables(n, 2 * self.far)  # deviation + far
        self.worst = self._variables(1, self.far)
        self.squares = np.empty(0, int)
        for takes, off, ideal in zip(self.takes, self.off, ideals // grid, strict=True):
            self._row(takes[:pairs], 1, 1, 1)
            self._row(takes[pairs:], 1, 1, 1)
            self._row([*takes, off], [*walls // grid, 1], ideal + self.far, ideal + self.far)
            self._row([off, *self.worst], [1, 1], self.far, INFINITE)
            self._row([off, *self.worst], [1, -1], -INFINITE, self.far)
        for shell in self.takes.T:
            self._row(shell, 1, 0, 1)

    def price(self, what: str, x: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """The variables that make up a figure, and their factors; `x` has the figures before it."""
        if what == "worst":
            return self.worst, np.ones(1)
        if what == "squares":
            self.squares = self._variables(len(self.off), self.far**2)
            most = round(x[self.worst[0]])
            for k in np.unique(np.linspace(0, max(0, most - 1), SECANTS).astype(int)).tolist():
                for p in range(len(self.off)):
                    self._secant(p, k)
            return self.squares, np.ones(len(self.off))
        ends = self._variables(2, 2 * self.far)
        for off in self.off:
            self._row([ends[0], off], [1, -1], 0, INFINITE)
            self._row([ends[1], off], [1, -1], -INFINITE, 0)
        return ends, np.array([1, -1])

    def keep(self, price: tuple[np.ndarray, np.ndarray], x: np.ndarray) -> None:
        """A figure that is proven shall not become worse."""
        self._row(*price, -INFINITE, round(price[1] @ x[price[0]]))

    def mend(self, x: np.ndarray) -> bool:
        """Add the secants of the squares that this solution underrates; whether there were any."""
        deviations = np.rint(x[self.off]).astype(int) - self.far
        wrong = [p for p, q in enumerate(self.squares) if round(x[q]) < deviations[p] ** 2]
        for p in wrong:
            for k in (abs(int(deviations[p])) - 1, abs(int(deviations[p]))):
                self._secant(p, k)
        return bool(wrong)

    def plan(self, x: np.ndarray) -> Plan:
        """The shells taken; `x` need not be longer than these variables."""
        pairs = self.takes.shape[1] // 2
        taken = x[self.takes] > 0.5
        halves = taken[:, :pairs].argmax(axis=1), taken[:, pairs:].argmax(axis=1)
        return list(zip(*(half.tolist() for half in halves), strict=True))

    def _secant(self, p: int, k: int) -> None:
        for sign in (1, -1):  # square >= (2k + 1) * |deviation| - k (k + 1)
            slope = sign * (2 * k + 1)
            self._row([self.squares[p], self.off[p]], [1, slope], slope * self.far - k * (k + 1), INFINITE)

    def _variables(self, count: int, most: float) -> np.ndarray:
        first = len(self.most)
        self.most = np.concatenate([self.most, np.full(count, float(most))])
        return np.arange(first, first + count)

    def _row(self, at: Sequence[int], factors: Sequence[float] | float, low: float, high: float) -> None:
        places = np.asarray(at)
        self.rows.append((places, np.broadcast_to(np.asarray(factors, float), places.shape), low, high))


Price = tuple[np.ndarray, np.ndarray]
Minimise = Callable[[_Model, Price, Plan, Callable[[np.ndarray], None]], np.ndarray | None]


def _prove(minimise: Minimise, lot: Lot, report: Report) -> None:
    model = _Model(lot)
    plan, x = sorted_pairing(lot), np.empty(0)
    report(plan)
    for what in FIGURES:
        price = model.price(what, x)
        while True:
            found = minimise(model, price, plan, lambda x: report(model.plan(x)))
            if found is None:
                return  # not all positions can be inside
            x, plan = found, model.plan(found)
            if not model.mend(x):
                break
        report(plan, what)
        model.keep(price, x)


def cp_sat(lot: Lot, report: Report) -> None:
    """OR-Tools' CP-SAT on the plain model, with one worker, as others' time is counted so too."""
    _prove(_by_cp_sat, lot, report)


def highs(lot: Lot, report: Report) -> None:
    """HiGHS on the plain model."""
    _prove(_by_highs, lot, report)


def _by_cp_sat(model: _Model, price: Price, start: Plan, seen: Callable[[np.ndarray], None]) -> np.ndarray | None:
    program = cp_model.CpModel()
    x = [program.new_int_var(0, int(most), "") for most in model.most]
    for at, factors, low, high in model.rows:
        terms = cp_model.LinearExpr.weighted_sum([x[j] for j in at], factors.astype(int).tolist())
        program.add_linear_constraint(
            terms,
            cp_model.INT_MIN if low == -INFINITE else int(low),
            cp_model.INT_MAX if high == INFINITE else int(high),
        )
    program.minimize(cp_model.LinearExpr.weighted_sum([x[j] for j in price[0]], price[1].astype(int).tolist()))
    pairs = model.takes.shape[1] // 2
    for takes, (upper, lower) in zip(model.takes, start, strict=True):
        for j in takes:
            program.add_hint(x[j], j in (takes[upper], takes[pairs + lower]))

    class Seen(cp_model.CpSolverSolutionCallback):
        def on_solution_callback(self) -> None:
            seen(np.array([self.value(one) for one in x[: model.takes.size]]))

    solver = cp_model.CpSolver()
    solver.parameters.num_workers = 1
    solver.parameters.random_seed = 1
    solver.parameters.linearization_level = 2  # this and the next two: the best of those tried, by a factor of three
    solver.parameters.symmetry_level = 0
    solver.parameters.cp_model_probing_level = 0
    if solver.solve(program, Seen()) != cp_model.OPTIMAL:
        return None
    return np.array([solver.value(one) for one in x])


def _by_highs(model: _Model, price: Price, start: Plan, seen: Callable[[np.ndarray], None]) -> np.ndarray | None:
    solver = highspy.Highs()
    for name, value in (("output_flag", False), ("threads", 1), ("mip_rel_gap", 0.0), ("mip_abs_gap", 0.999)):
        solver.setOptionValue(name, value)  # figures are whole: a gap below 1 is none
    lp = highspy.HighsLp()
    lp.num_col_, lp.num_row_ = len(model.most), len(model.rows)
    lp.col_cost_ = np.bincount(price[0], price[1], len(model.most))
    lp.col_lower_, lp.col_upper_ = np.zeros(len(model.most)), model.most
    lp.row_lower_ = np.array([low for _, _, low, _ in model.rows])
    lp.row_upper_ = np.array([high for _, _, _, high in model.rows])
    lp.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lp.a_matrix_.start_ = np.cumsum([0, *(len(at) for at, *_ in model.rows)])
    lp.a_matrix_.index_ = np.concatenate([at for at, *_ in model.rows])
    lp.a_matrix_.value_ = np.concatenate([factors for _, factors, *_ in model.rows])
    whole = np.arange(len(model.most)) < model.takes.size  # all others then are by themselves
    lp.integrality_ = [highspy.HighsVarType.kInteger if one else highspy.HighsVarType.kContinuous for one in whole]
    solver.passModel(lp)
    pairs = model.takes.shape[1] // 2
    taken = np.zeros(model.takes.size)
    for takes, (upper, lower) in zip(model.takes, start, strict=True):
        taken[[takes[upper], takes[pairs + lower]]] = 1
    solver.setSolution(len(taken), np.arange(len(taken), dtype=np.int32), taken)
    solver.cbMipImprovingSolution.subscribe(lambda event: seen(np.array(event.data_out.mip_solution)))
    solver.run()
    if solver.getModelStatus() != highspy.HighsModelStatus.kOptimal:
        return None
    return np.array(solver.getSolution().col_value)
