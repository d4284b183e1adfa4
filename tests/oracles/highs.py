"""What HiGHS makes of one job, or of several that share their shells: every level proven on a plain model of its own.

A 0/1 column for each position, each housing that may go there and each pair of shells, and one for the position that
stays empty; shells alike in everything a plan could notice are counted, not named. What may go where and what it is
worth is told by `oracle`, from the definition alone: nothing of `fitmatch.fit` is used here. Each level is minimised in
turn and kept as a row for those that follow. HiGHS counts in floating point, so lengths are divided by what divides
them all, rows that keep a level leave half a unit, and every plan found is judged again in whole numbers.
"""

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import NamedTuple

import numpy as np
from oracles import oracle
from oracles.oracle import Pair
from oracles.rulebook import rules_of
from scipy.optimize import LinearConstraint, linprog, milp
from scipy.sparse import csr_array, vstack

from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.job import Job
from fitmatch.records.parts import Position

# Of level 1, after how many are filled: below and above their limits, then the wanted band.
LEVEL_1 = ("below", "short", "over", "bw", "sw", "aw", "ew")
MANY_PLACES = 60
FEW_COLUMNS = 300  # with more, a relaxation first tells which can matter
Terms = list[tuple[int, int]]  # columns and their whole coefficients


class NotProven(Exception):
    """HiGHS came to the most nodes that it was allowed."""


class Column(NamedTuple):
    """One way to deal with a position: its journal with the housing of some row, and two shells or none."""

    job: int
    seat: int
    housing: int  # the seat whose housing it is
    position: Position
    pair: Pair | None


class Figures(NamedTuple):
    """What a plan is worth to the jobs worked for; the smaller is the better."""

    incomplete: int
    rest: tuple[int, ...]  # outside or empty, empty, below, and so on to the excess over the wish
    worst_nm: int
    squares_nm2: int
    spread_nm: int
    boxes: int


class Ties(NamedTuple):
    """Level 3, for all jobs together."""

    moved: int
    clearance_nm: int  # the larger is the better
    wall_difference_nm: int


