"""What a proof is worth: the figures to expect of a plan once the errors of its readings are included.

A search picks the shells whose reading errors happen to cancel, so its calculated figures are too good. Errors drawn
from the uncertainty model are added to the deviations of the plan as found (nothing is solved again); the means over
many draws are what the true worst deviation and spread may be expected to be. Two plans see the same draws, since most
of the error is common to both: what is left is the uncertainty of their difference.
"""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from math import sqrt
from typing import TYPE_CHECKING, NamedTuple

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import Worth
from fitmatch.records.job import Job

if TYPE_CHECKING:
    from fitmatch.gauging.uncertainty.error_model import ErrorModel, Part

TRIALS = 2_000
FEWER_TRIALS, MANY_POSITIONS = 200, 1_000
MANY_NUMBERS = 500_000  # from here on drawing whole arrays is quicker, even with loading numpy
EQUAL = "equal within measurement"
_SEED = 20


def worth(job: Job, placements: Sequence[Placement], other: Sequence[Placement]) -> Worth | None:
    """What to expect of one kind's `placements`, and how they compare with `other` by their worst deviations.

    None if the job says nothing about its gauges, or too little to judge by, or if nothing is counted.
    """
    alike = _counted(placements) == _counted(other)
    mine, theirs = _drawn(job, [placements, other if alike else ()])
    if mine is None:
        return None
    trials, spread = len(mine), sum(ends.high - ends.low for ends in mine)
    return Worth(trials, sum(map(_worst, mine)) / trials, spread / trials, _compared(mine, theirs))


def standings(jobs: Sequence[Job], plans: Sequence[Sequence[Sequence[Placement]]]) -> dict[tuple[int, int], str | None]:
    """How the worst deviation of each of some plans of a kind compares with that of each later one, all on the same
    draws: "better", "worse" or "equal within measurement"; None if too little is known, or they count different numbers
    of positions. Each plan is given job by job.

    Several jobs, whose gauges have nothing in common, are judged separately; None if they disagree.
    """
    told: dict[tuple[int, int], set[str | None]] = {pair: set() for pair in combinations(range(len(plans)), 2)}
    for at, job in enumerate(jobs):
        mine = [plan[at] for plan in plans]
        drawn = _drawn(job, mine)
        for (one, other), found in told.items():
            alike = _counted(mine[one]) == _counted(mine[other])
            found.add(_compared(drawn[one], drawn[other] if alike else None))
    return {pair: _agreed(found) for pair, found in told.items()}


def _agreed(found: set[str | None]) -> str | None:
    """What several jobs say together: those that cannot tell two plans apart leave it to the others."""
    decided = found - {EQUAL} if len(found) > 1 else found
    return next(iter(decided)) if len(decided) == 1 else None


def _counted(plan: Sequence[Placement]) -> int:
    return sum(p.counted for p in plan)


def _drawn(job: Job, plans: Sequence[Sequence[Placement]]) -> list["list[_Ends] | None"]:
    """The ends of each plan of one kind in every draw; None where too little is known, or nothing is counted."""
    found: list[list[_Ends] | None] = [None] * len(plans)
    if not job.measuring.gauges and all(fit.seating_u_nm is None for fit in job.fits.values()):
        return found
    from fitmatch.gauging.uncertainty.error_model import ErrorModel

    model = ErrorModel(job)
    counted = [[p for p in plan if p.counted] for plan in plans]
    known = [at for at, plan in enumerate(counted) if plan and _known(model, plan)]
    if known:
        draws = _Draws(model, [counted[at] for at in known])
        trials = FEWER_TRIALS if max(len(counted[at]) for at in known) > MANY_POSITIONS else TRIALS
        ends = draws.many(trials) if draws.items * trials > MANY_NUMBERS else draws.few(trials)
        for at, mine in zip(known, zip(*ends, strict=True), strict=True):
            found[at] = list(mine)
    return found


def _worst(ends: "_Ends") -> float:
    return max(ends.high, -ends.low)


def _compared(mine: "list[_Ends] | None", theirs: "list[_Ends] | None") -> str | None:
    if mine is None or theirs is None:
        return None
    return _standing([_worst(one) - _worst(other) for one, other in zip(mine, theirs, strict=True)])


def _known(model: "ErrorModel", plan: Sequence[Placement]) -> bool:
    """Whether enough is known about every clearance to draw its error. A scatter from a single pair of repeats is not
    enough: the mean of such draws does not exist."""
    found = (model.combined(p.position, p.upper.measured_as, p.lower.measured_as) for p in plan)
    return all(u and not u.lower_bound and all(t.degrees_of_freedom != 1 for t in u.terms) for u in found)


