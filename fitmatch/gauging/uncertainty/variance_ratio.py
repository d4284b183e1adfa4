"""Fisher's F: the distribution of the ratio of two variances, without a library that is slow to load.

The regularised incomplete beta function by its continued fraction, M. Abramowitz and I. A. Stegun (eds.), Handbook of
Mathematical Functions, 26.5.8 and 26.6.2, evaluated by the method of W. J. Lentz, Applied Optics 15(3), 1976 (both from
memory; the tests compare it with another implementation).
"""

from math import exp, lgamma, log, log1p
from typing import Final

_CLOSE: Final = 1e-15
_TINY: Final = 1e-300
_MOST_STEPS: Final = 100_000


def ratio_below(ratio: float, freedom: int, other: int) -> float:
    """The chance that the ratio of two sample variances of equal scatter, the upper one with `freedom` degrees of
    freedom and the lower with `other`, is at most `ratio`."""
    if ratio <= 0.0:
        return 0.0
    a, b = 0.5 * freedom, 0.5 * other
    odds = log(ratio) + log(freedom) - log(other)  # x / (1 - x)
    log_x, log_rest = -log1p(exp(-odds)), -log1p(exp(odds))
    front = exp(lgamma(a + b) - lgamma(a) - lgamma(b) + a * log_x + b * log_rest)
    x = exp(log_x)
    if x < (a + 1.0) / (a + b + 2.0):  # the fraction converges quickly on this side only
        return front * _fraction(x, a, b) / a
    return 1.0 - front * _fraction(exp(log_rest), b, a) / b


def _fraction(x: float, a: float, b: float) -> float:
    """The continued fraction 1 / (1 + d1 / (1 + d2 / (1 + …)))."""
    value, numerator, denominator = 1.0, 1.0, 0.0
    for step in range(_MOST_STEPS):
        half = step // 2
        if step == 0:
            term = 1.0
        elif step % 2:
            term = -(a + half) * (a + b + half) * x / ((a + step - 1) * (a + step))
        else:
            term = half * (b - half) * x / ((a + step - 1) * (a + step))
        denominator = 1.0 / _apart(1.0 + term * denominator)
        numerator = _apart(1.0 + term / numerator)
        value *= numerator * denominator
        if step and abs(numerator * denominator - 1.0) < _CLOSE:
            break
    return value - 1.0


def _apart(number: float) -> float:
    """The number, or one next to 0 in its place."""
    return number if abs(number) > _TINY else _TINY
