"""What a reading with the shells in says, in words: the limit that it breaks, and how far it is off the calculation."""

from typing import Final

from fitmatch.gauging.assembled import Check, Verdict
from fitmatch.lengths import fixed
from fitmatch.report.shared.scale import Scale, telling

VERDICTS: Final = {Verdict.AGREES: "agrees", Verdict.APART: "APART", Verdict.MISTAKE: "A MISTAKE"}


def limit_broken(check: Check, scale: Scale) -> str:
    """The limit that an assembled clearance is outside of, and by how much."""
    position = check.placement.position
    limit, bound, over, at = "min", position.min_nm, check.shortfall_nm, ""
    if not over:
        limit, bound, over = "max", position.max_nm, check.excess_nm
    elif check.above_tightest_nm:
        at = f" ({scale.length(check.tightest_nm)} at the largest place of the journal)"
    assert bound is not None
    what = "assembled clearance to the metal" if check.placement.uncounted_nm else "assembled clearance"
    places = telling(scale.unit, check.assembled_nm, [bound], scale.decimals)
    found, allowed = (f"{fixed(nm, scale.unit, places)} {scale.unit}" for nm in (check.assembled_nm, bound))
    return (
        f"{what} {found}{at}, {limit} {allowed}: "
        f"{scale.amount(over)} {scale.step} {'below' if limit == 'min' else 'above'}"
    )


def amount_off(check: Check, scale: Scale) -> str:
    """How far assembled and calculated are apart, in steps."""
    off = scale.amount(abs(check.difference_nm))
    return f"{off} (without seating {scale.amount(abs(check.unseated_nm))})" if check.excused_by_seating else off


def way_off(check: Check) -> str:
    """Which way."""
    return "looser" if check.difference_nm > 0 else "tighter"
