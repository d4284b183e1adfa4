"""Readings and gauges for the tests of gauging: jobs built straight from readings, no files."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

from fitmatch.gauging.sizes import Sizes
from fitmatch.intake.findings import Findings
from fitmatch.intake.keyrows import JobFile
from fitmatch.intake.settings import Settings
from fitmatch.measuring import Decimal, Gauge, Measuring, Reading, Temperature
from fitmatch.parts import Fit, Job, Position, Shell, Size
from fitmatch.placements import Placement

UM = 1_000  # nm


def settings(**more: Any) -> Settings:
    """The settings of a metric job with one kind, as job.toml would give them."""
    made = Settings(JobFile("", Findings()), unit="mm")
    for name, value in more.items():
        assert hasattr(made, name)
        setattr(made, name, value)
    return made


def gauge(name: str, **more: Any) -> Gauge:
    return Gauge(name, **more)


def room(degrees: int, limit: Decimal | None = None) -> Temperature:
    return Temperature(Decimal(degrees), Decimal(degrees), True, limit)


def repeats(values: Sequence[int], by: str | None = None, station: int = 1, angle: float = 0.0) -> list[Reading]:
    """Readings of one place."""
    return [Reading(nm, station, angle, by) for nm in values]


class Bench:
    """One position and two shells, measured as told: sizes, the job they make, and its clearance."""

    def __init__(
        self,
        made: Settings,
        journal: Sequence[Reading],
        bore: Sequence[Reading],
        upper: Sequence[Reading],
        lower: Sequence[Reading],
        *,
        fit: Mapping[str, Any] | None = None,
        further: Sequence[tuple[str, Sequence[Reading]]] = (),
    ) -> None:
        """`further`: readings of other items, by feature, from which only scatter is learned."""
        self.sizes = Sizes(made)
        self.journal = self._diameter("journal", journal)
        self.bore = self._diameter("housing_bore", bore)
        walls = [self.sizes.wall(readings) for readings in (upper, lower)]
        for feature, readings in further:
            if feature == "wall":
                self.sizes.wall(readings)
            else:
                self.sizes.diameter("main", feature, readings)
        limits = {"target_nm": 45 * UM} | dict(fit or {})
        table = Fit("main", **limits)
        self.position = Position(
            "M1", "main", self.journal, self.bore, table.target_nm, table.min_nm, table.max_nm, table.seating_nm
        )
        shells = []
        for half, wall in zip(("upper", "lower"), walls, strict=True):
            assert wall is not None
            shells.append(Shell(half, "box", "main", half, wall[0], measured_as=wall[1]))
        self.upper, self.lower = shells
        measuring = Measuring(
            gauges=made.gauges,
            pooled=self.sizes.pooled(),
            temperature=made.temperature,
            materials=made.materials,
        )
        self.job = Job(Path("job"), "", "mm", {"main": table}, (self.position,), tuple(shells), measuring=measuring)
        self.placement = Placement(self.position, self.upper, self.lower)

    def _diameter(self, feature: str, readings: Sequence[Reading]) -> Size:
        sized = self.sizes.diameter("main", feature, readings)
        assert sized is not None
        return sized.size

    @property
    def clearance_nm(self) -> int:
        return self.placement.clearance_nm

    def with_limits(self, low: int | None, high: int | None) -> Placement:
        return replace(self.placement, position=replace(self.position, min_nm=low, max_nm=high))
