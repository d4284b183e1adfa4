"""Limits of a size, in the three ways a drawing writes them: `MIN..MAX`, a nominal size with its tolerance, and a
tolerance class of ISO 286."""

import re
from collections.abc import Callable
from typing import Final

from fitmatch.intake.common.quantities import HOUSING_BORE, WALL, CellError, Quantity
from fitmatch.lengths import LengthError, parse_length, parse_number, with_unit
from fitmatch.records.parts import Band
from fitmatch.wording import shorten

_LONGEST: Final = 200  # characters of limits that mean anything
TOLERANCE: Final = Quantity("a deviation from the nominal size", -2_000_000, 2_000_000, "-2 to 2 mm")

# Compiled when first needed: nearly all limits are MIN..MAX.
_EITHER_WAY: Final = r"([^±]+?)\s*(?:±|\+/-|\+-)\s*([^±+/-].*)"
_OFF: Final = r"([+-]?\s*[0-9.][^/]*)"
_TWO_WAYS: Final = rf"([0-9.,]+(?:\s*[A-Za-zµμ]+)?)\s*(?:\s|(?=[+-])){_OFF}/\s*{_OFF}"
_CLASS: Final = r"([0-9.,]+(?:\s*(?:in|mm|um|µm|μm|thou))?)\s*([A-Za-z]{1,2})\s?([0-9]{1,2})"
_SPACED_SIGN: Final = r"^([+-])\s+"
_INCH: Final = r"(?i)(?:in|thou|tenths)\s*$"
_METRIC: Final = r"(?i)(?:mm|um|µm|μm)\s*$"

# Reads a text as a length of a quantity; None where that is wrong, and noted by whoever reads.
Reads = Callable[[str, Quantity], int | None]


def read_band(text: str, quantity: Quantity, reads: Reads, *, inch_job: bool) -> Band | None:
    """The limits that a text gives; None where a length in it is wrong. Raises CellError for what is no limits at
    all."""
    low, dots, high = text.partition("..")
    if dots and low.strip() and high.strip():
        return _ends(text, reads(low, quantity), reads(high, quantity))
    shown = text.strip()
    if len(shown) > _LONGEST:
        raise _no_limits(text, quantity, inch_job=inch_job)
    found = re.fullmatch(_EITHER_WAY, shown)
    if found:
        nominal, off = found.groups()
        return _around(shown, quantity, reads, nominal, (f"-{off.lstrip()}", off), inch_job=inch_job)
    found = re.fullmatch(_TWO_WAYS, shown)
    if found:
        nominal, first, second = found.groups()
        offs = re.sub(_SPACED_SIGN, r"\1", first), re.sub(_SPACED_SIGN, r"\1", second)
        return _around(shown, quantity, reads, nominal, offs, inch_job=inch_job)
    found = re.fullmatch(_CLASS, shown)
    if found and not dots:
        return _of_class(shown, quantity, reads, *found.groups(), inch_job=inch_job)
    raise _no_limits(text, quantity, inch_job=inch_job)


def _no_limits(text: str, quantity: Quantity, *, inch_job: bool) -> CellError:
    return CellError("not-a-range", f"`{shorten(text)}` is not a range; write {_forms(quantity, inch_job=inch_job)}")


def _forms(quantity: Quantity, *, inch_job: bool) -> str:
    """The ways to write limits of this quantity."""
    if quantity == WALL:
        return (
            'LOW..HIGH, such as "0.0614..0.0622", or a size and its tolerance, such as "0.0618 ±0.0004"'
            if inch_job
            else 'LOW..HIGH, such as "1.560..1.580", or a size and its tolerance, such as "1.570 ±0.010"'
        )
    letter = "H" if quantity == HOUSING_BORE else "h"
    if inch_job:
        return (
            'LOW..HIGH, such as "1.8155..1.8165", a size and its tolerance, such as "1.8160 ±0.0005", or a class of '
            f'ISO 286, such as "46 mm {letter}6"'
        )
    return (
        'LOW..HIGH, such as "46.110..46.135", a size and its tolerance, such as "46.12 ±0.01", or a class of ISO 286, '
        f'such as "46 {letter}6"'
    )


