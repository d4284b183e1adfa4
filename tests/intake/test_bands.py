"""Limits as drawings write them, and the classes of ISO 286 against an independent table."""

import pytest
from pressfit import tables

from fitmatch.intake.common.bands import read_band
from fitmatch.intake.common.iso_286 import GRADES, HOLES, SHAFTS, deviations
from fitmatch.intake.common.quantities import HOUSING_BORE, JOURNAL, WALL, CellError, LengthReader, Quantity
from fitmatch.records.parts import Band

MM = 1_000_000
_EDGES_MM = (6, 10, 18, 30, 50, 80, 120, 180, 250, 315, 400, 500)
SIZES_MM = (
    3.001,
    4,
    14,
    25,
    40,
    60,
    100,
    150,
    200,
    300,
    350,
    450,
    *_EDGES_MM,
    *(edge + 0.001 for edge in _EDGES_MM[:-1]),
)


def read(text: str, quantity: Quantity = HOUSING_BORE, unit: str = "mm") -> Band:
    def reads(part: str, of: Quantity) -> int:
        return LengthReader(of, unit, inch_job=unit == "in").read(part)

    band = read_band(text, quantity, reads, inch_job=unit == "in")
    assert band is not None
    return band


@pytest.mark.parametrize("size", SIZES_MM)
def test_shafts_are_those_of_an_independent_table(size: float) -> None:
    """Both deviations of every class for shafts, at both edges and inside of every range of sizes."""
    for letter in SHAFTS:
        for grade in GRADES:
            low, high = deviations(round(size * MM), letter, grade)
            width = tables.it_value(size, grade) * 1_000
            assert high - low == width
            if letter == "js":
                assert low == -high
            else:
                theirs = tables.shaft_deviation(size, letter, grade) * 1_000
                assert theirs == (low if letter == "k" else high)


@pytest.mark.parametrize("size", SIZES_MM)
def test_holes_mirror_the_shafts_of_their_letter(size: float) -> None:
    """EI of a hole is minus es of the shaft of the same letter, so that both have the same width away from zero."""
    for letter in HOLES:
        for grade in GRADES:
            low, high = deviations(round(size * MM), letter, grade)
            shaft_low, shaft_high = deviations(round(size * MM), letter.lower(), grade)
            assert (low, high) == (-shaft_high, -shaft_low)


@pytest.mark.parametrize(
    ("size", "letters", "grade", "low_um", "high_um"),
    [
        # ISO 286-2:2010 (values found in two packages and two printed tables).
        (40, "H", 6, 0, 16), (60, "H", 6, 0, 19), (100, "H", 7, 0, 35), (40, "h", 5, -11, 0), (60, "h", 6, -19, 0),
        (60, "g", 6, -29, -10), (100, "g", 5, -27, -12), (60, "f", 7, -60, -30), (100, "f", 6, -58, -36),
        (60, "k", 6, 2, 21), (40, "js", 6, -8, 8),
        (50, "H", 6, 0, 16), (50.001, "H", 6, 0, 19), (80, "H", 6, 0, 19), (80.001, "H", 6, 0, 22),  # edges
    ],
)  # fmt: skip
def test_published_limits(size: float, letters: str, grade: int, low_um: float, high_um: float) -> None:
    """Limits from published tables, with the upper end of each range of sizes belonging to it."""
    assert deviations(round(size * MM), letters, grade) == (low_um * 1_000, high_um * 1_000)


