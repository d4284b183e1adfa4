"""What a number may have been meant to be, if its digits were mistyped or misread.

Each function gives the true values, in nm, that one mistake would turn into the number read, each with the share of all
such mistakes in that value that would do so.
"""

from collections.abc import Iterator

from fitmatch.lengths import NM_PER_UNIT, fixed, round_half_even

Original = tuple[int, float]
_MOST_DECIMALS = 6


def decimals_of(values: list[int], unit: str) -> int:
    """How many decimals readings were typed with: the fewest that hold them all."""
    fitting = (d for d in range(_MOST_DECIMALS) if all(_holds(nm, unit, d) for nm in values))
    return next(fitting, _MOST_DECIMALS)


def transposed(nm: int, unit: str, decimals: int) -> Iterator[Original]:
    """Two neighbouring digits swapped."""
    digits = _digits(nm, unit, decimals)
    pairs = [k for k in range(len(digits) - 1) if digits[k] != digits[k + 1]]
    for k in pairs:
        yield _nm(digits[:k] + digits[k + 1] + digits[k] + digits[k + 2 :], unit, decimals), 1 / len(pairs)


def dropped(nm: int, unit: str, decimals: int) -> Iterator[Original]:
    """One digit left out, either a decimal, which leaves one fewer, or one before the point."""
    if decimals and _holds(nm, unit, decimals - 1):
        digits = _digits(nm, unit, decimals - 1)
        whole = len(digits) - (decimals - 1)
        for k in range(whole, len(digits) + 1):
            for digit in "0123456789":
                yield _nm(digits[:k] + digit + digits[k:], unit, decimals), 1 / (len(digits) + 1)
    digits = _digits(nm, unit, decimals)
    whole = len(digits) - decimals
    for k in range(whole + 1):
        for digit in "123456789":
            yield _nm(digits[:k] + digit + digits[k:], unit, decimals), 1 / (len(digits) + 1)


def doubled(nm: int, unit: str, decimals: int) -> Iterator[Original]:
    """One digit typed twice, either a decimal, which leaves one more, or one before the point."""
    digits = _digits(nm, unit, decimals + 1)
    for k in range(len(digits) - decimals - 1, len(digits) - 1):
        if digits[k] == digits[k + 1]:
            yield _nm(digits[:k] + digits[k + 1 :], unit, decimals), 1 / (len(digits) - 1)
    digits = _digits(nm, unit, decimals)
    for k in range(len(digits) - decimals - 1):
        if digits[k] == digits[k + 1]:
            yield _nm(digits[:k] + digits[k + 1 :], unit, decimals), 1 / (len(digits) - 1)


def misread(nm: int, unit: str, decimals: int) -> Iterator[Original]:
    """One digit read as another."""
    digits = _digits(nm, unit, decimals)
    for k, read in enumerate(digits):
        for digit in "0123456789":
            if digit != read:
                yield _nm(digits[:k] + digit + digits[k + 1 :], unit, decimals), 1 / (9 * len(digits))


def slipped(nm: int, unit: str, decimals: int) -> Iterator[Original]:
    """The decimal point one or two places out."""
    for times in (10, 100):
        yield nm * times, 0.25
        yield nm // times, 0.25


def _digits(nm: int, unit: str, decimals: int) -> str:
    """The digits without the point, with at least one before it."""
    return fixed(abs(nm), unit, decimals).replace(".", "")


def _nm(digits: str, unit: str, decimals: int) -> int:
    return round_half_even(int(digits) * NM_PER_UNIT[unit], _power(decimals))


def _holds(nm: int, unit: str, decimals: int) -> bool:
    return nm * _power(decimals) % NM_PER_UNIT[unit] == 0


def _power(decimals: int) -> int:
    return int(10**decimals)
