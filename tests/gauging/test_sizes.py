"""Sizes from readings: repeats, places, the crown axis, and every correction, exactly."""

import random
from fractions import Fraction

import pytest
from bench import UM, Bench, gauge, repeats, room, settings, sizes

from fitmatch.gauging.sizes.corrections import factor_to_20, zero_errors
from fitmatch.records.measuring import Gauge, Measuring, Reading, Series, Temperature
from fitmatch.records.parts import Size

STEEL, ALUMINIUM = Fraction(115, 10**7), Fraction(231, 10**7)
HEATED = {"main": {"journal": STEEL, "housing_bore": ALUMINIUM}}


def size_of(readings: list[Reading], feature: str = "journal", **more: object) -> Size:
    sized = sizes(settings(**more)).sized("main", feature, readings)
    assert sized is not None
    return sized.size


def test_a_size_is_the_mean_of_its_places() -> None:
    """Repeats weigh no more than a single reading of another place."""
    readings = [*repeats([1_000, 1_000, 1_000], station=1), *repeats([2_000], station=2)]
    size = size_of(readings)
    assert (size.mean_nm, size.smallest_nm, size.largest_nm, len(size.readings)) == (1_500, 1_000, 2_000, 4)


def test_a_blank_place_is_one_of_its_own_unless_numbered_are_repeats() -> None:
    """Three numbered readings and a repeated place: 3 + 1 places, or 1 + 1."""
    readings = [*(Reading(nm) for nm in (0, 0, 3_000)), *repeats([9_000, 9_000])]
    assert size_of(readings).mean_nm == 3_000
    assert size_of(readings, numbered_are_repeats=True).mean_nm == 5_000


def test_a_place_with_a_station_and_no_angle_is_not_blank() -> None:
    """Two readings with the same station are repeats, even without an angle."""
    readings = [Reading(0, 1), Reading(0, 1), Reading(3_000, 2)]
    assert size_of(readings).mean_nm == 1_500


@pytest.mark.parametrize(
    ("angle", "counts"), [(0, True), (5, True), (5.1, False), (175, True), (174.9, False), (90, False)]
)
def test_only_the_crown_axis_enters_a_bore(angle: float, counts: bool) -> None:
    """Readings within 5 degrees of the crown axis, from either side, make the size of a bore."""
    readings = [Reading(1_000, 1, 0.0), Reading(4_000, 2, float(angle))]
    size = size_of(readings, "housing_bore")
    assert size.readings + size.aside == tuple(readings)
    assert len(size.readings) == (2 if counts else 1)
    assert size.largest_nm == (4_000 if counts else 1_000)
    assert size_of(readings, "journal").largest_nm == 4_000


def test_a_bore_or_wall_without_a_reading_at_the_crown_has_no_size() -> None:
    """Readings elsewhere serve form alone."""
    found = sizes(settings())
    assert found.sized("main", "housing_bore", [Reading(1_000, 1, 90.0)]) is None
    assert found.sized("main", "wall", [Reading(1_000, 1, 30.0)]) is None
    at_crown, beside = Reading(1_000, 1, 355.0), Reading(2_000, 1, 30.0)
    wall = Size(1_000, 1_000, 1_000, (at_crown,), aside=(beside,))
    assert found.sized("main", "wall", [at_crown, beside]) == ((wall, 1_000))


def test_tightest_is_from_places() -> None:
    """The largest place of the journal and the smallest crown-axis place of the bore, each the mean of its repeats:
    the scatter of a single reading makes no clearance tighter."""
    bench = Bench(
        settings(),
        [*repeats([50_000_000, 50_004_000]), *repeats([50_000_500], station=2)],
        [*repeats([54_049_000, 54_051_001]), *repeats([54_060_000], station=2), Reading(54_000_000, 1, 90.0)],
        repeats([2_000_000]),
        repeats([2_000_000]),
    )
    assert (bench.journal.smallest_nm, bench.journal.largest_nm) == (50_000_500, 50_002_000)
    assert bench.bore.smallest_nm == 54_050_000  # a half, to even
    assert bench.placement.clearance_tightest_nm == 54_050_000 - 50_002_000 - 4_000_000


