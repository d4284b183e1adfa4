"""The only module that uses OR-Tools: integer programs go to CP-SAT, their relaxations to GLOP, both through
`pywraplp`.

`pywraplp` starts in a fraction of the time that the CP-SAT Python layer takes, which imports pandas. Its pitfalls are
handled here: statuses are distinguished, the sum of an objective stays below 2**53 (it travels as a float), parameters
are checked, one worker and a fixed seed make the search repeatable, and the solve runs in a thread so that Ctrl-C
reaches the caller's signal handler and can interrupt it without losing the best point found.
"""

import math
import threading
from collections.abc import Iterable, Iterator, Sequence
from enum import Enum, auto
from itertools import count
from typing import Any, NamedTuple

from ortools.linear_solver import pywraplp

from fitmatch.fit.solver.program import Program, Row
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.problems import FaultInFitmatch

_LARGEST_EXACT_FLOAT = 2**53
# Probing and symmetry detection cost more than they save on programs of this size.
_PARAMETERS = (
    "num_workers:1,random_seed:{seed},catch_sigint_signal:false,cp_model_probing_level:0,symmetry_level:0,"
    "max_deterministic_time:{effort},mip_presolve_level:{mip_presolve},{way}"
)
# Ways to search: with some of the program or much of it also in a linear relaxation, or a little each of many. What
# one proves in a fifth of a second can take another a minute, and vice versa. They take turns, each time with more
# effort, counted in steps and not in seconds, so that the same program gives the same answer on any machine.
_WAYS = ("linearization_level:1", "linearization_level:2", "linearization_level:1,interleave_search:true")
_FIRST_EFFORT, _MORE = 0.5, 4
_FIRST_EFFORTS = (_FIRST_EFFORT, _FIRST_EFFORT, _MORE * _FIRST_EFFORT)  # the last way is slow to begin
SHORT = _FIRST_EFFORTS[:2]  # efforts of a search that is given up early
LONGER = (*_FIRST_EFFORTS, *(_MORE * effort for effort in SHORT))
_SEEDS = (7, 1789)
_FEW_STEPS, _STEPS_EACH = 1_000, 20  # of GLOP, for a program and for each of its rows and variables
VERY_MANY, FEW_EACH, _MOST_SIFTINGS = 40_000, 12, 30  # (measured)
_REDUCED = 1e-6  # what GLOP takes for 0 in a reduced cost
_AT_ONCE = 10_000  # variables; GLOP is done with fewer before anybody could interrupt it


class Outcome(Enum):
    OPTIMAL = auto()
    FEASIBLE = auto()  # stopped with a point found
    INFEASIBLE = auto()
    UNKNOWN = auto()  # stopped without one


class Answer(NamedTuple):
    """`x` and `bound` are None if the outcome has none; `bound` is a proven lower bound of the cost."""

    outcome: Outcome
    x: list[int] | None = None
    bound: int | None = None


class Relaxation(NamedTuple):
    """Values of the relaxed program and one multiplier per row; floats, to be checked before anything relies on
    them."""

    x: list[float]
    multipliers: list[float]


def solve(
    program: Program,
    cost: Sequence[int],
    stop: Stop,
    hint: Sequence[int] | None = None,
    efforts: Iterable[float] | None = None,
) -> Answer:
    """Minimise exactly. `hint` holds values of the first variables; after a turn for each of `efforts`, None being no
    limit, what was found is the answer. A verdict "infeasible" is confirmed with another seed before it is believed."""
    if sum(abs(c) * most for c, most in zip(cost, program.upper, strict=True)) >= _LARGEST_EXACT_FLOAT:
        raise FaultInFitmatch("an objective is too large to be exact")
    if program.hopeless():
        return Answer(Outcome.INFEASIBLE)
    best = Answer(Outcome.UNKNOWN)
    try:
        for turn, effort in enumerate(_growing() if efforts is None else efforts):
            way = _WAYS[turn % len(_WAYS)]
            answer = _solve(program, cost, stop, hint, _Manner(_SEEDS[0], way, effort))
            if answer.outcome is Outcome.INFEASIBLE:
                again = _solve(program, cost, stop, hint, _Manner(_SEEDS[1], way, _MORE * effort))
                if again.outcome not in (Outcome.INFEASIBLE, Outcome.UNKNOWN):
                    raise FaultInFitmatch("the solver contradicts itself")
            if answer.outcome in (Outcome.OPTIMAL, Outcome.INFEASIBLE):
                return answer
            best = _better(cost, best, answer)
            hint = best.x or hint
            stop.seconds_left()
    except Stopped:
        if best.outcome is Outcome.UNKNOWN:
            raise
    return best


