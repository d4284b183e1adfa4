"""Form: taper, barrel, out-of-round, limits, and what was not measured."""

from dataclasses import replace

import pytest
from bench import settings, sizes
from made.jobs import make_job, make_position, make_shells

from fitmatch.fit.answer.best_plan import best_plan
from fitmatch.gauging.sizes.form_limits import form_flags, worst_meet
from fitmatch.records.measuring import Form, Measuring, Reading
from fitmatch.records.parts import Position, Size
from fitmatch.report.words.reasons import flag_words


def form(feature: str, *rows: tuple[int | None, float | None, int]) -> Form | None:
    """The form that readings (station, angle, nm) show."""
    return sizes(settings()).form("main", feature, [Reading(nm, station, angle) for station, angle, nm in rows])


def formed(position: Position, journal: Form, bore: Form) -> Position:
    """The position with readings that show this form."""
    assert position.journal is not None and position.housing_bore is not None
    return replace(
        position,
        journal=replace(position.journal, form=journal),
        housing_bore=replace(position.housing_bore, form=bore),
    )


def test_taper_is_from_the_first_station_to_the_last() -> None:
    """Means of stations, each angle weighing alike, however often it was repeated."""
    found = form("journal", (1, 0, 100), (1, 90, 200), (1, 90, 300), (3, 0, 90), (3, 90, 110), (2, 0, 999))
    assert found is not None and found.taper_nm == 175 - 100


def test_barrel_needs_three_stations() -> None:
    """The middle against the mean of the ends; below zero is an hour-glass; two stations say nothing about it."""
    ends = ((1, 0, 100), (3, 0, 120))
    two, barrel, glass = (form("journal", *ends, *more) for more in ((), ((2, 0, 115),), ((2, 0, 100),)))
    assert two is not None and two.barrel_nm is None and two.taper_nm == -20
    assert barrel is not None and barrel.barrel_nm == 5
    assert glass is not None and glass.barrel_nm == -10
    four = form("journal", *ends, (2, 0, 120), (4, 0, 100))
    assert four is not None and (four.taper_nm, four.barrel_nm) == (0, 20)


def test_out_of_round_is_within_a_station() -> None:
    """The largest difference of angle means in any one station; taper does not pass for it."""
    found = form("journal", (1, 0, 100), (1, 0, 102), (1, 90, 110), (2, 0, 500), (2, 90, 503))
    assert found is not None and found.out_of_round_nm == 9


@pytest.mark.parametrize(
    "rows",
    [
        [(1, 0, 100), (2, 0, 130)],
        [(1, 0, 100), (2, 90, 130)],
        [(1, None, 100), (1, None, 130)],
        [(1, None, 100), (1, 90, 130)],
    ],
)
def test_one_angle_tells_nothing_about_roundness(rows: list[tuple[int, float | None, int]]) -> None:
    """What was not measured is None and not 0."""
    found = form("journal", *rows)
    assert found is not None and found.out_of_round_nm is None


def test_readings_without_places_tell_no_form() -> None:
    """Numbered columns leave nothing to say."""
    assert form("journal", (None, None, 100), (None, None, 130)) is None


@pytest.mark.parametrize(
    ("angles", "larger"),
    [
        ((0, 85), "across the joint"),
        ((85, 0), "along the crown axis"),
        ((0, 60), "across the joint"),
        ((0, 120), "across the joint"),
        ((60, 120), "across the joint"),
        ((90, 178), "along the crown axis"),
        ((90, 150), "along the crown axis"),
        ((0, 30), "along the crown axis"),
        ((0, 30.5), "at 30.5 degrees"),
        ((0, 121), "at 121 degrees"),
        ((90, 135), "at 135 degrees"),
    ],
)
def test_where_the_larger_diameter_of_a_bore_lies(angles: tuple[float, float], larger: str) -> None:
    """Within 30 degrees of the joint it lies across it, within 30 degrees of the crown axis along that; elsewhere its
    angle is given."""
    found = form("housing_bore", (1, angles[0], 100), (1, angles[1], 107))
    assert found == Form(None, None, 7, larger)


def test_diameters_equally_large() -> None:
    """Largest near both axes is said with both angles, near one with its name; a round bore has no larger diameter."""
    for *rows, larger in (
        ((0, 107), (45, 100), (90, 107), "at 0 and 90 degrees"),
        ((0, 100), (60, 107), (120, 107), "across the joint"),
        ((0, 100), (45, 107), (135, 107), "at 45 and 135 degrees"),
        ((0, 100), (90, 100), None),
    ):
        found = form("housing_bore", *((1, angle, nm) for angle, nm in rows))
        assert found is not None and found.larger == larger


def test_walls_have_taper_and_barrel_at_the_crown() -> None:
    """Readings beside the crown are left out of both: a wall may thin towards the joint."""
    found = form("wall", (1, 0, 100), (2, 0, 103), (3, 0, 104), (3, 45, 50))
    assert found == Form(-4, 1)


def test_limits_flag_positions_and_placed_shells() -> None:
    """Beyond a limit is flagged, at it is not, and what was not measured breaks none; the exit status is then 1."""
    across = Form(None, None, 401, "across the joint")
    walls = {"l1": Form(0, -11), "u1": Form(0, 10)}
    shells = [*make_shells("upper", [1_500_000] * 3), *make_shells("lower", [1_500_000] * 2)]
    job = make_job(
        [
            formed(make_position("R1", 3_000_000 + 50_800), Form(-501, None, None), across),
            formed(make_position("R2", 3_000_000 + 50_800), Form(500, 9_999, None), Form(None, None, 400, None)),
        ],
        [replace(s, measured=Size(1_500_000, 1_500_000, 1_500_000, form=walls.get(s.name))) for s in shells],
    )
    limits = {"rod": {"journal_taper": 500, "housing_bore_out_of_round": 400, "wall_barrel": 10}}
    plan = best_plan(replace(job, measuring=Measuring(form_limits=limits)))
    at = next(p.position.name for p in plan.placements if p.lower.name == "l1")
    assert {(f.position, f.code) for f in plan.flags} == {
        ("R1", "journal-taper"),
        ("R1", "housing-bore-out-of-round"),
        (at, "wall-barrel"),
    }
    assert plan.needs_attention and not best_plan(job).needs_attention
    texts = " ".join(flag_words(f, "in") for f in plan.flags)
    assert "its larger diameter is across the joint" in texts and "hour-glass" in texts
    assert list(form_flags(job, plan.placements)) == []


def test_the_worst_journal_in_the_worst_bore_is_pointed_out() -> None:
    """Only where both are the most out-of-round of their kind and there is something to choose between."""

    def meet(*pairs: tuple[int | None, int | None]) -> list[str]:
        positions = [
            formed(make_position(f"R{n}", 3_050_000), Form(None, None, j), Form(None, None, b))
            for n, (j, b) in enumerate(pairs, 1)
        ]
        return list(worst_meet(make_job(positions, []), "rod"))

    assert meet((5, 8), (4, 7), (3, 9)) == []
    assert meet((5, 8), (4, 9), (6, 10)) == ["R3"]
    assert meet((5, 8), (None, None), (None, None)) == []
    assert meet((0, 8), (0, 9), (0, 10)) == []
