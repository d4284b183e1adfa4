"""The parts of the sheet by themselves: drawings, lengths in two units, names, and what can be read."""

import random
import re
from fractions import Fraction
from itertools import pairwise
from pathlib import Path

import pytest

import fitmatch
from fitmatch.records.job import Job
from fitmatch.records.parts import Fit, Position
from fitmatch.report.shared.layout import NO_BREAK
from fitmatch.report.sheet.amounts import amount, as_read, judged, runs, setting, span
from fitmatch.report.sheet.drawings import WIDTH, crank_lines, numbers_of, scale_of

CSS = Path(fitmatch.__file__).parent / "report" / "sheet" / "templates" / "sheet.css"


def crank(*positions: tuple[str, str, int | None]) -> Job:
    """A job of positions by name, kind and pin."""
    found = tuple(Position(name, kind, None, None, None, pin=pin) for name, kind, pin in positions)
    return Job(Path("x"), "", "in", {kind: Fit(kind) for _, kind, _ in positions}, found, ())


def along(job: Job) -> list[list[str]]:
    """The labels of every place of the first line, from the front."""
    (line, *_) = crank_lines(job)
    return [[label.text for label in place.labels] for strip in line.strips for place in strip.places]


def test_rods_that_share_a_pin_stand_at_one_place() -> None:
    """Eight rods on four pins stand between five mains, two at a place, in the order of the pins, whatever the order of
    the file; mains stand on the line, rods below it."""
    rods = [(f"R{i}", "rod", pin) for i, pin in enumerate((1, 2, 3, 4, 1, 2, 3, 4), 1)]
    mains = [(f"M{i}", "main", None) for i in range(1, 6)]
    job = crank(*rods, *mains)
    assert along(job) == [
        ["M1"],
        ["R1", "R5"],
        ["M2"],
        ["R2", "R6"],
        ["M3"],
        ["R3", "R7"],
        ["M4"],
        ["R4", "R8"],
        ["M5"],
    ]
    (line,) = crank_lines(job)
    assert line.by_pins and not line.numbered
    assert all(p.on_the_line == p.labels[0].text.startswith("M") for strip in line.strips for p in strip.places)


def test_without_pins_they_stand_in_file_order() -> None:
    """Rods without a pin stand in the order of the file, and the line says that it does not know."""
    job = crank(("M1", "main", None), ("R1", "rod", None), ("R2", "rod", None), ("M2", "main", None))
    assert along(job) == [["M1"], ["R1"], ["R2"], ["M2"]] and not crank_lines(job)[0].by_pins


def test_every_position_stands_on_some_line_once() -> None:
    """Of any number of positions and kinds each stands once, places of a strip do not touch, and strips are as wide as
    their places, the first and the last with room for a word beside them."""
    kinds = ("main", "rod", "cam main", "balance")
    for count in (1, 2, 7, 8, 9, 30):
        job = crank(*((f"{kind[0]}{i}", kind, None) for kind in kinds for i in range(count)))
        lines = crank_lines(job)
        labels = [label.text for line in lines for s in line.strips for p in s.places for label in p.labels]
        assert sorted(labels) == sorted(p.name for p in job.positions) and len(lines) == 3
        assert all(line.strips[-1].width <= 344 - 65 and line.strips[0].width <= 344 - 40 for line in lines)
        for strip in (strip for line in lines for strip in line.strips):
            xs = [place.x for place in strip.places]
            assert all(b - a >= 40 for a, b in pairwise(xs)) and 0 < xs[0] <= xs[-1] < strip.width <= 344


def test_what_needs_attention_is_marked_in_the_drawing() -> None:
    """The label of such a position is marked, and no other; the title says it in words."""
    (line,) = crank_lines(crank(("M1", "main", None), ("R1", "rod", 1), ("R2", "rod", 1)), {"R2"})
    labels = [label for strip in line.strips for place in strip.places for label in place.labels]
    assert [label.text for label in labels if label.marked] == ["R2"]
    assert line.strips[0].title.endswith("main M1, rod R1, rod R2 (marked)")


def test_long_names_become_numbers() -> None:
    """Where a name is too long for the drawing all positions have numbers, in file order."""
    job = crank(("front main", "main", None), ("R1", "rod", None))
    assert numbers_of(job) == {"front main": 1, "R1": 2} and along(job) == [["1"], ["2"]]
    assert numbers_of(crank(("R1", "rod", None))) == {}


@pytest.mark.parametrize(
    ("nm", "unit", "own", "other"),
    [
        (53_340, "in", "0.00210 in", "0.0533 mm"),
        (53_341, "in", "0.00210 in", "0.0533 mm"),
        (48_100, "mm", "0.0481 mm", "0.00189 in"),
        (48_163, "mm", "0.0482 mm", "0.00190 in"),
        (0, "mm", "0.0000 mm", "0.00000 in"),
        (-2_540, "in", "-0.00010 in", "-0.0025 mm"),
    ],
)
def test_a_length_in_both_units(nm: int, unit: str, own: str, other: str) -> None:
    """The unit asked for, then the other one, each with its usual decimals and no more."""
    assert amount(nm, unit) == (own, other)


