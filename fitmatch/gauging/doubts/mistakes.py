"""The signatures of known mistakes: for each, how likely it gives the reading at hand.

Every mistake turns a true value, which lies about the centre of the other readings, into the reading: by a fixed step,
by an amount within a range, or by what it does to the digits. `weigh` is the density of the reading under it, per
nanometre, so that mistakes can be ranked by Bayes' rule with equal priors. Amounts are common practice, no source,
but for the sagitta of a flat anvil, which is geometry.
"""

from collections.abc import Callable, Iterable
from math import exp, pi, sqrt
from typing import Final, NamedTuple

from fitmatch.gauging.doubts.digits import doubled, dropped, misread, slipped, transposed
from fitmatch.gauging.student import normal_below

INCH: Final = 25_400_000
MM: Final = 1_000_000
TENTH: Final = 2_540


class Case(NamedTuple):
    """One doubtful reading. `expected_nm` is what the others let expect of the raw reading, `standard_nm` how far it
    may scatter about that; `others` are centres of other groups, with their names."""

    feature: str
    raw_nm: int
    expected_nm: float
    standard_nm: float
    unit: str
    decimals: int
    others: tuple[tuple[str, float], ...] = ()
    at_an_end: bool = False  # first or last in the order of measuring

    @property
    def error_nm(self) -> float:
        return self.raw_nm - self.expected_nm

    def near(self, nm: float) -> float:
        """Density of a true value."""
        z = (nm - self.expected_nm) / self.standard_nm
        return exp(-0.5 * z * z) / (self.standard_nm * sqrt(2 * pi)) if abs(z) < 12 else 0.0


class Mistake(NamedTuple):
    """`words` say what happened, `tell` what would tell it from others."""

    name: str
    features: str  # those it happens to, parted by blanks
    weigh: Callable[[Case], float]
    words: str
    tell: str


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
    """Steps of a gauge in the unit of the readings; one of the other unit is rare."""
    by_inch, by_mm = _steps(*inch), _steps(*metric)

    def density(case: Case) -> float:
        own, other = (by_inch, by_mm) if case.unit == "in" else (by_mm, by_inch)
        return 0.9 * own(case) + 0.1 * other(case)

    return density


def _digits(originals: Callable[[int, str, int], Iterable[tuple[int, float]]]) -> Callable[[Case], float]:
    return lambda case: sum(share * case.near(nm) for nm, share in originals(case.raw_nm, case.unit, case.decimals))


def _factors(*factors: float) -> Callable[[Case], float]:
    return lambda case: sum(case.near(case.raw_nm / f) for f in factors) / len(factors)


def _elsewhere(case: Case) -> float:
    if not case.others:
        return 0.0
    return sum(case.near(case.expected_nm + case.raw_nm - centre) for _, centre in case.others) / len(case.others)


def _setting(case: Case) -> float:
    """A first or last reading apart from the others may have been taken with another setting of the gauge."""
    e = abs(case.error_nm)
    return 0.5 * _between(0.0, 1.5e5)(case._replace(raw_nm=round(case.expected_nm + e))) * case.at_an_end


