"""The eccentricity at which a film carries its load.

Sought in t = ln(e / (1 - e)), in which the logarithm of the Sommerfeld number falls almost in a straight line, from
-1 per unit where the film is thick to about -2 where it is thin. Films once solved are kept: they depend on the width
ratio and the eccentricity alone, so that the next clearance of a sweep starts from those of the last.
"""

from collections.abc import Callable
from math import exp, log
from typing import Final, Literal

from fitmatch.study.film.reynolds import ACROSS, AROUND, LARGEST, SMALLEST, Film, film_at

_CLOSE: Final = 1e-6  # of what is sought, a logarithm
_NEAR: Final = 1e-9  # in t, where the film's edge jumping by a cell keeps it from coming closer
_FALLS: Final = -1.4
_MOST: Final = 60


class Films:
    """The films of one width ratio."""

    def __init__(self, width_ratio: float, around: int = AROUND, across: int = ACROSS) -> None:
        self._width_ratio, self._around, self._across = width_ratio, around, across
        self._known: dict[float, Film] = {}

    def at(self, t: float) -> Film:
        """The film at ln(e / (1 - e)) = t."""
        if t not in self._known:
            eccentricity = min(max(1 / (1 + exp(-t)), SMALLEST), LARGEST)
            self._known[t] = film_at(self._width_ratio, eccentricity, self._around, self._across)
        return self._known[t]

    def balanced(self, excess: Callable[[Film], float]) -> Film | Literal["too-light", "too-heavy"]:
        """The film at which `excess` is zero; it falls as the eccentricity rises. Where that is at an eccentricity
        which the grid does not resolve: whether the load is too light or too heavy for it."""
        low, high = _t(SMALLEST), _t(LARGEST)
        over: tuple[float, float] | None = None  # the nearest known on either side: t, excess
        under: tuple[float, float] | None = None
        for t, film in self._known.items():
            value = excess(film)
            if value >= 0 and (over is None or t > over[0]):
                over = t, value
            elif value < 0 and (under is None or t < under[0]):
                under = t, value
        start = over or under or (0.8, excess(self.at(0.8)))
        while over is None or under is None:
            t, value = start
            if value >= 0:
                over = start
                if t >= high:
                    return "too-heavy"
            else:
                under = start
                if t <= low:
                    return "too-light"
            if over is None or under is None:
                step = -value / _FALLS
                t = min(max(t + step + (0.05 if step > 0 else -0.05), low), high)
                start = t, excess(self.at(t))
        return self._between(excess, over, under)

    def _between(self, excess: Callable[[Film], float], over: tuple[float, float], under: tuple[float, float]) -> Film:
        """By the secant through the two last values, by halving where that leaves the interval."""
        last, before = (over, under) if abs(over[1]) < abs(under[1]) else (under, over)
        for _ in range(_MOST):
            if abs(last[1]) < _CLOSE or under[0] - over[0] < _NEAR:
                break
            slope = (last[1] - before[1]) / (last[0] - before[0]) if last[0] != before[0] else _FALLS
            t = last[0] - last[1] / slope if slope < 0 else over[0]
            if not over[0] < t < under[0]:
                t = (over[0] + under[0]) / 2
            before, last = last, (t, excess(self.at(t)))
            if last[1] >= 0:
                over = last
            else:
                under = last
        return self.at(last[0])


def _t(eccentricity: float) -> float:
    return log(eccentricity / (1 - eccentricity))
