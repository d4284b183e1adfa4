"""What an uncertainty says about limits: the chance of being inside, a verdict, guarded limits, a kind's joint
chance."""

from collections.abc import Sequence
from math import ceil, floor, inf, sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.uncertainty.error_model import ErrorModel, Uncertainty
from fitmatch.gauging.uncertainty.student import normal_below, normal_quantile, t_below
from fitmatch.records.parts import Position
from fitmatch.records.placements import Placement

INSIDE: Final = "inside"
OUTSIDE: Final = "outside"
DOUBTFUL: Final = "doubtful"
SURE: Final = 0.95
_DRAWS: Final = 256


def chance_inside(placement: Placement, uncertainty: Uncertainty) -> float | None:
    """The chance that the tightest clearance is at least min and the mean one at most max; None if that is unknown, or
    there is no limit. Both clearances have the same error."""
    if uncertainty.lower_bound:
        return None
    low, high = _bounds(placement)
    if (low, high) == (-inf, inf):
        return None
    u, freedom = uncertainty.standard_nm, uncertainty.degrees_of_freedom
    if not u:
        return 1.0 if low <= 0 <= high else 0.0
    below = 0.0 if low == -inf else t_below(low / u, freedom)
    above = 1.0 if high == inf else t_below(high / u, freedom)
    return max(0.0, above - below)


def verdict(chance: float | None) -> str | None:
    """The verdict for a chance."""
    if chance is None:
        return None
    return INSIDE if chance >= SURE else OUTSIDE if chance <= 1.0 - SURE + 1e-12 else DOUBTFUL


def guard_band_nm(guard: float, uncertainty: Uncertainty) -> int:
    """By how much `guard` times the expanded uncertainty moves a limit inward, rounded up to a whole nanometre."""
    return ceil(guard * uncertainty.expanded_nm)


def guarded_limits(position: Position, guard: float, uncertainty: Uncertainty) -> tuple[int | None, int | None]:
    """min + guard x U and max - guard x U, rounded inward; a missing limit stays missing."""
    band = guard_band_nm(guard, uncertainty)
    low = None if position.min_nm is None else position.min_nm + band
    high = None if position.max_nm is None else position.max_nm - band
    return low, high


def largest_guard(position: Position, stray_nm: int, uncertainty: Uncertainty) -> float | None:
    """The largest guard, cut to two decimals, that leaves a clearance between the guarded limits; None: any guard does.

    `stray_nm` is how far the mean clearance is above the tightest one. Negative: not even unguarded limits leave one.
    """
    if position.min_nm is None or position.max_nm is None or not uncertainty.expanded_nm:
        return None
    each = (position.max_nm - position.min_nm - stray_nm) // 2  # how far a limit may move, in whole nanometres
    hundredths = floor(each / uncertainty.expanded_nm * 100) + 1
    while hundredths > 0 and guard_band_nm(hundredths / 100, uncertainty) > each:
        hundredths -= 1
    return hundredths / 100 if each >= 0 else -1.0


class _Judged(NamedTuple):
    """One clearance: the errors it shares with others, by source and signed, its own error, and how far away its limits
    are."""

    shared: dict[str, float]
    own: float
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
    total = 0.0
    for scale, z in points:
        product = 1.0
        for j, load in zip(told, loads, strict=True):
            moved = sum(a * b for a, b in zip(load, z, strict=True))
            low, high = j.low / scale - moved, j.high / scale - moved
            if j.own:
                product *= max(0.0, normal_below(high / j.own) - normal_below(low / j.own))
            elif not low <= 0.0 <= high:
                product = 0.0
            if product < 1e-12:
                break
        total += product
    return min(total / len(points), *(j.chance for j in told))


def _judge(model: ErrorModel, placement: Placement) -> _Judged | None:
    position, upper, lower = placement.position, placement.upper.measured_as, placement.lower.measured_as
    uncertainty = model.combined(position, upper, lower)
    chance = None if uncertainty is None else chance_inside(placement, uncertainty)
    if uncertainty is None or chance is None:
        return None
    sensitivities = model.sensitivities(position, upper, lower)
    shared = {name: s * model.common[name].standard for name, s in sensitivities.items() if s}
    own = sum(t.standard_nm**2 for t in uncertainty.terms if t.name not in model.common)
    low, high = _bounds(placement)
    return _Judged(shared, sqrt(own), low, high, chance, uncertainty.degrees_of_freedom)


def _bounds(placement: Placement) -> tuple[float, float]:
    """The range of errors for which a clearance is inside."""
    position = placement.position
    # A true clearance above the calculated one by e is inside if tightest + e >= min and mean + e <= max.
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