def _growing() -> Iterator[float]:
    return (effort * _MORE**turn for turn in count() for effort in _FIRST_EFFORTS)


class _Manner(NamedTuple):
    """How a search is carried out."""

    seed: int
    way: str
    effort: float
    mip_presolve: int = 2


def _better(cost: Sequence[int], one: Answer, other: Answer) -> Answer:
    """The better point and the better bound of two undecided answers."""
    if one.x is None or other.x is None:
        return one if other.x is None else other
    points = sorted((sum(c * v for c, v in zip(cost, x, strict=True)), x) for x in (one.x, other.x))
    bounds = [b for b in (one.bound, other.bound) if b is not None]
    return Answer(Outcome.FEASIBLE, points[0][1], max(bounds, default=None))


def _solve(program: Program, cost: Sequence[int], stop: Stop, hint: Sequence[int] | None, manner: _Manner) -> Answer:
    solver, variables, _rows = _load("SAT", program, cost, stop)
    if not solver.SetSolverSpecificParametersAsString(_PARAMETERS.format(**manner._asdict())):
        raise FaultInFitmatch("the solver does not know its parameters")
    if hint is not None:
        solver.SetHint(variables[: len(hint)], list(hint))

    result = _status(solver, stop)
    if result == pywraplp.Solver.INFEASIBLE:
        return Answer(Outcome.INFEASIBLE)
    if result == pywraplp.Solver.NOT_SOLVED:
        return Answer(Outcome.UNKNOWN)  # BestBound() is meaningless here
    if result not in (pywraplp.Solver.OPTIMAL, pywraplp.Solver.FEASIBLE):
        raise FaultInFitmatch(f"the solver refuses the program (status {result})")
    x = [round(v.solution_value()) for v in variables]
    if not program.allows(x):
        # Its floating-point presolve accepts a row of large coefficients that is missed by one part in a million;
        # without it the search is exact. No point was lost: infeasibility and bounds remain valid.
        if manner.mip_presolve:
            return _solve(program, cost, stop, hint, manner._replace(mip_presolve=0))
        raise FaultInFitmatch("the solver's answer breaks the program's own rows")
    outcome = Outcome.OPTIMAL if result == pywraplp.Solver.OPTIMAL else Outcome.FEASIBLE
    return Answer(outcome, x, math.ceil(solver.Objective().BestBound() - 1e-6))


def _status(solver: Any, stop: Stop) -> int:
    """What the solver says in the end, while Ctrl-C can interrupt it."""
    status: list[int] = []
    finished = threading.Event()

    def work() -> None:
        try:
            status.append(solver.Solve())
        finally:
            finished.set()

    thread = threading.Thread(target=work)
    stop.watch(solver.InterruptSolve)
    thread.start()
    finished.wait()
    thread.join()
    stop.watch(None)
    return status[0] if status else pywraplp.Solver.ABNORMAL