def test_the_tightest_place_is_known_by_how_it_was_read() -> None:
    """Which gauge read it, and how often; nothing for a wall, nor where all is one place."""
    gauges = {"a": gauge("a", resolution_nm=UM), "b": gauge("b", resolution_nm=UM)}
    places = [*repeats([1_000, 3_000], "a"), *repeats([1_500], "b", station=2)]

    def tightest(feature: str, readings: list[Reading]) -> tuple[int, object]:
        how = size_of(readings, feature, gauges=gauges).measured_as
        assert how is not None
        return how.places, how.tightest

    assert tightest("journal", places) == (2, (Series("a", 2, 1.0),))
    assert tightest("housing_bore", places) == (2, (Series("b", 1, 1.0),))
    assert tightest("wall", places) == (2, ())
    assert tightest("journal", places[:2]) == (1, ())


def test_a_size_is_rounded_once_halves_to_even() -> None:
    """Thirds of places and halves of repeats are added up before anything is rounded."""
    readings = [*repeats([0, 1], station=1), *repeats([0], station=2), *repeats([0, 0, 1], station=3)]
    exact = (Fraction(1, 2) + 0 + Fraction(1, 3)) / 3
    assert size_of(readings).mean_nm == round(exact)
    assert size_of(repeats([0, 1])).mean_nm == 0
    assert size_of(repeats([1, 2])).mean_nm == 2


def test_zero_errors_are_inherited() -> None:
    """A gauge has the errors of those it was set with on top of its own."""
    gauges = {
        "mic": gauge("mic", own_zero_nm=1_000),
        "ring": gauge("ring", own_zero_nm=-300, set_with="mic"),
        "bore": gauge("bore", set_with="ring"),
    }
    assert zero_errors(gauges) == {"mic": 1_000, "ring": 700, "bore": 700}


def test_zero_error_and_ball_are_taken_off() -> None:
    """Corrected = reading - zero error - ball; raw readings are kept separately."""
    gauges = {"g": gauge("g", own_zero_nm=500, ball_nm=3_000_000)}
    size = size_of(repeats([53_000_000, 53_002_000], "g"), gauges=gauges)
    assert (size.mean_nm, size.smallest_nm, size.largest_nm) == (50_000_500, 50_000_500, 50_000_500)
    assert (size.raw_mean_nm, size.temperature_nm) == (53_001_000, 0)
    assert size.measured_as is not None and (size.measured_as.zero_nm, size.measured_as.ball_nm) == (500, 3_000_000)
    walls = sizes(settings(gauges=gauges))
    assert walls.plain_wall("g", [5_000_000]).mean_nm == 5_000_000 - 3_000_500
    assert walls.plain_wall("g", [5_000_000, 5_000_003]).mean_nm == 1_999_502  # a half, to even


def bench_with_zeros(journal_zero: int = 0, wall_zero: int = 0, *, true_zero: bool = False) -> Bench:
    """A bore gauge set with the journal's micrometer. `true_zero`: readings are falsified by the very zero error."""
    gauges = {
        "mic": gauge("mic", own_zero_nm=0 if true_zero else journal_zero),
        "bore": gauge("bore", set_with="mic"),
        "ball": gauge("ball", own_zero_nm=0 if true_zero else wall_zero),
    }
    journal = 50_000_000 + (journal_zero if true_zero else 0)
    bore = 54_045_000 + (journal_zero if true_zero else 0)
    wall = 2_000_000 + (wall_zero if true_zero else 0)
    return Bench(
        settings(gauges=gauges),
        repeats([journal], "mic"),
        repeats([bore], "bore"),
        repeats([wall], "ball"),
        repeats([wall], "ball"),
    )


@pytest.mark.parametrize("error", [-12_345, -1, 1, 777, 200_000])
@pytest.mark.parametrize("true_zero", [True, False])
def test_what_cancels(error: int, true_zero: bool) -> None:
    """The micrometer that measured the journal and set the bore gauge may be off by anything; a wall gauge's error e
    changes the clearance by 2e."""
    right = bench_with_zeros().clearance_nm
    assert bench_with_zeros(journal_zero=error, true_zero=true_zero).clearance_nm == right
    changed = bench_with_zeros(wall_zero=error, true_zero=true_zero).clearance_nm - right
    assert changed == (-2 * error if true_zero else 2 * error)


# D. A. Swyt, J. Res. NIST 99(1), 1994, p. 31: steel 11.5e-6, aluminium 23.1e-6 per kelvin; lengths by own arithmetic.
def test_expansion_examples() -> None:
    """45 mm of steel at 25 degrees reads 2.5875 um long, 60 mm of aluminium 6.93 um, by a gauge that stayed at 20."""
    heat = Measuring(
        temperature=Temperature(Fraction(20), Fraction(25), False),
        materials={"main": {"journal": STEEL, "housing_bore": ALUMINIUM}},
    )
    for nominal, feature, grown in ((45_000_000, "journal", 2_587.5), (60_000_000, "housing_bore", 6_930.0)):
        factor = factor_to_20(heat, "main", feature, None)
        assert nominal * (1 - factor) == Fraction(str(grown))


