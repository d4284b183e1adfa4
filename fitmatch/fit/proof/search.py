"""The moves that a proof is made of: minimise a sum or a largest deviation, and keep it; ask whether there is a plan.

A `Search` has one kind: its *fields* (sets of pairs; every plan that may still be the best is completely inside at
least one of them), its *bounds* (with a limit for each figure already proven) and the best plan known, its *choice*.
Each move proves one figure, keeps its value as a one-sided limit and drops the pairs that no plan of that value can
use.

Of several jobs some are *in work*: the moves judge only their bores, and what was proven earlier for others stays.
"""

import dataclasses
import logging
import time
from collections.abc import Iterable, Sequence
from math import gcd

from fitmatch.fit.classes.candidates import Kind
from fitmatch.fit.classes.classes import Pair
from fitmatch.fit.model.order import CLEARANCE, DIFFERENCE, SQUARES, WORST, Figure, value
from fitmatch.fit.model.pairs import FREE, Bounds, Choice, Limit, Measure, Model, Work, shares_of
from fitmatch.fit.proof.field.at_sight import at_sight
from fitmatch.fit.proof.field.few_seats import FewSeats
from fitmatch.fit.proof.field.near_plans import Efforts, Nearby, many
from fitmatch.fit.proof.field.relaxations import affordable, cost_of, face, of_jobs, short_of
from fitmatch.fit.proof.field.settling import by_sides, moving
from fitmatch.fit.solver.adapter import Outcome, Relaxation, relax, solve
from fitmatch.fit.solver.program import Bound, exact_bound
from fitmatch.fit.solver.stopping import Stop, Stopped
from fitmatch.problems import FaultInFitmatch
from fitmatch.stages import now

_LOG = logging.getLogger("fitmatch.fit.assign")

_NARROWEST_FIRST = 4  # windows, where housings move: with few pairs it is soon seen that there is no plan
PARTED = 500  # of more pairs a field is parted (measured)
# Once proven, these are kept by what their plans have in common, where that is known: a row over every pair makes the
# relaxations that follow come out in fractions, and searches long.
_BY_FACE = (SQUARES, CLEARANCE, DIFFERENCE)


