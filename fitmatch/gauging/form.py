"""Form: taper, barrel or hour-glass, out-of-round. What was not measured is None, never 0."""

from collections.abc import Sequence
from fractions import Fraction

from fitmatch.gauging.places import NEAR_CROWN_DEGREES, from_crown
from fitmatch.lengths import round_half_even
from fitmatch.measuring import Form, Reading

ACROSS_THE_JOINT = "across the joint"
ALONG_THE_CROWN = "along the crown axis"


def form_of(feature: str, readings: Sequence[Reading], corrected: Sequence[int], scale: int) -> Form:
    """The form that readings show; `corrected` are their values, `scale` of which make a nanometre."""
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


def _along(
    feature: str, angle_means: dict[int | None, dict[float | None, Fraction]]
) -> tuple[Fraction | None, Fraction | None]:
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


def _around(
    feature: str, angle_means: dict[int | None, dict[float | None, Fraction]]
) -> tuple[Fraction | None, str | None]:
    """The largest difference of two angles within a station, and where its larger diameter lies."""
    worst: Fraction | None = None
    larger: str | None = None
    for angles in angle_means.values():
        told = [(m, angle) for angle, m in angles.items() if angle is not None]
        if len(told) < 2:
            continue
        (high, at_high), (low, at_low) = max(told), min(told)
        if worst is None or high - low > worst:
            worst = high - low
            lean = from_crown(feature, at_high) - from_crown(feature, at_low)
            larger = None if not lean or not worst else ACROSS_THE_JOINT if lean > 0 else ALONG_THE_CROWN
    return worst, larger


def _whole(value: Fraction | None) -> int | None:
    return None if value is None else round_half_even(value.numerator, value.denominator)
