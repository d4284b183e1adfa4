"""The moves that a proof is made of: minimise a sum, a largest deviation or a spread, and keep it.

A `Search` holds one kind: its *fields* (sets of pairs; every plan still in the running lies wholly inside at least one
of them), its *limits* (a row for each level already proven) and the best plan known, its *choice*. Each move proves
one level, keeps its value as a one-sided limit and drops the pairs that no plan of that value can use.
"""

import logging
import time
from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from math import gcd, isqrt
from typing import NamedTuple

from fitmatch.fit.candidates import Bore, Kind, Pair
from fitmatch.fit.program import Program, exact_bound
from fitmatch.fit.solve import Outcome, relax, solve
from fitmatch.fit.stopping import Stop, Stopped
from fitmatch.problems import FaultInFitmatch

_LOG = logging.getLogger("fitmatch.fit")

Measure = Callable[[Pair], int]
Choice = Counter[Pair]  # how often each pair is used


class Limit(NamedTuple):
    """Over the whole plan, the sum of `measure` is at most `most` and at least `least`; None is no limit."""

    measure: Measure
    most: int | None
    least: int | None = None


class Search:
    """The proof of one kind, level by level. `level` names the level in work; Stopped may leave any move."""

    def __init__(self, kind: Kind, stop: Stop) -> None:
        self.kind = kind
        self.stop = stop
        self.level = ""
        self._since = time.monotonic()
        self.fields: list[list[Pair]] = [[]]
        self.limits: list[Limit] = []
        self.must_fill = False  # every bore that has a pair is filled, wholly
        self.choice: Choice = Counter()
        self._to_fill = 0
        self.own_best: dict[Bore, int] = {}  # bores with a pair inside their limits: each one's smallest |deviation|
        self.outside: list[Pair] = []  # pairs outside their limits that may still be used
        self.least_worst = 0  # no plan of the right levels 0 and 1 has a smaller worst |deviation|
        self.all_at_once = False  # every bore has its best on levels 0 and 1, whatever the others have
        self.narrowed = False  # the field lacks pairs that a plan still in the running may use

    # --- moves ---

    def minimise(self, level: str, measure: Measure) -> int:
        """Prove the smallest total of `measure` and keep it."""
        self.level = level
        best = self._total(measure)
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
        return self._proved(best)

    def narrow_worst(self, level: str, least: int = 0) -> int:
        """Prove the smallest worst |deviation| of the pairs inside their limits, known to be no less than `least`,
        and keep it."""
        self.level = level
        best = max((abs(p.deviation_nm) for p in self.choice if p.inside), default=0)
        ranked = sorted(((max(least, self._worst_at_least(f)), i) for i, f in enumerate(self.fields)))
        for rank, (at_least, i) in enumerate(ranked):
            low = at_least
            while low < best:
                # Bisect over the deviations that occur, and jump to the worst of each plan that is found.
                values = sorted({v for p in self.fields[i] if p.inside and low <= (v := abs(p.deviation_nm)) < best})
                if not values:
                    break
                middle = values[0] if values[0] == at_least else values[len(values) // 2]
                try:
                    found = self.feasible([p for p in self.fields[i] if not p.inside or abs(p.deviation_nm) <= middle])
                except Stopped:
                    raise Stopped(min([low, best, *(least_ for least_, _ in ranked[rank + 1 :])])) from None
                if found is None:
                    low = middle + 1
                else:
                    self.choice = found
                    best = max((abs(p.deviation_nm) for p in found if p.inside), default=0)
        self.fields = [
            [p for p in self.fields[i] if not p.inside or abs(p.deviation_nm) <= best]
            for least_, i in ranked
            if least_ <= best
        ]
        return self._proved(best)

    def narrow_spread(self, level: str, slack: int = 0) -> int:
        """Prove the smallest spread over the fields and keep it, widened by `slack`."""
        self.level = level
        return self._spread([(Listed(field), slack) for field in self.fields])

    def narrow_spread_everywhere(self, level: str, source: "Source", slack: int) -> int:
        """The same over all that `source` can give, which need not be listed beforehand."""
        self.level = level
        return self._spread([(source, slack)])

    def feasible(self, field: list[Pair]) -> Choice | None:
        """A plan from these pairs within all limits, or None where there is none; raises Stopped."""
        if self.must_fill and len({p.bore.seat for p in field}) < self._to_fill:
            return None
        model = _Model(self, field)
        # A relaxation that comes out whole is a plan, at a fraction of the cost of a search.
        cost = model.cost(lambda p: p.inside * p.deviation_nm**2)
        relaxed = relax(model.program, cost, self.stop)
        if relaxed is None and self.must_fill and self._cannot_fill(field):
            return None
        x = None if relaxed is None else model.whole(relaxed.x)
        if x is None:
            answer = solve(model.program, [0] * len(model.program.upper), self.stop)
            if answer.outcome is Outcome.INFEASIBLE:
                return None
            if answer.x is None:
                raise Stopped
            x = answer.x
        return model.choice(x)

    def _cannot_fill(self, field: list[Pair]) -> bool:
        """Whether exact bounds prove that these pairs cannot fill every bore: too few shells for too many seats is
        quick to see in a relaxation and can take a search for ever."""
        self.must_fill = False
        model = _Model(self, field)
        self.must_fill = True
        cost = model.cost(lambda _: -1)
        relaxed = relax(model.program, cost, self.stop)
        seats = sum(bore.count for bore in {p.bore.seat: p.bore for p in field}.values())
        return relaxed is not None and exact_bound(model.program, cost, relaxed.multipliers).least > -seats

    def within(self, radius: int, narrow: int | None = None) -> list[Pair]:
        """The pairs outside their limits that may still be used, and those inside with a |deviation| up to `radius`;
        with `narrow`, up to that or the bore's own best."""
        found = list(self.outside)
        for bore, best in self.own_best.items():
            reach = radius if narrow is None else min(radius, max(narrow, best))
            found.extend(self.kind.within(bore, -reach, reach))
        return found

    def affordable(self, radius: int, total: int) -> list[Pair]:
        """The pairs within `radius` that a plan with all bores at their best can use whose sum of squares is at most
        `total`: the other bores cost at least their own bests."""
        bests: dict[int, tuple[int, int]] = {}
        for bore, best in self.own_best.items():
            bests[bore.seat] = (bore.count, min(best, bests.get(bore.seat, (0, best))[1]))
        least = sum(count * best**2 for count, best in bests.values())
        found = list(self.outside)
        for bore in self.own_best:
            reach = min(radius, isqrt(max(0, total - least + bests[bore.seat][1] ** 2)))
            found.extend(self.kind.within(bore, -reach, reach))
        return found

    def require_full(self, seats: int | None = None) -> None:
        """From here on every bore that has a pair in the fields is filled wholly; `seats`: so many must have one."""
        self.must_fill = True
        self._to_fill = len({p.bore.seat for field in self.fields for p in field}) if seats is None else seats

    # --- details ---

    def _proved(self, value: int) -> int:
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

    def _total(self, measure: Measure) -> int:
        return sum(measure(pair) * times for pair, times in self.choice.items())

    def _worst_at_least(self, field: list[Pair]) -> int:
        """No plan of this field has a smaller worst |deviation|."""
        if not self.must_fill:
            return 0
        best: dict[int, int] = {}
        for p in field:
            value = abs(p.deviation_nm) if p.inside else 0
            best[p.bore.seat] = min(best.get(p.bore.seat, value), value)
        return max(best.values(), default=0)

    def minimise_in(self, field: list[Pair], measure: Measure, cutoff: int) -> tuple[int, list[Pair]] | None:
        """The smallest total in this field and the pairs that reach it; None where it is above `cutoff`."""
        mine = self.choice.keys() <= set(field)
        cheapest = self._cheapest(field, measure)
        if mine and self.must_fill and sum(p.bore.count * measure(p) for p in cheapest.values()) == cutoff:
            return cutoff, [p for p in field if measure(p) == measure(cheapest[p.bore.seat])]
        model = _Model(self, field)
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
        if not (mine and least == most):
            near = [p for j, p in enumerate(field) if least is None or least + reduced[j] <= most]
            smaller = _Model(self, near)
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
        if self.must_fill:
            for p in field:
                if p.bore.seat not in best or measure(p) < measure(best[p.bore.seat]):
                    best[p.bore.seat] = p
        return best

    def _spread(self, sources: "list[tuple[Source, int]]") -> int:
        """Slide windows over the deviations; each is a small feasibility program.

        A plan whose smallest deviation is `start` spreads at least over the window from there that holds a pair for
        enough positions. Windows are tried in the order of that least width; once it is no smaller than the spread of
        the best plan known, nothing is left to try.
        """
        deviations = [p.deviation_nm for p in self.choice if p.inside]
        if not deviations:
            return 0
        best = max(deviations) - min(deviations)
        wanted = sum(times for p, times in self.choice.items() if p.inside)
        widths = sorted((w, i, d) for i, (s, _) in enumerate(sources) for d, w in s.least_widths(wanted))
        for least, i, start in widths:
            if least >= best:
                break
            source = sources[i][0]
            width, step = least, max(1, (best - least) // 64)
            while width < best:
                found = self.feasible(source.pairs(start, start + width))
                if found is not None:
                    deviations = [p.deviation_nm for p in found if p.inside]
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
        return self._proved(best)


class Source:
    """Pairs by window of deviations, for the inside ones; pairs outside their limits always come along."""

    def __init__(self, kind: Kind, outside: list[Pair], bores: list[Bore]) -> None:
        self._kind = kind
        self._outside = outside
        self._bores = bores
        values: dict[int, set[int]] = {}
        for bore in bores:
            values.setdefault(bore.seat, set()).update(kind.deviations(bore))
        self._values = {seat: sorted(found) for seat, found in values.items()}
        self._counts = {b.seat: b.count for b in bores}

    def least_widths(self, wanted: int) -> Iterator[tuple[int, int]]:
        """For every deviation that a window may begin with, the least width that reaches `wanted` positions, each
        taken by itself; none where no width does."""
        values = sorted({v for found in self._values.values() for v in found}, reverse=True)
        ends = {index: len(found) for index, found in self._values.items()}
        for start in values:
            reached: list[tuple[int, int]] = []
            for index, found in self._values.items():
                at = ends[index]
                while at and found[at - 1] >= start:
                    at -= 1
                ends[index] = at
                if at < len(found):
                    reached.append((found[at], self._counts[index]))
            count = 0
            for value, positions in sorted(reached):
                count += positions
                if count >= wanted:
                    yield start, value - start
                    break

    def pairs(self, low: int, high: int) -> list[Pair]:
        return [*self._outside, *(p for bore in self._bores for p in self._kind.within(bore, low, high))]


class Listed(Source):
    """A field that is already listed."""

    def __init__(self, field: list[Pair]) -> None:
        self._field = field
        values: dict[int, set[int]] = {}
        self._counts = {}
        for p in field:
            if p.inside:
                values.setdefault(p.bore.seat, set()).add(p.deviation_nm)
                self._counts[p.bore.seat] = p.bore.count
        self._values = {index: sorted(found) for index, found in values.items()}

    def pairs(self, low: int, high: int) -> list[Pair]:
        return [p for p in self._field if not p.inside or low <= p.deviation_nm <= high]


class _Model:
    """A field as an integer program: one variable per pair, and one for the side of the thicker halves where they must
    all lie alike."""

    def __init__(self, search: Search, field: list[Pair]) -> None:
        self.program = program = Program()
        self._field = field
        by_seat: dict[int, list[int]] = {}
        use: dict[int, list[tuple[int, int]]] = {}
        for j, p in enumerate(field):
            twice = p.upper is p.lower
            program.variable(min(p.bore.count, p.upper.count // 2 if twice else min(p.upper.count, p.lower.count)))
            by_seat.setdefault(p.bore.seat, []).append(j)
            use.setdefault(p.upper.index, []).append((j, 2 if twice else 1))
            if not twice:
                use.setdefault(p.lower.index, []).append((j, 1))

        for columns in by_seat.values():
            count = field[columns[0]].bore.count
            program.row([(j, 1) for j in columns], count if search.must_fill else None, count)

        classes = search.kind.classes
        for index, terms in use.items():
            # Where the bores that can use a class are no more than its shells, the row could never bind.
            users = {field[j].bore.seat: field[j].bore.count for j, _ in terms}
            if sum(users.values()) * max(a for _, a in terms) > classes[index].count:
                program.row(terms, None, classes[index].count)

        for limit in search.limits:
            terms = [(j, a) for j, p in enumerate(field) if (a := limit.measure(p))]
            scale = gcd(*(a for _, a in terms)) or 1  # small coefficients are safer with the solver
            most = None if limit.most is None else limit.most // scale
            least = None if limit.least is None else -(-limit.least // scale)
            smaller = [(j, a // scale) for j, a in terms]
            if most is not None:
                program.row(smaller, None, most)
            if least is not None:  # a row apart: the solver calls infeasible equalities invalid
                program.row(smaller, least, None)

        if search.kind.one_thick_side:
            side = program.variable(1)
            for columns in by_seat.values():
                count = field[columns[0]].bore.count
                upper = [(j, 1) for j in columns if field[j].thick > 0]
                lower = [(j, 1) for j in columns if field[j].thick < 0]
                program.row([*upper, (side, -count)], None, 0)
                program.row([*lower, (side, count)], None, count)

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

    def point(self, choice: Choice) -> list[int] | None:
        """The pairs' values of a plan as a hint; None where the side would have to be guessed."""
        if len(self.program.upper) > len(self._field):
            return None
        return [choice[p] for p in self._field]


def _dot(cost: Sequence[int], x: Sequence[int]) -> int:
    return sum(c * v for c, v in zip(cost, x, strict=True))
