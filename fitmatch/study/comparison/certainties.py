"""How certain it is that the placements of a group lie inside their limits."""

from collections.abc import Sequence
from math import prod

from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.gauging.uncertainty.judging import joint_chance
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job


class Certainties:
    """What is known about the errors of the jobs of a group; those of different jobs have nothing in common."""

    def __init__(self, jobs: Sequence[Job]) -> None:
        self._models = [ErrorModel(job) for job in jobs]
        self._known = all(model.known for model in self._models)

    def joint_chance(self, placements: Sequence[Sequence[Placement]]) -> float | None:
        """That all are inside, job by job; None where too little is known."""
        if not self._known:
            return None
        chances = [joint_chance(model, some) for model, some in zip(self._models, placements, strict=True)]
        told = [chance for chance in chances if chance is not None]
        return prod(told) if len(told) == len(chances) else None

    def near(self, placements: Sequence[Sequence[Placement]]) -> tuple[int | None, int | None]:
        """How many are inside min, and how many inside max, by less than U; None where that is not known of all."""
        if not self._known or not all(placements):
            return None, None
        ends = [self._near(model, p) for model, some in zip(self._models, placements, strict=True) for p in some]
        known = [end for end in ends if end is not None]
        if len(known) < len(ends):
            return None, None
        return sum(low for low, _ in known), sum(high for _, high in known)

    @staticmethod
    def _near(model: ErrorModel, p: Placement) -> tuple[bool, bool] | None:
        ways = p.position, p.upper.measured_as, p.lower.measured_as
        mean, tightest = model.combined(*ways), model.tightest(*ways)
        if mean is None or tightest is None or mean.lower_bound or tightest.lower_bound:
            return None
        low, high = p.position.min_nm, p.position.max_nm
        return (
            low is not None and 0 <= p.clearance_tightest_nm - low < tightest.expanded_nm,
            high is not None and 0 <= high - p.clearance_nm < mean.expanded_nm,
        )
