"""Reynolds' equation with the condition that pressure is nowhere below zero, by projected relaxation: plain differences
on an even grid over the whole bearing, every value moved towards what its neighbours say and never below zero."""

from typing import Any, NamedTuple

import numpy

_ROUNDS = 4_000
_CLOSE = 1e-10


class Relaxed(NamedTuple):
    """As `fitmatch.study.film.reynolds.Film` has them, and the side flow from the slope of pressure at the ends."""

    sommerfeld: float
    attitude_deg: float
    peak_ratio: float
    side_flow: float


def relaxed(width_ratio: float, eccentricity: float, around: int = 240, across: int = 32) -> Relaxed:
    """`around` cells of the full circle and `across` of the whole width, both even."""
    angle = numpy.linspace(0, 2 * numpy.pi, around + 1)
    step, high = angle[1], 2 / across  # the width goes from -1 to 1
    gap = 1 + eccentricity * numpy.cos(angle)
    middle = (1 + eccentricity * numpy.cos(angle[:-1] + step / 2)) ** 3 / step**2
    west, east = middle[:-1, None], middle[1:, None]
    side = (gap[1:-1] ** 3 / (width_ratio * high) ** 2)[:, None]
    source = -eccentricity * numpy.sin(angle[1:-1])[:, None]
    diagonal = west + east + 2 * side
    pressure = numpy.zeros((around + 1, across + 1))
    rows, columns = numpy.indices((around - 1, across - 1))
    colours = [(rows + columns) % 2 == colour for colour in (0, 1)]
    speed = 1.9
    for _ in range(_ROUNDS):
        before = pressure.copy()
        for colour in colours:
            inner = pressure[1:-1, 1:-1]
            sides = side * (pressure[1:-1, 2:] + pressure[1:-1, :-2])
            there = (west * pressure[:-2, 1:-1] + east * pressure[2:, 1:-1] + sides - source) / diagonal
            inner[colour] = numpy.maximum(inner + speed * (there - inner), 0)[colour]
        if numpy.abs(pressure - before).max() < _CLOSE * pressure.max():
            break
    else:
        raise AssertionError("not settled")
    return _figures(pressure, angle, gap, width_ratio)


def _figures(pressure: Any, angle: Any, gap: Any, width_ratio: float) -> Relaxed:
    across = pressure.shape[1] - 1
    even, odd = pressure[:, 2:-1:2].sum(axis=1), pressure[:, 1::2].sum(axis=1)
    mean = (2 * even + 4 * odd) / (3 * across)  # Simpson's rule over the width
    radial = -float((mean * numpy.cos(angle)).sum() * angle[1])
    tangential = float((mean * numpy.sin(angle)).sum() * angle[1])
    load = float(numpy.hypot(radial, tangential))
    # The slope at the end by a parabola through the last three.
    slope = (4 * pressure[:, 1] - pressure[:, 2]) / 2 * (across / 2)
    out = float((gap**3 * slope).sum() * angle[1]) / width_ratio**2
    return Relaxed(
        sommerfeld=1 / (6 * numpy.pi * load),
        attitude_deg=float(numpy.degrees(numpy.arctan2(tangential, radial))),
        peak_ratio=load / (2 * float(pressure.max())),
        side_flow=numpy.pi * out,
    )
