"""Tolerance classes of ISO 286, such as `60 H6`, to limits.

From ISO 286-1:2010: standard tolerances are those of its Table 1, fundamental deviations those of its tables for holes
and shafts (table numbers from memory; the values are compared with an independent table in the tests). Only sizes
above 3 and up to 500 mm, grades 5 to 11 and the letters used for journals and housing bores are here.
"""

from typing import Final

from fitmatch.intake.common.quantities import CellError
from fitmatch.wording import listed

_OVER_MM: Final = 3
_UP_TO_MM: Final = (6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)  # each range takes its upper end in
_TOLERANCES_UM: Final = {
    5: (5, 6, 8, 9, 11, 13, 15, 18, 20, 23, 25, 27),
    6: (8, 9, 11, 13, 16, 19, 22, 25, 29, 32, 36, 40),
    7: (12, 15, 18, 21, 25, 30, 35, 40, 46, 52, 57, 63),
    8: (18, 22, 27, 33, 39, 46, 54, 63, 72, 81, 89, 97),
    9: (30, 36, 43, 52, 62, 74, 87, 100, 115, 130, 140, 155),
    10: (48, 58, 70, 84, 100, 120, 140, 160, 185, 210, 230, 250),
    11: (75, 90, 110, 130, 160, 190, 220, 250, 290, 320, 360, 400),
}
# Upper deviations of shafts; the lower ones of holes of the same letter are their mirror images.
_CLEAR_UM: Final = {
    "e": (-20, -25, -32, -40, -50, -60, -72, -85, -100, -110, -125, -135),
    "f": (-10, -13, -16, -20, -25, -30, -36, -43, -50, -56, -62, -68),
    "g": (-4, -5, -6, -7, -9, -10, -12, -14, -15, -17, -18, -20),
    "h": (0,) * 12,
}
# Lower deviations of shafts `k` of grades up to 7; above, they are zero.
_K_UM: Final = (1, 1, 1, 2, 2, 2, 3, 3, 4, 4, 4, 5)
_LAST_K: Final = 7
SHAFTS: Final = (*_CLEAR_UM, "js", "k")
HOLES: Final = (*(letter.upper() for letter in _CLEAR_UM), "JS")
GRADES: Final = tuple(_TOLERANCES_UM)


def has_classes(nominal_nm: int) -> bool:
    """Whether classes are known for this nominal size."""
    return _OVER_MM * 1_000_000 < nominal_nm <= _UP_TO_MM[-1] * 1_000_000


def deviations(nominal_nm: int, letters: str, grade: int) -> tuple[int, int]:
    """The lower and the upper deviation of a class at a nominal size, in nm; raises CellError for one that is not
    here."""
    if letters not in (*SHAFTS, *HOLES) or grade not in GRADES:
        have = f"{listed(HOLES)} for holes, {listed(SHAFTS)} for shafts, grades {GRADES[0]} to {GRADES[-1]}"
        what = f"there is no class `{letters}{grade}` here: there are {have}; write the limits as MIN..MAX"
        raise CellError("no-such-class", what)
    sizes = f"above {_OVER_MM} and up to {_UP_TO_MM[-1]} mm"
    if not has_classes(nominal_nm):
        what = f"classes are known for sizes {sizes}; write the limits as MIN..MAX"
        raise CellError("no-such-class", what)
    band = next(i for i, end in enumerate(_UP_TO_MM) if nominal_nm <= end * 1_000_000)
    width = _TOLERANCES_UM[grade][band] * 1_000
    letter = letters.lower()
    if letter == "js":
        return -width // 2, width // 2
    if letter == "k":
        lower = _K_UM[band] * 1_000 if grade <= _LAST_K else 0
        return lower, lower + width
    nearest = _CLEAR_UM[letter][band] * 1_000
    return (nearest - width, nearest) if letters in SHAFTS else (-nearest, width - nearest)