@pytest.mark.parametrize(
    ("text", "unit", "low_um", "high_um"),
    [
        ("60.000..60.019", "mm", 60_000, 60_019),
        (" 60 .. 60.019 mm", "mm", 60_000, 60_019),
        ("2.3622..60.019 mm", "in", 59_999.88, 60_019),
        ("60 ±0.01", "mm", 59_990, 60_010),
        ("60±0.01", "mm", 59_990, 60_010),
        ("60 +/- 0.01", "mm", 59_990, 60_010),
        ("60 +-10 um", "mm", 59_990, 60_010),
        ("60 mm ±10 um", "in", 59_990, 60_010),
        ("60 +0.019/0", "mm", 60_000, 60_019),
        ("60 +0.019 / -0.005", "mm", 59_995, 60_019),
        ("60+0.019/-0.005", "mm", 59_995, 60_019),
        ("60 -0.010/-0.029", "mm", 59_971, 59_990),
        ("60 0/-0.013", "mm", 59_987, 60_000),
        ("60 mm + 19 um / 0", "in", 60_000, 60_019),
        ("60 H6", "mm", 60_000, 60_019),
        ("60H6", "mm", 60_000, 60_019),
        ("60 mm H6", "in", 60_000, 60_019),
        ("2.5 H6", "in", 63_500, 63_519),
        ("60 JS6", "mm", 59_990.5, 60_009.5),
    ],
)
def test_limits_are_read_in_every_way_a_drawing_writes_them(
    text: str, unit: str, low_um: float, high_um: float
) -> None:
    """Ends, a tolerance either way, two deviations or a class, each number with its own unit or the plain one."""
    assert read(text, unit=unit) == Band(round(low_um * 1_000), round(high_um * 1_000))


@pytest.mark.parametrize(
    ("text", "quantity", "unit", "code", "words"),
    [
        ("60.019..60", HOUSING_BORE, "mm", "limits-crossed", "low end"),
        ("60", HOUSING_BORE, "mm", "not-a-range", 'a class of ISO 286, such as "46 H6"'),
        ("60 " + " ±" * 100_000, HOUSING_BORE, "mm", "not-a-range", "LOW..HIGH"),
        ("60-60.019", HOUSING_BORE, "mm", "not-a-range", "LOW..HIGH"),
        ("60 ±", HOUSING_BORE, "mm", "not-a-range", "LOW..HIGH"),
        ("60 ±3", HOUSING_BORE, "mm", "implausible-length", "a deviation from the nominal size is -2 to 2 mm"),
        ("60 mm ±0.01", HOUSING_BORE, "in", "not-a-range", "write it behind each number"),
        ("2.36 ±0.01 mm", HOUSING_BORE, "in", "not-a-range", "write it behind each number"),
        ("60 ±0.001 in", JOURNAL, "mm", "not-a-range", "write it behind each number"),
        ("60 H4", HOUSING_BORE, "mm", "no-such-class", "E, F, G, H and JS for holes, e, f, g, h, js and k for shafts"),
        ("60 P6", HOUSING_BORE, "mm", "no-such-class", "grades 5 to 11"),
        ("60 h6", HOUSING_BORE, "mm", "no-such-class", "write `H6`"),
        ("60 H6", JOURNAL, "mm", "no-such-class", "write `h6`"),
        ("501 H6", HOUSING_BORE, "mm", "no-such-class", "above 3 and up to 500 mm"),
        ("60 H6", HOUSING_BORE, "in", "no-such-class", "`60 H6`: 60 in is 1524 mm; write `60 mm H6`"),
        ("80h6", JOURNAL, "in", "no-such-class", "80 in is 2032 mm; write `80 mm h6`"),
        ("2 H6", WALL, "mm", "no-such-class", "no classes for walls"),
        ("2.000", WALL, "mm", "not-a-range", "1.570 ±0.010"),
        ("0.2 ±0.01", WALL, "mm", "implausible-length", "a wall is 0.2 to 25 mm"),
    ],
)  # fmt: skip
def test_what_is_no_limits_is_refused_with_what_to_write(
    text: str, quantity: Quantity, unit: str, code: str, words: str
) -> None:
    """Each mistake has its code, and its message says what there is or what to write."""
    with pytest.raises(CellError) as refused:
        read(text, quantity, unit)
    assert refused.value.code == code and words in str(refused.value)
