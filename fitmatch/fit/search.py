"""The moves that a proof is made of: minimise a sum, a largest deviation or a spread, and keep it.

A `Search` holds one kind: its *fields* (sets of pairs; every plan still in the running lies wholly inside at least one
of them), its *limits* (a row for each level already proven) and the best plan known, its *choice*. Each move proves
one level, keeps its value as a one-sided limit and drops the pairs that no plan of that value can use.

Of several jobs some are *in work*: the moves judge their bores alone, and what was proven for others before stays.
"""

import logging
import time
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from math import gcd
from typing import NamedTuple

from fitmatch.fit.bores import Bore, Pair
from fitmatch.fit.candidates import Kind
from fitmatch.fit.jobrows import box_rows, complete_rows, one_side_rows, shift_rows, spread_rows
from fitmatch.fit.program import ONE, Bound, Program, exact_bound, price, with_slacks
from fitmatch.fit.solve import SHORT, Outcome, Relaxation, relax, solve
from fitmatch.fit.sources import Best, span
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.fit.terms import Terms
from fitmatch.problems import FaultInFitmatch
from fitmatch.stages import now

_LOG = logging.getLogger("fitmatch.fit")

FEW_PAIRS = 2_000  # among so many a plan is sought before all others (measured)

Measure = Callable[[Pair], int]
Choice = Counter[Pair]  # how often each pair is used


class Limit(NamedTuple):
    """Over the whole plan, the sum of `measure` is at most `most` and at least `least`; None is no limit."""

    measure: Measure
    most: int | None
    least: int | None = None


class BoxLimit(NamedTuple):
    """These jobs together draw on at least and at most so many boxes; None is no limit. For kinds sorted by box."""

    work: Sequence[Terms]
    least: int
    most: int | None


