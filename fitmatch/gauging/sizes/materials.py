"""Coefficients of linear thermal expansion near 20 degrees Celsius, by material, each with its source."""

from fractions import Fraction
from typing import Final

_SWYT: Final = "D. A. Swyt, J. Res. NIST 99(1), 1994, p. 31"
_CALLISTER: Final = "W. D. Callister, Materials Science and Engineering, Table B.6"

# Micrometres per metre and kelvin, in tenths.
_TABLE: Final = (
    ("steel", 115, _SWYT),
    ("aluminium", 231, _SWYT),
    ("steel 1020", 117, _CALLISTER),
    ("steel 1040", 113, _CALLISTER),
    ("steel 4140", 123, _CALLISTER),
    ("steel 4340", 123, _CALLISTER),
    ("grey iron", 114, _CALLISTER),
    ("ductile iron 60-40-18", 112, _CALLISTER),
    ("ductile iron 80-55-06", 106, _CALLISTER),
    ("aluminium 356.0", 215, _CALLISTER),
    ("aluminium 6061", 236, _CALLISTER),
    ("aluminium 2024", 229, _CALLISTER),
    ("aluminium 7075", 234, _CALLISTER),
)
MATERIALS: Final = {name: Fraction(tenths, 10**7) for name, tenths, _ in _TABLE}
SOURCES: Final = {name: source for name, _, source in _TABLE}