def relax(program: Program, cost: Sequence[int], stop: Stop, point: Sequence[int] = ()) -> Relaxation | None:
    """The linear relaxation; None if GLOP finds no optimum, which by itself proves nothing. `point`: the variables that
    are above 0 in a point that is known; of very many variables it is then made of few, and of others as long as they
    would improve it."""
    if point and len(program.upper) > VERY_MANY and (found := _sifted(program, cost, stop, point)) is not None:
        return found
    if program.hopeless():
        return None
    solver, variables, rows = _load("GLOP", program, cost, stop)
    # It can cycle: seen on 58 rows that others solve in 60 steps. What takes far longer than usual is given up.
    most = _FEW_STEPS + _STEPS_EACH * (len(variables) + len(rows))
    solver.SetSolverSpecificParametersAsString(f"max_number_of_iterations: {most}")
    few = len(variables) <= _AT_ONCE
    if (solver.Solve() if few else _status(solver, stop)) != pywraplp.Solver.OPTIMAL:
        stop.seconds_left()
        return None
    return Relaxation([v.solution_value() for v in variables], [row.dual_value() for row in rows])


def _sifted(program: Program, cost: Sequence[int], stop: Stop, point: Sequence[int]) -> Relaxation | None:
    """The relaxation made of a few variables of each row that requires something, and then of more."""
    demands = [[j for j, _ in row.terms] for row in program.rows if row.low is not None and row.low > 0]
    used = set(range(len(cost))).difference(*demands)
    used.update(point, *(_cheapest(some, cost) for some in demands))
    for _ in range(_MOST_SIFTINGS):
        part, number = Program(), {j: i for i, j in enumerate(sorted(used))}
        part.upper = [program.upper[j] for j in number]
        for low, high, terms in stop.asking(program.rows, 1):
            part.rows.append(Row(low, high, [(number[j], a) for j, a in terms if j in number]))
        relaxed = relax(part, [cost[j] for j in number], stop)
        if relaxed is None:
            return None
        reduced = [float(c) for c in cost]
        for row, y in zip(program.rows, relaxed.multipliers, strict=True):
            if y:
                for j, a in row.terms:
                    reduced[j] -= y * a
        better = {j for j, r in enumerate(reduced) if r < -_REDUCED and j not in number}
        if not better:
            x = [0.0] * len(cost)
            for j, i in number.items():
                x[j] = relaxed.x[i]
            return Relaxation(x, relaxed.multipliers)
        for some in demands:
            used.update(sorted(better.intersection(some), key=reduced.__getitem__)[:FEW_EACH])
    return None


def _cheapest(variables: Sequence[int], cost: Sequence[int]) -> Sequence[int]:
    """A few of the least cost, if there are many of that spread over them."""
    ranked = sorted(variables, key=cost.__getitem__)
    if len(ranked) <= FEW_EACH:
        return ranked
    most = cost[ranked[FEW_EACH - 1]]
    alike = [j for j in ranked if cost[j] <= most]
    return alike[:: -(-len(alike) // FEW_EACH)]


def _load(backend: str, program: Program, cost: Sequence[int], stop: Stop) -> tuple[Any, list[Any], list[Any]]:
    solver = pywraplp.Solver.CreateSolver(backend)
    infinity = solver.infinity()
    make = solver.IntVar if backend == "SAT" else solver.NumVar
    variables = [make(0, most, "") for most in stop.asking(program.upper)]
    rows = []
    for row in stop.asking(program.rows, 1):  # a large program takes its time to hand over
        low = -infinity if row.low is None else row.low
        high = infinity if row.high is None else row.high
        constraint = solver.RowConstraint(low, high, "")
        for j, a in row.terms:
            constraint.SetCoefficient(variables[j], a)
        rows.append(constraint)
    objective = solver.Objective()
    for variable, c in zip(variables, cost, strict=True):
        if c:
            objective.SetCoefficient(variable, c)
    objective.SetMinimization()
    seconds = stop.seconds_left()
    if seconds is not None:
        solver.SetTimeLimit(max(1, int(seconds * 1000)))
    return solver, variables, rows
