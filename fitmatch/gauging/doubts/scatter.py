"""How far readings of one feature scatter about the centres of their groups, estimated robustly from few readings.

A group of five says little by itself, so every feature has one scale, pooled over all its groups and mixed with what
such parts usually show; where all features of an engine scatter less or more than usual, so does what is mixed in. A
reading far out must not widen the scale by which it is judged: a first scale, from the
median of all distances from the groups' medians, says which readings are the core, and only the core is pooled. A group
that is judged counts as it would be without what looks wrong in it, so that half a group that is off does not pass for
scatter.
"""

from collections.abc import Iterable, Sequence
from math import sqrt
from statistics import median
from typing import Final, NamedTuple

from fitmatch.gauging.uncertainty.student import t_quantile

# What journals, housing bores and walls of one kind, half and box usually scatter by: common practice, no source.
USUAL_NM: Final = {"journal": 3_000.0, "housing_bore": 3_000.0, "wall": 1_600.0}
_LEAST_CARE: Final = 0.6  # on a coarse grid readings may agree by chance
# The usual scatter counts as if it had been learned from this many readings.
USUAL_WEIGHT: Final = 10
_EFFICIENCY: Final = 0.4  # standard deviation over median distance
_CORE: Final = 4.0
# For the core it has more weight: in a job of five bores, two that are off must not pass for scatter.
_FIRM: Final = 40
# Median distance from the group's median, as a share of the standard deviation, by the size of the group (simulated).
_SHARE: Final = {2: 0.48, 3: 0.69, 4: 0.48, 5: 0.69, 6: 0.53, 7: 0.68, 8: 0.56, 10: 0.58, 12: 0.60}
_SHARE_OF_LARGE: Final = 0.6745
# One in so many readings without a mistake is doubted, if only one test looks at it (two-sided).
_ONE_IN: Final = 8_000


class Scale(NamedTuple):
    """A standard deviation in nm and its degrees of freedom."""

    standard_nm: float
    degrees_of_freedom: int

    @property
    def limit_nm(self) -> float:
        """How far off a reading must be to be doubted."""
        return self.standard_nm * t_quantile(self.degrees_of_freedom, 1.0 - 0.5 / _ONE_IN)


class Sample(NamedTuple):
    """Values that ought to agree, each with the number of its item: readings of one item are not independent."""

    values: Sequence[float]
    items: Sequence[int]


def care_of(samples: Iterable[tuple[str, Sample]]) -> float:
    """How far the readings of one engine scatter compared with what is usual: parts that were made and measured with
    care have little scatter in every feature."""
    distances = [d / USUAL_NM[feature] for feature, sample in samples for d in _distances(sample.values)]
    weight = _EFFICIENCY * len(distances)
    shown = median(distances) ** 2 if distances else 0.0
    return max(_LEAST_CARE, sqrt((USUAL_WEIGHT + weight * shown) / (USUAL_WEIGHT + weight)))


def _distances(values: Sequence[float]) -> list[float]:
    """Of each reading from the group's median, as standard deviations if there is no mistake."""
    if len(values) < 2:
        return []
    middle, share = median(values), _SHARE.get(len(values), _SHARE_OF_LARGE)
    some = sorted(abs(v - middle) / share for v in values)
    return some[1:] if len(values) % 2 else some


class Scatter:
    """The scale of one feature, from the values of its groups. A group's core is within `reach_nm` of its median."""

    def __init__(self, feature: str, samples: Sequence[Sample], care: float) -> None:
        self._usual = (care * USUAL_NM[feature]) ** 2
        self.reach_nm = _CORE * self._first(samples)
        self._core = [self.core_of(sample) for sample in samples]
        self._squares = USUAL_WEIGHT * self._usual + sum(squares for squares, _ in self._core)
        self._freedom = USUAL_WEIGHT + sum(freedom for _, freedom in self._core)

    @property
    def scale(self) -> Scale:
        return Scale(sqrt(self._squares / self._freedom), self._freedom)

    def least(self, at: int) -> Scale:
        """No scale by which the group number `at` could be judged gives a smaller limit."""
        return Scale(sqrt((self._squares - self._core[at][0]) / self._freedom), self._freedom)

    def instead(self, at: int, core: tuple[float, int], spent: int) -> Scale:
        """The scale if the group number `at` had this `core`; `spent` degrees of freedom made it so."""
        squares, freedom = core
        freedom = self._freedom - self._core[at][1] + max(0, freedom - spent)
        return Scale(sqrt((self._squares - self._core[at][0] + squares) / freedom), freedom)

    def _first(self, samples: Sequence[Sample]) -> float:
        distances = [d for sample in samples for d in _distances(sample.values)]
        if not distances:
            return sqrt(self._usual)
        weight = _EFFICIENCY * len(distances)
        shown = (_FIRM * self._usual + weight * median(distances) ** 2) / (_FIRM + weight)
        return sqrt(max(self._usual, shown))  # on a coarse grid readings often agree, which must not narrow the core

    def core_of(self, sample: Sample) -> tuple[float, int]:
        """The sum of squares of a group's core, as of one value for each of its items, and its degrees of freedom."""
        values, items = sample
        middle = median(values) if values else 0.0
        core = [(v, i) for v, i in zip(values, items, strict=True) if abs(v - middle) <= self.reach_nm]
        freedom = len({i for _, i in core}) - 1
        if freedom < 1:
            return 0.0, 0
        centre = sum(v for v, _ in core) / len(core)
        return sum((v - centre) ** 2 for v, _ in core) * freedom / (len(core) - 1), freedom