MISTAKES: Final = (
    Mistake(
        "thimble-turn",
        "journal wall",
        _own_unit(_both(INCH // 40, INCH // 20), _both(MM // 2, MM)),
        "one thimble turn",
        "read sleeve and thimble again",
    ),
    Mistake(
        "calliper-turn",
        "journal housing_bore",
        _steps(*_both(INCH // 10)),
        "one turn of a dial calliper, 0.100 in",
        "check with a micrometer",
    ),
    Mistake(
        "wrong-frame",
        "journal housing_bore",
        _own_unit(_both(INCH), _both(25 * MM)),
        "the wrong micrometer frame or setting standard",
        "check the frame's range",
    ),
    Mistake(
        "indicator-turn",
        "housing_bore",
        _own_unit(_both(INCH // 100, INCH // 50), _both(MM // 5, MM // 2, MM)),
        "one turn of the bore gauge's indicator",
        "watch the small hand while setting and reading",
    ),
    Mistake(
        "digits-transposed",
        "journal housing_bore wall",
        _digits(transposed),
        "two digits exchanged",
        "compare with the paper",
    ),
    Mistake(
        "digit-dropped", "journal housing_bore wall", _digits(dropped), "a digit left out", "compare with the paper"
    ),
    Mistake(
        "digit-doubled", "journal housing_bore wall", _digits(doubled), "a digit typed twice", "compare with the paper"
    ),
    Mistake(
        "decimal-slip",
        "journal housing_bore wall",
        _digits(slipped),
        "the decimal point one place off",
        "compare with the paper",
    ),
    Mistake(
        "wrong-unit",
        "journal housing_bore wall",
        _factors(25.4, 1 / 25.4, 1000.0, 0.001),
        "another unit than the file's",
        "write the unit behind the number",
    ),
    Mistake(
        "radius",
        "journal housing_bore",
        _factors(0.5, 2.0),
        "a radius for a diameter, or twice the diameter",
        "measure across the whole",
    ),
    Mistake(
        "journal-high",
        "journal",
        _between(TENTH, 32_000),
        "dirt or oil under the anvils, or a warm part",
        "wipe both, let it soak, and read again: a warm part drifts",
    ),
    Mistake(
        "bore-high",
        "housing_bore",
        _between(3 * TENTH, 40 * TENTH),
        "gauge not rocked to its smallest reading, measured at the joint, or fasteners loose or dry",
        "rock it again on the crown axis, then loosen, oil and tighten the fasteners as for good",
    ),
    Mistake(
        "bore-low",
        "housing_bore",
        _between(-40 * TENTH, -TENTH),
        "gauge off the diameter, or dirt, burr or oil film in the bore",
        "wipe, rock it again in both planes",
    ),
    Mistake(
        "wall-low",
        "wall",
        _between(-10 * TENTH, -2 * TENTH),
        "measured off the crown, or before the shell was coated",
        "measure at the crown, 90 degrees from the joint",
    ),
    Mistake(
        "wall-high", "wall", _between(TENTH, 10 * TENTH), "dirt or oil film on the shell", "wipe it and read again"
    ),
    Mistake(
        "flat-anvil",
        "wall",
        _between(140_000, 240_000),
        "a flat anvil on the concave face",
        "use a ball anvil",
    ),
    Mistake(
        "ball-left-in",
        "wall",
        _between(2 * MM, 8 * MM),
        "the ball's diameter not taken off",
        "zero with the ball in place",
    ),
    Mistake(
        "groove-or-hole",
        "housing_bore wall",
        lambda case: _between(508_000, 1_270_000)(
            case._replace(raw_nm=round(case.expected_nm - case.error_nm)) if case.feature == "wall" else case
        ),
        "measured in a groove or an oil hole",
        "measure on the land",
    ),
    Mistake(
        "undersize",
        "journal",
        _steps(
            *((-k * nm, 0.2) for nm in (INCH // 100, MM // 4) for k in (1, 2, 3)), (INCH // 100, 0.2), (MM // 4, 0.2)
        ),
        "a journal of another undersize",
        "look at the mark on the crankshaft's web, and note it in the column undersize",
    ),
    Mistake(
        "other-group",
        "journal housing_bore wall",
        _elsewhere,
        "a reading of another kind, box or grade",
        "check which part it belongs to",
    ),
    Mistake(
        "gauge-setting",
        "housing_bore",
        _setting,
        "bore gauge set to another value than for the others",
        "set the gauge again and measure all bores of this kind in one go",
    ),
    Mistake(
        "sign-reversed",
        "housing_bore",
        lambda case: 0.25 * _between(-2e5, 2e5)(case),
        "the indicator's sign taken the wrong way round",
        "a bore larger than the setting turns many indicators backwards: try it by hand",
    ),
    Mistake(
        "digit-misread",
        "journal housing_bore wall",
        lambda case: 0.3 * _digits(misread)(case),
        "one digit misread, such as 6 for 9 or 1 for 7",
        "compare with the paper",
    ),
)
UNKNOWN: Final = Mistake("unknown", "", lambda _: 1e-11, "no known mistake gives this number", "measure it twice")
CAP_EXCHANGED: Final = Mistake(
    "cap-exchanged",
    "",  # its sign is where the reading was taken, not how far it is off
    lambda _: 0.0,
    "cap exchanged or turned round",
    "look at the numbers on cap and housing, and feel for a step at the joint",
)
BY_NAME: Final = {mistake.name: mistake for mistake in (*MISTAKES, CAP_EXCHANGED, UNKNOWN)}
_WORTH_NAMING: Final = 0.02  # of the likeliest
_MOST_NAMED: Final = 3


def ranked(case: Case) -> tuple[Mistake, ...]:
    """The likeliest mistakes behind a reading, best first, three at most."""
    weights = [(m.weigh(case), m) for m in MISTAKES if case.feature in m.features.split()]
    weights.append((UNKNOWN.weigh(case), UNKNOWN))
    weights.sort(key=lambda item: -item[0])
    least = _WORTH_NAMING * weights[0][0]
    named = [m for weight, m in weights if weight >= least][:_MOST_NAMED]
    return tuple(m for m in named if m is not UNKNOWN) or (UNKNOWN,)
