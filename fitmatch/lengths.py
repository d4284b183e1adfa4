"""Lengths as whole nanometres: text in, text out, no floating point in between.

1 in = 25.4 mm exactly (international yard of 1959), so 0.0001 in is 2540 nm and 1 um is 1000 nm: inch and metric
readings mix exactly. Anything finer than a nanometre is rounded, halves to even, and the caller is told so.
"""

import re
from decimal import Decimal
from fractions import Fraction
from typing import Final

from fitmatch.wording import shorten

NM_PER_UNIT: Final = {
    "in": 25_400_000,
    "mm": 1_000_000,
    "um": 1_000,
    "µm": 1_000,  # micro sign
    "μm": 1_000,  # Greek mu: keyboards differ
    "thou": 25_400,
    "tenths": 2_540,
}
JOB_UNITS: Final = ("in", "mm")

# Far beyond any reading; keeps a hostile cell from taking more than a moment.
LONGEST_NUMBER: Final = 1_000

_NUMBER: Final = re.compile(r"([+-]?)(?:([0-9]+)(?:\.([0-9]*))?|\.([0-9]+))(?:[eE]([+-]?[0-9]+))?")
_GROUPED: Final = re.compile(r"[+-]?[0-9]{1,3}(?:[,.' _][0-9]{3})+(?:[.,][0-9]*)?")


class LengthError(ValueError):
    """A text that is not a length; the message says what is wrong and what to do."""


def round_half_even(numerator: int, denominator: int) -> int:
    """The whole number nearest to `numerator / denominator`, halves to even; `denominator` > 0."""
    whole, rest = divmod(numerator, denominator)
    if 2 * rest > denominator or (2 * rest == denominator and whole % 2):
        whole += 1
    return whole


def mean(values: tuple[int, ...]) -> int:
    """The mean, computed exactly and rounded once to a whole number, halves to even."""
    return round_half_even(sum(values), len(values))


def parse_number(text: str, *, decimal_comma: bool = False) -> Fraction:
    """Read a plain number, exactly.

    Digits with an optional sign, a leading or trailing point and an exponent of at most three digits; no thousands
    separators. Raises LengthError.
    """
    digits, exponent, rest = _leading_number(text, decimal_comma)
    if rest:
        raise LengthError(f"`{shorten(text)}` is not a number; write digits with a decimal point, such as 1.8162")
    return Fraction(digits) * Fraction(10) ** exponent


def parse_length(text: str, unit: str, *, inch_job: bool, decimal_comma: bool = False) -> tuple[int, bool]:
    """Read a length: a plain number in `unit`, or a number followed by a unit of its own.

    Returns whole nanometres and whether they are exact. `tenths` (0.0001 in) are known in inch jobs only.
    Raises LengthError.
    """
    amount, scale = _ratio(text, unit, inch_job, decimal_comma)
    nm = round_half_even(amount, scale)
    return nm, nm * scale == amount


def exact_nm(text: str, unit: str, *, inch_job: bool) -> Fraction:
    """The same length in nanometres, not rounded: for what is added up before it is rounded."""
    return Fraction(*_ratio(text, unit, inch_job, decimal_comma=False))


def _ratio(text: str, unit: str, inch_job: bool, decimal_comma: bool) -> tuple[int, int]:
    """A length in nanometres as a numerator and its denominator."""
    digits, exponent, own_unit = _leading_number(text, decimal_comma)
    factor = unit_factor(own_unit, inch_job=inch_job) if own_unit else NM_PER_UNIT[unit]
    if exponent >= 0:
        return digits * factor * 10**exponent, 1
    scale: int = 10**-exponent
    return digits * factor, scale


def with_its_unit(text: str, unit: str) -> str:
    """A length as it was typed, with its own unit or that of its column; empty if it has neither."""
    text = text.strip()
    return text if text[-1:].isalpha() else f"{text} {unit}" if unit else ""


