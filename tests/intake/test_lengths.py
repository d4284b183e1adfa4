"""Lengths: text to whole nanometres and back, in every unit, without floating point."""

from fractions import Fraction

import pytest
from hypothesis import given
from hypothesis import strategies as st

from fitmatch.lengths import (
    NM_PER_UNIT,
    LengthError,
    exact,
    exact_half,
    fixed,
    mean,
    parse_length,
    parse_number,
    round_half_even,
    unit_factor,
)

UNITS = ("in", "mm", "um", "thou", "tenths")


def nm(text: str, unit: str = "in", **options: bool) -> int:
    return parse_length(text, unit, inch_job=True, **options)[0]


def refusal(text: str, unit: str = "in", *, inch_job: bool = True, decimal_comma: bool = False) -> str:
    with pytest.raises(LengthError) as caught:
        parse_length(text, unit, inch_job=inch_job, decimal_comma=decimal_comma)
    return str(caught.value)


def test_the_inch_of_1959() -> None:
    """One yard is 0.9144 m exactly, so an inch is 25.4 mm exactly.

    Source: "Refinement of values for the yard and the pound", 1959, reprinted in the Addendum to Circular 572 of the
    National Bureau of Standards.
    """
    assert 36 * nm("1 in") == nm("914.4 mm") == 914_400_000
    assert nm("1 in") == 25_400_000


@pytest.mark.parametrize(
    ("inch", "metric"),
    [
        ("2 in", "50.8 mm"),
        ("0.001 in", "25.4 um"),
        ("0.0001 in", "2.54 um"),
        ("0.00005 in", "1.27 um"),
        ("1 thou", "25.4 um"),
        ("1 tenths", "2.54 um"),
    ],
)
def test_inch_readings_have_exact_metric_values(inch: str, metric: str) -> None:
    """Readings down to 0.00001 in are whole nanometres; the values follow from 1 in = 25.4 mm by arithmetic."""
    assert parse_length(inch, "mm", inch_job=True) == parse_length(metric, "in", inch_job=True)
    assert parse_length(inch, "in", inch_job=True)[1]


def test_a_job_unit_and_an_own_unit() -> None:
    """A plain number is in the job's unit, and a number with a unit in that, with or without a space or capitals."""
    assert nm("1.8162") == nm("1.8162in") == nm(" 1816.2 thou ") == nm("18162 tenths") == nm("1.8162 IN")
    assert nm("0.6", "thou") == 15_240
    assert nm("61", "um") == nm("61 µm") == nm("61 μm") == 61_000  # micro sign and Greek mu


@pytest.mark.parametrize("text", [".0025", "0.0025", "+.0025", "2.5e-3", "25E-4", "0.0025000", "000.0025"])
def test_every_way_to_write_a_number(text: str) -> None:
    """Sign, leading point, trailing zeros and exponents all give the same length."""
    assert nm(text) == 63_500
    assert nm("-" + text.lstrip("+")) == -63_500


def test_a_trailing_point_is_a_number() -> None:
    """`2.` is two."""
    assert nm("2.") == nm("2") == 50_800_000


def test_a_decimal_comma_only_where_it_is_allowed() -> None:
    """`1,8162` is read with a decimal comma where cells are separated by something else, and refused elsewhere."""
    assert nm("1,8162", decimal_comma=True) == nm("1.8162", decimal_comma=True) == nm("1.8162")
    assert "decimal comma" in refusal("1,8162")
    assert "thousands separator" in refusal("1,816")


@pytest.mark.parametrize(
    ("text", "word"),
    [
        ("", "is empty"),
        ("   ", "is empty"),
        ("abc", "not a number"),
        ("nan", "not a number"),
        ("inf", "not a number"),
        ("-Infinity", "not a number"),
        ("--1", "not a number"),
        (".", "not a number"),
        ("1.2.3", "not a number"),
        ("1e", "unknown unit"),
        ("1e9999", "exponent far out of range"),
        ("1e-1000", "exponent far out of range"),
        ("1.8 furlong", "unknown unit `furlong`"),
        ("1.8 mil", "thou or mm"),
        ("1 816.2", "thousands separator"),
        ("1'816", "thousands separator"),
        ("1_816", "thousands separator"),
        ("１.８", "not a number"),  # full-width digits
        ("9" * 2000, "2000 characters"),
    ],
)
def test_what_is_no_length_is_refused(text: str, word: str) -> None:
    """Every refusal says what is wrong."""
    assert word in refusal(text)