def _ends(text: str, low_nm: int | None, high_nm: int | None) -> Band | None:
    if low_nm is None or high_nm is None:
        return None
    if low_nm > high_nm:
        what = f"the low end of `{shorten(text)}` is above its high end"
        raise CellError("limits-crossed", f"{what}; write LOW..HIGH (each end carries its own unit)")
    return Band(low_nm, high_nm)


def _around(
    text: str, quantity: Quantity, reads: Reads, nominal: str, offs: tuple[str, str], *, inch_job: bool
) -> Band | None:
    """A nominal size and two deviations from it. One that would silently mix inch and metric is refused: `60 mm ±0.01`
    in an inch job."""
    systems = {system for part in (nominal, *offs) if (system := _system(part, inch_job=inch_job)) is not None}
    if len(systems) > 1 and not all(re.search(_INCH, part) or re.search(_METRIC, part) for part in (nominal, *offs)):
        raise CellError("not-a-range", f"`{shorten(text)}` names a unit once only; write it behind each number")
    middle, found = reads(nominal, quantity), [reads(off, TOLERANCE) for off in offs]
    if middle is None or found[0] is None or found[1] is None:
        return None
    band = Band(middle + min(found[0], found[1]), middle + max(found[0], found[1]))
    if not quantity.holds(band.low_nm) or not quantity.holds(band.high_nm):
        limits = f"{with_unit(band.low_nm, 'mm')} to {with_unit(band.high_nm, 'mm')}"
        what = f"`{shorten(text)}` is {limits}, and {quantity.name} is {quantity.bounds}"
        raise CellError("implausible-length", f"{what}; check the digits and the unit")
    return band


def _is_plain(nominal: str) -> bool:
    """Whether it is a number with no unit of its own."""
    try:
        parse_number(nominal)
    except LengthError:
        return False
    return True


def _system(part: str, *, inch_job: bool) -> str | None:
    """Inch or metric; None for a plain zero, which is the same in both."""
    if re.search(_INCH, part):
        return "inch"
    if re.search(_METRIC, part):
        return "metric"
    if not any(c in "123456789" for c in part):
        return None
    return "inch" if inch_job else "metric"


def _of_class(
    text: str, quantity: Quantity, reads: Reads, nominal: str, letters: str, grade: str, *, inch_job: bool
) -> Band | None:
    from fitmatch.intake.common.iso_286 import HOLES, SHAFTS, deviations, has_classes

    if quantity == WALL:
        raise CellError("no-such-class", f"`{shorten(text)}`: ISO 286 has no classes for walls; write LOW..HIGH")
    known, others = (HOLES, SHAFTS) if quantity == HOUSING_BORE else (SHAFTS, HOLES)
    if letters in others and letters not in known:
        wanted = "capital letters, as a hole does" if quantity == HOUSING_BORE else "small letters, as a shaft does"
        what = f"`{shorten(text)}`: {quantity.name} takes a class in {wanted}; write `{letters.swapcase()}{grade}`"
        raise CellError("no-such-class", what)
    if inch_job and _is_plain(nominal):
        inches, _ = parse_length(nominal, "in", inch_job=True)
        metric, _ = parse_length(nominal, "mm", inch_job=True)
        if has_classes(metric) and not has_classes(inches):
            what = (
                f"`{shorten(text)}`: {nominal} in is {with_unit(inches, 'mm')}; write `{nominal} mm {letters}{grade}`"
            )
            raise CellError("no-such-class", what)
    middle = reads(nominal, quantity)
    if middle is None:
        return None
    low, high = deviations(middle, letters, int(grade))
    return Band(middle + low, middle + high, text)
