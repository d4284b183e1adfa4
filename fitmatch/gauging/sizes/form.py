"""Form: taper, barrel or hour-glass, out-of-round. What was not measured is None, never 0."""

from collections.abc import Sequence
from fractions import Fraction
from typing import Final

from fitmatch.gauging.sizes.places import NEAR_CROWN_DEGREES, from_crown
from fitmatch.lengths import round_half_even
from fitmatch.records.measuring import Form, Reading
from fitmatch.wording import listed

Means = dict[int | None, dict[float | None, Fraction]]  # by station, then by angle
ACROSS_THE_JOINT: Final = "across the joint"
ALONG_THE_CROWN: Final = "along the crown axis"
NEAR_AXIS_DEGREES: Final = 30  # a diameter within this angle of the joint, or of the crown axis, counts as being there


def form_of(feature: str, readings: Sequence[Reading], corrected: Sequence[int], scale: int) -> Form:
    """The form that readings show; `corrected` are their values, in units of 1/`scale` nanometre."""
    stations: dict[int | None, dict[float | None, list[int]]] = {}
    for reading, value in zip(readings, corrected, strict=True):
        stations.setdefault(reading.station, {}).setdefault(reading.angle, []).append(value)
    angle_means = {
        station: {angle: Fraction(sum(v), len(v) * scale) for angle, v in angles.items()}
        for station, angles in stations.items()
    }
    taper, barrel = _along(feature, angle_means)
    if feature == "wall":
        return Form(_whole(taper), _whole(barrel))
    out_of_round, larger = _around(feature, angle_means)
    return Form(_whole(taper), _whole(barrel), _whole(out_of_round), larger if feature == "housing_bore" else None)


def _along(feature: str, angle_means: Means) -> tuple[Fraction | None, Fraction | None]:
    """Taper, first - last station, and barrel, the middle station or stations - the mean of the ends."""
    means = []
    for station in sorted(s for s in angle_means if s is not None):
        values = [
            m
            for angle, m in angle_means[station].items()
            if feature != "wall" or angle is None or from_crown(feature, angle) <= NEAR_CROWN_DEGREES
        ]
        if values:
            means.append(sum(values, Fraction()) / len(values))
    if len(means) < 2:
        return None, None
    middle = means[(len(means) - 1) // 2 : len(means) // 2 + 1]
    barrel = sum(middle, Fraction()) / len(middle) - (means[0] + means[-1]) / 2 if len(means) > 2 else None
    return means[0] - means[-1], barrel


def _around(feature: str, angle_means: Means) -> tuple[Fraction | None, str | None]:
    """The largest difference between two angles of one station, and where its larger diameter is."""
    worst: Fraction | None = None
    larger: str | None = None
    for angles in angle_means.values():
        told = [(m, angle) for angle, m in angles.items() if angle is not None]
        if len(told) < 2:
            continue
        high, low = max(told)[0], min(told)[0]
        if worst is None or high - low > worst:
            worst = high - low
            larger = _where(feature, sorted(angle for m, angle in told if m == high)) if worst else None
    return worst, larger


def _where(feature: str, angles: list[float]) -> str:
    """Where the largest diameter is, in words; by its angle if it is near neither axis, or was found at both."""
    named = {_axis(from_crown(feature, angle)) for angle in angles}
    word = named.pop() if len(named) == 1 else None
    return word or f"at {listed([f'{angle:g}' for angle in angles])} degrees"


def _axis(from_crown_degrees: float) -> str | None:
    if from_crown_degrees <= NEAR_AXIS_DEGREES:
        return ALONG_THE_CROWN
    return ACROSS_THE_JOINT if 90 - from_crown_degrees <= NEAR_AXIS_DEGREES else None


def _whole(value: Fraction | None) -> int | None:
    return None if value is None else round_half_even(value.numerator, value.denominator)
