"""Lengths in the words of the shop, with as many decimals as it takes to tell them apart."""

from typing import Final

from fitmatch.lengths import NM_PER_UNIT, fixed

PLACES: Final = {"in": 5, "mm": 4}
_STEP: Final = {"in": "tenths", "mm": "um"}


def sizes(unit: str, lengths: list[int], gap: int = 0) -> list[str]:
    """Lengths with as many decimals as they need to differ by `gap`, and one more where they lie off the usual grid."""
    places = PLACES[unit]
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
