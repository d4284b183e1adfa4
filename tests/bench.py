"""Readings and gauges for the tests of gauging: jobs built straight from readings, no files."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from fractions import Fraction
from pathlib import Path
from typing import Any

from fitmatch.gauging.sizes.sizing import Sizes
from fitmatch.intake.common.findings import Findings
from fitmatch.intake.job_toml.key_rows import JobFile
from fitmatch.intake.job_toml.settings import Settings
from fitmatch.records.answers.placements import Placement
from fitmatch.records.job import Job
from fitmatch.records.measuring import Gauge, Measuring, Reading, Temperature
from fitmatch.records.parts import Fit, Position, Shell, Size

UM = 1_000  # nm


def settings(**more: Any) -> Settings:
    """The settings of a metric job with one kind, as job.toml would give them."""
    of_job = {name: more.pop(name) for name in ("numbered_are_repeats",) if name in more}
    return Settings(JobFile("", Findings()), unit="mm", measuring=Measuring(**more), **of_job)


def sizes(made: Settings) -> Sizes:
    return Sizes(made.measuring, numbered_are_repeats=made.numbered_are_repeats)


def gauge(name: str, **more: Any) -> Gauge:
    return Gauge(name, **more)


def room(degrees: int, limit: Fraction | None = None) -> Temperature:
    return Temperature(Fraction(degrees), Fraction(degrees), True, limit)


def repeats(values: Sequence[int], by: str | None = None, station: int = 1, angle: float = 0.0) -> list[Reading]:
    """Readings of one place."""
    return [Reading(nm, station, angle, by) for nm in values]


class Bench:
    """One position and two shells, measured as given: sizes, the job they make, and its clearance."""

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
        self.sizes = sizes(made)
        self.journal = self._size("journal", journal)
        self.bore = self._size("housing_bore", bore)
        walls = [self._size("wall", readings) for readings in (upper, lower)]
        for feature, readings in further:
            self.sizes.sized("main", feature, readings)
        limits = {"target_nm": 45 * UM} | dict(fit or {})
        table = Fit("main", **limits)
        self.position = Position(
            "M1", "main", self.journal, self.bore, table.target_nm, table.min_nm, table.max_nm, table.seating_nm
        )
        shells = []
        for half, wall in zip(("upper", "lower"), walls, strict=True):
            shells.append(Shell(half, "box", "main", half, wall.mean_nm, measured=wall))
        self.upper, self.lower = shells
        measuring = replace(made.measuring, pooled=self.sizes.pooled())
        self.job = Job(Path("job"), "", "mm", {"main": table}, (self.position,), tuple(shells), measuring=measuring)
        self.placement = Placement(self.position, self.upper, self.lower)

    def _size(self, feature: str, readings: Sequence[Reading]) -> Size:
        sized = self.sizes.sized("main", feature, readings)
        assert sized is not None
        return sized.size

    @property
    def clearance_nm(self) -> int:
        return self.placement.clearance_nm

    def with_limits(self, low: int | None, high: int | None) -> Placement:
        return replace(self.placement, position=replace(self.position, min_nm=low, max_nm=high))