def test_a_setting_has_the_decimals_of_its_gauge() -> None:
    """In its own unit it has as many decimals as a step of the gauge, so that it can be set; without a step the usual
    ones. The other unit has the usual ones."""
    assert setting(57_129_680, "in", 2_540) == ("2.2492 in", "57.1297 mm")
    assert setting(25_400_000, "in", 2_540).own == "1.0000 in" and setting(25_400_000, "in", None).own == "1.00000 in"
    assert setting(46_132_500, "mm", 500) == ("46.1325 mm", "1.81624 in")
    assert setting(46_130_000, "mm", 10_000).own == "46.13 mm"


def test_readings_stand_as_they_were_read() -> None:
    """Each in the unit that it was typed in, with the decimals that were typed or those of the gauge's step if that is
    in the same unit; the unit is told once for readings beside each other that share it."""
    assert as_read([(60_323_000, "60.323 mm"), (60_320_000, "60.32 mm")], "in", 1_000, "mm") == "60.323 60.320 mm"
    assert as_read([(57_129_680, ""), (57_124_600, "")], "in", 2_540, "in") == "2.2492 2.2490 in"
    assert as_read([(53_340, "0.00210 in")], "in", None, "in") == "0.00210 in"
    assert as_read([(53_800, "0,0538 mm"), (53_340, "21 tenths")], "in", 1_000, "mm") == "0.0538 mm 21 tenths"
    assert as_read([(53_800, "53.8um")], "in", 2_540, "in") == "53.8 um" and as_read([(5, "5e-6 mm")], "in", None, "in")


def test_a_clearance_that_is_out_never_looks_inside() -> None:
    """Of 500 clearances around a limit each is written on that side of it on which it is, at it only if it is there;
    the usual decimals are enough away from it."""
    draw = random.Random(9)
    for _ in range(500):
        unit = draw.choice(["in", "mm"])
        per = {"in": 25_400_000, "mm": 1_000_000}[unit]
        low = draw.choice([38_100, 38_100 + draw.randint(-300, 300)])
        nm, high = low + draw.randint(-400, 40_000), low + 30_000
        text = judged(nm, unit, Position("R1", "rod", None, None, None, low, high))
        for limit in (low, high):
            written, exactly = Fraction(text) * per, Fraction(limit)
            assert ((written > exactly) - (written < exactly)) == ((nm > limit) - (nm < limit)) or nm == limit
    assert judged(83_821, "in", Position("R1", "rod", None, None, None, 38_100, 83_820)) == "0.00330004"
    assert judged(70_000, "mm", Position("R1", "rod", None, None, None, 38_100, 83_820)) == "0.0700"


@pytest.mark.parametrize("unit", ["in", "mm"])
def test_the_ends_of_a_span_are_rounded_inward(unit: str) -> None:
    """Of 200 random pairs of ends: what is written is inside in both units, by less than the last digit, and no line
    can break before a unit."""
    draw = random.Random(4)
    per, last = {"in": 25_400_000, "mm": 1_000_000}, {"in": 254, "mm": 100}
    for _ in range(200):
        low = draw.randint(-90_000, 90_000)
        high = low + draw.randint(1_000, 90_000)
        found = span(low, high, unit)
        assert found is not None and found.own.endswith(unit)
        for text in found:
            digits, one = text.rsplit(NO_BREAK, 1)
            ends = [Fraction(end) * per[one] for end in digits.split(" to ")]
            assert 0 <= ends[0] - low < last[one] and 0 <= high - ends[1] < last[one]
    assert span(None, None, unit) is None
    least, most = span(25_400, None, "in"), span(None, 25_400, "in")
    assert least is not None and least.own == f"at least 0.00100{NO_BREAK}in"
    assert most is not None and most.other == f"at most 0.0254{NO_BREAK}mm"


def test_a_name_is_whole_again() -> None:
    """The runs of a name are the name; every 6 and 9 is a run of its own."""
    for name in ("", "6", "A69b", "966", "no digit", "1<6>9"):
        assert "".join(run.text for run in runs(name)) == name
        assert sum(run.underlined for run in runs(name)) == name.count("6") + name.count("9")


def test_lengths_lie_in_the_drawing_in_order() -> None:
    """On a scale of some lengths each lies inside the drawing, the longer further right; so does one alone."""
    lengths = [5, -7, 100, 3]
    at = [scale_of(lengths).at(nm) for nm in sorted(lengths)]
    assert at == sorted(at) and len(set(at)) == 4  # type: ignore[type-var]
    assert all(0 < x < WIDTH for x in at if x is not None)
    assert 0 < (scale_of([4]).at(4) or 0) < WIDTH and scale_of([None]).at(None) is None


def luminance(colour: str) -> float:
    digits = colour * 2 if len(colour) == 3 else colour
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    linear = [c / 12.92 if c <= 0.03928 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_everything_that_is_read_stands_out() -> None:
    """In daylight, in the dark and on paper text stands out from what is behind it by 4.5 to 1 at least, by the formula
    of the Web Content Accessibility Guidelines 2.1, and every scheme names all colours."""
    assert contrast("000", "fff") == pytest.approx(21.0) and contrast("777", "fff") == pytest.approx(4.48, abs=0.01)
    schemes = [dict(re.findall(r"--(\w+): #([0-9a-f]+);", line)) for line in re.findall(r":root \{.*", CSS.read_text())]
    assert len(schemes) == 3
    for scheme in schemes:
        assert set(scheme) == {"ink", "paper", "line", "soft", "alarm"}
        for text in ("ink", "alarm"):
            assert min(contrast(scheme[text], scheme[behind]) for behind in ("paper", "soft")) >= 4.5
        assert contrast(scheme["line"], scheme["paper"]) >= 4.5
