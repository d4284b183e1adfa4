"""Lengths in the words of the shop: how far walls miss their limits, and the clearance that was judged."""

from typing import Final

from fitmatch.lengths import NM_PER_UNIT, fixed
from fitmatch.placements import Placement

_PLACES = {"in": 5, "mm": 4}
_STEP = {"in": "tenths", "mm": "um"}


SHORT: Final = "shells are short"  # how a reason begins where there are more seats than halves


def misfit(unit: str, p: Placement) -> str:
    """By how much the walls of a bore outside its limits miss them, and the clearance that was judged."""
    scattered = p.clearance_tightest_nm != p.clearance_nm
    guarded = p.margin_nm > 0
    words = []
    if p.shortfall_nm:
        words.append(thick(unit, p.shortfall_nm, p.clearance_tightest_nm, p.limit_low_nm, scattered, guarded))
    if p.excess_nm:
        words.append(thin(unit, p.excess_nm, p.clearance_nm, p.limit_high_nm, scattered, guarded))
    return "; and ".join(words)


def thick(unit: str, gap: int, tightest: int, min_nm: int | None, scattered: bool, guarded: bool) -> str:
    assert min_nm is not None
    clearance, limit = sizes(unit, [tightest, min_nm], gap)
    judged = "clearance by the tightest readings" if scattered else "clearance"
    return f"{steps(unit, gap)} too thick, {judged} {clearance}, min{_guard(guarded)} {limit}"


def thin(unit: str, gap: int, mean: int, max_nm: int | None, scattered: bool, guarded: bool) -> str:
    assert max_nm is not None
    clearance, limit = sizes(unit, [mean, max_nm], gap)
    judged = "clearance by the means" if scattered else "clearance"
    return f"{steps(unit, gap)} too thin, {judged} {clearance}, max{_guard(guarded)} {limit}"


def _guard(guarded: bool) -> str:
    return " with guard" if guarded else ""


def sizes(unit: str, lengths: list[int], gap: int = 0) -> list[str]:
    """Lengths with as many decimals as they need to differ by `gap`, and one more where they lie off the usual grid."""
    places = _PLACES[unit]
    if any(nm * 10**places % NM_PER_UNIT[unit] for nm in lengths):
        places += 1
    while 0 < gap * 10**places < NM_PER_UNIT[unit]:
        places += 1
    return [f"{fixed(nm, unit, places)} {unit}" for nm in lengths]


def steps(unit: str, nm: int) -> str:
    """A small length in tenths or um, with enough decimals not to read as nothing."""
    step = _STEP[unit]
    places = 1 if nm * 10 % NM_PER_UNIT[step] == 0 else 2
    while 0 < nm * 10**places < NM_PER_UNIT[step]:
        places += 1
    digits = fixed(nm, step, places).rstrip("0").rstrip(".")
    return "1 tenth" if step == "tenths" and digits == "1" else f"{digits} {step}"
