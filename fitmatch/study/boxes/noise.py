"""What reading does to a job whose true sizes are drawn: the error of each reading, shared ones drawn once."""

from collections.abc import Mapping, Set
from math import sqrt
from random import Random
from typing import NamedTuple

from fitmatch.gauging.uncertainty.drawn_errors import DrawnErrors
from fitmatch.gauging.uncertainty.error_model import ErrorModel, Part
from fitmatch.gauging.uncertainty.scatter import Scatter
from fitmatch.gauging.uncertainty.sources import Common
from fitmatch.records.job import Job
from fitmatch.records.keys import ShellKey
from fitmatch.records.measuring import DIAMETERS, MeasuredAs, Series
from fitmatch.records.parts import Position


class Noise(NamedTuple):
    """All that errors of one kind are drawn from: the sources, and the part that each position and shell has in them.

    `of_drawn`: of positions of which a size is drawn the part of each size, without `of_seating`, which all positions
    share. `new_as` is how the shells of new boxes will be measured; `sure_nm` the standard uncertainty of one clearance
    with such shells, or as much of it as is known.
    """

    scatter: Mapping[str, Scatter]
    sources: Mapping[str, Common]
    of_positions: Mapping[str, Part]
    of_drawn: Mapping[str, Mapping[str, Part]]
    of_seating: Part
    of_shells: Mapping[ShellKey, Part]
    of_new: Part
    new_as: MeasuredAs | None
    sure_nm: float | None
    unknown: tuple[str, ...]


def noise_of(job: Job, kind: str, positions: tuple[Position, ...], drawn: Set[str]) -> Noise | None:
    """What is known of the errors of these positions, some of them `drawn`, and of the shells of a kind; None:
    nothing."""
    model = ErrorModel(job)
    if not model.known:
        return None
    shells = [shell for shell in job.shells if shell.kind == kind and shell.wall_nm is not None]
    new_as = next((s.measured_as for s in shells if s.measured_as is not None), measured_as(job, kind, "wall"))
    sure = [model.combined(position, new_as, new_as) for position in positions]
    known = [one.standard_nm for one in sure if one is not None]
    of_new = model.of_wall(kind, new_as)
    of_positions = {position.name: model.of_position(position) for position in positions}
    return Noise(
        scatter=model.scatter,
        sources=model.common,
        of_positions=of_positions,
        of_drawn={
            p.name: {
                feature: model.of_diameter(kind, feature, size)
                for feature, size in zip(DIAMETERS, (p.journal, p.housing_bore), strict=True)
                if size is not None
            }
            for p in positions
            if p.name in drawn
        },
        of_seating=model.of_seating(kind),
        of_shells={shell.key: model.of_wall(kind, shell.measured_as) for shell in shells},
        of_new=of_new,
        new_as=new_as,
        sure_nm=max(known, default=None),
        unknown=tuple(dict.fromkeys(what for part in (*of_positions.values(), of_new) for what in part.unknown)),
    )


def measured_as(job: Job, kind: str, feature: str) -> MeasuredAs | None:
    """How a size that is still to be measured will be: once, by the gauge that job.toml names."""
    gauge = job.measuring.measured.get(kind, {}).get(feature)
    return None if gauge is None else MeasuredAs((Series(gauge, 1, 1.0),))


def read_with_nm(job: Job, kind: str) -> float:
    """The scatter of one reading of a wall of this kind; 0: not known."""
    gauge = job.measuring.measured.get(kind, {}).get("wall")
    shell = next((s for s in job.shells if s.kind == kind and s.measured_as is not None), None)
    model = ErrorModel(job)
    how = shell.measured_as if shell is not None else None if gauge is None else measured_as(job, kind, "wall")
    if not model.known or how is None:
        return 0.0
    part = model.of_wall(kind, how)
    return sqrt(sum(f * model.scatter[g].standard_nm ** 2 for g, f in part.scatter.items()) + part.resolution_nm2)


class Errors:
    """The errors of one draw, each as it enters a clearance; `random` are those of single readings."""

    def __init__(self, noise: Noise, rng: Random) -> None:
        drawn = DrawnErrors(noise.scatter, noise.sources, rng)
        inflations = drawn.inflations()
        self._variances = drawn.variances(inflations)
        self._common = drawn.common(inflations)

    def of(self, part: Part, rng: Random, rounded_to_nm: int = 0) -> float:
        """The whole error of a part. Rounding that follows (`rounded_to_nm`) is no part of it."""
        variance = part.resolution_nm2 - rounded_to_nm**2 / 12.0
        variance += sum(factor * self._variances[gauge] for gauge, factor in part.scatter.items())
        return self.shared(part) + (rng.gauss(0.0, sqrt(variance)) if variance > 0.0 else 0.0)

    def shared(self, part: Part) -> float:
        """What it shares with other parts."""
        return sum(sensitivity * self._common[name] for name, sensitivity in part.common.items())
