"""What an uncertainty says about limits: the chance of being inside, a verdict, guarded limits, a kind's joint
chance."""

from collections.abc import Sequence
from math import ceil, floor, hypot, inf, sqrt
from operator import mul
from typing import Final, NamedTuple

from fitmatch.gauging.uncertainty.combining import Uncertainty
from fitmatch.gauging.uncertainty.error_model import ErrorModel
from fitmatch.gauging.uncertainty.student import normal_below, normal_quantile, t_below
from fitmatch.records.answers.placements import Margin, Placement
from fitmatch.records.parts import Position

INSIDE: Final = "inside"
OUTSIDE: Final = "outside"
DOUBTFUL: Final = "doubtful"
SURE: Final = 0.95
_DRAWS: Final = 256
_SURELY_INSIDE: Final = 9.0  # standard deviations from a limit: the chance of less is 1 to the last digit of a float


def chance_inside(placement: Placement, mean: Uncertainty, tightest: Uncertainty) -> float | None:
    """The chance that the tightest clearance is at least min and the mean one at most max, each with its own
    uncertainty; None if that is unknown, or there is no limit."""
    if mean.lower_bound or tightest.lower_bound:
        return None
    low, high = _bounds(placement)
    if (low, high) == (-inf, inf):
        return None
    above = 1.0 if high == inf else _below(high, mean.standard_nm, mean.degrees_of_freedom)
    middle_nm, standard_nm = _of_tightest(tightest)
    below = 0.0 if low == -inf else 1.0 - _below(middle_nm - low, standard_nm, tightest.degrees_of_freedom)
    return max(0.0, above - below)


def _below(x: float, standard: float, freedom: int | None) -> float:
    """The chance that an error is at most `x`."""
    return t_below(x / standard, freedom) if standard else float(x >= 0.0)


def _normally_below(x: float, standard: float) -> float:
    """The same of a normal error."""
    return normal_below(x / standard) if standard else float(x >= 0.0)


def _of_tightest(tightest: Uncertainty) -> tuple[float, float]:
    """By how much the true tightest clearance is expected to exceed the calculated one, and its standard uncertainty:
    it may be anywhere up to `apart_nm` larger (4.3.7), as the largest of scattered readings is too large."""
    apart = tightest.apart_nm
    return apart / 2.0, hypot(tightest.standard_nm, apart / sqrt(12.0))


def verdict(chance: float | None) -> str | None:
    """The verdict for a chance."""
    if chance is None:
        return None
    return INSIDE if chance >= SURE else OUTSIDE if chance <= 1.0 - SURE + 1e-12 else DOUBTFUL


def margin_of(guard: float, mean: Uncertainty, tightest: Uncertainty) -> Margin:
    """By how much a guard moves limits inward, in whole nanometres, rounded up: min by `guard` times the tightest
    clearance's expanded uncertainty, max by that many times the mean one's."""
    return Margin(ceil(guard * tightest.expanded_nm), ceil(guard * mean.expanded_nm))


def largest_guard(position: Position, stray_nm: int, mean: Uncertainty, tightest: Uncertainty) -> float | None:
    """The largest guard, cut to two decimals, that leaves a clearance between the guarded limits; None: any guard does.

    `stray_nm` is how far the mean clearance is above the tightest one. Negative: not even unguarded limits leave one.
    """
    both = mean.expanded_nm + tightest.expanded_nm
    if position.min_nm is None or position.max_nm is None or not both:
        return None
    left = position.max_nm - position.min_nm - stray_nm  # how far the limits may move together, in whole nanometres
    hundredths = floor(left / both * 100) + 1
    while hundredths > 0 and sum(margin_of(hundredths / 100, mean, tightest)) > left:
        hundredths -= 1
    return hundredths / 100 if left >= 0 else -1.0


class _Judged(NamedTuple):
    """One clearance: the errors it shares with others, by source and signed, its own error at the tightest and in the
    mean, and how far away its limits are."""

    shared: dict[str, float]
    own_low: float
    own_high: float
    low: float
    high: float
    chance: float
    freedom: int | None


