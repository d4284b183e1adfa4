"""The `[fit.KIND]` tables to fits, and what their targets come to."""

from collections.abc import Collection
from typing import Final, NamedTuple

from fitmatch.intake.common.quantities import GAUGE_ERROR, LIMIT, SEATING, TARGET
from fitmatch.intake.job_toml.values import Values
from fitmatch.lengths import exact, parse_number, round_half_even
from fitmatch.names import slips
from fitmatch.records.parts import Fit
from fitmatch.wording import shorten

FIT_KEYS: Final = ("target", "target_ratio", "min", "max", "want_min", "want_max", "seating", "seating_u", "family")
_AIMS: Final = ("target", "target_ratio", "min", "max")

# A target from a ratio is rounded to what can be measured: half a tenth, or a micrometre.
RATIO_STEP_NM: Final = {"in": 1_270, "mm": 1_000}


class FitTable(NamedTuple):
    """One `[fit.KIND]`: the fit, which of `_AIMS` were written, and whether its targets and limits can be relied on."""

    fit: Fit
    given: frozenset[str] = frozenset()
    sound: bool = False

    def gives_target(self, own: Collection[str]) -> bool:
        """Whether these keys, with those a position has of its own, give it a target."""
        keys = self.given | set(own)
        return bool(keys & {"target", "target_ratio"}) or {"min", "max"} <= keys


def read_fits(values: Values) -> dict[str, FitTable]:
    """The fits by kind; one that is no table at all is there as well, as its kind is known."""
    tables = {kind: _fit(values, kind) for kind in values.kinds(("fit",), None)}
    headed_otherwise = any(isinstance(values.document.get(key), dict) for key in values.misplaced)
    if values.document.get("fit", {}) == {} and not headed_otherwise:
        values.report("no-fit", "there is no [fit.KIND] table; write one for each kind, such as [fit.rod]", "fit")
    return tables


def _fit(values: Values, kind: str) -> FitTable:
    path = ("fit", kind)
    values.refuse_unknown(path, FIT_KEYS)
    if not isinstance(values.document["fit"][kind], dict):
        return FitTable(Fit(kind), frozenset(_AIMS))  # what is no table was reported, and may have held anything
    # A key that is a slip away from one of these, or stands elsewhere, was reported: that one is not missing besides.
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
    families = values.texts((*path, "family"), 'write a list of families, such as ["A12"]')
    if families == ():
        what = "is empty, so that no shell would fit; name a family or leave it out"
        values.report("empty-cell", what, *path, "family")
    read = {"target": target, "min": low, "max": high, "target_ratio": ratio}
    sound = values.unit is not None and all(value is not None for key, value in read.items() if key in given)
    if {"target", "target_ratio"} <= values.table(path).keys():
        values.report("two-targets", "stands beside target; keep one of the two", *path, "target_ratio")
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
        family=tuple(dict.fromkeys(f.strip().casefold() for f in families)) if families else None,
        seating_u_nm=seating_u,
        want_min_nm=want_low,
        want_max_nm=want_high,
    )
    return FitTable(fit, given, sound)


def _ratio(values: Values, kind: str) -> str | None:
    """The text of target_ratio, a number above zero."""
    path = ("fit", kind, "target_ratio")
    text = values.number(path)
    number = None if text is None else values.decimal(text, path)
    if text is None or number is None:
        return None
    todo = "write clearance per unit of journal diameter, such as 0.001"
    if number.digits <= 0:
        values.report("not-positive", f"`{shorten(text)}` is not more than zero; {todo}", *path)
        return None
    if float(number) > 1:
        values.report("implausible-number", f"`{shorten(text)}` is above 1; {todo}", *path)
        return None
    return text


def _wish(values: Values, kind: str) -> tuple[int | None, int | None]:
    """The wished band; none where its ends are crossed."""
    low, high = (values.length(("fit", kind, key), LIMIT) for key in ("want_min", "want_max"))
    if low is None or high is None or values.unit is None or low <= high:
        return low, high
    text = f"want_min {shown(low, values.unit)} is above want_max {shown(high, values.unit)}; swap or mend them"
    values.report("limits-crossed", text, "fit", kind, "want_min")
    return None, None


def _limits_agree(values: Values, kind: str, target: int | None, low: int | None, high: int | None) -> bool:
    """Whether min <= target <= max within one table; what is not there agrees with everything."""
    path = ("fit", kind)
    assert values.unit is not None
    if low is not None and high is not None and low > high:
        text = f"min {shown(low, values.unit)} is above max {shown(high, values.unit)}; swap or mend them"
        values.report("limits-crossed", text, *path, "min")
        return False
    if target == 0:
        what = "the middle of min and max is zero and leaves nothing to aim at; give a target or a larger max"
        values.report("not-positive", what, *path, "max")
        return False
    if target is not None:
        fault = outside(target, low, high, values.unit)
        if fault is not None:
            values.report("target-outside-limits", fault, *path, "target")
            return False
    return True


def outside(target: int, low: int | None, high: int | None, unit: str) -> str | None:
    """In which way a target lies outside its limits; None if it does not."""
    if low is not None and target < low:
        return f"target {shown(target, unit)} is below min {shown(low, unit)}; min <= target <= max must hold"
    if high is not None and target > high:
        return f"target {shown(target, unit)} is above max {shown(high, unit)}; min <= target <= max must hold"
    return None


def shown(nm: int, unit: str) -> str:
    """A length for a message, in the job's unit."""
    return f"{exact(2 * nm, unit)} {unit}"


def middle(low: int, high: int) -> int:
    """The middle of min and max, rounded once."""
    return round_half_even(low + high, 2)


def from_ratio(ratio: str, journal: tuple[int, int], unit: str) -> int:
    """ratio x the exact mean journal, a fraction, rounded once to the step of the job's unit."""
    digits, exponent = parse_number(ratio)
    step = RATIO_STEP_NM[unit]
    above, below = digits * journal[0], journal[1] * step
    if exponent >= 0:
        above *= 10**exponent
    else:
        below *= 10**-exponent
    return step * round_half_even(above, below)
