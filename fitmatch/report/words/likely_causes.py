"""What is likely wrong where an assembled clearance and its calculation do not agree (common practice, no source),
why a reading does not teach or is not compared, and why a kind learns nothing."""

from collections.abc import Mapping
from typing import Any

from fitmatch.facts import Fact
from fitmatch.gauging.assembled import Check, Comparison, NotCompared, Verdict
from fitmatch.wording import listed

_TURNS_NM = (635_000, 500_000)  # one turn of a micrometer thimble: 0.0250 in, 0.5 mm
_NEAR_NM = 12_700

_TIGHTER = (
    "dirt or a burr behind a shell",
    "a shell that changed places, thicker than the one told",
    "a cap that changed places or stands the wrong way round",
)
_LOOSER = (
    "a cap that is not home: a burr or dirt in the joint, or not the final torque",
    "a cap that changed places or stands the wrong way round",
    "a shell that changed places, thinner than the one told",
    "a bore gauge that was not rocked to its smallest reading, or stood near the joint",
)
_IN_COMMON = (
    "most of the kind are off alike: crush and the errors that its gauges share, which --learn takes in as seating",
    "a gauge that was set wrongly looks the same: check its setting first",
)
_BEYOND_CRUSH = (
    "most of the kind are off alike, by more than crush explains: a gauge that was set wrongly; set it again",
    "walls that were all read alike wrong: an anvil that is not a ball, or a zero that was not taken off",
    "fasteners that were tightened otherwise than for the housing bores",
)
_STRIP = "the strip itself, which is coarse: measure with a bore gauge before anything is taken apart"


def likely_causes(comparison: Comparison, check: Check) -> tuple[str, ...]:
    """The likely causes, the likeliest first; none where the two agree."""
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
    if comparison.in_common(check):
        return _BEYOND_CRUSH if comparison.beyond_crush(check) else _IN_COMMON
    other = comparison.exchanged_with(check)
    causes = _LOOSER if check.difference_nm > 0 else _TIGHTER
    if other is None:
        return causes
    return (f"its shells and those of {other} are exchanged, which explains both readings", *causes[:2])


def why_not(fact: Fact) -> str:
    """Why a reading does not teach the seating of its kind."""
    slots: Mapping[str, Any] = fact.slots
    match fact.code:
        case "size-in-doubt":
            return f"its {' and '.join(slots['features']).replace('_', ' ')} is in doubt"
        case "wall-in-doubt":
            return f"the wall of {' and '.join(map('/'.join, slots['shells']))} is in doubt"
    return {
        "strip": "a strip does not teach",
        "beyond-crush": "it lies further from the calculation without seating than crush explains",
        "stands-out": "it stands out from the others of its kind",
        "by-seating": "the seating in the calculation makes it a mistake",
    }[fact.code]


def refusal(fact: Fact) -> str:
    """Why a kind learns nothing, and what to do."""
    slots: Mapping[str, Any] = fact.slots
    positions = slots["positions"]
    if fact.code == "by-seating":
        return (
            f"only the seating that job.toml or the positions file holds makes {listed(positions)} a mistake; if that "
            "seating is of another setting of the gauge, take it out, then learn again"
        )
    are = "is" if len(positions) == 1 else "are"
    return (
        f"{len(positions)} of {slots['read']} positions read by gauge ({', '.join(positions)}) {are} off the "
        "calculation without seating, or off the others, by more than crush explains; set the gauge again and measure "
        "them again"
    )


def missing(uncompared: NotCompared) -> tuple[str, ...]:
    """What was not read for the calculation of a reading that is not compared."""
    sizes = (feature.replace("_", " ") for feature in uncompared.features)
    return (*sizes, *(f"wall of {'/'.join(key)}" for key in uncompared.shells))
