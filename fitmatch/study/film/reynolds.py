"""The finite-length Reynolds equation of a full journal bearing, solved at its own width and eccentricity.

Angles run from the widest gap in the sense of rotation; the gap is c (1 + e cos angle), with e the eccentricity ratio.
Pressure is zero at the widest gap, at both ends of the width and where the film breaks, where its slope is zero too
(the condition of Reynolds, also called Swift and Stieber's): no pressure is below zero, and where it is above, the
equation holds. This is solved on half of the width, finite volumes on a graded grid, the cells without pressure being
found as an active set. Viscosity is constant, the flow laminar, the surfaces smooth and rigid.

All figures are pure numbers, as A. A. Raimondi and J. Boyd, "A Solution for the Finite Journal Bearing and Its
Application to Analysis and Design", ASLE Transactions 1(1), 1958 (bibliography from memory), define them: with r and c
half of the journal and of the clearance, L the width, N in revolutions per second, P = load / (2 r L).
"""

from math import atan2, degrees, pi, sin, sqrt
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeAlias

if TYPE_CHECKING:
    import numpy

    Array: TypeAlias = "numpy.ndarray[Any, numpy.dtype[numpy.float64]]"
    Mask: TypeAlias = "numpy.ndarray[Any, numpy.dtype[numpy.bool_]]"

AROUND: Final = 120  # cells from the widest gap to where no film reaches
ACROSS: Final = 10  # cells on half of the width
LARGEST: Final = 0.995  # eccentricity ratio that the grid resolves
SMALLEST: Final = 1e-4
_END: Final = 1.5 * pi  # no film reaches it
# Where the film of an endless bearing breaks (exact values of the one-dimensional problem): the first guess.
_BREAKS: Final = (
    (0.0, 0.1, 0.2, 0.4, 0.6, 0.8, 0.9, 1.0),
    (257.5, 249.22, 241.33, 226.58, 213.08, 200.17, 193.2, 180.0),
)
_CROWDED: Final = 1.5  # how much denser the grid is towards the end of the width; 1: not at all
_MOST_ROUNDS: Final = 200


class Film(NamedTuple):
    """The film at one eccentricity ratio and width, all pure numbers."""

    width_ratio: float  # width / diameter
    eccentricity: float  # distance of the centres / c
    sommerfeld: float  # (r/c)^2 viscosity N / P
    attitude_deg: float  # from the load to the smallest gap
    friction: float  # (r/c) f
    inflow: float  # at the widest gap / (r c N L)
    side_flow: float  # out of both ends / (r c N L)
    peak_ratio: float  # P / peak pressure


def film_at(width_ratio: float, eccentricity: float, around: int = AROUND, across: int = ACROSS) -> Film:
    """The film of a bearing whose width is `width_ratio` times its diameter. More cells, an even number
    across, show how far the figures still depend on them."""
    import numpy

    assert SMALLEST <= eccentricity <= LARGEST
    angles, places = _angles(eccentricity, around), _places(across)
    middles = (angles[1:] + angles[:-1]) / 2
    lengths, widths = numpy.diff(angles), numpy.diff(places)
    gaps = 1 + eccentricity * numpy.cos(angles)
    between = 1 + eccentricity * numpy.cos(middles)
    # Each unknown stands for the cell around its node; at mid-width half a cell, the other half being its mirror image.
    tall = numpy.concatenate([widths[:1] / 2, (widths[1:] + widths[:-1]) / 2])
    wide = (lengths[1:] + lengths[:-1]) / 2
    along = between[:, None] ** 3 / lengths[:, None] * tall  # conductance between neighbours in angle
    # At the node itself the mean of the cubed gap over its cell.
    cubed = (between[1:] ** 3 + 4 * gaps[1:-1] ** 3 + between[:-1] ** 3) / 6
    sideways = (cubed * wide)[:, None] / widths / width_ratio**2
    source = -numpy.diff(between)[:, None] * tall
    start = numpy.radians(numpy.interp(eccentricity, *_BREAKS))
    pressure = _positive(along, sideways, source, angles[1:-1] < start)

    area = wide[:, None] * _weights(across)
    cosine, sine = numpy.cos(angles[1:-1])[:, None], numpy.sin(angles[1:-1])[:, None]
    radial, tangential = -float((pressure * area * cosine).sum()), float((pressure * area * sine).sum())
    load = sqrt(radial**2 + tangential**2)
    sommerfeld = 1 / (6 * pi * load)
    attitude = atan2(tangential, radial)
    # What the last half cell adds on its way out: there is no pressure at the end, so all that is squeezed in leaves.
    squeezed = -numpy.diff(between) * widths[-1] / 2
    side = float((sideways[:, -1] * pressure[:, -1] + numpy.where(pressure[:, -1] > 0, squeezed, 0)).sum())
    inward = float(between[0] - (along[0] * pressure[0]).sum())
    return Film(
        width_ratio=width_ratio,
        eccentricity=eccentricity,
        sommerfeld=sommerfeld,
        attitude_deg=degrees(attitude),
        friction=2 * pi**2 * sommerfeld / sqrt(1 - eccentricity**2) + eccentricity / 2 * sin(attitude),
        inflow=pi * inward,
        side_flow=pi * side,
        peak_ratio=load / (2 * _peak(angles[1:-1], pressure[:, 0])),
    )


