"""The `[fit.KIND]` tables to fits, and the targets that follow from them."""

from collections.abc import Collection, Mapping
from fractions import Fraction
from typing import Any, Final, NamedTuple

from fitmatch.intake.common.quantities import GAUGE_ERROR, LIMIT, SEATING, TARGET, is_blank
from fitmatch.intake.job_toml.values import Values
from fitmatch.lengths import round_half_even, with_unit
from fitmatch.names import slips
from fitmatch.records.parts import Fit
from fitmatch.wording import shorten

_AIMS: Final = ("target", "target_ratio", "min", "max")

_MOST_READINGS: Final = 1_000_000

# A target from a ratio is rounded to what can be measured: half a tenth, or a micrometre.
RATIO_STEP_NM: Final = {"in": 1_270, "mm": 1_000}


class FitTable(NamedTuple):
    """One `[fit.KIND]`: the fit, which of `_AIMS` were given, and whether its targets and limits can be relied on."""

    fit: Fit
    given: frozenset[str] = frozenset()
    sound: bool = False

    def gives_target(self, own: Collection[str]) -> bool:
        """Whether these keys, together with a position's own, give it a target."""
        keys = self.given | set(own)
        return bool(keys & {"target", "target_ratio"}) or {"min", "max"} <= keys


def without_blank_aims(document: Mapping[str, Any]) -> Mapping[str, Any]:
    """The document without the limits and targets that `fitmatch new` leaves to be filled in."""
    fits = document.get("fit")
    if not isinstance(fits, dict):
        return document
    filled = {kind: _filled(table) if isinstance(table, dict) else table for kind, table in fits.items()}
    return {**document, "fit": filled}


def _filled(table: Mapping[str, Any]) -> dict[str, Any]:
    return {key: value for key, value in table.items() if key not in _AIMS or not is_blank(value)}


def read_fits(values: Values) -> dict[str, FitTable]:
    """The fits by kind; one that is not a table at all is included, as its kind is known."""
    tables = {kind: _fit(values, kind) for kind in values.kinds(("fit",), None)}
    headed_otherwise = any(isinstance(values.document.get(key), dict) for key in values.misplaced)
    if values.document.get("fit", {}) == {} and not headed_otherwise:
        values.report("no-fit", "there is no [fit.KIND] table; write one for each kind, such as [fit.rod]", "fit")
    return tables


_LIMITS_FROM: Final = 'write where min and max come from, such as "engine manual, p. 12"'


def _fit(values: Values, kind: str) -> FitTable:
    path = ("fit", kind)
    values.refuse_unknown(path)
    if not isinstance(values.document["fit"][kind], dict):
        return FitTable(Fit(kind), frozenset(_AIMS))  # reported; the table meant could contain anything
    # A likely misspelling of one of these keys, or one in the wrong table, was reported, so the key is not reported as
    # missing too.
    near = {
        aim for aim in _AIMS for key in values.table(path) if abs(len(key) - len(aim)) <= 1 and slips(key, aim) <= 1
    }
    given = frozenset(near | (values.misplaced & set(_AIMS)))
    target = values.length((*path, "target"), TARGET)
    low = values.length((*path, "min"), LIMIT)
    high = values.length((*path, "max"), LIMIT)
    ratio = _ratio(values, kind)
    want_low, want_high = _wish(values, kind)
    seating = values.length((*path, "seating"), SEATING)
    seating_u = values.length((*path, "seating_u"), GAUGE_ERROR)
    readings = values.count((*path, "seating_readings"), _MOST_READINGS, "number of readings")
    example = 'write a list of families that fit, such as ["narrow-2"], or leave it out'
    families = values.items((*path, "family"), str.casefold, example, filled=True)
    read = {"target": target, "min": low, "max": high, "target_ratio": ratio}
    sound = values.unit is not None and all(value is not None for key, value in read.items() if key in given)
    if {"target", "target_ratio"} <= values.table(path).keys():
        values.report("two-targets", "is given as well as target; keep one of the two", *path, "target_ratio")
        sound = False
    elif sound:
        if not given & {"target", "target_ratio"} and low is not None and high is not None:
            target = middle(low, high)
        sound = _limits_agree(values, kind, target, low, high)
    fit = Fit(
        kind=kind,
        target_nm=target,
        target_ratio=ratio,
        min_nm=low,
        max_nm=high,
        seating_nm=seating or 0,
        family=families,
        seating_u_nm=seating_u,
        seating_readings=readings,
        want_min_nm=want_low,
        want_max_nm=want_high,
        limits_from=values.text((*path, "limits_from"), _LIMITS_FROM),
    )
    return FitTable(fit, given, sound)


def _ratio(values: Values, kind: str) -> Fraction | None:
    """target_ratio, a number above zero."""
    path = ("fit", kind, "target_ratio")
    text = values.number(path)
    number = None if text is None else values.fraction(text, path)
    if text is None or number is None:
        return None
    todo = "write clearance per unit of journal diameter, such as 0.001"
    if number <= 0:
        values.report("not-positive", f"`{shorten(text)}` is not more than zero; {todo}", *path)
        return None
    if number > 1:
        values.report("implausible-number", f"`{shorten(text)}` is above 1; {todo}", *path)
        return None
    return number


def _wish(values: Values, kind: str) -> tuple[int | None, int | None]:
    """The wanted band; none if its ends are crossed."""
    low, high = (values.length(("fit", kind, key), LIMIT) for key in ("want_min", "want_max"))
    if low is None or high is None or values.unit is None or low <= high:
        return low, high
    text = (
        f"want_min {with_unit(low, values.unit)} is above want_max {with_unit(high, values.unit)}; swap or correct them"
    )
    values.report("limits-crossed", text, "fit", kind, "want_min")
    return None, None


def _limits_agree(values: Values, kind: str, target: int | None, low: int | None, high: int | None) -> bool:
    """Whether min <= target <= max within one table; what is missing agrees with everything."""
    path = ("fit", kind)
    assert values.unit is not None
    if low is not None and high is not None and low > high:
        text = f"min {with_unit(low, values.unit)} is above max {with_unit(high, values.unit)}; swap or correct them"
        values.report("limits-crossed", text, *path, "min")
        return False
    if target == 0:
        what = "the middle of min and max is zero, which cannot be aimed at; give a target or a larger max"
        values.report("not-positive", what, *path, "max")
        return False
    if target is not None:
        fault = outside(target, low, high, values.unit)
        if fault is not None:
            values.report("target-outside-limits", fault, *path, "target")
            return False
    return True


def outside(target: int, low: int | None, high: int | None, unit: str) -> str | None:
    """How a target is outside its limits; None if it is not."""
    if low is not None and target < low:
        return f"target {with_unit(target, unit)} is below min {with_unit(low, unit)}; min <= target <= max must hold"
    if high is not None and target > high:
        return f"target {with_unit(target, unit)} is above max {with_unit(high, unit)}; min <= target <= max must hold"
    return None


def middle(low: int, high: int) -> int:
    """The middle of min and max, rounded once."""
    return round_half_even(low + high, 2)


def from_ratio(ratio: Fraction, journal: Fraction, unit: str) -> int:
    """ratio x the exact mean journal, rounded once, halves to even, to the step of the job's unit."""
    return RATIO_STEP_NM[unit] * round(ratio * journal / RATIO_STEP_NM[unit])
