"""What a proof is worth: the figures to expect of a plan once the errors of its readings are counted in.

A search picks the shells whose reading errors happen to cancel, so its calculated figures flatter it. Errors drawn
from the uncertainty model are added to the deviations of the plan as found (nothing is solved again); the means over
many draws are what the true worst deviation and spread may be expected to be. Two plans see the same draws, since most
of the error is common to both: what is left is the uncertainty of their difference.
"""

from collections.abc import Sequence
from math import sqrt
from typing import TYPE_CHECKING

from fitmatch.parts import Job, Placement, Worth

if TYPE_CHECKING:
    from fitmatch.gauging.uncertainty import ErrorModel, Part

TRIALS = 2_000
FEWER_TRIALS, MANY_POSITIONS = 200, 1_000
_SEED = 20


def worth(job: Job, placements: Sequence[Placement], other: Sequence[Placement]) -> Worth | None:
    """What to expect of one kind's `placements`, and how they stand against `other` by their worst deviations.

    None where the job tells nothing of its gauges, or not enough to judge by, or where nothing is counted.
    """
    if not job.measuring.gauges and all(fit.seating_u_nm is None for fit in job.fits.values()):
        return None
    from fitmatch.gauging.uncertainty import ErrorModel

    model = ErrorModel(job)
    plans = [[p for p in plan if p.counted] for plan in (placements, other)]
    if not plans[0] or not model.known:
        return None
    if not _known(model, plans[0]):
        return None
    comparable = len(plans[0]) == len(plans[1]) and _known(model, plans[1])
    draws = _Draws(model, plans if comparable else [plans[0], []])
    trials = FEWER_TRIALS if len(plans[0]) > MANY_POSITIONS else TRIALS
    worsts, spreads, differences = 0.0, 0.0, []
    for _ in range(trials):
        mine, theirs = draws.deviations()
        low, high = min(mine), max(mine)
        worst = max(high, -low)
        worsts += worst
        spreads += high - low
        if theirs:
            differences.append(worst - max(max(theirs), -min(theirs)))
    return Worth(trials, worsts / trials, spreads / trials, _standing(differences))


def standing(plans: Sequence[tuple[Job, Sequence[Placement], Sequence[Placement]]]) -> str | None:
    """How the worst deviation of one plan of a kind stands against another's on the same draws: "better", "worse" or
    "equal within measurement"; None where too little is known to say, or they count different numbers of positions.

    Of several jobs, whose gauges have nothing in common, each is judged by itself; None where they disagree.
    """
    found = set()
    for job, placements, other in plans:
        told = worth(job, placements, other)
        found.add(None if told is None else told.by_hand)
    if len(found) > 1:
        found.discard("equal within measurement")
    return found.pop() if len(found) == 1 else None


def _known(model: "ErrorModel", plan: Sequence[Placement]) -> bool:
    """Whether enough is known of every clearance to draw its error. A scatter from a single pair of repeats is not: the
    mean of such draws does not exist."""
    for p in plan:
        uncertainty = model.combined(p.position, p.upper.measured_as, p.lower.measured_as)
        if uncertainty is None or uncertainty.lower_bound:
            return False
        if any(term.degrees_of_freedom == 1 for term in uncertainty.terms):
            return False
    return True


def _standing(differences: list[float]) -> str | None:
    """Equal where the central 95 % of the difference of two worst deviations hold 0."""
    if not differences:
        return None
    ranked = sorted(differences)
    cut = len(ranked) * 25 // 1_000
    low, high = ranked[cut], ranked[-1 - cut]
    if low <= 0.0 <= high:
        return "equal within measurement"
    return "better" if high < 0.0 else "worse"


class _Draws:
    """One set of errors at a time for all plans; an item that two plans share has the same error in both."""

    def __init__(self, model: "ErrorModel", plans: list[list[Placement]]) -> None:
        from random import Random  # not loaded where there is nothing to draw

        self._rng = Random(_SEED)  # noqa: S311 - a simulation, no secret; the same answer for the same files
        self._model = model
        parts: list[Part] = []  # one for each independent error
        at: dict[object, int] = {}

        def item(key: object, part: "Part") -> int:
            if key not in at:
                at[key] = len(parts)
                parts.append(part)
            return at[key]

        self._plans: list[list[tuple[float, int, int, int, int]]] = []
        shared: dict[tuple[tuple[str, float], ...], int] = {}
        for plan in plans:
            rows = []
            for p in plan:
                position, upper, lower = p.position, p.upper, p.lower
                loads = tuple(model.sensitivities(position, upper.measured_as, lower.measured_as).items())
                rows.append(
                    (
                        float(p.deviation_nm),
                        item((position.name, position.housing), model.of_position(position)),
                        item(upper.key, model.of_wall(position.kind, upper.measured_as)),
                        item(lower.key, model.of_wall(position.kind, lower.measured_as)),
                        shared.setdefault(loads, len(shared)),
                    )
                )
            self._plans.append(rows)
        self._loads = list(shared)
        # Few items differ in what their own error is made of.
        self._makes = list({id(part): part for part in parts}.values())
        make = {id(part): i for i, part in enumerate(self._makes)}
        self._make_of = [make[id(part)] for part in parts]
        self._fixed = all(scatter.degrees_of_freedom is None for scatter in model.scatter.values())
        self._deviates = self._standard_deviations() if self._fixed else []

    def deviations(self) -> tuple[list[float], list[float]]:
        """The next draw: the true deviations of the two plans."""
        deviates = self._deviates if self._fixed else self._standard_deviations()
        gauss = self._rng.gauss
        own = [deviates[make] * gauss(0.0, 1.0) for make in self._make_of]
        common = {
            name: self._rng.uniform(-source.half_width, source.half_width)
            if source.half_width is not None
            else gauss(0.0, source.standard)
            for name, source in self._model.common.items()
        }
        shifts = [sum(sensitivity * common[name] for name, sensitivity in loads) for loads in self._loads]
        mine, theirs = (
            [deviation + own[p] + own[u] + own[v] + shifts[load] for deviation, p, u, v, load in rows]
            for rows in self._plans
        )
        return mine, theirs

    def _standard_deviations(self) -> list[float]:
        """Of each make of item; a scatter known from few repeats is itself uncertain."""
        variances = {}
        for gauge, scatter in self._model.scatter.items():
            freedom = scatter.degrees_of_freedom
            factor = 1.0 if freedom is None else freedom / self._rng.gammavariate(freedom / 2.0, 2.0)
            variances[gauge] = scatter.standard_nm**2 * factor
        return [
            sqrt(sum(factor * variances[gauge] for gauge, factor in part.scatter.items()) + part.resolution_nm2)
            for part in self._makes
        ]