class Model:
    """All that one kind of these jobs may choose, with the levels settled so far."""

    def __init__(
        self,
        jobs: Sequence[Job],
        kind: str,
        *,
        with_boxes: bool,
        nodes: int | None = None,
        only: Sequence[JobPlan] = (),
    ) -> None:
        """`nodes`: the most of them for each program; `only`: know no other shells than these plans use."""
        self.jobs, self.kind, self.nodes = list(jobs), kind, nodes
        self.solved = 0
        self._with_boxes = with_boxes
        self.seats = [
            (i, p) for i, job in enumerate(jobs) for p in job.positions if p.kind == kind and oracle.measured(job, p)
        ]
        self._classes({s.key for plan in only for p in plan.placements for s in (p.upper, p.lower)})
        self.columns = list(self._every_column())
        self._weigh()
        count = len(self.columns)
        self.most = np.ones(count)  # what every variable may come to; 0: this column is out
        self.rows: list[tuple[np.ndarray, np.ndarray, float, float]] = []
        self.kept: list[tuple[np.ndarray, int]] = []
        self._bind()
        # The plan in hand; at first the one that leaves empty what may be empty.
        self.plan = self._of_columns(c.pair is None and c.housing == c.seat for c in self.columns)
        for columns in self.figures_of_seat:
            if not self.plan[columns].any():  # what is locked in both halves is in
                self.plan[columns[[self.columns[at].housing == self.columns[at].seat for at in columns]]] = True
        self._judge(self.plan)

    # --- columns ---

    def _classes(self, only: set[tuple[str, str]]) -> None:
        """Sort interchangeable shells into classes, with how many there are."""
        locked = set().union(*(oracle.locked_keys(job) for job in self.jobs))
        self.class_of: dict[tuple[str, str], int] = {}
        self.stock: Counter[int] = Counter()
        known: dict[object, int] = {}
        self.some: set[tuple[str, str]] = set()  # two of each class tell all pairs
        for s in self.jobs[0].shells:
            box = s.box if self._with_boxes else None
            alike = (s.kind, s.half, s.wall_nm, s.marks, s.family, s.hold, s.measured_as, box)
            number = known.setdefault(s.key if s.key in locked else alike, len(known))
            self.class_of[s.key] = number
            self.stock[number] += 1
            if self.stock[number] <= 2:
                self.some.add(s.key)
        if only:
            used = {self.class_of[key] for key in only}
            self.some = {key for key in self.some if self.class_of[key] in used}

    def _every_column(self) -> Iterable[Column]:
        for seat, (i, p) in enumerate(self.seats):
            job = self.jobs[i]
            for other, (j, h) in enumerate(self.seats):
                moves = (
                    i == j and self.kind in rules_of(job).movable and all(map(oracle.cells_agree, p.within, h.within))
                )
                if other != seat and not moves:
                    continue
                position = p if other == seat else oracle.housed(p, h)
                seen = set()
                for pair in self._pairs(job, position):
                    drawn = self.class_of[pair.upper.key], self.class_of[pair.lower.key]
                    if drawn not in seen:
                        seen.add(drawn)
                        yield Column(i, seat, other, position, pair)
                if not seen or not oracle.locked_twice(p):  # what is locked in both halves is in
                    yield Column(i, seat, other, position, None)

    def _pairs(self, job: Job, p: Position) -> Iterable[Pair]:
        """As `oracle.possible_pairs`, over two shells of each class."""
        if not oracle.fillable(job, p):
            return
        sides = [[s for s in oracle.candidates(job, p, side) if s.key in self.some] for side in ("upper", "lower")]
        for upper in sides[0]:
            for lower in sides[1]:
                pair = Pair(upper, lower)
                obeys = oracle.locked_twice(p) or not (
                    oracle.broken_rules(job, p, pair) or oracle.has_thin(job, p, pair)
                )
                if upper.key != lower.key and obeys and oracle.has_clearance(job, p, pair):
                    yield pair

    def _weigh(self) -> None:
        """The figures of every column, as arrays of whole numbers; an empty one has none."""
        count = len(self.columns)
        more = ("filled", "inside", "counted", "dev", "clearance", "difference", "moved", "side", "shift", "lies")
        figures = {name: np.zeros(count, dtype=np.int64) for name in (*LEVEL_1, *more)}
        for at, c in enumerate(self.columns):
            job, p, pair = self.jobs[c.job], c.position, c.pair
            now: dict[str, int] = {"moved": int(c.housing != c.seat)}
            if pair is not None:
                short = oracle.shortfall_nm(job, p, pair)
                over = oracle.excess_nm(p, pair, oracle.margins_nm(job, p, pair)[1])
                clearance, axis = oracle.clearance_nm(p, pair), oracle.axis(p, pair)
                inside = not short and not over
                now |= {"filled": 1, "inside": int(inside), "below": int(short > 0), "short": short, "over": over}
                now |= dict(zip(("bw", "sw", "aw", "ew"), oracle.missed_wish(p, pair), strict=True))
                now |= {"counted": int(inside and not oracle.locked_twice(p)), "dev": clearance - p.target_nm}
                now |= {"clearance": clearance, "difference": abs(pair.upper.wall_nm - pair.lower.wall_nm)}
                now["side"] = {"upper": 1, "lower": -1, None: 0}[oracle.deciding_side(job, p, pair)]
                now |= {"shift": axis.shift, "lies": axis.lies}
            for name, value in now.items():
                figures[name][at] = value
        self.of = figures
        self.job_of = np.array([c.job for c in self.columns])
        self.seat_of = np.array([c.seat for c in self.columns])
        lengths = np.concatenate(
            [figures[name] for name in ("short", "over", "sw", "ew", "difference", "shift", "lies")]
        )
        counted = figures["dev"][figures["counted"] > 0]
        self.unit = math.gcd(*np.unique(lengths).tolist(), *np.unique(counted).tolist()) or 1
        self.figures_of_seat = [np.flatnonzero(self.seat_of == seat) for seat in range(len(self.seats))]

    def _of_columns(self, which: Iterable[bool]) -> np.ndarray:
        return np.fromiter(which, dtype=bool, count=len(self.columns))

    # --- rows that hold throughout ---

    def variable(self, most: int) -> int:
        self.most = np.append(self.most, most)
        return len(self.most) - 1

    def row(self, columns: Sequence[int], values: Sequence[float], low: float, high: float) -> None:
        self.rows.append((np.asarray(columns, dtype=int), np.asarray(values, dtype=float), low, high))

    def row_over(self, columns: np.ndarray, values: np.ndarray, more: Terms, low: float, high: float) -> None:
        """A row over columns with values that are not zero, and some further variables."""
        some = values != 0
        self.row(
            [*columns[some], *(j for j, _ in more)], [*values[some].astype(float), *(a for _, a in more)], low, high
        )

    def _bind(self) -> None:
        for columns in self.figures_of_seat:
            self.row(columns, np.ones(len(columns)), 1, 1)
        housings: dict[int, list[int]] = {}
        drawn: dict[int, Counter[int]] = {}
        for at, c in enumerate(self.columns):
            housings.setdefault(c.housing, []).append(at)
            for shell in c.pair or ():
                drawn.setdefault(self.class_of[shell.key], Counter())[at] += 1
        for columns in housings.values():
            self.row(columns, np.ones(len(columns)), 1, 1)
        for number, times in drawn.items():
            self.row(list(times), list(times.values()), 0, self.stock[number])
        for i, job in enumerate(self.jobs):
            mine = [seat for seat, (j, _) in enumerate(self.seats) if j == i]
            if rules_of(job).thick_half.get(self.kind) == "same":
                upper = self.variable(1)
                for seat in mine:
                    at, side = self.figures_of_seat[seat], self.of["side"][self.figures_of_seat[seat]]
                    self.row_over(at, side > 0, [(upper, -1)], -math.inf, 0)
                    self.row_over(at, side < 0, [(upper, 1)], -math.inf, 1)
            self._bind_row_of_bores(i, job, mine)

    def _bind_row_of_bores(self, i: int, job: Job, mine: list[int]) -> None:
        """`neighbour_step` and `line`, of bores that are filled."""
        step, line = rules_of(job).neighbour_step_nm.get(self.kind), rules_of(job).line_nm.get(self.kind)
        places = [p.name for p in job.positions if p.kind == self.kind]
        place = {seat: places.index(self.seats[seat][1].name) for seat in mine}
        pairs = [(one, other) for one in mine for other in mine if place[one] < place[other]]
        both_locked = {
            (one, other) for one, other in pairs if all(oracle.locked_twice(self.seats[s][1]) for s in (one, other))
        }
        for one, other in pairs:
            if (one, other) in both_locked:
                continue
            if step is not None and place[other] - place[one] == 1:
                self._not_far(one, other, "shift", 2 * step)
            if line is not None:
                self._not_far(one, other, "lies", 2 * line)

    def _not_far(self, one: int, other: int, figure: str, most: int) -> None:
        seats = [self.figures_of_seat[seat] for seat in (one, other)]
        ends = [self.of[figure][columns] // self.unit for columns in seats]
        filled = [self.of["filled"][columns] > 0 for columns in seats]
        most = most // self.unit
        for a, b in ((0, 1), (1, 0)):
            places = np.unique(ends[a]).tolist()
            if len(places) > MANY_PLACES:  # one row, which an empty bore lets go of: weak, but small
                loose = max(int(ends[a].max() - ends[b].min()) - most, 0)
                values = np.concatenate([ends[a] + loose * filled[a], -ends[b] + loose * filled[b]])
                self.row_over(np.concatenate([seats[a], seats[b]]), values, [], -math.inf, most + 2 * loose + 0.5)
                continue
            # Of the columns here that lie at `place` or beyond and those there that lie too far below it, at most one.
            for place in places:
                here, there = ends[a] >= place, ends[b] < place - most
                if (there & filled[b]).any():
                    chosen = [seats[a][here & filled[a]], seats[b][there & filled[b]]]
                    self.row(np.concatenate(chosen), np.ones(sum(map(len, chosen))), 0, 1)

    # --- solving ---

    def better(self, cost: Terms, best: int) -> None:
        """Take the plan of least cost for the one in hand, which costs `best`, if there is one that costs less.

        Variables that the relaxation prices beyond that are left out: no better plan could use them.
        """
        self.solved += 1
        use = np.flatnonzero(self.most)
        c = np.zeros(len(self.most))
        for j, price in cost:
            c[j] = price
        if len(use) > FEW_COLUMNS:
            wanted = best - 1 + 0.01 + 1e-9 * abs(best)
            matrix, low, high = self._matrix(use)
            upper, lower = np.isfinite(high), np.isfinite(low)
            relaxed = linprog(
                c[use],
                A_ub=vstack([matrix[upper], -matrix[lower]]),
                b_ub=np.concatenate([high[upper], -low[lower]]),
                bounds=np.column_stack([np.zeros(len(use)), self.most[use]]),
                method="highs",
            )
            assert relaxed.status in (0, 2), relaxed.message
            if relaxed.status == 2 or relaxed.fun > wanted:
                return
            use = use[relaxed.fun + relaxed.lower.marginals <= wanted]
        matrix, low, high = self._matrix(use)
        options: dict[str, float] = {"mip_rel_gap": 0}
        if self.nodes is not None:
            options["node_limit"] = self.nodes
        found = milp(
            c[use],
            integrality=np.ones(len(use)),
            bounds=(0, self.most[use]),
            constraints=[LinearConstraint(matrix, low, high)],
            options=options,
        )
        if found.status == 1:
            raise NotProven
        assert found.status in (0, 2), found.message
        if found.x is not None and round(float(c[use] @ np.round(found.x))) < best:
            x = np.zeros(len(self.most))
            x[use] = found.x
            self.plan = x[: len(self.columns)] > 0.5
            self._judge(self.plan)

    def _matrix(self, use: np.ndarray) -> tuple[csr_array, np.ndarray, np.ndarray]:
        """The rows over these variables, and their ends."""
        place = np.full(len(self.most), -1)
        place[use] = np.arange(len(use))
        rows = np.repeat(np.arange(len(self.rows)), [len(columns) for columns, *_ in self.rows])
        columns = place[np.concatenate([columns for columns, *_ in self.rows])]
        values = np.concatenate([values for _, values, *_ in self.rows])
        some = columns >= 0
        matrix = csr_array((values[some], (rows[some], columns[some])), shape=(len(self.rows), len(use)))
        low, high = (np.array([row[end] for row in self.rows], dtype=float) for end in (2, 3))
        return matrix, low, high

    def _judge(self, chosen: np.ndarray) -> None:
        """In whole numbers: a plan, by every rule, that loses nothing of what was settled."""
        some = [self.columns[at] for at in np.flatnonzero(chosen)]
        assert sorted(c.seat for c in some) == sorted(c.housing for c in some) == list(range(len(self.seats)))
        used = Counter(self.class_of[shell.key] for c in some for shell in c.pair or ())
        assert all(times <= self.stock[number] for number, times in used.items())
        assert all(self.most[at] for at in np.flatnonzero(chosen))
        for i, job in enumerate(self.jobs):
            filled = [(c.position, c.pair) for c in some if c.job == i and c.pair is not None]
            assert len({oracle.deciding_side(job, p, pair) for p, pair in filled} - {None}) <= 1
            assert not list(oracle.misfits(job, self.kind, filled))
        for weights, most in self.kept:
            assert int(weights[chosen].sum()) <= most

    # --- one level ---

    def settle(self, weights: np.ndarray) -> int:
        """The smallest sum of these weights, kept from here on."""
        weights = np.where(self.most[: len(self.columns)] > 0, weights, 0)
        if int(weights[self.plan].sum()) > self._least_of_seats(weights):
            shared = math.gcd(*np.unique(weights).tolist())
            cost = [(int(j), int(weights[j]) // shared) for j in np.flatnonzero(weights)]
            self.better(cost, int(weights[self.plan].sum()) // shared)
        value = int(weights[self.plan].sum())
        if weights.any():
            shared = math.gcd(*np.unique(weights).tolist())
            self.row_over(np.arange(len(self.columns)), weights // shared, [], -math.inf, value // shared + 0.5)
            self.kept.append((weights, value))
        return value

    def _least_of_seats(self, weights: np.ndarray) -> int:
        """What no plan can go below: each position by itself at its least."""
        open_now = self.most[: len(self.columns)] > 0
        return sum(int(weights[columns[open_now[columns]]].min()) for columns in self.figures_of_seat)

    def forbid(self, columns: np.ndarray) -> None:
        self.most[np.flatnonzero(columns)] = 0

    def mine(self, work: Sequence[int]) -> np.ndarray:
        return np.isin(self.job_of, work)

    def seats_of(self, work: Sequence[int]) -> list[int]:
        return [seat for seat, (i, _) in enumerate(self.seats) if i in work]

    # --- what a plan is worth ---

    def figures(self, chosen: np.ndarray, work: Sequence[int]) -> Figures:
        mine = chosen & self.mine(work)

        def total(name: str) -> int:
            return int(self.of[name][mine].sum())

        seats = len(self.seats_of(work))
        incomplete, spreads, worst, squares = 0, [0], 0, 0
        for i in work:
            here = chosen & (self.job_of == i)
            wanted = sum(p.kind == self.kind for p in self.jobs[i].positions)
            incomplete += int(self.of["inside"][here].sum()) < wanted
            deviations = self.of["dev"][here & (self.of["counted"] > 0)].tolist()
            if deviations:
                spreads.append(max(deviations) - min(deviations))
                worst = max(worst, *map(abs, deviations))
                squares += sum(d * d for d in deviations)
        boxes = {shell.box for at in np.flatnonzero(mine) for shell in self.columns[at].pair or ()}
        rest = (seats - total("inside"), seats - total("filled"), *map(total, LEVEL_1))
        return Figures(incomplete, rest, worst, squares, max(spreads), len(boxes) if self._with_boxes else 0)

    def ties(self, chosen: np.ndarray) -> Ties:
        return Ties(*(int(self.of[name][chosen].sum()) for name in ("moved", "clearance", "difference")))

    def chosen_by(self, plans: Sequence[JobPlan]) -> np.ndarray:
        """The columns of these plans, one for each job; fails where a plan does what no column allows."""
        place = {(i, p.name): seat for seat, (i, p) in enumerate(self.seats)}
        known = {}
        for at, c in enumerate(self.columns):
            drawn = None if c.pair is None else (self.class_of[c.pair.upper.key], self.class_of[c.pair.lower.key])
            known[c.seat, c.housing, drawn] = at
        chosen = np.zeros(len(self.columns), dtype=bool)
        used: Counter[tuple[str, str]] = Counter()
        for i, plan in enumerate(plans):
            placed = {p.position.name: (p.upper.key, p.lower.key) for p in plan.placements}
            for p in plan.job.positions:
                if (i, p.name) not in place:
                    assert p.kind != self.kind or p.name not in placed, f"{p.name} is not measured and yet filled"
                    continue
                keys = placed.get(p.name)
                drawn = None if keys is None else (self.class_of[keys[0]], self.class_of[keys[1]])
                seat, housing = place[i, p.name], place[i, p.housing or p.name]
                assert (seat, housing, drawn) in known, f"{p.name} may not have {keys} in the housing of {p.housing}"
                chosen[known[seat, housing, drawn]] = True
                used.update(keys or ())
        assert not [key for key, times in used.items() if times > 1]
        kept, self.kept, most, self.most = self.kept, [], self.most, np.ones(len(self.most))
        self._judge(chosen)
        self.kept, self.most = kept, most
        return chosen