@dataclasses.dataclass(eq=False)
class Search:
    """The proof of one kind, figure by figure. `figure` is the one being proven; any move may raise Stopped.

    One of the pairs `demanded` is used, whatever it costs. After `efforts` of the solver a question of feasibility is
    given up.
    """

    kind: Kind
    stop: Stop
    bounds: Bounds = FREE
    _: dataclasses.KW_ONLY
    demanded: Sequence[Pair] = ()
    choice: Choice = dataclasses.field(default_factory=Choice)  # the best plan known
    efforts: Efforts | None = None

    def __post_init__(self) -> None:
        self.figure: Figure | None = None
        self.start: Choice | None = None  # a plan that is known before the first level
        self.least_worst = 0  # no plan of the right levels 0 and 1 has a smaller worst |deviation|
        self.face: frozenset[int] | None = None  # what besides the pairs tells the plans of the value just proven
        self.blamed: set[int] | None = None  # for the last field without a plan: the seats that caused it, if known
        self.kept: list[Pair] = []  # what earlier jobs may use; part of every field
        self.work: Work = self.kind.terms  # the jobs in work
        self.bores = self.kind.bores  # theirs
        # In the fields from the start: jobs with an earlier turn must leave room for what is demanded.
        self.fields: list[list[Pair]] = [list(self.demanded)]
        self._since = time.monotonic()

    # --- what is known ---

    def take(self, work: Work) -> None:
        """Turn to these jobs; all that was proven for the earlier ones stays."""
        left = {p: None for field in self.fields for p in field}
        self.kept = [p for p in left if p.bore.terms not in work]
        self.work = work
        self.bores = [bore for bore in self.kind.bores if bore.terms in work]
        self.least_worst = 0

    def filling(self, pairs: Iterable[Pair]) -> Bounds:
        """The bounds with every seat of the jobs in work that has one of these pairs completely filled."""
        return self.bounds._replace(full=self.bounds.full | {p.bore.seat for p in pairs if p.bore.terms in self.work})

    def value(self, figure: Figure) -> int:
        """The value for the jobs in work, by the current plan."""
        return value(figure, shares_of(self.kind, self.choice, self.work))

    def judged(self, pair: Pair) -> bool:
        """Whether the pair counts in the quality of the jobs in work."""
        return bool(pair.counted) and pair.bore.terms in self.work

    @property
    def only_shells_bind(self) -> bool:
        """Whether nothing constrains the bores together but the supply of shells and housings."""
        return (
            not self.bounds.complete
            and not self.demanded
            and not any(bore.wishes for bore in self.bores)
            and not any(terms.one_thick_side or terms.shifts.on for terms in self.kind.terms)
        )

    # --- moves ---

    def minimise(self, figure: Figure, *, keep: bool = True) -> int:
        """Prove the smallest total of a sum and, unless it is only a start, keep it."""
        self.figure = figure
        self.face = None
        measure = of_jobs(figure.measure, self.kind, self.work)
        best = self.value(figure)
        kept: list[tuple[int, list[Pair]]] = []
        alone = len(self.fields) == len(self.kind.terms) == 1
        for field in self.fields:
            try:
                found = self.minimise_in(field, measure, best)
            except Stopped as stopped:
                bound = stopped.bound if len(self.fields) == 1 else None
                raise Stopped(bound) from None
            if found is not None:
                best = found[0]
                kept.append(found)
        self.fields = [field for total, field in kept if total == best]
        if not self.fields:
            raise FaultInFitmatch(f"no plan is left at level {figure.name}")
        if keep and alone and figure in _BY_FACE and self.face is not None:
            self.bounds = self.bounds._replace(used=self.bounds.used | self.face)
        elif keep:
            self.keep(figure)
        return self.proved(best)

    def keep(self, figure: Figure) -> None:
        """No plan that is worse than the current one by this sum is looked at any more."""
        measure = of_jobs(figure.measure, self.kind, self.work)
        self.bounds = self.bounds.and_limits(Limit(measure, self.value(figure)))

    def narrow_worst(self, figure: Figure) -> int:
        """Prove the smallest worst |deviation| of the pairs inside their limits and keep it; `figure`: what for."""
        self.figure = figure
        best = self.value(WORST)
        ranked = sorted(((max(self.least_worst, self._worst_at_least(f)), i) for i, f in enumerate(self.fields)))
        for rank, (at_least, i) in enumerate(ranked):
            low, tries = at_least, 0
            moves = moving(self.fields[i])
            while low < best:
                # Bisect over the deviations that occur, and jump to the worst of each plan that is found.
                deviations = {abs(p.deviation_nm) for p in self.fields[i] if self.judged(p)}
                values = sorted(v for v in deviations if low <= v < best)
                if not values:
                    break
                narrowest = values[0] == at_least or (moves and tries < _NARROWEST_FIRST)
                middle, tries = values[0 if narrowest else len(values) // 2], tries + 1
                try:
                    found = self.feasible(self._up_to(middle, self.fields[i]), likely=not (tries > 1 or moves))
                except Stopped:
                    raise Stopped(min([low, best, *(least_ for least_, _ in ranked[rank + 1 :])])) from None
                if found is None:
                    low = middle + 1
                else:
                    self.choice = found
                    best = self.value(WORST)
        self.fields = [self._up_to(best, self.fields[i]) for least_, i in ranked if least_ <= best]
        return self.proved(best)

    def feasible(self, field: list[Pair], bounds: Bounds | None = None, *, likely: bool = True) -> Choice | None:
        """A plan from these pairs within all bounds, these or the current ones, or None if there is none; raises
        Stopped. Where one is not `likely` it is first tried to rule it out."""
        bounds = self.bounds if bounds is None else bounds
        if not bounds.full <= {p.bore.seat for p in field}:
            return None
        self.blamed = None
        self._tell(field)
        model = Model(self.kind, field, bounds, self.stop)
        if not likely and many(field) and self.out_of_reach(model):
            return None
        found, possible = self._nearby(bounds).relaxed(model, field)
        if found is not None or (not possible and self.out_of_reach(model)):
            return found
        efforts = None if self.efforts is None else self.efforts()
        answer = solve(model.program, [0] * len(model.program.upper), self.stop, efforts=efforts)
        if answer.outcome is Outcome.INFEASIBLE:
            return None
        if answer.x is None:
            raise Stopped
        return model.choice(answer.x)

    def out_of_reach(self, model: Model) -> bool:
        """Whether a relaxation proves that no point is feasible; `blamed` then says which seats ask for too much."""
        self.blamed = short_of(model, self.stop)
        return self.blamed is not None

    # --- details ---

    def _nearby(self, bounds: Bounds) -> Nearby:
        return Nearby(self.kind, self.work, bounds, self.stop, self.efforts)

    def _up_to(self, worst: int, field: list[Pair]) -> list[Pair]:
        return [p for p in field if abs(p.deviation_nm) <= worst or not self.judged(p)]

    def _tell(self, field: list[Pair]) -> None:
        now(f"{self.kind.name}: {self.figure.name.replace('_', ' ') if self.figure else ''}, {len(field)} pairs")

    def proved(self, value: int) -> int:
        now = time.monotonic()
        _LOG.debug(
            "%s: %s = %d with %d pairs in %d fields, %.3f s",
            self.kind.name,
            self.figure and self.figure.name,
            value,
            sum(map(len, self.fields)),
            len(self.fields),
            now - self._since,
        )
        self._since = now
        return value

    def _worst_at_least(self, field: list[Pair]) -> int:
        """No plan of this field has a smaller worst |deviation|."""
        best: dict[int, int] = {}
        for p in field:
            if self.bounds.fills(p.bore):
                off = abs(p.deviation_nm) if self.judged(p) else 0
                best[p.bore.seat] = min(best.get(p.bore.seat, off), off)
        return max(best.values(), default=0)

    def minimise_in(self, field: list[Pair], measure: Measure, cutoff: int) -> tuple[int, list[Pair]] | None:
        """The smallest total in this field and the pairs that reach it; None if it is above `cutoff`."""
        mine = self.choice.keys() <= set(field)
        seen = at_sight(field, measure, self.bounds) if mine else None
        if seen is not None and seen.least == cutoff:
            self.face = frozenset() if seen.sure else None
            return cutoff, seen.pairs
        self._tell(field)
        model = Model(self.kind, field, self.bounds, self.stop)
        cost = model.cost(measure)
        scale = gcd(*cost) or 1
        cost = [c // scale for c in cost]
        most = cutoff // scale
        point = [j for j, p in enumerate(field) if p in self.choice] if mine else ()
        relaxed = relax(model.program, cost, self.stop, point)
        proof: Bound | None = None
        if relaxed is not None:
            proof = exact_bound(model.program, cost, relaxed.multipliers, self.stop)
            if proof.least > most:
                return None
            x = model.whole(relaxed.x)
            if x is not None and cost_of(cost, x) <= most:
                self.choice = model.choice(x)
                mine, most = True, cost_of(cost, x)
            elif proof.least < most:
                parts = self._parts(field, affordable(field, proof, most)) if moving(field) else []
                if many(field):
                    found = self._tried(model, field, measure, relaxed, proof, alone=not parts)
                    if found is not None and found[0] <= most * scale:
                        most, self.choice = found[0] // scale, found[1]
                        mine = True
                if parts and proof.least < most:
                    return self._part_by_part(parts, measure, most * scale, known=mine)
        if mine and relaxed is not None and proof is not None and proof.least < most and many(field):
            near = affordable(field, proof, most - 1)
            scarce = {model.classes[i] for i in proof.at_high if i in model.classes}
            sure = not self.fills_all(near, field) or FewSeats(self.kind, self.bounds, self.stop).no_better(
                near, measure, most * scale, scarce
            )
        else:
            sure = mine and proof is not None and proof.least == most
        if not sure:
            near = affordable(field, proof, most)
            if not self.fills_all(near, field):
                return None
            smaller = Model(self.kind, near, self.bounds, self.stop)
            cost_near = [c // scale for c in smaller.cost(measure)]
            hint = [self.choice[p] for p in near] if mine else None  # what rules over several bores add is not counted
            answer = solve(smaller.program, cost_near, self.stop, hint)
            if answer.outcome is Outcome.INFEASIBLE:
                return None
            value = None if answer.x is None else cost_of(cost_near, answer.x)
            if answer.x is not None and value is not None and value <= most:
                self.choice = smaller.choice(answer.x)
            if answer.outcome is not Outcome.OPTIMAL or value is None:
                known = [b * scale for b in (proof and proof.least, answer.bound) if b is not None]
                raise Stopped(max(known, default=None))
            if value > most:
                return None
            most = value
        if proof is not None and not proof.spare(most):
            self.face = face(model, proof)
        return most * scale, affordable(field, proof, most)

    def _tried(
        self, model: Model, field: list[Pair], measure: Measure, relaxed: Relaxation, proof: Bound, *, alone: bool
    ) -> tuple[int, Choice] | None:
        """A plan of a small total, if one is soon found; `alone`: the field is not tried in parts afterwards."""
        cost = model.cost(measure)
        scale = gcd(*cost) or 1
        near = self._nearby(self.bounds)
        counts, moves = {0, -scale} >= set(cost), moving(field)
        found = self._at_bound(field, measure, proof.least * scale) if counts and not moves else None
        found = found or near.settled(model, field, measure, relaxed)
        if found is None and alone:
            found = self._at_bound(field, measure, proof.least * scale) if counts and moves else None
        if found is None and alone:
            few = near.among_few(field, relaxed, proof, [c // scale for c in cost])
            found = few and (few[0] * scale, few[1])
        return found

    def _at_bound(self, field: list[Pair], measure: Measure, least: int) -> tuple[int, Choice] | None:
        """A plan that has as many of something as a relaxation allows, if one is soon found: pairs that all count alike
        say little about which to try, their deviations more."""
        bounds = self.bounds.and_limits(Limit(measure, least))
        found, _ = self._nearby(bounds).relaxed(Model(self.kind, field, bounds, self.stop), field)
        return None if found is None else (least, found)

    def _parts(self, field: list[Pair], near: list[Pair]) -> list[list[Pair]]:
        """The parts of what is left of a field in which jobs have their thicker halves on one side, if it is worth
        trying them one by one: what a relaxation of the whole mixes is then kept apart."""
        parts = by_sides(near) if len(near) > PARTED else []
        return [part for part in parts if self.fills_all(part, field)]

    def _part_by_part(
        self, parts: list[list[Pair]], measure: Measure, cutoff: int, *, known: bool
    ) -> tuple[int, list[Pair]] | None:
        """The smallest total in these parts of a field and the pairs that reach it; None if it is above `cutoff`.
        `known`: a plan of that total is; then parts that may have none smaller are kept as they are."""
        left = sorted(filter(None, (self._at_most(part, measure, cutoff) for part in parts)), key=lambda one: one[0])
        best, kept = cutoff, list[tuple[int, list[Pair]]]()
        for rank, (least, part) in enumerate(left):
            if least == best and known:
                kept.append((best, part))
            elif least <= best:
                try:
                    found = self.minimise_in(part, measure, best)
                except Stopped as stopped:
                    here = least if stopped.bound is None else stopped.bound
                    raise Stopped(min([here, best, *(low for low, _ in left[rank + 1 :])])) from None
                if found is not None:
                    best, known = found[0], True
                    kept.append(found)
        self.face = None
        pairs = dict.fromkeys(p for total, some in kept if total == best for p in some)
        return (best, list(pairs)) if pairs else None

    def _at_most(self, field: list[Pair], measure: Measure, most: int) -> tuple[int, list[Pair]] | None:
        """What no plan of a field can be better than, and the pairs that those up to `most` use; None if there is
        none."""
        model = Model(self.kind, field, self.bounds, self.stop)
        cost = model.cost(measure)
        scale = gcd(*cost) or 1
        cost = [c // scale for c in cost]
        relaxed = relax(model.program, cost, self.stop)
        if relaxed is None and self.out_of_reach(model):
            return None
        multipliers = [0.0] * len(model.program.rows) if relaxed is None else relaxed.multipliers
        proof = exact_bound(model.program, cost, multipliers, self.stop)
        near = affordable(field, proof, most // scale)
        return (proof.least * scale, near) if self.fills_all(near, field) else None

    def fills_all(self, near: Iterable[Pair], field: Iterable[Pair]) -> bool:
        """Whether every bore of the field that must have a pair still has one; a program would know nothing of it."""
        must = {p.bore.seat for p in field if p.bore.house is not None or self.bounds.fills(p.bore)}
        return must <= {p.bore.seat for p in near}
