"""How far readings of one feature scatter about the centres of their groups, estimated robustly from few readings.

A group of five says little by itself, so every feature has one scale, pooled over all its groups and mixed with what
such parts usually show. A reading far out must not widen the scale by which it is judged: a first scale, from the
median of all distances from the groups' medians, says which readings are the core, and only the core is pooled.
"""

from collections.abc import Iterable, Sequence
from math import sqrt
from statistics import median
from typing import Final, NamedTuple

from fitmatch.gauging.doubts.groups import Group

# What journals, housing bores and walls of one kind, half and box usually scatter by: common practice, no source.
USUAL_NM: Final = {"journal": 3_000.0, "housing_bore": 3_000.0, "wall": 1_600.0}
# The usual scatter counts as if it had been learned from this many readings.
USUAL_WEIGHT: Final = 6
_EFFICIENCY: Final = 0.4  # standard deviation over median distance
_CORE: Final = 4.0
# For the core it has more weight: in a job of five bores, two that are off must not pass for scatter.
_FIRM: Final = 40
# Median distance from the group's median, as a share of the standard deviation, by the size of the group (simulated).
_SHARE: Final = {2: 0.48, 3: 0.69, 4: 0.48, 5: 0.69, 6: 0.53, 7: 0.68, 8: 0.56, 10: 0.58, 12: 0.60}
_SHARE_OF_LARGE: Final = 0.6745


class Scale(NamedTuple):
    """A standard deviation in nm and its degrees of freedom."""

    standard_nm: float
    degrees_of_freedom: int


def scale_of(feature: str, groups: Iterable[Sequence[float]]) -> Scale:
    """The scale of one feature from the values of its groups."""
    usual = USUAL_NM[feature] ** 2
    about = [(values, median(values)) for values in groups if len(values) > 1]
    distances: list[float] = []
    for values, middle in about:
        share = _SHARE.get(len(values), _SHARE_OF_LARGE)
        some = sorted(abs(v - middle) for v in values)
        distances.extend(d / share for d in (some[1:] if len(values) % 2 else some))
    if not distances:
        return Scale(sqrt(usual), USUAL_WEIGHT)
    weight = _EFFICIENCY * len(distances)
    shown = (_FIRM * usual + weight * median(distances) ** 2) / (_FIRM + weight)
    first = sqrt(max(usual, shown))  # readings on a coarse grid often agree, which must not make the core too narrow
    squares, freedom = USUAL_WEIGHT * usual, USUAL_WEIGHT
    for values, middle in about:
        core = [v for v in values if abs(v - middle) <= _CORE * first]
        if len(core) > 1:
            centre = sum(core) / len(core)
            squares += sum((v - centre) ** 2 for v in core)
            freedom += len(core) - 1
    return Scale(sqrt(squares / freedom), freedom)


def scales(groups: Iterable[Group]) -> dict[tuple[str, bool], Scale]:
    """The scale of each feature, at the crown and away from it."""
    values: dict[tuple[str, bool], list[list[int]]] = {}
    for group in groups:
        values.setdefault((group.key.feature, group.at_crown), []).append(group.values)
    return {key: scale_of(key[0], some) for key, some in values.items()}
