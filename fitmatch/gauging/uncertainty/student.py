"""The normal distribution and Student's t for whole degrees of freedom, without a library that is slow to load.

Up to 200 degrees of freedom t is the finite series of M. Abramowitz and I. A. Stegun (eds.), Handbook of Mathematical
Functions, 26.7.3 and 26.7.4; beyond, the expansion of G. W. Hill, Algorithm 395, Communications of the ACM 13(10),
1970 (both from memory; the tests compare them with another implementation).
"""

from functools import lru_cache
from math import atan2, erfc, exp, lgamma, log, log1p, pi, sqrt, tan
from typing import Final

_LONGEST_SERIES: Final = 200
_ROOT_2: Final = sqrt(2.0)


def normal_below(x: float) -> float:
    """The chance that a standard normal value is at most `x`."""
    return 0.5 * erfc(-x / _ROOT_2)


def normal_quantile(p: float) -> float:
    """The value that a standard normal variable does not exceed with chance `p`, 0 < p < 1."""
    if p > 0.5:
        return -normal_quantile(1.0 - p)
    # A start good to 0.003 (Abramowitz and Stegun 26.2.22, from memory), then Newton.
    w = sqrt(-2.0 * log(p))
    x = (2.30753 + 0.27061 * w) / (1.0 + w * (0.99229 + 0.04481 * w)) - w
    for _ in range(4):
        x -= (normal_below(x) - p) * sqrt(2.0 * pi) * exp(0.5 * x * x)
    return x


def t_below(t: float, freedom: int | None) -> float:
    """The chance that Student's t is at most `t`; `freedom` None is the normal distribution."""
    if freedom is None:
        return normal_below(t)
    if freedom > _LONGEST_SERIES:
        return normal_below(_as_normal(t, freedom))
    inside = _series(abs(t), freedom)
    return 0.5 + 0.5 * inside if t > 0 else 0.5 - 0.5 * inside


@lru_cache(maxsize=1024)
def t_quantile(freedom: int | None, p: float = 0.975) -> float:
    """The value that Student's t does not exceed with chance `p`, 0.5 < p < 1."""
    if freedom is None:
        return normal_quantile(p)
    if freedom == 1:
        return tan(pi * (p - 0.5))
    if freedom == 2:
        return (2.0 * p - 1.0) * sqrt(2.0 / (4.0 * p * (1.0 - p)))
    z = normal_quantile(p)
    t = z + (z**3 + z) / (4.0 * freedom)
    for _ in range(20):
        step = (t_below(t, freedom) - p) / _density(t, freedom)
        t -= step
        if abs(step) < 1e-14 * t:
            break
    return t


def _series(t: float, freedom: int) -> float:
    """The chance that |t| is at most `t`."""
    root = sqrt(freedom)
    length = sqrt(freedom + t * t)
    sine, cosine = t / length, root / length
    square = cosine * cosine
    odd = freedom % 2
    term = cosine if odd else 1.0
    total = term if freedom > 1 else 0.0
    for k in range(2 + odd, freedom - 1, 2):
        term *= square * (k - 1) / k
        total += term
    if odd:
        return 2.0 / pi * (atan2(t, root) + sine * total)
    return sine * total


def _as_normal(t: float, freedom: int) -> float:
    """The standard normal value with the same tail chance as this t."""
    a = freedom - 0.5
    b = 48.0 * a * a
    y = a * log1p(t * t / freedom)
    z = (((((-0.4 * y - 3.3) * y - 24.0) * y - 85.5) / (0.8 * y * y + 100.0 + b) + y + 3.0) / b + 1.0) * sqrt(y)
    return z if t > 0 else -z


def _density(t: float, freedom: int) -> float:
    half = 0.5 * (freedom + 1)
    scale = lgamma(half) - lgamma(0.5 * freedom) - 0.5 * log(freedom * pi)
    return exp(scale - half * log1p(t * t / freedom))
