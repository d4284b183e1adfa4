"""The signatures of known mistakes: for each, how likely it is to give this reading.

Every mistake turns a true value, which is near the centre of the other readings, into the reading: by a fixed step, by
an amount within a range, or by changing digits. `weigh` is the density of the reading under it, per nanometre, so that
mistakes can be ranked by Bayes' rule with equal priors. Amounts are common practice, no source, but for the sagitta of
a flat anvil, which is geometry.
"""

from collections.abc import Callable, Iterable
from math import exp, pi, sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.causes.digits import doubled, dropped, misread, slipped, transposed
from fitmatch.gauging.causes.grinds import GRINDS, INCH, MM
from fitmatch.gauging.uncertainty.student import normal_below
from fitmatch.records.measuring import DIAMETERS, FEATURES

TENTH: Final = 2_540
UNKNOWN: Final = "unknown"  # no known mistake gives this number
GAUGE_SETTING: Final = "gauge-setting"
OTHER_GRIND: Final = "shells-for-another-grind"
TWO_SIZES: Final = "two-sizes"
TWO_HANDS: Final = "two-hands"  # it is recognised by who took the readings
TWO_HANDS_NM: Final = 10 * TENTH  # the feel of two people differs by up to this
MANY: Final = ("step", "clusters", "clusters-in-turn")  # codes of what many readings share
CAP_EXCHANGED: Final = "cap-exchanged"  # it is recognised by where the reading was taken, not by how far it is off


class Case(NamedTuple):
    """One doubtful reading. `expected_nm` is the raw reading expected from the others, `standard_nm` how far it may
    scatter about that; `others` are centres of other groups."""

    feature: str
    raw_nm: int
    expected_nm: float
    standard_nm: float
    unit: str
    decimals: int
    grid_nm: int  # every reading of this gauge is a multiple of it
    others: tuple[float, ...] = ()
    at_an_end: bool = False  # first or last in the order of measuring
    # "step" and "clusters": many readings are off by the same; "clusters-in-turn": it may have been in an order or not.
    code: str = "off"
    repeated: bool = False  # all repeats are off, and the reading is their mean

    @property
    def error_nm(self) -> float:
        return self.raw_nm - self.expected_nm

    def near(self, nm: float) -> float:
        """Density of a true value."""
        z = (nm - self.expected_nm) / self.standard_nm
        return exp(-0.5 * z * z) / (self.standard_nm * sqrt(2 * pi)) if abs(z) < 12 else 0.0


class Mistake(NamedTuple):
    """Its name, the features it can affect, how likely it is to give a reading, whether many may share it, whether
    it is in the writing, so that the number need not be one that the gauge can show, and whether it is a slip, which
    seldom happens to every repeat."""

    name: str
    features: tuple[str, ...]
    weigh: Callable[[Case], float]
    shared: bool = False
    written: bool = False
    slip: bool = False


def _steps(*shares: tuple[int, float]) -> Callable[[Case], float]:
    """Fixed errors with their shares."""
    total = sum(share for _, share in shares)
    return lambda case: sum(share * case.near(case.raw_nm - nm) for nm, share in shares) / total


def _both(*amounts: int) -> tuple[tuple[int, float], ...]:
    return tuple((sign * nm, 1.0) for nm in amounts for sign in (1, -1))


def _between(low: float, high: float) -> Callable[[Case], float]:
    """An error spread evenly over a range."""

    def density(case: Case) -> float:
        e, s = case.error_nm, case.standard_nm
        return (normal_below((e - low) / s) - normal_below((e - high) / s)) / (high - low)

    return density


def _own_unit(inch: tuple[tuple[int, float], ...], metric: tuple[tuple[int, float], ...]) -> Callable[[Case], float]:
    """Steps of a gauge in the unit of the readings; a gauge in the other unit is rare."""
    by_inch, by_mm = _steps(*inch), _steps(*metric)

    def density(case: Case) -> float:
        own, other = (by_inch, by_mm) if case.unit == "in" else (by_mm, by_inch)
        return 0.9 * own(case) + 0.1 * other(case)

    return density


def _digits(originals: Callable[[int, str, int], Iterable[tuple[int, float]]]) -> Callable[[Case], float]:
    def density(case: Case) -> float:
        meant = originals(case.raw_nm, case.unit, case.decimals)
        return sum(share * case.near(nm) for nm, share in meant if nm % case.grid_nm == 0)

    return density


def _factors(*factors: float) -> Callable[[Case], float]:
    return lambda case: sum(case.near(case.raw_nm / f) for f in factors) / len(factors)


def _elsewhere(case: Case) -> float:
    if not case.others:
        return 0.0
    return sum(case.near(case.expected_nm + case.raw_nm - centre) for centre in case.others) / len(case.others)


def _setting(case: Case) -> float:
    """A gauge that moves shifts all later readings. A single diameter apart from the others may have been taken with
    another setting if it is the first or the last."""
    if case.code == "clusters" or (case.code == "off" and not (case.at_an_end and case.feature in DIAMETERS)):
        return 0.0
    e = abs(case.error_nm)
    share = 0.2 if case.code == "off" else 0.5
    return share * _between(0.0, 1.5e5)(case._replace(raw_nm=round(case.expected_nm + e)))