def test_one_room_for_gauge_and_part_of_one_steel_changes_nothing() -> None:
    """L20 = L where gauge and part expand alike; where they do not, only their difference counts."""
    same = {"main": {"journal": STEEL, "housing_bore": STEEL}}
    size = size_of([Reading(50_000_000)], temperature=room(30), materials=same)
    assert (size.mean_nm, size.temperature_nm, size.raw_mean_nm) == (50_000_000, 0, 50_000_000)
    bore = size_of([Reading(60_000_000)], "housing_bore", temperature=room(30), materials=HEATED)
    assert bore.mean_nm == 60_000_000 - round(60_000_000 * 10 * (23.1e-6 - 11.5e-6))
    assert bore.temperature_nm == -6_960


def test_a_gauge_set_with_another_has_its_scale() -> None:
    """Its coefficient is its own, else that of the gauge it was set with, else steel's."""
    gauges = {"mic": gauge("mic", expansion=Fraction(0)), "bore": gauge("bore", set_with="mic")}
    reading = [Reading(54_000_000, gauge="bore")]
    bore = size_of(reading, "housing_bore", gauges=gauges, temperature=room(30), materials=HEATED)
    assert bore.mean_nm == 54_000_000 - round(54_000_000 * 10 * 23.1e-6)


def test_walls_are_not_corrected_for_temperature() -> None:
    """A wall in a warm room is what was read."""
    wall = size_of([Reading(2_000_000)], "wall", temperature=room(35), materials=HEATED)
    assert wall == Size(2_000_000, 2_000_000, 2_000_000, (Reading(2_000_000),))


def test_corrections_are_exact_rational_arithmetic() -> None:
    """Random gauges, places and temperatures against the formula in fractions, rounded once."""
    rng = random.Random(20)
    for _ in range(300):
        gauges = {
            name: Gauge(
                name,
                own_zero_nm=rng.randint(-900, 900),
                ball_nm=rng.choice([0, 7]),
                expansion=Fraction(rng.randint(0, 300), 10**7),
            )
            for name in "ab"
        }
        heat = Temperature(Fraction(rng.randint(100, 300), 10), Fraction(rng.randint(100, 300), 10), False)
        counts = [rng.randint(1, 4) for _ in range(rng.randint(1, 4))]
        groups = [[rng.randint(49_990_000, 50_010_000) for _ in range(n)] for n in counts]
        names = [[rng.choice("ab") for _ in group] for group in groups]
        readings = [
            Reading(nm, station, 0.0, name)
            for station, (group, by) in enumerate(zip(groups, names, strict=True), 1)
            for nm, name in zip(group, by, strict=True)
        ]
        made = settings(gauges=gauges, temperature=heat, materials=HEATED)
        sized = sizes(made).sized("main", "journal", readings)
        assert sized is not None

        def corrected(nm: int, name: str, gauges: dict[str, Gauge] = gauges, heat: Temperature = heat) -> Fraction:
            g = gauges[name]
            assert g.expansion is not None
            own, part = g.expansion * (heat.gauges - 20), Fraction(115, 10**7) * (heat.parts - 20)
            return (nm - g.own_zero_nm - g.ball_nm) * (1 + own - part)

        values = [[corrected(nm, n) for nm, n in zip(g, by, strict=True)] for g, by in zip(groups, names, strict=True)]
        exact = sum(sum(v) / len(v) for v in values) / len(values)
        assert sized.exact_mean == exact
        assert sized.size.mean_nm == round(exact)
        assert sized.size.largest_nm == round(max(sum(v) / len(v) for v in values))
        assert sized.size.smallest_nm == round(min(sum(v) / len(v) for v in values))


def test_sizes_share_how_they_were_measured() -> None:
    """A million walls hold one object for each way of measuring, and one for all that was read alike."""
    found = sizes(settings(gauges={"g": gauge("g", resolution_nm=UM)}))
    one, other = found.plain_wall("g", [2_000_000]), found.sized("main", "wall", [Reading(2_001_000, gauge="g")])
    assert other is not None and one.measured_as is not None and other.size.measured_as is one.measured_as
    assert found.plain_wall("g", [2_000_000]) is one
    assert found.plain_wall("g", [2_000_000], "seen").readings == (Reading(2_000_000, gauge="g", confirmed="seen"),)
