"""Readings sorted into places, and the exact means and sums of squares from which sizes and scatter are made.

Same station and angle are repeats of one place; a reading with neither is a place of its own.
"""

from collections.abc import Sequence
from math import lcm
from typing import Final

from fitmatch.records.measuring import Reading, turned

NEAR_CROWN_DEGREES: Final = 5


def at_crown(feature: str, reading: Reading) -> bool:
    """Whether a reading counts in the size: every one of a journal, otherwise those within 5 degrees of the crown
    axis."""
    if feature == "journal" or reading.angle is None:
        return True
    return from_crown(feature, reading.angle) <= NEAR_CROWN_DEGREES


def from_crown(feature: str, angle: float) -> float:
    """How far an angle is from the crown axis, whichever way round: 0 to 90 for a diameter."""
    return min(turned(feature, angle), turned(feature, -angle))


def places(readings: Sequence[Reading], *, numbered_are_repeats: bool) -> list[list[int]]:
    """For each place the indices of its readings, in the order given."""
    found: dict[tuple[object, ...], list[int]] = {}
    for index, reading in enumerate(readings):
        key: tuple[object, ...] = (reading.station, reading.angle)
        if key == (None, None) and not numbered_are_repeats:
            key = (None, None, index)
        found.setdefault(key, []).append(index)
    return list(found.values())


def mean_of_means(groups: Sequence[Sequence[int]]) -> tuple[int, int]:
    """The mean of the groups' means, as an exact fraction."""
    common = lcm(*map(len, groups))
    return sum(sum(group) * (common // len(group)) for group in groups), common * len(groups)


def sum_of_squares(values: Sequence[int]) -> tuple[int, int]:
    """The sum of squared deviations from the mean, as an exact fraction: n sum(x^2) - (sum x)^2 over n."""
    n = len(values)
    return n * sum(x * x for x in values) - sum(values) ** 2, n