class Search:
    """The proof of one kind, level by level. `level` names the level in work; Stopped may leave any move."""

    def __init__(self, kind: Kind, stop: Stop) -> None:
        self.kind = kind
        self.stop = stop
        self.work = kind.terms  # the jobs in work
        self.bores = kind.bores  # theirs
        self.kept: list[Pair] = []  # what may be used of those that came before; part of every field
        self.kept_full: set[int] = set()  # their seats that are filled wholly
        self.complete = 0  # so many of the jobs have all positions inside their limits
        self.complete_most: int | None = None  # and no more
        self.demanded: list[Pair] = []  # one of these is used, whatever it costs
        self.spreads: dict[Terms, int] = {}  # the most that a job may spread, where jobs are several
        self.level = ""
        self.efforts: Callable[[], Iterable[float]] | None = None  # after which a question of feasibility is given up
        self._since = time.monotonic()
        self.fields: list[list[Pair]] = [[]]
        self.limits: list[Limit] = []
        self.box_limits: list[BoxLimit] = []
        self.must_fill = False  # every bore that has a pair is filled, wholly
        self.choice: Choice = Counter()
        self._to_fill = 0
        self.own_best: dict[Bore, Best] = {}  # of bores with a pair inside their limits
        self.outside: list[Pair] = []  # pairs outside their limits that may still be used
        self.least_worst = 0  # no plan of the right levels 0 and 1 has a smaller worst |deviation|
        self.all_at_once = False  # every bore has its best on levels 0 and 1, whatever the others have
        self.narrowed = False  # the field lacks pairs that a plan still in the running may use
        self.reach: Counter[int] = Counter()  # how far beyond their bores' own bests the seats reach in the field then
        self.blamed: set[int] | None = None  # of the last field without a plan: the seats that made it so, if known

    # --- moves ---

    def minimise(self, level: str, measure: Measure) -> int:
        """Prove the smallest total of `measure` and keep it."""
        self.level = level
        measure = self.in_work(measure)
        best = self.total(measure)
        kept: list[tuple[int, list[Pair]]] = []
        for field in self.fields:
            try:
                found = self.minimise_in(field, measure, best)
            except Stopped as stopped:
                bound = stopped.bound if len(self.fields) == 1 else None
                raise Stopped(bound) from None
            if found is not None:
                best = found[0]
                kept.append(found)
        self.fields = [field for value, field in kept if value == best]
        if not self.fields:
            raise FaultInFitmatch(f"no plan is left at level {level}")
        self.limits.append(Limit(measure, best))
        return self.proved(best)

    def narrow_worst(self, level: str, least: int = 0) -> int:
        """Prove the smallest worst |deviation| of the pairs inside their limits, known to be no less than `least`,
        and keep it."""
        self.level = level
        best = self.worst(self.choice)
        ranked = sorted(((max(least, self._worst_at_least(f)), i) for i, f in enumerate(self.fields)))
        for rank, (at_least, i) in enumerate(ranked):
            low = at_least
            while low < best:
                # Bisect over the deviations that occur, and jump to the worst of each plan that is found.
                deviations = {abs(p.deviation_nm) for p in self.fields[i] if self.judged(p)}
                values = sorted(v for v in deviations if low <= v < best)
                if not values:
                    break
                middle = values[0] if values[0] == at_least else values[len(values) // 2]
                try:
                    found = self.feasible(self._up_to(middle, self.fields[i]))
                except Stopped:
                    raise Stopped(min([low, best, *(least_ for least_, _ in ranked[rank + 1 :])])) from None
                if found is None:
                    low = middle + 1
                else:
                    self.choice = found
                    best = self.worst(found)
        self.fields = [self._up_to(best, self.fields[i]) for least_, i in ranked if least_ <= best]
        return self.proved(best)

    def feasible(self, field: list[Pair]) -> Choice | None:
        """A plan from these pairs within all limits, or None where there is none; raises Stopped."""
        if self.must_fill and self._seats_in_work(field) < self._to_fill:
            return None
        self.blamed = None
        self._tell(field)
        model = Model(self, field)
        # A relaxation that comes out whole is a plan, at a fraction of the cost of a search.
        cost = model.cost(self.in_work(lambda p: p.counted * p.deviation_nm**2))
        relaxed = relax(model.program, cost, self.stop)
        if relaxed is None:
            if self._out_of_reach(model):
                return None
        elif (x := model.whole(relaxed.x)) is not None:
            return model.choice(x)
        elif len(field) > FEW_PAIRS:
            proof = exact_bound(model.program, cost, relaxed.multipliers)
            found = self._among_few(field, relaxed, proof._replace(least=0), lambda _: 0)  # any plan will do
            if found is not None:
                return found[1]
        efforts = None if self.efforts is None else self.efforts()
        answer = solve(model.program, [0] * len(model.program.upper), self.stop, efforts=efforts)
        if answer.outcome is Outcome.INFEASIBLE:
            return None
        if answer.x is None:
            raise Stopped
        return model.choice(answer.x)

    def _among_few(
        self, field: list[Pair], relaxed: Relaxation, proof: Bound, measure: Measure, scale: int = 1
    ) -> tuple[int, Choice] | None:
        """A plan of a small total `measure`, counted in `scale`, from the pairs that a relaxation uses and those
        of the least reduced cost, if short searches find any. Of very many pairs few mostly hold one; they become more
        until they are all that a better plan could use."""
        used = [j for j in range(len(field)) if relaxed.x[j] > 0]
        others = sorted((j for j in range(len(field)) if relaxed.x[j] <= 0), key=proof.reduced.__getitem__)
        found: list[tuple[int, Choice]] = []
        few, useful = FEW_PAIRS, len(others)
        while few < useful:
            model = Model(self, [field[j] for j in sorted(used + others[:few])])
            cost = [c // scale for c in model.cost(measure)]
            answer = solve(model.program, cost, self.stop, efforts=SHORT if self.efforts is None else self.efforts())
            if answer.x is not None:
                found.append((_dot(cost, answer.x), model.choice(answer.x)))
                spare = found[-1][0] - proof.least
                useful = sum(proof.reduced[j] <= spare for j in others) if spare else 0
            few *= 5
        return min(found, key=lambda one: one[0], default=None)

    def _out_of_reach(self, model: "Model") -> bool:
        """Whether an exact bound proves that no point is feasible: too few shells for too many seats is quick to see in
        a relaxation and can take a search for ever."""
        lax = with_slacks(model.program)
        # Dear enough that rounding the multipliers of rows in nanometres loses nothing.
        cost = [ONE * (j >= len(model.program.upper)) for j in range(len(lax.upper))]
        relaxed = relax(lax, cost, self.stop)
        if relaxed is None or exact_bound(lax, cost, relaxed.multipliers).least <= 0:
            return False
        self.blamed = {seat for seat, y in zip(model.seats, relaxed.multipliers, strict=False) if price(y) > 0}
        return True

    def within(self, radius: int) -> list[Pair]:
        """The pairs outside their limits that may still be used, and those inside with a |deviation| up to `radius`."""
        return self._near(dict.fromkeys(self.own_best, radius))

    def near(self, radius: int) -> list[Pair]:
        """The same, but no farther from each bore's own best than its seat reaches."""
        return self._near({b: min(radius, own.deviation_nm + self.reach[b.seat]) for b, own in self.own_best.items()})

    def _near(self, radii: Mapping[Bore, int]) -> list[Pair]:
        found = [*self.kept, *self.outside]
        for bore, radius in radii.items():
            found.extend(self.kind.pairs(bore, *span(bore, self.own_best[bore], -radius, radius)))
        return found

    @property
    def only_shells_bind(self) -> bool:
        """Whether the bores are bound to one another by nothing but the shells and housings there are."""
        return (
            not self.complete
            and not self.demanded
            and not any(bore.wishes for bore in self.bores)
            and not any(terms.one_thick_side or terms.shifts.on for terms in self.kind.terms)
        )

    def require_full(self, seats: int | None = None) -> None:
        """From here on every bore that has a pair in the fields is filled wholly; `seats`: so many must have one."""
        self.must_fill = True
        self._to_fill = self._seats_in_work(p for field in self.fields for p in field) if seats is None else seats

    def take(self, work: list[Terms]) -> None:
        """Turn to these jobs; all that was proven of those in work before stays."""
        left = {p: None for field in self.fields for p in field}
        self.kept = [p for p in left if p.bore.terms not in work]
        if self.must_fill:
            self.kept_full |= {p.bore.seat for p in left if p.bore.terms in self.work}
        self.work = work
        self.bores = [bore for bore in self.kind.bores if bore.terms in work]
        self.must_fill = self.all_at_once = self.narrowed = False
        self.own_best, self.outside, self.least_worst, self.reach = {}, [], 0, Counter()

    def fills(self, bore: Bore) -> bool:
        """Whether the bore is to be filled wholly."""
        return bore.seat in self.kept_full or (self.must_fill and bore.terms in self.work)

    def judged(self, pair: Pair) -> bool:
        """Whether the pair counts in the quality of the jobs in work."""
        return bool(pair.counted) and pair.bore.terms in self.work

    # --- details ---

    def in_work(self, measure: Measure) -> Measure:
        """The same for the pairs of jobs in work, 0 for others."""
        work = self.work
        if len(work) == len(self.kind.terms):
            return measure
        return lambda p: measure(p) if p.bore.terms in work else 0

    def _seats_in_work(self, pairs: Iterable[Pair]) -> int:
        return len({p.bore.seat for p in pairs if p.bore.terms in self.work})

    def worst(self, choice: Choice) -> int:
        return max((abs(p.deviation_nm) for p in choice if self.judged(p)), default=0)

    def _up_to(self, worst: int, field: list[Pair]) -> list[Pair]:
        return [p for p in field if abs(p.deviation_nm) <= worst or not self.judged(p)]

    def total(self, measure: Measure) -> int:
        """Of the plan in hand."""
        return sum(measure(pair) * times for pair, times in self.choice.items())

    def _tell(self, field: list[Pair]) -> None:
        now(f"{self.kind.name}: {self.level.replace('_', ' ')}, {len(field)} pairs")

    def proved(self, value: int) -> int:
        now = time.monotonic()
        _LOG.debug(
            "%s: %s = %d with %d pairs in %d fields, %.3f s",
            self.kind.name,
            self.level,
            value,
            sum(map(len, self.fields)),
            len(self.fields),
            now - self._since,
        )
        self._since = now
        return value

    def _worst_at_least(self, field: list[Pair]) -> int:
        """No plan of this field has a smaller worst |deviation|."""
        if not self.must_fill:
            return 0
        best: dict[int, int] = {}
        for p in field:
            value = abs(p.deviation_nm) if self.judged(p) else 0
            best[p.bore.seat] = min(best.get(p.bore.seat, value), value)
        return max(best.values(), default=0)

    def minimise_in(self, field: list[Pair], measure: Measure, cutoff: int) -> tuple[int, list[Pair]] | None:
        """The smallest total in this field and the pairs that reach it; None where it is above `cutoff`."""
        mine = self.choice.keys() <= set(field)
        cheapest = self._cheapest(field, measure)
        if mine and cheapest and sum(p.bore.count * measure(p) for p in cheapest.values()) == cutoff:
            return cutoff, [p for p in field if measure(p) == measure(cheapest[p.bore.seat])]
        self._tell(field)
        model = Model(self, field)
        cost = model.cost(measure)
        scale = gcd(*cost) or 1
        cost = [c // scale for c in cost]
        most = cutoff // scale
        relaxed = relax(model.program, cost, self.stop)
        least: int | None = None
        reduced = [0] * len(cost)
        if relaxed is not None:
            proof = exact_bound(model.program, cost, relaxed.multipliers)
            least, reduced = proof.least, proof.reduced
            if least > most:
                return None
            x = model.whole(relaxed.x)
            if x is not None and _dot(cost, x) <= most:
                self.choice = model.choice(x)
                mine, most = True, _dot(cost, x)
            elif least < most and len(field) > FEW_PAIRS:
                found = self._among_few(field, relaxed, proof, measure, scale)
                if found is not None and found[0] <= most:
                    most, self.choice = found
                    mine = True
        if not (mine and least == most):
            near = [p for j, p in enumerate(field) if least is None or least + reduced[j] <= most]
            smaller = Model(self, near)
            cost_near = [c // scale for c in smaller.cost(measure)]
            hint = smaller.point(self.choice) if mine else None
            answer = solve(smaller.program, cost_near, self.stop, hint)
            if answer.outcome is Outcome.INFEASIBLE:
                return None
            value = None if answer.x is None else _dot(cost_near, answer.x)
            if answer.x is not None and value is not None and value <= most:
                self.choice = smaller.choice(answer.x)
            if answer.outcome is not Outcome.OPTIMAL or value is None:
                known = [b * scale for b in (least, answer.bound) if b is not None]
                raise Stopped(max(known, default=None))
            if value > most:
                return None
            most = value
        return most * scale, [p for j, p in enumerate(field) if least is None or least + reduced[j] <= most]

    def _cheapest(self, field: list[Pair], measure: Measure) -> dict[int, Pair]:
        """Each bore's cheapest pair, the bore taken by itself; empty where bores may stay empty."""
        best: dict[int, Pair] = {}
        if self.must_fill and all(p.bore.seat in self.kept_full for p in self.kept):
            for p in field:
                if p.bore.seat not in best or measure(p) < measure(best[p.bore.seat]):
                    best[p.bore.seat] = p
        return best


class Model:
    """A field as an integer program: one variable per pair, then those of rules over several bores: for each job the
    side of its thicker halves where they must all lie alike, where its line begins, whether it is complete, and where
    its spread begins."""

    def __init__(self, search: Search, field: list[Pair]) -> None:
        self.program = program = Program()
        self._field = field
        by_seat: dict[int, list[int]] = {}
        use: dict[int, list[tuple[int, int]]] = {}
        houses: dict[int, tuple[int, list[int]]] = {}
        for j, p in enumerate(field):
            if p.bore.house is not None:
                houses.setdefault(id(p.bore.house), (p.bore.house.count, []))[1].append(j)
            if not p.filled:
                program.variable(p.bore.count)
                by_seat.setdefault(p.bore.seat, []).append(j)
                continue
            twice = p.upper is p.lower
            program.variable(min(p.bore.count, p.upper.count // 2 if twice else min(p.upper.count, p.lower.count)))
            by_seat.setdefault(p.bore.seat, []).append(j)
            use.setdefault(p.upper.index, []).append((j, 2 if twice else 1))
            if not twice:
                use.setdefault(p.lower.index, []).append((j, 1))

        self.seats = list(by_seat)  # the first rows are theirs
        for columns in by_seat.values():
            bore = field[columns[0]].bore
            sure = search.fills(bore) or bore.house is not None  # of seats and housings there are equally many
            program.row([(j, 1) for j in columns], bore.count if sure else None, bore.count)
        for count, some in houses.values():
            program.row([(j, 1) for j in some], None, count)

        classes = search.kind.classes
        for index, terms in use.items():
            # Where the bores that can use a class are no more than its shells, the row could never bind.
            users = {field[j].bore.seat: field[j].bore.count for j, _ in terms}
            if sum(users.values()) * max(a for _, a in terms) > classes[index].count:
                program.row(terms, None, classes[index].count)

        for limit in search.limits:
            terms = [(j, a) for j, p in enumerate(field) if (a := limit.measure(p))]
            scale = gcd(*(a for _, a in terms)) or 1  # small coefficients are safer with the solver
            smaller = [(j, a // scale) for j, a in terms]
            if limit.most is not None:
                program.row(smaller, None, limit.most // scale)
            if limit.least is not None:  # a row apart: the solver calls infeasible equalities invalid
                program.row(smaller, -(-limit.least // scale), None)

        for job in search.kind.terms:
            if job.one_thick_side:
                mine = [columns for columns in by_seat.values() if field[columns[0]].bore.terms is job]
                one_side_rows(program, field, mine)
            if job.shifts.on:
                shift_rows(program, field, search.fills, job, by_seat.values())
        for job, most in search.spreads.items():
            spread_rows(program, field, job, most)
        if search.complete or search.complete_most is not None:
            complete_rows(program, field, search.kind, search.complete, search.complete_most)
        for boxes in search.box_limits:
            box_rows(program, field, search.kind, *boxes)

    def cost(self, measure: Measure) -> list[int]:
        return [measure(p) for p in self._field] + [0] * (len(self.program.upper) - len(self._field))

    def choice(self, x: Sequence[int]) -> Choice:
        return Counter({p: n for p, n in zip(self._field, x, strict=False) if n})

    def whole(self, x: Sequence[float]) -> list[int] | None:
        """The point in whole numbers, if it is one and the program allows it."""
        rounded = [round(v) for v in x]
        if any(abs(v - r) > 1e-6 for v, r in zip(x, rounded, strict=True)):
            return None
        return rounded if self.program.allows(rounded) else None

    def point(self, choice: Choice) -> list[int]:
        """The pairs' values of a plan as a hint; what the rules over several bores add is left open."""
        return [choice[p] for p in self._field]


def _dot(cost: Sequence[int], x: Sequence[int]) -> int:
    return sum(c * v for c, v in zip(cost, x, strict=True))
