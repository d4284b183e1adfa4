"""The errors of a whole plan drawn at random, as the error model says that they are to be drawn."""

from collections.abc import Mapping
from math import sqrt
from random import Random

from fitmatch.gauging.uncertainty.scatter import Scatter
from fitmatch.gauging.uncertainty.sources import Common


class DrawnErrors:
    """Draws what the sources of an error model do; each draw begins with `inflations`."""

    def __init__(self, scatter: Mapping[str, Scatter], sources: Mapping[str, Common], rng: Random) -> None:
        self._scatter = scatter
        self.sources = sources
        self._rng = rng

    def inflations(self) -> dict[str, float]:
        """For each gauge how much its true variance exceeds the one that was found."""
        return {gauge: self._inflation(s.degrees_of_freedom) for gauge, s in self._scatter.items()}

    def variances(self, inflations: Mapping[str, float]) -> dict[str, float]:
        """The true variance of single readings, by gauge."""
        return {gauge: s.standard_nm**2 * inflations[gauge] for gauge, s in self._scatter.items()}

    def common(self, inflations: Mapping[str, float]) -> dict[str, float]:
        """Each error that many readings share, drawn once."""
        return {name: self._error(source, inflations) for name, source in self.sources.items()}

    def _error(self, source: Common, inflations: Mapping[str, float]) -> float:
        if source.half_width is not None:
            return self._rng.uniform(-source.half_width, source.half_width)
        inflation = self._inflation(source.degrees_of_freedom) if source.gauge is None else inflations[source.gauge]
        return self._rng.gauss(0.0, source.standard * sqrt(inflation))

    def _inflation(self, freedom: int | None) -> float:
        return inflation(self._rng, freedom)


def inflation(rng: Random, freedom: int | None) -> float:
    """By how much a true variance may exceed the one found with these degrees of freedom; None: known exactly."""
    return freedom / rng.gammavariate(freedom / 2.0, 2.0) if freedom else 1.0