def _standing(differences: list[float]) -> str:
    """Equal if the central 95 % of the differences of two worst deviations include 0."""
    ranked = sorted(differences)
    cut = len(ranked) * 25 // 1_000
    low, high = ranked[cut], ranked[-1 - cut]
    if low <= 0.0 <= high:
        return EQUAL
    return "better" if high < 0.0 else "worse"


class _Ends(NamedTuple):
    """The smallest and the largest deviation of a plan in one draw."""

    low: float
    high: float


class _Draws:
    """One set of errors at a time for all plans; an item that two plans share has the same error in both. Every draw
    gives the smallest and largest deviation of each plan."""

    def __init__(self, model: "ErrorModel", plans: list[list[Placement]]) -> None:
        from random import Random  # not loaded if there is nothing to draw

        from fitmatch.gauging.uncertainty.drawn_errors import DrawnErrors

        self._rng = Random(_SEED)  # noqa: S311 - a simulation, no secret; the same answer for the same files
        self._errors = DrawnErrors(model.scatter, model.common, self._rng)
        parts: dict[object, tuple[int, Part]] = {}  # for each independent error its number and what it is made of

        def item(key: object, part: "Part") -> int:
            return parts.setdefault(key, (len(parts), part))[0]

        self._plans: list[list[tuple[float, int, int, int, int]]] = []
        load_of: dict[tuple[Part, Part, Part], int] = {}
        shared: dict[tuple[tuple[str, float], ...], int] = {}
        for plan in plans:
            rows = []
            for p in plan:
                position, upper, lower = p.position, p.upper, p.lower
                of_position = model.of_position(position)
                of_upper = model.of_wall(position.kind, upper.measured_as)
                of_lower = model.of_wall(position.kind, lower.measured_as)
                alike = of_position, of_upper, of_lower
                if alike not in load_of:
                    loads = model.sensitivities(position, upper.measured_as, lower.measured_as)
                    load_of[alike] = shared.setdefault(tuple(loads.items()), len(shared))
                rows.append(
                    (
                        float(p.deviation_nm),
                        item((position.name, position.housing), of_position),
                        item(upper.key, of_upper),
                        item(lower.key, of_lower),
                        load_of[alike],
                    )
                )
            self._plans.append(rows)
        self._loads = list(shared)
        # Most items have their own error made up alike.
        made = [(tuple(part.scatter.items()), part.resolution_nm2) for _, part in parts.values()]
        self._makes = list(dict.fromkeys(made))
        make = {one: i for i, one in enumerate(self._makes)}
        self._make_of = [make[one] for one in made]

    @property
    def items(self) -> int:
        """How many independent errors one draw needs."""
        return len(self._make_of)

    def few(self, trials: int) -> Iterator[list[_Ends]]:
        """Number by number."""
        gauss = self._rng.gauss
        for _ in range(trials):
            inflations = self._errors.inflations()
            deviates = self._standard_deviations(inflations)
            own = [deviates[make] * gauss(0.0, 1.0) for make in self._make_of]
            common = self._errors.common(inflations)
            shifts = [sum(sensitivity * common[name] for name, sensitivity in loads) for loads in self._loads]
            plans = (
                [deviation + own[p] + own[u] + own[v] + shifts[load] for deviation, p, u, v, load in rows]
                for rows in self._plans
            )
            yield [_Ends(min(plan), max(plan)) for plan in plans]

    def many(self, trials: int) -> Iterator[list[_Ends]]:
        """The same from other random numbers, whole arrays at a time: loading numpy takes as long as drawing half a
        million numbers one by one."""
        import numpy as np

        rng = np.random.RandomState(_SEED)  # its numbers are the same in every version
        plans = [[np.array(column) for column in zip(*rows, strict=True)] for rows in self._plans]
        makes = np.array(self._make_of)
        names = list(self._errors.sources)
        loads = np.array([[dict(load).get(name, 0.0) for load in self._loads] for name in names])
        for _ in range(trials):
            inflations = self._errors.inflations()
            own = rng.standard_normal(len(makes)) * np.array(self._standard_deviations(inflations))[makes]
            shifts = np.zeros(len(self._loads))
            for load, error in zip(loads, self._errors.common(inflations).values(), strict=True):
                shifts += load * error  # one after the other: a matrix product may round differently elsewhere
            ends: list[_Ends] = []
            for deviation, p, u, v, load in plans:
                found = deviation + own[p] + own[u] + own[v] + shifts[load]
                ends.append(_Ends(float(found.min()), float(found.max())))
            yield ends

    def _standard_deviations(self, inflations: Mapping[str, float]) -> list[float]:
        """The scatter for each make-up of item; a scatter known from few repeats is itself uncertain."""
        variances = self._errors.variances(inflations)
        return [
            sqrt(sum(factor * variances[gauge] for gauge, factor in scatter) + resolution_nm2)
            for scatter, resolution_nm2 in self._makes
        ]
