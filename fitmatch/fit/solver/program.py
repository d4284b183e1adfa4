"""An integer program as plain data, and what can be proven about it in whole-number arithmetic.

minimise sum c[j] x[j]   over whole x with 0 <= x[j] <= upper[j] and low[i] <= sum a[i][j] x[j] <= high[i].

A linear solver's multipliers are floating-point numbers, but *any* multipliers give a bound (Lagrangian duality; see L.
A. Wolsey, Integer Programming, 2nd ed., Wiley 2020, ch. 10 - citation from memory). So they are rounded to whole
multiples of 2**-SHIFT, and bound and reduced costs are then computed exactly: what is called proven does not depend on
any tolerance.
"""

from collections.abc import Sequence
from itertools import pairwise
from typing import NamedTuple

from fitmatch.fit.solver.stopping import Stop

SHIFT = 20
ONE = 1 << SHIFT  # a multiplier of 1


class Row(NamedTuple):
    """low <= sum coefficient * x[variable] <= high; None is no limit on that side."""

    low: int | None
    high: int | None
    terms: list[tuple[int, int]]  # (variable, coefficient)


class Program:
    """Variables are numbered from 0; every lower bound is 0."""

    def __init__(self) -> None:
        self.upper: list[int] = []
        self.rows: list[Row] = []

    def variable(self, upper: int) -> int:
        self.upper.append(upper)
        return len(self.upper) - 1

    def row(self, terms: list[tuple[int, int]], low: int | None, high: int | None) -> None:
        if low is not None and low == high and any(abs(a) > 1 for _, a in terms):
            # The solver reports some impossible equalities of this sort as an invalid program.
            self.rows += [Row(low, None, terms), Row(None, high, terms)]
        else:
            self.rows.append(Row(low, high, terms))

    def rising(self, count: int) -> list[int]:
        """This many variables that rise from 0 to 1 once."""
        made = [self.variable(1) for _ in range(count)]
        for one, following in pairwise(made):
            self.row([(one, 1), (following, -1)], None, 0)
        return made

    def hopeless(self) -> bool:
        """Whether no point can satisfy some single row. Solvers call such a program invalid instead of infeasible."""
        for low, high, terms in self.rows:
            least = sum(a * self.upper[j] for j, a in terms if a < 0)
            most = sum(a * self.upper[j] for j, a in terms if a > 0)
            if max(least, least if low is None else low) > min(most, most if high is None else high):
                return True
        return False

    def allows(self, x: Sequence[int]) -> bool:
        """Whether this point satisfies every bound and row, exactly."""
        return all(0 <= value <= most for value, most in zip(x, self.upper, strict=True)) and all(
            (row.low is None or total >= row.low) and (row.high is None or total <= row.high)
            for row in self.rows
            for total in (sum(a * x[j] for j, a in row.terms),)
        )


def with_slacks(program: Program) -> Program:
    """The same with one more variable, after all others, for each row that x = 0 breaks: what the row is short of.
    There is always a point; one with no shortfall is a point of the program itself."""
    lax = Program()
    lax.upper = list(program.upper)
    for low, high, terms in program.rows:
        if low is not None and low > 0:
            terms = [*terms, (lax.variable(low), 1)]
        elif high is not None and high < 0:
            terms = [*terms, (lax.variable(-high), -1)]
        lax.row(terms, low, high)
    return lax


class Bound(NamedTuple):
    """What multipliers prove, in multiples of 2**-SHIFT: no point of the program costs less than `total`; one that uses
    variable j costs at least `total + reduced[j]` where that is positive.

    `at_low`, `at_high`: the rows that a point of exactly that cost has at these limits. It uses no variable of a
    positive reduced cost, and as many as it may of one of a negative reduced cost.
    """

    total: int
    reduced: list[int]
    at_low: list[int]
    at_high: list[int]

    @property
    def least(self) -> int:
        """In whole numbers: no point costs less."""
        return -(-self.total >> SHIFT)

    def spare(self, cost: int) -> int:
        """How much more than a point must cost this is: no point that costs so little uses a variable of a reduced cost
        above that."""
        return (cost << SHIFT) - self.total


def price(multiplier: float) -> int:
    """A row's multiplier as `exact_bound` counts it, rounded up."""
    return -(-round(multiplier * ONE) >> SHIFT)


def exact_bound(program: Program, cost: Sequence[int], multipliers: Sequence[float], stop: Stop) -> Bound:
    """The bound that these row multipliers prove, in whole-number arithmetic."""
    reduced = [c << SHIFT for c in cost]
    total = 0
    at: tuple[list[int], list[int]] = [], []
    for i, (row, multiplier) in enumerate(stop.asking(zip(program.rows, multipliers, strict=True), 1)):
        y = round(multiplier * ONE)
        limit = row.low if y > 0 else row.high
        if not y or limit is None:
            continue  # a multiplier of the wrong sign for a one-sided row proves nothing: leave it out
        at[y < 0].append(i)
        total += y * limit
        for j, a in row.terms:
            reduced[j] -= y * a
    total += sum(r * most for r, most in zip(reduced, program.upper, strict=True) if r < 0)
    return Bound(total, reduced, *at)