def test_tenths_only_in_inch_jobs() -> None:
    """A tenth is 0.0001 in on an inch job; elsewhere it means 0.1 mm to many and is refused."""
    assert nm("2 tenths") == 5_080
    assert "inch job" in refusal("2 tenths", "mm", inch_job=False)
    assert "tenths" not in refusal("2 foot", "mm", inch_job=False)
    with pytest.raises(LengthError):
        unit_factor("tenths", inch_job=False)


def test_finer_than_a_nanometre_is_told() -> None:
    """What is finer than a nanometre is rounded, halves to even, and the caller is told."""
    assert parse_length("0.0000005", "mm", inch_job=False) == (0, False)
    assert parse_length("0.0000015", "mm", inch_job=False) == (2, False)
    assert parse_length("0.0000025", "mm", inch_job=False) == (2, False)
    assert parse_length("-0.0000015", "mm", inch_job=False) == (-2, False)
    assert parse_length("0.0000020", "mm", inch_job=False) == (2, True)


def test_numbers_keep_every_digit() -> None:
    """A plain number is read exactly, whatever its length."""
    assert parse_number("0.1") == Fraction(1, 10)
    assert parse_number("-12.50e3") == -12_500
    assert parse_number("3,5", decimal_comma=True) == Fraction(7, 2)
    with pytest.raises(LengthError):
        parse_number("1 in")


@given(st.integers(-(10**12), 10**12), st.sampled_from(UNITS))
def test_printing_and_reading_is_no_change(length: int, unit: str) -> None:
    """exact() prints a decimal that reads back as the same length in every unit."""
    text = exact(length, unit)
    assert parse_length(text, unit, inch_job=True)[0] == length
    assert "e" not in text.lower()


@given(st.integers(-(10**9), 10**9), st.sampled_from(UNITS))
def test_exact_is_the_shortest_that_reads_back(half: int, unit: str) -> None:
    """One decimal place fewer than exact() prints would be another half nanometre."""
    text = exact_half(half, unit)
    places = len(text.partition(".")[2])
    per_half = Fraction(NM_PER_UNIT[unit] * 2)
    assert abs(Fraction(text) * per_half - half) < Fraction(1, 2)
    if places:
        shorter = Fraction(round(Fraction(half) / per_half * 10 ** (places - 1)), 10 ** (places - 1))
        assert abs(shorter * per_half - half) >= Fraction(1, 2)


def test_exact_prints_plain_decimals() -> None:
    """Typical lengths as they are printed in results."""
    assert exact(1_570_990, "in") == "0.06185"
    assert exact(-635, "in") == "-0.000025"
    assert exact(15_240, "thou") == "0.6"
    assert exact_half(1, "um") == "0.0005"
    assert exact(0, "in") == "0"
    assert exact(2_000_000_000, "mm") == "2000"


def test_fixed_places() -> None:
    """A fixed number of places, halves to even, with a plus sign where asked."""
    assert fixed(1_570_990, "in", 4) == "0.0618"  # 0.06185: half, to even
    assert fixed(1_573_530, "in", 4) == "0.0620"  # 0.06195: half, to even
    assert fixed(2_540, "in", 5, sign=True) == "+0.00010"
    assert fixed(-2_540, "in", 5, sign=True) == "-0.00010"
    assert fixed(0, "in", 1, sign=True) == "0.0"
    assert fixed(1_499_999, "mm", 0) == "1"


@given(st.integers(-(10**15), 10**15), st.integers(1, 10**6))
def test_rounding_is_half_even(numerator: int, denominator: int) -> None:
    """round_half_even agrees with Python's exact fractions, which round halves to even."""
    assert round_half_even(numerator, denominator) == round(Fraction(numerator, denominator))


@given(st.lists(st.integers(-(10**10), 10**10), min_size=1, max_size=9))
def test_a_mean_is_rounded_once(values: list[int]) -> None:
    """The mean is exact until its one rounding."""
    assert mean(tuple(values)) == round(Fraction(sum(values), len(values)))


def test_means_of_halves_go_to_even() -> None:
    """Two readings a nanometre apart have their mean at the even one."""
    assert mean((1, 2)) == 2
    assert mean((2, 3)) == 2
    assert mean((-1, -2)) == -2