def joint_chance(model: ErrorModel, placements: Sequence[Placement]) -> float | None:
    """The chance that all these clearances are inside their limits at once; None if one of them has none.

    Errors that the clearances share are taken as normal, as the GUM's own interval does, and all figures share the
    smallest degrees of freedom. It is worked out at fixed points, accurate to about 0.01, and is never above the
    smallest single chance.
    """
    judged = [_judge(model, p) for p in placements]
    told = [j for j in judged if j is not None]
    if not told or len(told) < len(judged):
        return None
    if len(told) == 1:
        return told[0].chance
    names = sorted({name for j in told for name in j.shared})
    loads = [[j.shared.get(name, 0.0) for name in names] for j in told]
    if all(load == loads[0] for load in loads):  # one sum of errors moves them all alike
        loads = [[sqrt(sum(x * x for x in load))] for load in loads]
    freedom = min((j.freedom for j in told if j.freedom is not None), default=None)
    points = _points(len(loads[0]), freedom)
    widest = max(scale for scale, _ in points)
    farthest = [max(map(abs, column)) for column in zip(*(z for _, z in points), strict=True)]
    near = []  # those that any of the points brings near a limit: in a large lot with wide limits they are few
    for j, load in zip(told, loads, strict=True):
        moved = sum(abs(a) * b for a, b in zip(load, farthest, strict=True))
        if min(-j.low, j.high) / widest - moved <= _SURELY_INSIDE * max(j.own_low, j.own_high):
            near.append((j, load))
    total = 0.0
    for scale, z in points:
        product = 1.0
        for j, load in near:
            moved = sum(map(mul, load, z))
            below = 1.0 - _normally_below(moved - j.low / scale, j.own_low)
            product *= max(0.0, _normally_below(j.high / scale - moved, j.own_high) - below)
            if product < 1e-12:
                break
        total += product
    return min(total / len(points), *(j.chance for j in told))


def _judge(model: ErrorModel, placement: Placement) -> _Judged | None:
    position, upper, lower = placement.position, placement.upper.measured_as, placement.lower.measured_as
    mean, tightest = model.combined(position, upper, lower), model.tightest(position, upper, lower)
    chance = None if mean is None or tightest is None else chance_inside(placement, mean, tightest)
    if mean is None or tightest is None or chance is None:
        return None
    sensitivities = model.sensitivities(position, upper, lower)
    shared = {name: s * model.common[name].standard for name, s in sensitivities.items() if s}
    own_high, own_low = (
        sqrt(sum(t.standard_nm**2 for t in u.terms if t.name not in model.common)) for u in (mean, tightest)
    )
    low, high = _bounds(placement)
    middle_nm, standard_nm = _of_tightest(tightest)
    own_low = sqrt(own_low**2 + standard_nm**2 - tightest.standard_nm**2)
    freedom = min((u.degrees_of_freedom for u in (mean, tightest) if u.degrees_of_freedom is not None), default=None)
    return _Judged(shared, own_low, own_high, low - middle_nm, high, chance, freedom)


def _bounds(placement: Placement) -> tuple[float, float]:
    """How far below the calculated tightest clearance the true one may be, as a negative error, and how far the mean
    above it."""
    position = placement.position
    low = -inf if position.min_nm is None else float(position.min_nm - placement.clearance_tightest_nm)
    high = inf if position.max_nm is None else float(position.max_nm - placement.clearance_nm)
    return low, high


def _points(factors: int, freedom: int | None) -> list[tuple[float, list[float]]]:
    """Evenly spread points: a scale for the standard deviations, and standard normal values for the shared errors.

    Additive recurrence on the powers of the generalised golden ratio; chi-squared by the cube root of E. B. Wilson and
    M. M. Hilferty, Proc. Natl. Acad. Sci. 17, 1931 (both from memory).
    """
    dimensions = factors + (freedom is not None)
    ratio = 2.0
    for _ in range(60):
        ratio = (1.0 + ratio) ** (1.0 / (dimensions + 1))
    steps = [ratio ** -(k + 1) % 1.0 for k in range(dimensions)]
    points = []
    for n in range(_DRAWS):
        if dimensions == 1:
            places = [(n + 0.5) / _DRAWS]
        else:
            places = [min(max((0.5 + (n + 1) * s) % 1.0, 1e-9), 1.0 - 1e-9) for s in steps]
        z = [normal_quantile(p) for p in places]
        scale = 1.0
        if freedom is not None:
            spread = 2.0 / (9.0 * freedom)
            scale = sqrt(1.0 / max(1e-6, (1.0 - spread + z.pop() * sqrt(spread)) ** 3))
        points.append((scale, z))
    return points
