"""What a reading with the shells in says, in words: the limit that it breaks, how far it is off the calculation, and
what it says against the plan."""

from collections.abc import Iterable
from typing import Final

from fitmatch.facts import Fact
from fitmatch.gauging.assembled import Check, Verdict
from fitmatch.lengths import fixed
from fitmatch.report.shared.scale import Scale, telling

VERDICTS: Final = {Verdict.AGREES: "agrees", Verdict.APART: "APART", Verdict.MISTAKE: "A MISTAKE"}
NOT_AS_PLANNED: Final = "SHELLS NOT AS PLANNED"
HOUSING_NOT_AS_PLANNED: Final = "HOUSING NOT AS PLANNED"
FIND_OUT: Final = "Find out which is in"
AND_THEN: Final = (
    "If it is what the plan says, clear the reading of the other row; if it is not, fit what the plan says and read it "
    "again"
)


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
    off = max(
        scale.amount(abs(check.difference_nm)),  # never 0.0
        fixed(abs(check.difference_nm), scale.step, places_off(check, scale)),
        key=len,
    )
    return f"{off} (without seating {scale.amount(abs(check.unseated_nm))})" if check.excused_by_seating else off


def places_off(check: Check, scale: Scale) -> int:
    """The decimals with which a difference looks as near the bounds that it is judged by as it is."""
    off, bounds = abs(check.difference_nm), (int(check.apart_from_nm), int(check.mistake_from_nm))
    return telling(scale.step, off, bounds, 1)


def way_off(check: Check) -> str:
    """Which way."""
    return "looser" if check.difference_nm > 0 else "tighter"


def noted_otherwise(facts: Iterable[Fact]) -> list[str]:
    """What the readings with the shells in say against the plan, each thing once."""
    told: dict[object, str] = {}
    for fact in facts:
        s = fact.slots
        if fact.code == "noted-exchanged":
            one, other = sorted(map(str, _names(s["positions"])))
            told.setdefault((one, other), f"{s['file']} has the shells of {one} and {other} the other way round")
            continue
        moved = "housing" in s
        what = f"the housing of {s['housing']}" if moved else s["shell"]
        planned = (f"that of {s['planned']}" if "planned" in s else s["planned_at"]) if moved else s["planned"]
        ours = planned or "no shell"
        told.setdefault((what, s["position"]), f"{s['file']} says {what} is in {s['position']}, the plan says {ours}")
    return list(told.values())


def _names(value: object) -> tuple[str, ...]:
    assert isinstance(value, tuple)
    return value