def _angles(eccentricity: float, around: int) -> "Array":
    """Half of the cells evenly, half as densely as the gap is small."""
    import numpy

    fine = numpy.linspace(0, 1, 1001)
    angle = fine * _END
    weight = 1 / (1 + eccentricity * numpy.cos(angle))
    share = numpy.concatenate([[0], numpy.cumsum((weight[1:] + weight[:-1]) / 2)])
    mixed = (share / share[-1] + fine) / 2
    return numpy.asarray(numpy.interp(numpy.linspace(0, 1, around + 1), mixed, angle))


def _places(across: int) -> "Array":
    """From mid-width, 0, to the end, 1, denser towards the end, where the pressure falls."""
    import numpy

    return numpy.asarray(1 - (1 - numpy.linspace(0, 1, across + 1)) ** _CROWDED)


def _weights(across: int) -> "Array":
    """Simpson's weights for an integral over half of the width, of what is zero at the end."""
    import numpy

    assert across % 2 == 0
    even = numpy.linspace(0, 1, across + 1)[:-1]
    simpson = numpy.where(numpy.arange(across) % 2, 4.0, 2.0) / (3 * across)
    simpson[0] /= 2
    return numpy.asarray(simpson * _CROWDED * (1 - even) ** (_CROWDED - 1))


def _positive(along: "Array", sideways: "Array", source: "Array", free: "Mask") -> "Array":
    """The pressure that is nowhere below zero and obeys the equation wherever it is above."""
    import numpy
    from scipy.linalg import solveh_banded

    rows, across = source.shape
    free = numpy.repeat(free[:, None], across, axis=1)
    diagonal = along[:-1] + along[1:] + sideways
    diagonal[:, 1:] += sideways[:, :-1]
    for _ in range(_MOST_ROUNDS):
        bands = numpy.zeros((across + 1, rows * across))
        bands[-1] = numpy.where(free, diagonal, 1).ravel()
        beside = numpy.zeros_like(source)
        beside[:, 1:] = numpy.where(free[:, 1:] & free[:, :-1], -sideways[:, :-1], 0)
        bands[-2] = beside.ravel()
        after = numpy.zeros_like(source)
        after[1:] = numpy.where(free[1:] & free[:-1], -along[1:-1], 0)
        bands[0] = after.ravel()
        pressure = solveh_banded(bands, numpy.where(free, source, 0).ravel(), check_finite=False).reshape(rows, across)
        pressure[~free] = 0
        excess = diagonal * pressure - source
        excess[1:] -= along[1:-1] * pressure[:-1]
        excess[:-1] -= along[1:-1] * pressure[1:]
        excess[:, 1:] -= sideways[:, :-1] * pressure[:, :-1]
        excess[:, :-1] -= sideways[:, :-1] * pressure[:, 1:]
        now = numpy.where(free, pressure >= 0, excess < 0)
        if (now == free).all():
            return numpy.asarray(pressure)
        free = now
    raise AssertionError("the film's edge was not found")


def _peak(angles: "Array", pressure: "Array") -> float:
    """The top of the parabola through the largest pressure and its neighbours."""
    import numpy

    top = int(pressure.argmax())
    if not 0 < top < len(pressure) - 1:
        return float(pressure[top])
    near = slice(top - 1, top + 2)
    a, b, c = numpy.polyfit(angles[near] - angles[top], pressure[near], 2)
    return float(c - b * b / (4 * a))