def unit_factor(unit: str, *, inch_job: bool) -> int:
    """Nanometres in one `unit`; raises LengthError for units that are unknown or ambiguous."""
    lowered = unit.lower()
    if lowered in ("mil", "mils"):
        raise LengthError("`mil` means 0.001 in to some and 1 mm to others; write thou or mm")
    if lowered == "tenths" and not inch_job:
        raise LengthError("tenths are 0.0001 in and allowed in inch jobs only; write in, mm or um")
    if lowered not in NM_PER_UNIT:
        known = "in, mm, um, thou" + (", tenths" if inch_job else "")
        raise LengthError(f"unknown unit `{shorten(unit)}`; use one of {known}")
    return NM_PER_UNIT[lowered]


def with_unit(nm: int, unit: str) -> str:
    """A length to its last digit, followed by its unit."""
    return f"{exact(nm, unit)} {unit}"


def exact(nm: int, unit: str) -> str:
    """The shortest plain decimal in `unit` that rounds back to this length, to half a nanometre; no exponent form."""
    return exact_half(2 * nm, unit)


def exact_half(twice_nm: int, unit: str) -> str:
    """The same of half of a whole number of nanometres."""
    return _point(*shortest(twice_nm, 2 * NM_PER_UNIT[unit]))


def shortest(amount: int, per_unit: int) -> tuple[int, int]:
    """The digits and decimal places of the shortest decimal that, times `per_unit`, rounds back to a whole amount."""
    places, power = 0, 1
    while True:
        digits = round_half_even(amount * power, per_unit)
        if 2 * abs(digits * per_unit - amount * power) < power:
            return digits, places
        places, power = places + 1, power * 10


def fixed(nm: int, unit: str, places: int, *, sign: bool = False) -> str:
    """`nm` in `unit` with a fixed number of decimal places, halves to even; `sign` shows a plus as well."""
    return decimal(nm, NM_PER_UNIT[unit], places, sign=sign)


def decimal(amount: int, per_unit: int, places: int, *, sign: bool = False) -> str:
    """The same of any amount, such as a square in nm squared."""
    digits = round_half_even(amount * 10**places, per_unit)
    return ("+" if sign and digits > 0 else "") + _point(digits, places)


def two_digits(nm: float, unit: str) -> str:
    """An expected figure to two significant digits, never in exponent form; more would only look exact."""
    return f"{Decimal(f'{nm / NM_PER_UNIT[unit]:.2g}'):f}"


def _point(digits: int, places: int) -> str:
    sign = "-" if digits < 0 else ""
    text = str(abs(digits)).rjust(places + 1, "0")
    return sign + (text[:-places] + "." + text[-places:] if places else text)


def _leading_number(text: str, decimal_comma: bool) -> tuple[int, int, str]:
    """Split into digits, exponent and the text after the number."""
    stripped = text.strip()
    if not stripped:
        raise LengthError("is empty; write a number")
    if len(stripped) > LONGEST_NUMBER:
        raise LengthError(f"is {len(stripped)} characters long; write a number")
    plain = (
        stripped.replace(",", ".") if decimal_comma and stripped.count(",") == 1 and "." not in stripped else stripped
    )
    match = _NUMBER.match(plain)
    if match is None:
        raise LengthError(f"`{shorten(text)}` is not a number; write digits with a decimal point, such as 1.8162")
    sign, whole, fraction, bare_fraction, power = match.groups()
    rest = plain[match.end() :]
    if rest and _GROUPED.fullmatch(stripped):
        raise LengthError(
            f"`{shorten(text)}` may have a decimal comma or a thousands separator; write a decimal "
            "point and no separators"
        )
    if rest[:1] in (",", "'", "_", "."):
        raise LengthError(
            f"`{shorten(text)}` is not a number; write a decimal point (decimal commas need `;` or tab between cells)"
        )
    if power is not None and len(power.lstrip("+-")) > 3:
        raise LengthError(f"`{shorten(text)}` has an exponent far out of range; write the number out")
    fraction = fraction or bare_fraction or ""
    digits = int((whole or "") + fraction)
    return (-digits if sign == "-" else digits), int(power or 0) - len(fraction), rest.strip()