def _sizes(case: Case) -> float:
    """Parts of two sizes are seldom measured all of one size and then all of the other."""
    return {"clusters": 0.5, "clusters-in-turn": 0.5, "step": 0.01}.get(case.code, 0.0) * _between(-2e6, 2e6)(case)


MISTAKES: Final = (
    Mistake(
        "thimble-turn", ("journal", "wall"), _own_unit(_both(INCH // 40, INCH // 20), _both(MM // 2, MM)), shared=True
    ),
    Mistake("calliper-turn", DIAMETERS, _steps(*_both(INCH // 10)), shared=True),
    Mistake("wrong-frame", DIAMETERS, _own_unit(_both(INCH), _both(25 * MM)), shared=True),
    Mistake(
        "indicator-turn",
        ("housing_bore",),
        _own_unit(_both(INCH // 100, INCH // 50), _both(MM // 5, MM // 2, MM)),
        shared=True,
    ),
    Mistake("digits-transposed", FEATURES, _digits(transposed), written=True, slip=True),
    Mistake("digit-dropped", FEATURES, _digits(dropped), written=True, slip=True),
    Mistake("digit-doubled", FEATURES, _digits(doubled), written=True, slip=True),
    Mistake("decimal-slip", FEATURES, _digits(slipped), written=True),
    Mistake("wrong-unit", FEATURES, _factors(25.4, 1 / 25.4, 1000.0, 0.001), written=True),
    Mistake("radius", DIAMETERS, _factors(0.5, 2.0), written=True),
    Mistake("journal-high", ("journal",), _between(TENTH, 32_000)),
    Mistake("bore-high", ("housing_bore",), _between(3 * TENTH, 40 * TENTH)),
    Mistake("bore-low", ("housing_bore",), _between(-40 * TENTH, -TENTH)),
    Mistake("wall-low", ("wall",), _between(-10 * TENTH, -2 * TENTH)),
    Mistake("wall-high", ("wall",), _between(TENTH, 10 * TENTH)),
    Mistake("flat-anvil", ("wall",), _between(140_000, 240_000), shared=True),
    Mistake("ball-left-in", ("wall",), _between(2 * MM, 8 * MM), shared=True),
    Mistake(
        "groove-or-hole",
        ("housing_bore", "wall"),
        lambda case: _between(508_000, 1_270_000)(
            case._replace(raw_nm=round(case.expected_nm - case.error_nm)) if case.feature == "wall" else case
        ),
    ),
    Mistake(
        "undersize",
        ("journal",),
        _steps(
            *((-k * nm, 0.2) for nm in (INCH // 100, MM // 4) for k in (1, 2, 3)), (INCH // 100, 0.2), (MM // 4, 0.2)
        ),
    ),
    Mistake("other-group", FEATURES, _elsewhere),
    Mistake(OTHER_GRIND, ("wall",), _steps(*_both(*(nm // 2 for nm in GRINDS))), shared=True),
    Mistake(GAUGE_SETTING, FEATURES, _setting, shared=True),
    Mistake(TWO_SIZES, FEATURES, _sizes, shared=True),
    Mistake("sign-reversed", ("housing_bore",), lambda case: 0.25 * _between(-2e5, 2e5)(case)),
    Mistake("digit-misread", FEATURES, lambda case: 0.3 * _digits(misread)(case), written=True, slip=True),
)
# Every name that a doubt may give, each once; the last are not weighed, as numbers alone do not show them.
NAMES: Final = (
    *(mistake.name for mistake in MISTAKES),
    *(CAP_EXCHANGED, TWO_HANDS, "ball-twice", "labels-exchanged", "copied-row", UNKNOWN),
)
_OFF_THE_GRID: Final = 0.05  # of readings are finer than all others of their gauge
_AT_EVERY_REPEAT: Final = 0.01  # of slips
_UNKNOWN_WEIGHT: Final = 1e-11
_WORTH_NAMING: Final = 0.02  # of the likeliest
_MOST_NAMED: Final = 3


def ranked(case: Case) -> tuple[str, ...]:
    """The names of the likeliest mistakes behind a reading, best first, three at most."""
    fitting = [m for m in MISTAKES if case.feature in m.features and (m.shared or case.code not in MANY)]
    shown = case.code in MANY or case.repeated or case.raw_nm % case.grid_nm == 0
    weights = [
        (
            m.weigh(case)
            * (1.0 if shown or m.written else _OFF_THE_GRID)
            * (_AT_EVERY_REPEAT if m.slip and case.repeated else 1.0),
            m.name,
        )
        for m in fitting
    ]
    weights.append((_UNKNOWN_WEIGHT, UNKNOWN))
    weights.sort(key=lambda item: -item[0])
    least = _WORTH_NAMING * weights[0][0]
    named = [name for weight, name in weights if weight >= least][:_MOST_NAMED]
    return tuple(name for name in named if name != UNKNOWN) or (UNKNOWN,)
