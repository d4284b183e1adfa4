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
from math import gcd, isqrt
from typing import NamedTuple

from fitmatch.fit.bores import Bore, Pair
from fitmatch.fit.candidates import Kind
from fitmatch.fit.jobrows import complete_rows, one_side_rows, shift_rows, spread_rows
from fitmatch.fit.program import ONE, Bound, Program, exact_bound
from fitmatch.fit.solve import Outcome, Relaxation, attempt, relax, solve
from fitmatch.fit.sources import Best, Listed, Source, span
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.fit.terms import Terms
from fitmatch.problems import FaultInFitmatch
from fitmatch.stages import now

_LOG = logging.getLogger("fitmatch.fit")

MANY_FREE = 10_000  # of so many pairs a plan is quick to find (measured)

Measure = Callable[[Pair], int]
Choice = Counter[Pair]  # how often each pair is used


class Limit(NamedTuple):
    """Over the whole plan, the sum of `measure` is at most `most`."""

    measure: Measure
    most: int


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
        self.spreads: dict[Terms, int] = {}  # the most that a job may spread, where jobs are several
        self.level = ""
        self._since = time.monotonic()
        self.fields: list[list[Pair]] = [[]]
        self.limits: list[Limit] = []
        self.must_fill = False  # every bore that has a pair is filled, wholly
        self.choice: Choice = Counter()
        self._to_fill = 0
        self.own_best: dict[Bore, Best] = {}  # of bores with a pair inside their limits
        self.outside: list[Pair] = []  # pairs outside their limits that may still be used
        self.least_worst = 0  # no plan of the right levels 0 and 1 has a smaller worst |deviation|
        self.all_at_once = False  # every bore has its best on levels 0 and 1, whatever the others have
        self.crowded: set[int] | None = None  # the seats in each other's way, if the last field is proven too small
        self.narrowed = False  # the field lacks pairs that a plan still in the running may use

    # --- moves ---

    def minimise(self, level: str, measure: Measure) -> int:
        """Prove the smallest total of `measure` and keep it."""
        self.level = level
        measure = self._in_work(measure)
        best = _total(self.choice, measure)
        kept: list[tuple[int, list[Pair]]] = []
        for field in self.fields:
            try:
                found = self._minimise_in(field, measure, best)
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
        best = self._worst(self.choice)
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
                    best = self._worst(found)
        self.fields = [self._up_to(best, self.fields[i]) for least_, i in ranked if least_ <= best]
        return self.proved(best)

    def narrow_spread(self, level: str, slack: int = 0) -> int:
        """Prove the smallest spread over the fields and keep it, widened by `slack`."""
        self.level = level
        return self._spread([(Listed(field), slack) for field in self.fields])

    def narrow_spread_everywhere(self, level: str, source: Source, slack: int) -> int:
        """The same over all that `source` can give, which need not be listed beforehand."""
        self.level = level
        return self._spread([(source, slack)])

    def feasible(self, field: list[Pair]) -> Choice | None:
        """A plan from these pairs within all limits, or None where there is none; raises Stopped."""
        self.crowded = None
        if self.must_fill and self._seats_in_work(field) < self._to_fill:
            return None
        self._tell(field)
        model = Model(self, field)
        # A relaxation that comes out whole is a plan, at a fraction of the cost of a search.
        squares = self._in_work(lambda p: p.counted * p.deviation_nm**2)
        cost = model.cost(squares)
        relaxed = relax(model.program, cost, self.stop)
        if relaxed is None and self.must_fill:
            self.crowded = self._crowded(field)
            if self.crowded is not None:
                return None
        x = None if relaxed is None else model.whole(relaxed.x)
        if x is None and relaxed is not None:
            proof = exact_bound(model.program, cost, relaxed.multipliers)
            found = self._beside(field, squares, relaxed, proof)
            if found is not None:
                return found
        if x is None:
            answer = solve(model.program, [0] * len(model.program.upper), self.stop)
            if answer.outcome is Outcome.INFEASIBLE:
                return None
            if answer.x is None:
                raise Stopped
            x = answer.x
        return model.choice(x)

    def _beside(self, field: list[Pair], measure: Measure, relaxed: Relaxation, proof: Bound) -> Choice | None:
        """A plan from the pairs that cost nothing in a relaxation, if there is one quick to find: of ten thousands of
        pairs a few hundred, and mostly a plan among them that is as good as the relaxation. Where even these are very
        many, some of them, and all pairs of the seats that the relaxation leaves open."""
        rows = list(zip(field, relaxed.x, proof.reduced, strict=False))
        few = [p for p, x, cost in rows if x > 0.0 or cost <= 0]
        if len(few) > MANY_FREE:
            open_seats = {p.bore.seat for p, x, _ in rows if abs(x - round(x)) > 1e-6}
            some = few[:: 1 + len(few) // MANY_FREE]
            few = [p for p, x, _ in rows if x > 0.0 or p.bore.seat in open_seats]
            few = list(dict.fromkeys([*few, *some]))
        model = Model(self, few)
        x = attempt(model.program, model.cost(measure), self.stop)
        return None if x is None else model.choice(x)

    def _crowded(self, field: list[Pair]) -> set[int] | None:
        """Where exact bounds prove that these pairs cannot fill every bore, the seats that want the same shells; None
        where they prove nothing. Too few shells for too many seats is quick to see in a relaxation and can take a
        search for ever.

        Of the seats that are not among them further pairs would change nothing: their price alone pays for any.
        """
        self.must_fill = False
        model = Model(self, field)
        self.must_fill = True
        cost = model.cost(self._in_work(lambda _: -1))
        relaxed = relax(model.program, cost, self.stop)
        seats = sum(bore.count for bore in {p.bore.seat: p.bore for p in field if p.bore.terms in self.work}.values())
        if relaxed is None or exact_bound(model.program, cost, relaxed.multipliers).least <= -seats:
            return None
        if not model.plain:
            return set(model.seats)
        return {seat for seat, y in zip(model.seats, relaxed.multipliers, strict=False) if round(y * ONE) > -ONE}

    def within(self, radius: int, reach_of: Mapping[Bore, int] | None = None) -> list[Pair]:
        """The pairs outside their limits that may still be used, and those inside with a |deviation| up to `radius`;
        with `reach_of`, up to that or the bore's own best."""
        found = [*self.kept, *self.outside]
        for bore, best in self.own_best.items():
            reach = radius if reach_of is None else min(radius, max(reach_of[bore], best.deviation_nm))
            found.extend(self.kind.pairs(bore, *span(bore, best, -reach, reach)))
        return found

    def affordable(self, radius: int, total: int) -> list[Pair]:
        """The pairs within `radius` that a plan with all bores at their best can use whose sum of squares is at most
        `total`: the other bores cost at least their own bests."""
        bests: dict[int, tuple[int, int]] = {}
        for bore, best in self.own_best.items():
            least_here = bests.get(bore.seat, (0, best.deviation_nm))[1]
            bests[bore.seat] = (bore.count, min(best.deviation_nm, least_here))
        least = sum(count * deviation**2 for count, deviation in bests.values())
        found = [*self.kept, *self.outside]
        for bore, best in self.own_best.items():
            reach = min(radius, isqrt(max(0, total - least + bests[bore.seat][1] ** 2)))
            found.extend(self.kind.pairs(bore, *span(bore, best, -reach, reach)))
        return found

    def require_full(self) -> None:
        """From here on every bore that has a pair in the fields is filled wholly."""
        self.must_fill = True
        self._to_fill = self._seats_in_work(p for field in self.fields for p in field)

    def take(self, work: list[Terms]) -> None:
        """Turn to these jobs; all that was proven of those in work before stays."""
        left = {p: None for field in self.fields for p in field}
        self.kept = list(left)
        if self.must_fill:
            self.kept_full |= {p.bore.seat for p in left if p.bore.terms in self.work}
        self.work = work
        self.bores = [bore for bore in self.kind.bores if bore.terms in work]
        self.must_fill = self.all_at_once = self.narrowed = False
        self.own_best, self.outside, self.least_worst = {}, [], 0

    def fills(self, bore: Bore) -> bool:
        """Whether the bore is to be filled wholly."""
        return bore.seat in self.kept_full or (self.must_fill and bore.terms in self.work)

    def judged(self, pair: Pair) -> bool:
        """Whether the pair counts in the quality of the jobs in work."""
        return bool(pair.counted) and pair.bore.terms in self.work

    # --- details ---

    def _in_work(self, measure: Measure) -> Measure:
        """The same for the pairs of jobs in work, 0 for others."""
        work = self.work
        if len(work) == len(self.kind.terms):
            return measure
        return lambda p: measure(p) if p.bore.terms in work else 0

    def _seats_in_work(self, pairs: Iterable[Pair]) -> int:
        return len({p.bore.seat for p in pairs if p.bore.terms in self.work})

    def _worst(self, choice: Choice) -> int:
        return max((abs(p.deviation_nm) for p in choice if self.judged(p)), default=0)

    def _up_to(self, worst: int, field: list[Pair]) -> list[Pair]:
        return [p for p in field if abs(p.deviation_nm) <= worst or not self.judged(p)]

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

    def _minimise_in(self, field: list[Pair], measure: Measure, cutoff: int) -> tuple[int, list[Pair]] | None:
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
            found = self._beside(field, measure, relaxed, proof) if x is None else model.choice(x)
            if found is not None and (total := _total(found, measure) // scale) <= most:
                self.choice, mine, most = found, True, total
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

    def _spread(self, sources: list[tuple[Source, int]]) -> int:
        """Slide windows over the deviations; each is a small feasibility program.

        A plan whose smallest deviation is `start` spreads at least over the window from there that holds a pair for
        enough positions. Windows are tried in the order of that least width; once it is no smaller than the spread of
        the best plan known, nothing is left to try.
        """
        deviations = [p.deviation_nm for p in self.choice if p.counted]
        if not deviations:
            return 0
        best = max(deviations) - min(deviations)
        wanted = sum(times for p, times in self.choice.items() if p.counted)
        widths = sorted((w, i, d) for i, (s, _) in enumerate(sources) for d, w in s.least_widths(wanted))
        for least, i, start in widths:
            if least >= best:
                break
            source = sources[i][0]
            width, step = least, max(1, (best - least) // 64)
            while width < best:
                found = self.feasible(source.pairs(start, start + width))
                if found is not None:
                    deviations = [p.deviation_nm for p in found if p.counted]
                    self.choice, best = found, max(deviations) - min(deviations)
                    width, step = (least + best) // 2 if least + 1 < best else best, max(1, (best - least) // 64)
                else:
                    least = width + 1
                    width = max(least, min(width + step, best - 1))
                    step *= 2
        self.fields = [
            sources[i][0].pairs(start, start + best + sources[i][1])
            for least, i, start in widths
            if least <= best + sources[i][1]
        ]
        return self.proved(best)


class Model:
    """A field as an integer program: one variable per pair, then those of rules over several bores: for each job the
    side of its thicker halves where they must all lie alike, where its line begins, whether it is complete, and where
    its spread begins."""

    def __init__(self, search: Search, field: list[Pair]) -> None:
        self.program = program = Program()
        self._field = field
        self.seats: list[int] = []  # in the order of the first rows
        by_seat: dict[int, list[int]] = {}
        use: dict[int, list[tuple[int, int]]] = {}
        houses: dict[int, tuple[int, list[int]]] = {}
        vacant: set[int] = set()
        for j, p in enumerate(field):
            if p.bore.house is not None:
                houses.setdefault(id(p.bore.house), (p.bore.house.count, []))[1].append(j)
            if not p.filled:
                program.variable(p.bore.count)
                by_seat.setdefault(p.bore.seat, []).append(j)
                vacant.add(id(p.bore.terms))
                continue
            twice = p.upper is p.lower
            program.variable(min(p.bore.count, p.upper.count // 2 if twice else min(p.upper.count, p.lower.count)))
            by_seat.setdefault(p.bore.seat, []).append(j)
            use.setdefault(p.upper.index, []).append((j, 2 if twice else 1))
            if not twice:
                use.setdefault(p.lower.index, []).append((j, 1))

        self.seats += by_seat
        for columns in by_seat.values():
            bore = field[columns[0]].bore
            sure = search.fills(bore) or id(bore.terms) in vacant  # of seats and housings there are equally many
            program.row([(j, 1) for j in columns], bore.count if sure else None, bore.count)
        for count, some in houses.values():
            program.row([(j, 1) for j in some], None, count)

        classes = search.kind.classes
        for index, terms in use.items():
            # Where the bores that can use a class are no more than its shells, the row could never bind.
            users = {field[j].bore.seat: field[j].bore.count for j, _ in terms}
            if sum(users.values()) * max(a for _, a in terms) > classes[index].count:
                program.row(terms, None, classes[index].count)

        rows = len(program.rows)
        for limit in search.limits:
            terms = [(j, a) for j, p in enumerate(field) if (a := limit.measure(p))]
            program.row(terms, None, limit.most)

        for job in search.kind.terms:
            if job.one_thick_side:
                mine = [columns for columns in by_seat.values() if field[columns[0]].bore.terms is job]
                one_side_rows(program, field, mine)
            if job.shifts.on:
                shift_rows(program, field, search.fills, job, by_seat.values())
        for job, most in search.spreads.items():
            spread_rows(program, field, job, most)
        if search.complete:
            complete_rows(program, field, search.kind, search.complete)
        self.plain = len(program.rows) == rows and not houses  # all that binds are counts of positions and of shells

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


def _total(choice: Choice, measure: Measure) -> int:
    return sum(measure(pair) * times for pair, times in choice.items())


def _dot(cost: Sequence[int], x: Sequence[int]) -> int:
    return sum(c * v for c, v in zip(cost, x, strict=True))
