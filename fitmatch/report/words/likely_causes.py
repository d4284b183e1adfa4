"""What is likely wrong if an assembled clearance and its calculation do not agree (common practice, no source), why a
reading is not learned from or not compared, and why a kind learns nothing."""

from collections.abc import Mapping
from typing import Any

from fitmatch.facts import Fact
from fitmatch.gauging.assembled import Check, Comparison, NotCompared, Verdict
from fitmatch.lengths import with_unit
from fitmatch.records.keys import full_name
from fitmatch.wording import listed

_TURNS_NM = (635_000, 500_000)  # one turn of a micrometer thimble: 0.0250 in, 0.5 mm
_NEAR_NM = 12_700

_TIGHTER = (
    "dirt or a burr behind a shell",
    "a shell swapped with another, thicker than the one recorded",
    "a cap swapped with another or fitted the wrong way round",
)
_LOOSER = (
    "a cap that is not fully seated: a burr or dirt in the joint, or not tightened as for good",
    "a cap swapped with another or fitted the wrong way round",
    "a shell swapped with another, thinner than the one recorded",
    "a bore gauge that was not rocked to its smallest reading, or was near the joint",
)
_IN_COMMON = "most of the kind are off by about the same: crush, and the errors that its gauges share"
_LEARNED = ", which --learn records as seating"
_SET_WRONG = "a wrongly set gauge looks the same: check its setting first"
_BEYOND_CRUSH = (
    "most of the kind are off by about the same, and by more than crush explains: a wrongly set gauge; set it again",
    "walls that were all read wrong by the same: an anvil that is not a ball, or a zero error that was not subtracted",
    "fasteners that were not tightened as they were for the housing bores",
)
_STRIP = "the strip itself, which is coarse: measure with a bore gauge before anything is taken apart"


def likely_causes(comparison: Comparison, check: Check) -> tuple[str, ...]:
    """The likely causes, the likeliest first; none if the two agree."""
    if check.verdict == Verdict.AGREES:
        return ()
    off = abs(check.difference_nm)
    if 2 * off > check.placement.wall_sum_nm:
        return ("the bore was read without its shells, or with one of them",)
    for turn in _TURNS_NM:
        if abs(off - turn) <= _NEAR_NM:
            return (f"one turn of a micrometer thimble ({'0.025 in' if turn == _TURNS_NM[0] else '0.5 mm'})",)
    if check.reading.method == "strip":
        return (_STRIP, *(_LOOSER if check.difference_nm > 0 else _TIGHTER)[:2])
    if check.by_seating:
        position, job = check.placement.position, comparison.job
        where = "job.toml" if position.seating_nm == job.fits[position.kind].seating_nm else "the positions file"
        return (f"the seating of {with_unit(position.seating_nm, job.unit)} in {where}", _SET_WRONG)
    if comparison.in_common(check):
        if comparison.beyond_crush(check):
            return _BEYOND_CRUSH
        return _IN_COMMON + (_LEARNED if check.placement.position.kind in comparison.learned else ""), _SET_WRONG
    other = comparison.exchanged_with(check)
    causes = _LOOSER if check.difference_nm > 0 else _TIGHTER
    if other is None:
        return causes
    return (f"its shells and those of {other} are swapped, which explains both readings", *causes[:2])


def why_not(fact: Fact) -> str:
    """Why the seating of a kind is not learned from a reading."""
    slots: Mapping[str, Any] = fact.slots
    match fact.code:
        case "size-in-doubt":
            return f"its {' and '.join(slots['features']).replace('_', ' ')} is in doubt"
        case "wall-in-doubt":
            return f"the wall of {' and '.join(map(full_name, slots['shells']))} is in doubt"
    return {
        "strip": "a strip is too coarse to learn from",
        "beyond-crush": "it differs from the calculation without seating by more than crush explains",
        "stands-out": "it differs too much from the others of its kind",
        "by-seating": "it is a mistake only because of the seating in the calculation",
    }[fact.code]


def refusal(fact: Fact) -> str:
    """Why a kind learns nothing, and what to do."""
    slots: Mapping[str, Any] = fact.slots
    positions = slots["positions"]
    if fact.code == "by-seating":
        return (
            f"only the seating in job.toml or in the positions file makes {listed(positions)} a mistake; if that "
            "seating belongs to another setting of the gauge, remove it, then learn again"
        )
    differ = "differs" if len(positions) == 1 else "differ"
    return (
        f"{len(positions)} of {slots['read']} positions read by gauge ({', '.join(positions)}) {differ} from the "
        "calculation without seating, or from the others, by more than crush explains; set the gauge again and measure "
        "them again"
    )


def missing(uncompared: NotCompared) -> tuple[str, ...]:
    """What is missing for the calculation of a reading that is not compared."""
    sizes = (feature.replace("_", " ") for feature in uncompared.features)
    return (*sizes, *(f"wall of {full_name(key)}" for key in uncompared.shells))
