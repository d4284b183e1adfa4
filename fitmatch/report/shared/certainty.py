"""How certain the clearances of a plan are: uncertainty, chance and verdict, and what the report says of them."""

from typing import TYPE_CHECKING

from fitmatch.records.answers.placements import Placement
from fitmatch.records.answers.plans import JobPlan
from fitmatch.records.keys import PositionKey, ShellKey

if TYPE_CHECKING:
    from fitmatch.gauging.uncertainty.combining import Uncertainty
    from fitmatch.gauging.uncertainty.error_model import ErrorModel


def gauges_of(placement: Placement) -> set[str]:
    """The gauges by which a clearance was measured."""
    position = placement.position
    sizes = (placement.upper.measured, placement.lower.measured, position.journal, position.housing_bore)
    return {name for size in sizes if size for name in size.gauges}


class Certainty:
    """What is known about the errors of a plan's clearances."""

    def __init__(self, plan: JobPlan) -> None:
        self._plan = plan
        self._model: ErrorModel | None = None
        self._found: dict[tuple[PositionKey, ShellKey, ShellKey], Uncertainty | None] = {}
        self._chances: dict[tuple[PositionKey, ShellKey, ShellKey], float | None] = {}
        fits, measuring = plan.job.fits.values(), plan.job.measuring
        if measuring.gauges or measuring.temperature or any(fit.seating_u_nm is not None for fit in fits):
            from fitmatch.gauging.uncertainty import error_model as uncertainty

            self._model = uncertainty.ErrorModel(plan.job)

    @property
    def known(self) -> bool:
        """Whether the job says anything from which an uncertainty can be made."""
        return self._model is not None and self._model.known

    def of(self, placement: Placement) -> "Uncertainty | None":
        """Its uncertainty; asked for by several parts of a report."""
        if self._model is None:
            return None
        key = placement.position.key, placement.upper.key, placement.lower.key
        if key not in self._found:
            how = placement.position, placement.upper.measured_as, placement.lower.measured_as
            self._found[key] = self._model.combined(*how)
        return self._found[key]

    def from_one_pair(self, placement: Placement) -> set[str]:
        """The gauges of a clearance whose scatter is known from two readings alone."""
        if self._model is None:
            return set()
        scatter = self._model.scatter
        return {name for name in gauges_of(placement) if name in scatter and scatter[name].degrees_of_freedom == 1}

    def chance(self, placement: Placement) -> float | None:
        """The chance that this clearance is inside its limits; asked for by several parts of a report."""
        key = placement.position.key, placement.upper.key, placement.lower.key
        if key not in self._chances:
            self._chances[key] = self._chance(placement)
        return self._chances[key]

    def _chance(self, placement: Placement) -> float | None:
        mean = self.of(placement)
        if self._model is None or mean is None:
            return None
        from fitmatch.gauging.uncertainty.judging import chance_inside

        position, upper, lower = placement.position, placement.upper.measured_as, placement.lower.measured_as
        tightest = self._model.tightest(position, upper, lower)
        return None if tightest is None else chance_inside(placement, mean, tightest)

    def verdict(self, placement: Placement) -> str | None:
        if self._model is None:
            return None
        from fitmatch.gauging.uncertainty.judging import verdict

        return verdict(self.chance(placement))

    def joint_chance(self, kind: str) -> float | None:
        """For all the kind's filled positions together."""
        if self._model is None:
            return None
        from fitmatch.gauging.uncertainty.judging import joint_chance

        return joint_chance(self._model, self._plan.of_kind(kind))
