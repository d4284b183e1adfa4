"""How sure the clearances of a plan are: uncertainty, chance and verdict, and what the bench is told of them."""

from collections.abc import Iterable

from fitmatch.gauging.judging import chance_inside, joint_chance, verdict
from fitmatch.gauging.uncertainty import ErrorModel, Uncertainty
from fitmatch.parts import Placement, Plan
from fitmatch.report.layout import clean, paragraph

_LEGEND = (
    "+/- is the expanded uncertainty of the clearance, 95 %. The verdict goes by the chance that the clearance at the "
    "tightest is at least min and the mean one at most max: inside from 95 %, outside up to 5 %, doubtful between."
)


class Certainty:
    """What is known about the errors of a plan's clearances."""

    def __init__(self, plan: Plan) -> None:
        self._plan = plan
        self._model = ErrorModel(plan.job)

    @property
    def known(self) -> bool:
        """Whether the job tells anything to make an uncertainty of."""
        return self._model.known

    def of(self, placement: Placement) -> Uncertainty | None:
        return self._model.combined(placement.position, placement.upper.measured_as, placement.lower.measured_as)

    def chance(self, placement: Placement) -> float | None:
        uncertainty = self.of(placement)
        return None if uncertainty is None else chance_inside(placement, uncertainty)

    def verdict(self, placement: Placement) -> str | None:
        return verdict(self.chance(placement))

    def joint_chance(self, kind: str) -> float | None:
        """Of all the kind's filled positions together."""
        return joint_chance(self._model, [p for p in self._plan.placements if p.position.kind == kind])

    def legend(self, placements: Iterable[Placement]) -> list[str]:
        """What stands under a table with uncertainties, and whether they may be relied on."""
        found = [u for p in placements if (u := self.of(p)) is not None]
        if not found:
            return []
        lines = paragraph(_LEGEND)
        unknown = dict.fromkeys(what for u in found for what in u.unknown)
        if unknown:
            named = ", ".join(clean(what) for what in unknown)
            lines += paragraph(f"+/- is only a lower bound, and nothing is judged by it. Not known: {named}.")
        return lines
