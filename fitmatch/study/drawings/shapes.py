"""How sizes lie between their limits: three shapes, each symmetrical about the middle, of a given half width.

Each shape has its variance and two integrals of its density: once, the chance of lying below; twice, what is needed to
put it on a grid. NumPy is imported where arrays are made.
"""

from collections.abc import Callable
from math import erf, exp, pi, sqrt
from typing import TYPE_CHECKING, Any, Final, NamedTuple, TypeAlias

if TYPE_CHECKING:
    import numpy

    Array: TypeAlias = "numpy.ndarray[Any, numpy.dtype[numpy.float64]]"

_CUT: Final = 3.0  # standard deviations to each limit, where the normal shape is cut
_KEPT: Final = erf(_CUT / sqrt(2))  # what is left of it
_AT_CUT: Final = exp(-_CUT * _CUT / 2) / sqrt(2 * pi)


class Shape(NamedTuple):
    """One shape of half width 1: `below` and `twice` are the first and second integral of `density`, from -1 to 1."""

    variance: float
    density: "Callable[[Array], Array]"
    below: "Callable[[Array], Array]"
    twice: "Callable[[Array], Array]"


def _uniform_density(x: "Array") -> "Array":
    return 0.5 + 0 * x


def _uniform_below(x: "Array") -> "Array":
    return (x + 1) / 2


def _uniform_twice(x: "Array") -> "Array":
    return (x + 1) ** 2 / 4


def _triangular_density(x: "Array") -> "Array":
    return 1 - abs(x)


def _triangular_below(x: "Array") -> "Array":
    return 0.5 + x - x * abs(x) / 2


def _triangular_twice(x: "Array") -> "Array":
    return 1 / 6 + x / 2 + x * x / 2 - abs(x) ** 3 / 6


def _normal_density(x: "Array") -> "Array":
    import numpy

    return _CUT * numpy.exp(-((_CUT * x) ** 2) / 2) / (sqrt(2 * pi) * _KEPT)


def _normal_below(x: "Array") -> "Array":
    return 0.5 + _errors(_CUT * x / sqrt(2)) / (2 * _KEPT)


def _normal_twice(x: "Array") -> "Array":
    import numpy

    z = _CUT * x
    risen = numpy.exp(-z * z / 2) / sqrt(2 * pi) - _AT_CUT
    return (x + 1) / 2 + (z * _errors(z / sqrt(2)) / 2 - _CUT * _KEPT / 2 + risen) / (_CUT * _KEPT)


def _errors(z: "Array") -> "Array":
    """The error function, which NumPy does not have."""
    import numpy

    return numpy.fromiter(map(erf, z.ravel().tolist()), float, z.size).reshape(z.shape)


SHAPES: Final = {
    "uniform": Shape(1 / 3, _uniform_density, _uniform_below, _uniform_twice),
    "triangular": Shape(1 / 6, _triangular_density, _triangular_below, _triangular_twice),
    # The standard deviation is a third of the half width before the tails beyond the limits are cut off.
    "normal": Shape((1 - 2 * _CUT * _AT_CUT / _KEPT) / _CUT**2, _normal_density, _normal_below, _normal_twice),
}
